"""People, keys, one-time links and sessions. Secrets leave here once and are stored as SHA-256."""

import hashlib
import hmac
import re
import secrets
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.domain.base.enums import Role
from scheduler.errors import Busy, Clash, NotFound, NotSignedIn, Refused, StorageFull
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.people import (
    ApiKeyRow,
    PersonRow,
    SessionRow,
    SignInLinkRow,
    end_session,
    key_row_by_prefix,
    key_rows,
    link_row,
    person_row,
    person_rows,
    signed_in,
)
from scheduler.storage.record import append_record
from scheduler.storage.vessel import vessel_row

_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_FLEETWIDE = frozenset({Role.OFFICE, Role.ADMIN})
_TOUCH = timedelta(minutes=1)


def hashed(secret: str) -> str:
    """SHA-256 of a secret, as stored. The secrets are 256 random bits, so no slow hash is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A person at a browser, and the token the forms must carry."""

    actor: Actor
    rank: str
    csrf: str


def add_person(
    context: Context, actor: Actor, *, person_id: str, name: str, rank: str, role: Role, vessel_id: str | None
) -> None:
    """Make a person known.

    Raises:
        Refused: a bad id, an empty name, a vessel missing for a shipboard role or given for the office.
        NotFound: no such vessel. Clash: the id is taken, on that vessel or by one of the installation (who acts on every vessel,
        and must not be taken for another there).
    """
    if not _ID.fullmatch(person_id):
        raise Refused(f'The person id "{person_id}" must be small letters, digits and hyphens, at most 63.')
    if not name.strip() or len(name) > 200:
        raise Refused(f"The name of {person_id} must have 1 to 200 characters.")
    _scope(role, vessel_id)
    with context.db.write(INSTALLATION) as session:
        if vessel_id is not None and vessel_row(session, vessel_id) is None:
            raise NotFound(f"There is no vessel {vessel_id}. Put its document first.")
        near = (vessel_id, INSTALLATION)
        if any(one.id == person_id and (vessel_id is None or one.vessel_id in near) for one in person_rows(session)):
            raise Clash(f"There is a person {person_id} already. Choose another id.")
        session.add(
            PersonRow(
                vessel_id=vessel_id or INSTALLATION,
                id=person_id,
                name=name,
                rank=rank,
                role=role,
                created_at=context.now(),
            )
        )
        session.flush()
        payload = {"person": person_id, "name": name, "rank": rank, "role": role.value, "by": actor.name}
        append_record(session, vessel_id or "", "person added", context.now(), payload)


def add_key(
    context: Context,
    actor: Actor,
    *,
    role: Role,
    label: str,
    vessel_id: str | None = None,
    person_id: str | None = None,
) -> str:
    """A new key, shown this once; person_id: of the vessel or of the installation.

    Raises:
        Refused: a vessel missing for a shipboard role, or several vessels have such a person. NotFound: no such vessel or person.
    """
    _scope(role, vessel_id)
    prefix, secret = secrets.token_hex(4), secrets.token_urlsafe(32)
    whole = f"ll_{prefix}_{secret}"
    with context.db.write(INSTALLATION) as session:
        if vessel_id is not None and vessel_row(session, vessel_id) is None:
            raise NotFound(f"There is no vessel {vessel_id}. Put its document first.")
        person = None if person_id is None else find_person(session, person_id, vessel_id)
        session.add(
            ApiKeyRow(
                prefix=prefix,
                sha256=hashed(whole),
                person_vessel_id=None if person is None else person.vessel_id,
                person_id=person_id,
                vessel_id=vessel_id,
                role=role,
                label=label,
                created_at=context.now(),
            )
        )
        payload = {"key": prefix, "label": label, "role": role.value, "by": actor.name}
        append_record(session, vessel_id or "", "key made", context.now(), payload)
    return whole


def revoke_key(context: Context, actor: Actor, prefix: str) -> None:
    """End a key at once. Raises NotFound when there is none with that prefix."""
    with context.db.write(INSTALLATION) as session:
        row = key_row_by_prefix(session, prefix)
        if row is None:
            raise NotFound(f"There is no key {prefix!r}. `leadline key list` shows them.")
        if row.revoked_at is None:
            row.revoked_at = context.now()
            session.add(row)
            payload = {"key": prefix, "label": row.label, "by": actor.name}
            append_record(session, row.vessel_id or "", "key revoked", context.now(), payload)


def list_keys(context: Context) -> list[ApiKeyRow]:
    """Every key, without its secret."""
    with context.db.read() as session:
        return key_rows(session)


