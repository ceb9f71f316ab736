"""SHA-256 of the canonical problem and plan: equal values have equal digests, whatever order their parts had."""

from hashlib import sha256

from scheduler.planning.problem.codec import problem_to_text
from scheduler.planning.problem.values import Problem


def problem_digest(problem: Problem) -> str:
    """64 hex digits that name the problem. A plan carries them as `problem_digest`."""
    return text_digest(problem_to_text(problem))


def text_digest(canonical: str) -> str:
    """The digest of the problem or plan whose canonical text this is."""
    return sha256(canonical.encode()).hexdigest()
