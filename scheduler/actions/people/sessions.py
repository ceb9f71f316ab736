"""Sessions: opened, seen, ended; who is behind one and how they showed it."""

import hashlib
import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.domain.people.authentication import Authentication, Proof
from scheduler.domain.people.persons import Person
from scheduler.domain.people.roles import MACHINES, role_by_key, working_role
from scheduler.errors import Busy, StorageFull
from scheduler.language import ENGLISH
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.people import (
    ApiKeyRow,
    PersonRow,
    SessionRow,
    forget_sessions,
    people_on_device,
    session_row,
    signed_in,
)
from scheduler.storage.record import append_record, chain_kept_here

PIN_MINUTES = 10
"""Minutes after which a shared computer that nobody touches goes back to looking only."""
_SEEN, _SEEN_BY_PIN = timedelta(minutes=15), timedelta(minutes=1)
ENDED_STAYS = timedelta(days=30)
"""How long a session that is over is remembered, to know who shared a device."""


def hashed(secret: str) -> str:
    """SHA-256 of a secret, as stored. The secrets are 256 random bits, so no slow hash is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Browser:
    """What somebody signs in with. device: secret of its own cookie, "" without one. agent: as it calls itself. computer_id: the
    shared computer it is."""

    device: str = ""
    agent: str = ""
    computer_id: str | None = None


NO_BROWSER = Browser()


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A person at a browser, and the token the forms must carry. session_id: as `sessions` lists it. language: of the pages."""

    actor: Actor
    rank: str
    csrf: str
    session_id: str = ""
    language: str = ENGLISH


def short_id(row: SessionRow) -> str:
    """By what a session is named in lists and on record; its secret does not follow from it."""
    return row.sha256[:12]


def open_session(
    session: Session, context: Context, person: PersonRow, proof: Proof, browser: Browser, maker: Person | None = None
) -> str:
    """A new session of a person, on record; its secret for the cookie. maker: who made the link."""
    secret, now = secrets.token_urlsafe(32), context.now()
    by_pin = proof is Proof.PIN
    lasts = timedelta(minutes=PIN_MINUTES) if by_pin else timedelta(hours=context.settings.session_hours)
    forget_sessions(session, now - ENDED_STAYS)
    row = SessionRow(
        sha256=hashed(secret),
        person_vessel_id=person.vessel_id,
        person_id=person.id,
        csrf=secrets.token_urlsafe(24),
        created_at=now,
        expires_at=now + lasts,
        proof=proof.value,
        proved_at=now if proof is Proof.PASSPHRASE else None,
        link_by_id=None if maker is None else maker.id,
        link_by="" if maker is None else maker.name,
        device=hashed(browser.device) if browser.device else "",
        agent=browser.agent[:200],
        computer_id=browser.computer_id,
        seen_at=now,
    )
    session.add(row)
    session.flush()
    payload = {"person": person.id, "session": short_id(row), "by": proof.value, "link_by": row.link_by or None}
    if browser.computer_id:
        payload["computer"] = browser.computer_id
    append_record(session, chain_kept_here(session, person.vessel_id), "signed in", now, payload)
    return secret


def at_browser(context: Context, secret: str) -> SignedIn | None:
    """Who is signed in with that cookie, or none; notes now and then that the session was seen."""
    now, sha256 = context.now(), hashed(secret)
    with context.db.read() as session:
        found = signed_in(session, sha256, now)
        if found is None:
            return None
        row, person = found
        others = people_on_device(session, row.device, now - ENDED_STAYS) if row.device else []
    authentication = _authentication(row, person, others)
    by_pin = authentication.proof is Proof.PIN
    if row.seen_at is None or now - row.seen_at >= (_SEEN_BY_PIN if by_pin else _SEEN):
        with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:
            again = session_row(session, row.sha256)
            if again is not None and again.ended_at is None:
                again.seen_at = now
                again.expires_at = now + timedelta(minutes=PIN_MINUTES) if by_pin else again.expires_at
                session.add(again)
    return SignedIn(person_actor(person, authentication), person.rank, row.csrf, short_id(row), person.language)


def _authentication(row: SessionRow, person: PersonRow, others: Sequence[PersonRow]) -> Authentication:
    return Authentication(
        Proof(row.proof),
        row.proved_at,
        None if row.link_by_id is None else Person(row.link_by_id, row.link_by),
        tuple(
            Person(other.id, shown_name(other))
            for other in others
            if (other.vessel_id, other.id) != (person.vessel_id, person.id)
        ),
    )


def key_actor(row: ApiKeyRow, person: PersonRow | None) -> Actor | None:
    """The actor a key stands for: with a person's key that person, doing no more than the person may; none where its role does not go
    with the person's any more."""
    own = f"key {row.prefix}"
    if person is None or row.role in MACHINES:
        return Actor(own, row.label, row.role, row.vessel_id)
    role = role_by_key(row.role, person.role)
    if role is None:
        return None
    maker = None if row.made_by_id in (None, person.id) else Person(str(row.made_by_id), row.made_by)
    return Actor(
        own,
        shown_name(person),
        role,
        person.vessel_id or row.vessel_id,
        person.id,
        person_vessel_id=person.vessel_id,
        authentication=Authentication(Proof.KEY, None, maker),
    )


def shown_name(person: PersonRow) -> str:
    """Name and rank, as they stand on record."""
    return f"{person.name}, {person.rank}"


def person_actor(person: PersonRow, authentication: Authentication | None = None) -> Actor:
    """A person who acts. By a PIN everybody records work and no more."""
    by_pin = authentication is not None and authentication.proof is Proof.PIN
    return Actor(
        f"person {person.id}",
        shown_name(person),
        working_role(person.role) if by_pin else person.role,
        person.vessel_id or None,
        person.id,
        person_vessel_id=person.vessel_id,
        authentication=authentication,
    )


def leave(context: Context, secret: str) -> None:
    """Sign the browser with that cookie out, on record."""
    now = context.now()
    with context.db.write(INSTALLATION) as session:
        found = signed_in(session, hashed(secret), now)
        if found is not None:
            end(session, found[0], now)


def end(session: Session, row: SessionRow, now: datetime, by: str | None = None) -> None:
    """End a session, on record. by: the name of another who ended it."""
    row.ended_at = now
    session.add(row)
    payload = {"person": row.person_id, "session": short_id(row)} | ({} if by is None else {"by": by})
    append_record(
        session,
        chain_kept_here(session, row.person_vessel_id),
        "signed out" if by is None else "session ended",
        now,
        payload,
    )