def who_holds(context: Context, key: str) -> Actor:
    """The actor a key stands for.

    Raises:
        NotSignedIn: the key is malformed, unknown or revoked (one message for all three).
    """
    unknown = NotSignedIn("This key is not known here, or was revoked. Send `Authorization: Bearer ll_...`.")
    parts = key.split("_", 2)
    if len(parts) != 3 or parts[0] != "ll":
        raise unknown
    with context.db.read() as session:
        row = key_row_by_prefix(session, parts[1])
        person = person_row(session, row.person_vessel_id or "", row.person_id) if row and row.person_id else None
    stored = row.sha256 if row else "0" * 64
    if not hmac.compare_digest(stored, hashed(key)) or row is None or row.revoked_at is not None:
        raise unknown
    now = context.now()
    if row.last_used_at is None or now - row.last_used_at >= _TOUCH:
        with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:
            again = key_row_by_prefix(session, row.prefix)
            if again is not None:
                again.last_used_at = now
                session.add(again)
    name = f"{person.name}, {person.rank}" if person else row.label
    return Actor(
        f"key {row.prefix}", name, row.role, row.vessel_id, row.person_id, person_vessel_id=row.person_vessel_id or ""
    )


def make_link(context: Context, person_id: str, vessel_id: str | None = None) -> str:
    """A one-time sign-in token for a person, good for a while. Raises as `find_person`."""
    token = secrets.token_urlsafe(32)
    with context.db.write(INSTALLATION) as session:
        person = find_person(session, person_id, vessel_id)
        session.add(
            SignInLinkRow(
                sha256=hashed(token),
                person_vessel_id=person.vessel_id,
                person_id=person_id,
                expires_at=context.now() + timedelta(minutes=context.settings.link_minutes),
            )
        )
    return token


def enter(context: Context, token: str) -> str:
    """Use a one-time link up; the new session's secret for the cookie.

    Raises:
        NotSignedIn: unknown, used or out of date (one message for all three).
    """
    secret = secrets.token_urlsafe(32)
    now = context.now()
    with context.db.read() as session:  # a guess costs no write
        _good_link(session, token, now)
    with context.db.write(INSTALLATION) as session:
        link = _good_link(session, token, now)
        link.used_at = now
        session.add(link)
        session.add(
            SessionRow(
                sha256=hashed(secret),
                person_vessel_id=link.person_vessel_id,
                person_id=link.person_id,
                csrf=secrets.token_urlsafe(24),
                created_at=now,
                expires_at=now + timedelta(hours=context.settings.session_hours),
            )
        )
    return secret


def _good_link(session: Session, token: str, now: datetime) -> SignInLinkRow:
    link = link_row(session, hashed(token))
    if link is None or link.used_at is not None or link.expires_at <= now:
        raise NotSignedIn(
            "This sign-in link is not known, was used, or is out of date. Make a new one: `leadline key link PERSON`."
        )
    return link


def at_browser(context: Context, secret: str) -> SignedIn | None:
    """Who is signed in with that cookie, or none."""
    with context.db.read() as session:
        found = signed_in(session, hashed(secret), context.now())
    if found is None:
        return None
    kept, person = found
    return SignedIn(_actor(person), person.rank, kept.csrf)


def in_the_name_of(context: Context, person_id: str, vessel_id: str, by: str) -> Actor:
    """A person who acts on a vessel, told by someone at the server itself; the name says both. Raises NotFound."""
    with context.db.read() as session:
        person = find_person(session, person_id, vessel_id)
    return replace(_actor(person), name=f"{person.name}, {person.rank} (told by {by})", own=False)


def _actor(person: PersonRow) -> Actor:
    name = f"{person.name}, {person.rank}"
    return Actor(
        f"person {person.id}", name, person.role, person.vessel_id or None, person.id, person_vessel_id=person.vessel_id
    )


def find_person(session: Session, person_id: str, vessel_id: str | None) -> PersonRow:
    """The person with that id on a vessel or of the installation; vessel_id none: the only one anywhere.

    Raises:
        NotFound: there is none. Refused: people of several vessels have that id, and no vessel is named.
    """
    everybody = person_rows(session)
    found = [
        one
        for one in everybody
        if one.id == person_id and (vessel_id is None or one.vessel_id in (vessel_id, INSTALLATION))
    ]
    if not found:
        known = ", ".join(dict.fromkeys(one.id for one in everybody)) or "nobody yet"
        on = "" if vessel_id is None else f" on {vessel_id}"
        raise NotFound(f"There is no person {person_id}{on}. Known: {known}.")
    if len(found) > 1:
        vessels = ", ".join(one.vessel_id for one in found)
        raise Refused(f"Each of {vessels} has a person {person_id}. Name the vessel: --vessel {found[0].vessel_id}.")
    return found[0]


def leave(context: Context, secret: str) -> None:
    """Sign the browser with that cookie out."""
    with context.db.write(INSTALLATION) as session:
        end_session(session, hashed(secret))


def _scope(role: Role, vessel_id: str | None) -> None:
    if role in _FLEETWIDE and vessel_id is not None:
        raise Refused(f"The role {role.value} reaches every vessel; leave the vessel out.")
    if role not in _FLEETWIDE and vessel_id is None:
        raise Refused(f"The role {role.value} belongs to one vessel; say which.")
