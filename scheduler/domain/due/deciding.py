"""Who may decide: never the person who asked, and only who has the office for it. Facts; words are made elsewhere.

What the chief engineer asks for himself is decided by the office, or by the master while the link is down.
"""

from enum import StrEnum
from typing import NamedTuple

from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person, one_person, same_name
from scheduler.domain.vessel.job_kinds import JobKind

DECIDES = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})
OFFICE = frozenset({Role.OFFICE, Role.ADMIN})


class Unfit(StrEnum):
    """Why somebody does not decide this."""

    ASKED_IT = "asked for it"
    OTHER_SIDE = "signed for the other side"
    NOT_CHIEF = "does not sign as chief"
    NOT_DECIDER = "does not decide"
    OFFICE_ALONE = "critical: the office decides"
    CLASS_ITEM = "class item"


class Objected(NamedTuple):
    """A reason with the names it is about."""

    code: Unfit
    name: str = ""


class Decider(NamedTuple):
    """Who decides, and as what. master: the master decides, told by somebody else, while the link to the office is down."""

    person: Person
    role: Role
    master: bool = False


def decision_objections(
    kind: JobKind, *, asked_by: Person, decider: Decider, granted: bool, class_agreed: str
) -> list[Objected]:
    """What stands against this person deciding a postponement so; empty when nothing does."""
    found = []
    if one_person(asked_by, decider.person):
        found.append(Objected(Unfit.ASKED_IT, asked_by.name))
    if not decider.master:
        if decider.role not in DECIDES:
            found.append(Objected(Unfit.NOT_DECIDER))
        elif kind.critical and decider.role not in OFFICE:
            found.append(Objected(Unfit.OFFICE_ALONE, kind.name))
    if granted and kind.class_item and not class_agreed.strip():
        found.append(Objected(Unfit.CLASS_ITEM, kind.name))
    return found


def signing_objections(*, chief_side: bool, by: Decider, asked_by: Person, other: Person | None) -> list[Objected]:
    """What stands against this signature under a lower minimum; empty when nothing does.

    Args:
        chief_side: the chief engineer's side, else the second signer's. other: who signed the other side, none while nobody has.
    """
    found = []
    if chief_side and not by.master and by.role not in DECIDES:
        found.append(Objected(Unfit.NOT_CHIEF, by.role.value))
    if chief_side and one_person(asked_by, by.person):
        found.append(Objected(Unfit.ASKED_IT, asked_by.name))
    if not chief_side and same_name(asked_by.name, by.person.name):  # by name: who asked may write another's down
        found.append(Objected(Unfit.ASKED_IT, asked_by.name))
    if other is not None and one_person(other, by.person):
        found.append(Objected(Unfit.OTHER_SIDE, other.name))
    return found
