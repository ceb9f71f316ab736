"""What takes a person, and what takes two: nobody asks, decides or signs but a person, as what that person is."""

from dataclasses import dataclass

from scheduler.actions.base.actor import Actor, maker_of, person_of
from scheduler.actions.base.context import Context
from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person, of_a_person, one_person
from scheduler.errors import NotAllowed
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.people import VouchedRow, vouched_row

ASKS = frozenset({Role.ENGINEER, Role.CHIEF, Role.OFFICE, Role.ADMIN})
"""Roles that ask for what another person decides or signs."""
AUTHORITY = frozenset({Role.CHIEF, Role.OFFICE})
"""Roles that decide what an engineer may only ask for."""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of what takes two, as stored. act: what was done, unique in the vessel, such as "concession 3 asked"."""

    vessel_id: str
    act: str
    by: Person


def person_acting(context: Context, actor: Actor, roles: frozenset[Role], what: str) -> Person:
    """The person who asks, decides or signs.

    Args:
        what: a verb and its object, such as "sign a handover note".

    Raises:
        NotAllowed: nobody is known to be acting (a key that belongs to no person, the command line, a timer), somebody known by a
            PIN alone, or the person's role is not among `roles`.
    """
    if actor.person_id is None:
        raise NotAllowed(
            _(
                "It takes a person to {what}: in the own sign-in on a page, or with a key that is "
                "the person's own. {name} is no person known here.",
                what=what,
                name=actor.name,
            )
        )
    actor.must_sign_as_self(context.now())
    actor.must_be(roles, what)
    return person_of(actor)


def remember_side(session: Session, vessel_id: str, act: str, actor: Actor) -> None:
    """Keep who answers for that actor's act, where it is another than the actor. Part of the transaction that stores the act."""
    maker = maker_of(actor)
    row = vouched_row(session, vessel_id, act)
    if of_a_person(maker) and maker.id != actor.person_id:
        row = row or VouchedRow(vessel_id=vessel_id, act=act, maker_id="", maker="")
        row.maker_id, row.maker = maker.id, maker.name
        session.add(row)
    elif row is not None:
        session.delete(row)


def must_be_another(context: Context, session: Session, first: Side, actor: Actor, says: str) -> None:
    """Sees to it that who acts is another person than the one who asked, said, did or signed the other side, and that neither came by
    a link or key that the other made.

    Args:
        says: why it takes another person, a sentence.

    Raises:
        NotAllowed: it is the same person, or may be.
    """
    if not of_a_person(first.by):
        raise NotAllowed(
            _(
                "Nobody knows which person {name} was, so nobody can be another. Have it taken back, "
                "and asked for anew by a person in the own sign-in or with the own key.",
                name=first.by.name or "that",
            )
        )
    if one_person(first.by, person_of(actor)):
        raise NotAllowed(says)
    actor.must_sign_as_self(context.now(), first.by)
    vouched = vouched_row(session, first.vessel_id, first.act)
    maker = None if vouched is None else Person(vouched.maker_id, vouched.maker)
    if maker is not None and (one_person(maker, person_of(actor)) or one_person(maker, maker_of(actor))):
        raise NotAllowed(
            _(
                "{name} did the first half by a link or key that you made, so this would be one "
                "person's word. Another person does it, or the first half is done anew after giving "
                "an own passphrase.",
                name=first.by.name,
            )
        )
