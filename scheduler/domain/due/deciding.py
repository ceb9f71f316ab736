"""Who may decide: never the person who asked, and only who has the office for it. Facts; words are made elsewhere.

What the chief engineer asks for himself is decided by the office, or by the master while the link is down.
"""

from enum import StrEnum
from typing import NamedTuple

from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person, one_person
from scheduler.domain.vessel.job_kinds import JobKind

DECIDES = frozenset({Role.CHIEF, Role.OFFICE, Role.MASTER})
"""Who decides postponements and signs on the chief engineer's side; each as the role says."""


class Unfit(StrEnum):
    """Why somebody does not decide this."""

    ASKED_IT = "asked for it"
    OTHER_SIDE = "signed for the other side"
    NOT_CHIEF = "does not sign as chief"
    NOT_SECOND = "does not sign second"
    NOT_DECIDER = "does not decide"
    OFFICE_ALONE = "critical: the office decides"
    CLASS_ITEM = "class item"


class Objected(NamedTuple):
    """A reason with the names it is about."""

    code: Unfit
    name: str = ""


class Decider(NamedTuple):
    """Who decides, and as what."""

    person: Person
    role: Role


def decision_objections(
    kind: JobKind, *, asked_by: Person, decider: Decider, granted: bool, class_agreed: str
) -> list[Objected]:
    """What stands against this person deciding a postponement so; empty when nothing does."""
    found = []
    if one_person(asked_by, decider.person):
        found.append(Objected(Unfit.ASKED_IT, asked_by.name))
    if decider.role not in DECIDES:
        found.append(Objected(Unfit.NOT_DECIDER))
    elif kind.critical and decider.role is Role.CHIEF:
        found.append(Objected(Unfit.OFFICE_ALONE, kind.name))
    if granted and kind.class_item and not class_agreed.strip():
        found.append(Objected(Unfit.CLASS_ITEM, kind.name))
    return found


def signing_objections(*, second_as: str | None, by: Decider, asked_by: Person, other: Person | None) -> list[Objected]:
    """What stands against this signature under a lower minimum; empty when nothing does.

    Args:
        second_as: as what the second signer signs (hotel, chief officer or master); none: the chief engineer's side is signed.
        other: who signed the other side, none while nobody has.
    """
    found = []
    if second_as is None and by.role not in DECIDES:
        found.append(Objected(Unfit.NOT_CHIEF, by.role.value))
    if second_as is not None and by.role is not Role(second_as):
        found.append(Objected(Unfit.NOT_SECOND, second_as))
    if one_person(asked_by, by.person):
        found.append(Objected(Unfit.ASKED_IT, asked_by.name))
    if other is not None and one_person(other, by.person):
        found.append(Objected(Unfit.OTHER_SIDE, other.name))
    return found
