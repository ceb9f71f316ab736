"""Who is acting: a person, a key, a timer or the command line."""

from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import (
    AgainstSigning,
    Authentication,
    Proof,
    against_second_side,
    against_signing,
)
from scheduler.domain.people.persons import Person
from scheduler.errors import NotAllowed, NotFound
from scheduler.language import gettext, marked


@dataclass(frozen=True, slots=True)
class Actor:
    """The one who acts. vessel_id none: reaches every vessel (office, admin).

    person_id, person_vessel_id: the person behind a sign-in or a key; the latter is empty for one of the installation.
    authentication: how the person was known; none for programs, timers and the server's own command line.
    """

    id: str
    name: str
    role: Role
    vessel_id: str | None = None
    person_id: str | None = None
    person_vessel_id: str = ""
    authentication: Authentication | None = None

    def must_reach(self, vessel_id: str, what: str) -> None:
        """Raises NotFound when `vessel_id` is not this actor's: a foreign thing looks like no thing."""
        if self.vessel_id is not None and self.vessel_id != vessel_id:
            raise NotFound(
                gettext("There is no {what} here. Check the id, and that your key belongs to that vessel.", what=what)
            )

    def must_be(self, roles: frozenset[Role], what: str) -> None:
        """Raises NotAllowed when the role is not among `roles`. what: a verb and its object, such as "post readings"."""
        if self.role not in roles:
            *others, last = (gettext(role) for role in sorted(role.value for role in roles))
            needed = gettext("{roles} or {last}", roles=", ".join(others), last=last) if others else last
            anew = ""
            if self.authentication is not None and self.authentication.proof is Proof.PIN:
                anew = gettext(
                    " By the PIN of a shared computer everybody records work only: sign in with your passphrase."
                )
            says = gettext("The role {role} may not {what}. It takes the role {needed}.{anew}")
            raise NotAllowed(says.format(role=gettext(self.role.value), what=what, needed=needed, anew=anew))

    def must_sign_as_self(self, now: datetime, first: Person | None = None) -> None:
        """Raises NotAllowed when this sign-in is not good for deciding or signing (by PIN), or not for the other side of what `first`
        asked for or signed: by a link or key that person made, or on a device both use without the own passphrase given anew.
        """
        by = self.authentication
        found = against_signing(by) if first is None else against_second_side(first, by, now)
        if found is not None:
            raise NotAllowed(gettext(_AGAINST_SIGNING[found]))


_AGAINST_SIGNING = {
    AgainstSigning.BY_PIN: marked(
        "By the PIN of a shared computer you may record work, but not decide or sign. "
        "Sign in with your passphrase and do it again."
    ),
    AgainstSigning.MADE_BY_OTHER_SIDE: marked(
        "The link or key you came by was made for you by the other side, so this would be one "
        "person's word. Sign in on a page, set or give a passphrase of your own, which nobody else knows, and sign again."
    ),
    AgainstSigning.SHARED_DEVICE: marked(
        "The other side uses this device too. Give your own passphrase anew, and sign within 5 minutes."
    ),
}


def person_of(actor: Actor) -> Person:
    """Who it is, to be told apart from another: the person behind a key or a sign-in, else the key itself."""
    return Person(actor.person_id or actor.id, actor.name)


def maker_of(actor: Actor) -> Person:
    """Who answers for a link or key that this actor makes: whoever made the link or key they came by, unless they proved by their own
    passphrase who they are."""
    by = actor.authentication
    return by.maker if by is not None and by.maker is not None and by.proved_at is None else person_of(actor)
