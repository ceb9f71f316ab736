"""Who is acting: a person, a key, a timer or the command line."""

from dataclasses import dataclass

from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person
from scheduler.errors import NotAllowed, NotFound


@dataclass(frozen=True, slots=True)
class Actor:
    """The one who acts. vessel_id none: reaches every vessel (office, admin).

    person_id, person_vessel_id: the person behind a sign-in or a key; the latter is empty for one of the installation.
    own: acts in the own sign-in or with the own key; false where somebody else typed in that person's name.
    """

    id: str
    name: str
    role: Role
    vessel_id: str | None = None
    person_id: str | None = None
    own: bool = True
    person_vessel_id: str = ""

    def must_reach(self, vessel_id: str, what: str) -> None:
        """Raises NotFound when `vessel_id` is not this actor's: a foreign thing looks like no thing."""
        if self.vessel_id is not None and self.vessel_id != vessel_id:
            raise NotFound(f"There is no {what} here. Check the id, and that your key belongs to that vessel.")

    def must_be(self, roles: frozenset[Role], what: str) -> None:
        """Raises NotAllowed when the role is not among `roles`. what: a verb and its object, such as "post readings"."""
        if self.role not in roles:
            *others, last = sorted(role.value for role in roles)
            needed = f"{', '.join(others)} or {last}" if others else last
            raise NotAllowed(f"The role {self.role.value} may not {what}. It takes the role {needed}.")


def person_of(actor: Actor) -> Person:
    """Who it is, to be told apart from another: the person behind a key or a sign-in, else the key itself."""
    return Person(actor.person_id or actor.id, actor.name)


AUTHORITY = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})
"""Roles that decide what an engineer may only ask for."""
