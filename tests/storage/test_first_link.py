"""The first link of an empty database: once, for an admin who makes the others known."""

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people, sessions
from scheduler.actions.people.first_link import FIRST_ID, first_link
from scheduler.clock import system_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.database import Database


def test_an_empty_database_gives_one_link_once(db: Database) -> None:
    """It signs an admin in; the next start gives none, used or not."""
    context = Context(db, system_clock, Settings())
    token = first_link(context)
    assert token is not None
    assert first_link(context) is None
    signed = sessions.at_browser(context, people.enter(context, token))
    assert signed is not None
    assert (signed.actor.role, signed.actor.person_id) == (Role.ADMIN, FIRST_ID)


def test_where_somebody_is_known_there_is_none(db: Database) -> None:
    """Whoever set it up by commands goes on by commands or pages."""
    context = Context(db, system_clock, Settings())
    set_up = Actor("command line", "set up", Role.ADMIN)
    people.add_person(context, set_up, person_id="desk", name="Desk", rank="office", role=Role.OFFICE, vessel_id=None)
    assert first_link(context) is None
