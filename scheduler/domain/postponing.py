"""Who may postpone what: asked by one, decided by another; a critical job by the office; a class item with the class's word.

A postponement moves the limit only. The due point stays where it was, and every verdict is judged from it. Common
practice under a safety management system (ISM Code section 10, in general terms); the company's own rules come first.
"""

from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.fleet import JobKind
from scheduler.domain.words import Role

OFFICE = frozenset({Role.OFFICE, Role.ADMIN})
DECIDES = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A postponement as asked for. to_at: the new limit. risk: what may happen meanwhile; mitigation: what is done about it."""

    to_at: datetime
    reason: str
    risk: str
    mitigation: str = ""


def ask_faults(asked: Asked, *, limit_at: datetime, now_at: datetime) -> list[tuple[str, str]]:
    """What is wrong with a request, a (pointer, sentence) each; empty when nothing is.

    Args:
        limit_at: the limit that holds now.
    """
    faults = []
    if not asked.reason.strip():
        faults.append(("/reason", "this is empty; say why the job cannot be done in time."))
    if not asked.risk.strip():
        faults.append(("/risk", "this is empty; say what may happen meanwhile."))
    if asked.to_at <= max(limit_at, now_at):
        faults.append(
            (
                "/to_at",
                f"{asked.to_at:%Y-%m-%d} is not later than the limit that holds, {limit_at:%Y-%m-%d}, and than today; give "
                "a later date, or do the job.",
            )
        )
    return faults


def decision_objections(
    kind: JobKind,
    *,
    asked_by: tuple[str, str],
    decider: tuple[str, str],
    role: Role,
    granted: bool,
    class_agreed: str,
) -> list[str]:
    """What stands against this person deciding so, in words.

    Args:
        asked_by, decider: (id, name) of each.
    """
    found = []
    same = asked_by[0] == decider[0] or asked_by[1].strip().casefold() == decider[1].strip().casefold()
    if same:
        found.append("Who asked for a postponement does not decide it: another person does.")
    if role not in DECIDES:
        found.append("A postponement is decided by the chief engineer aboard or by the office.")
    elif kind.critical and role not in OFFICE:
        found.append(f"{kind.name} is critical: the office decides its postponement.")
    if granted and kind.class_item and not class_agreed.strip():
        found.append(
            f"{kind.name} is a class item: give the class's agreement (who, when, reference) with the decision."
        )
    return found
