"""SHA-256 of the canonical problem and of a plan: equal values have equal digests, whatever order their parts had."""

from hashlib import sha256

from scheduler.planning.problem.codec import plan_to_text, problem_to_text
from scheduler.planning.problem.values import Plan, Problem


def problem_digest(problem: Problem) -> str:
    """64 hex digits that name the problem. A plan carries them as `problem_digest`."""
    return text_digest(problem_to_text(problem))


def plan_digest(plan: Plan) -> str:
    """64 hex digits that name the plan: its slots, shortfalls, tiers, proof, solver and remarks."""
    return text_digest(plan_to_text(plan))


def text_digest(canonical: str) -> str:
    """The digest of the problem or plan whose canonical text this is."""
    return sha256(canonical.encode()).hexdigest()
