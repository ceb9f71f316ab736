"""The list of people: who they are, where they are signed in; changed, withdrawn and taken back, by people who may do no less."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.people.fields import checked_name, checked_rank, fault_at
from scheduler.actions.people.people import must_manage, withdraw_key
from scheduler.actions.people.sessions import end, short_id
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.domain.people.persons import Person
from scheduler.domain.people.roles import FLEETWIDE, MANAGERS, PERSON_ROLES, may_manage
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import LANGUAGES, gettext
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.feed import address_rows
from scheduler.storage.people import (
    PersonRow,
    SessionRow,
    computer_rows,
    key_rows,
    link_rows_of,
    live_session_rows,
    person_row,
    person_rows,
)
from scheduler.storage.record import append_record, chain_kept_here


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionShown:
    """A session that is good. computer: label of the shared computer, "" for another device. mobile: on a phone or tablet."""

    id: str
    person_vessel_id: str
    person_id: str
    proof: Proof
    link_by: str
    agent: str
    computer: str
    since_at: datetime
    seen_at: datetime | None
    ends_at: datetime

    @property
    def mobile(self) -> bool:
        """Source: browsers on phones say "Mobi" (MDN, Browser detection using the user agent; from memory)."""
        return "Mobi" in self.agent


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonShown:
    """A person as the list has it. own: the one who asks. manageable: the one who asks may change this person."""

    vessel_id: str
    id: str
    name: str
    rank: str
    role: Role
    added_at: datetime
    withdrawn_at: datetime | None
    passphrase_at: datetime | None
    has_pin: bool
    language: str
    sessions: tuple[SessionShown, ...]
    own: bool
    manageable: bool


def people_shown(context: Context, actor: Actor) -> list[PersonShown]:
    """Everybody the actor can meet: of the actor's vessel and of the installation, or of all; by vessel, then rank of role and name.
    Sessions are those of oneself and of people the actor manages."""
    now = context.now()
    with context.db.read() as session:
        rows = [one for one in person_rows(session) if actor.vessel_id in (None, one.vessel_id) or not one.vessel_id]
        live = live_session_rows(session, now)
        labels = {
            one.id: one.label for vessel in {row.vessel_id for row in rows} for one in computer_rows(session, vessel)
        }
    return sorted((_person_shown(actor, row, live, labels) for row in rows), key=_order)


def _order(one: PersonShown) -> tuple[bool, str, int, str, str]:
    return (
        one.withdrawn_at is not None,
        one.vessel_id or "~",
        -PERSON_ROLES.index(one.role),
        one.name.casefold(),
        one.id,
    )


def _person_shown(actor: Actor, row: PersonRow, live: list[SessionRow], labels: dict[str, str]) -> PersonShown:
    own = (row.vessel_id, row.id) == (actor.person_vessel_id, actor.person_id)
    manageable = may_manage(actor.role, row.role) and actor.vessel_id in (None, row.vessel_id)
    mine = [one for one in live if (one.person_vessel_id, one.person_id) == (row.vessel_id, row.id)]
    return PersonShown(
        vessel_id=row.vessel_id,
        id=row.id,
        name=row.name,
        rank=row.rank,
        role=row.role,
        added_at=row.created_at,
        withdrawn_at=row.withdrawn_at,
        passphrase_at=row.passphrase_at,
        has_pin=row.pin is not None,
        language=row.language,
        sessions=tuple(_session_shown(one, labels) for one in mine) if own or manageable else (),
        own=own,
        manageable=manageable,
    )


def _session_shown(row: SessionRow, labels: dict[str, str]) -> SessionShown:
    return SessionShown(
        id=short_id(row),
        person_vessel_id=row.person_vessel_id,
        person_id=row.person_id,
        proof=Proof(row.proof),
        link_by=row.link_by,
        agent=row.agent,
        computer=labels.get(row.computer_id or "", ""),
        since_at=row.created_at,
        seen_at=row.seen_at,
        ends_at=row.expires_at,
    )


def vessel_of_person(context: Context, actor: Actor, person_id: str, vessel_id: str | None = None) -> str:
    """The vessel ("": the installation) of the person with that id whom the actor can meet; vessel_id: of which vessel, if said.

    Raises:
        NotFound: there is none. Refused: several vessels have one, and none is said.
    """
    found = [
        one.vessel_id
        for one in people_shown(context, actor)
        if one.id == person_id and vessel_id in (None, one.vessel_id)
    ]
    if not found:
        raise NotFound(
            gettext(
                "There is no person {person_id} here. The list of people has their ids.",
                person_id=f"{person_id[:80]!r}",
            )
        )
    if len(found) > 1:
        raise Refused(
            gettext(
                "Each of {found} has a person {person_id}. Say which vessel.",
                found=", ".join(found),
                person_id=person_id,
            )
        )
    return found[0]


def change_person(
    context: Context,
    hand: Hand,
    vessel_id: str,
    person_id: str,
    *,
    name: str,
    rank: str,
    role: Role,
    language: str | None = None,
) -> Answer:
    """Change name, rank and role, on record with what they were. vessel_id: "" for one of the installation. language: of the pages,
    none: as it is.

    Raises:
        NotFound: no such person within reach. NotAllowed: a role, before or after, beyond the actor's own.
        Refused: a bad name or rank; a role of the other kind (of a ship, of the installation). Clash: nobody could manage people then.
    """
    name, rank = checked_name(name), checked_rank(rank)
    if language is not None:
        _must_be_spoken(language)
    if role not in PERSON_ROLES or (role in FLEETWIDE) is not (vessel_id == INSTALLATION):
        where = (
            gettext("of the whole installation: office or admin")
            if vessel_id == INSTALLATION
            else gettext("of one ship: engineer, chief, hotel, chief officer or master")
        )
        raise fault_at(
            "role",
            gettext(
                "This person is {where}. For another kind of role make a new person and withdraw this one.", where=where
            ),
        )

    def act(session: Session) -> Answer:
        row = _managed(session, hand.actor, vessel_id, person_id, f"change {person_id}")
        must_manage(hand.actor, vessel_id, role, gettext("make somebody {role}", role=gettext(role.value)))
        if row.role in MANAGERS and role not in MANAGERS:
            _somebody_manages(session, row)
        was = {"name": row.name, "rank": row.rank, "role": row.role.value}
        row.name, row.rank, row.role = name, rank, role
        now_is = {"name": name, "rank": rank, "role": role.value}
        if language not in (None, row.language):
            row.language = str(language)
            session.add(row)
        if was != now_is:
            session.add(row)
            payload = {"person": person_id, "was": was, "is": now_is, "by": hand.actor.name}
            append_record(session, chain_kept_here(session, vessel_id), "person changed", context.now(), payload)
        return Answer(200, {"person": person_id, **now_is})

    return hand_action(context, hand, INSTALLATION, act, needs_key=False)  # twice is as once


def choose_language(context: Context, actor: Actor, code: str) -> None:
    """From now on pages are shown to this person in that language. Raises Refused for one that is not spoken, NotFound where nobody
    who signs in is behind the actor."""
    _must_be_spoken(code)
    with context.db.write(INSTALLATION) as session:
        row = person_row(session, actor.person_vessel_id, actor.person_id or "")
        if row is None:
            raise NotFound(gettext("No person is behind this sign-in. Sign in at a browser and choose there."))
        row.language = code
        session.add(row)


def _must_be_spoken(code: str) -> None:
    if code not in LANGUAGES:
        said = ", ".join(f"{known} ({name})" for known, name in LANGUAGES.items())
        raise fault_at(
            "language",
            gettext("{code} is no language of the pages. Choose one of {said}.", code=f"{code[:20]!r}", said=said),
        )


def withdraw_person(
    context: Context,
    hand: Hand,
    vessel_id: str,
    person_id: str,
    look: Callable[[Session, Person], Mapping[str, object]] = lambda *_: {},
) -> Answer:
    """From now on this person signs in nowhere: sessions end, keys, calendar addresses and links are good no more, passphrase and PIN
    are forgotten. What the person did stays on record under the name, and the id is nobody else's. Withdrawn already: nothing happens.

    Args:
        look: at what the person leaves behind; raises where that forbids it, and gives what the answer says of it.

    Raises:
        NotFound, NotAllowed: as `change_person`. Clash: nobody could manage people then.
    """

    def act(session: Session) -> Answer:
        row, now = _managed(session, hand.actor, vessel_id, person_id, f"withdraw {person_id}"), context.now()
        if row.withdrawn_at is None:
            if row.role in MANAGERS:
                _somebody_manages(session, row)
            left = look(session, Person(row.id, row.name))
            _forget(session, row, now, hand.actor)
            append_record(
                session,
                chain_kept_here(session, vessel_id),
                "person withdrawn",
                now,
                {"person": person_id, "by": hand.actor.name},
            )
            return Answer(200, {"person": person_id, **left})
        return Answer(200, {"person": person_id})

    return hand_action(context, hand, INSTALLATION, act)


def _forget(session: Session, row: PersonRow, now: datetime, actor: Actor) -> None:
    row.withdrawn_at, row.passphrase, row.passphrase_at, row.pin = now, None, None, None
    session.add(row)
    mine = (row.vessel_id, row.id)
    for one in live_session_rows(session, now):
        if (one.person_vessel_id, one.person_id) == mine:
            end(session, one, now, actor.name)
    for key in key_rows(session):
        if (key.person_vessel_id, key.person_id) == mine and key.revoked_at is None:
            withdraw_key(session, key, now, actor)
    for link in link_rows_of(session, *mine):
        link.used_at = now
        session.add(link)
    for address in address_rows(session, row.id, row.vessel_id):
        if address.revoked_at is None:
            address.revoked_at = now
            session.add(address)
            payload = {"address": address.id, "person": row.id, "by": actor.name}
            append_record(
                session, chain_kept_here(session, address.vessel_id or ""), "feed address withdrawn", now, payload
            )


def take_back(context: Context, hand: Hand, vessel_id: str, person_id: str) -> Answer:
    """Somebody who was withdrawn is aboard again, under the same id, with nothing to sign in by yet. Raises as `change_person`."""

    def act(session: Session) -> Answer:
        row = _managed(session, hand.actor, vessel_id, person_id, f"take {person_id} back")
        if row.withdrawn_at is not None:
            row.withdrawn_at = None
            session.add(row)
            append_record(
                session,
                chain_kept_here(session, vessel_id),
                "person taken back",
                context.now(),
                {"person": person_id, "by": hand.actor.name},
            )
        return Answer(200, {"person": person_id})

    return hand_action(context, hand, INSTALLATION, act)


def end_session(context: Context, actor: Actor, session_id: str) -> None:
    """End one of the actor's own sessions, or one of people the actor manages, on record. Raises NotFound."""
    now = context.now()
    with context.db.write(INSTALLATION) as session:
        row = next((one for one in live_session_rows(session, now) if short_id(one) == session_id), None)
        person = None if row is None else person_row(session, row.person_vessel_id, row.person_id)
        own = person is not None and (person.vessel_id, person.id) == (actor.person_vessel_id, actor.person_id)
        reached = (
            person is not None and actor.vessel_id in (None, person.vessel_id) and may_manage(actor.role, person.role)
        )
        if row is None or not (own or reached):
            raise NotFound(
                gettext(
                    "There is no session {session_id} here. It may have ended already.",
                    session_id=f"{session_id[:40]!r}",
                )
            )
        end(session, row, now, actor.name)


def _managed(session: Session, actor: Actor, vessel_id: str, person_id: str, what: str) -> PersonRow:
    row = person_row(session, vessel_id, person_id)
    actor.must_reach(vessel_id, "person")
    if row is None:
        raise NotFound(
            gettext(
                "There is no person {person_id} here. The list of people has their ids.",
                person_id=f"{person_id[:80]!r}",
            )
        )
    must_manage(actor, vessel_id, row.role, what)
    return row


def _somebody_manages(session: Session, leaver: PersonRow) -> None:
    """Raises Clash unless somebody else could still sign people in on that vessel."""
    for one in person_rows(session):
        other = (one.vessel_id, one.id) != (leaver.vessel_id, leaver.id) and one.withdrawn_at is None
        if other and one.role in MANAGERS and one.vessel_id in (leaver.vessel_id, INSTALLATION):
            return
    raise Clash(
        gettext(
            "{name} is the last who can sign anybody in. Make somebody else {role} first.",
            name=leaver.name,
            role=gettext(leaver.role.value),
        )
    )
