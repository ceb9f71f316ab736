"""The one link that an empty database's first server prints, so that somebody can begin."""

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import INSTALLATION
from scheduler.storage.people import person_rows

FIRST_ID = "first"
_DONE = "first link"


def first_link(context: Context) -> str | None:
    """A one-time sign-in token of an admin made for it, where nobody is known and none was ever made; else none. Whoever uses it
    makes the people known, and then gives that admin a name or withdraws it."""
    with context.db.write(INSTALLATION) as session:
        if remembered(session, _DONE) or person_rows(session):
            return None
        remember(session, _DONE, context.now().isoformat())
    server = Actor("server", "first start", Role.ADMIN)
    people.add_person(
        context,
        server,
        person_id=FIRST_ID,
        name="First sign-in",
        rank="sets Leadline up",
        role=Role.ADMIN,
        vessel_id=None,
    )
    return people.make_link(context, FIRST_ID)
