"""People, keys, one-time links and who comes by them. Secrets leave here once and are stored as hashes."""

import hmac
import re
import secrets
from contextlib import suppress
from datetime import datetime, timedelta

from scheduler.actions.base.actor import Actor, maker_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, make_once
from scheduler.actions.people.fields import checked_name, checked_rank, fault_at
from scheduler.actions.people.sessions import NO_BROWSER, Browser, hashed, key_actor, open_session
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.domain.people.persons import Person
from scheduler.domain.people.roles import FLEETWIDE, MACHINES, PERSON_ROLES, may_manage, role_by_key
from scheduler.errors import Busy, Clash, NotAllowed, NotFound, NotSignedIn, Refused, StorageFull
from scheduler.language import gettext as _
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.people import (
    ApiKeyRow,
    PersonRow,
    SignInLinkRow,
    chain_of_key,
    good_ship_keys,
    key_row_by_prefix,
    link_row,
    person_row,
    person_rows,
)
from scheduler.storage.record import append_record, chain_kept_here
from scheduler.storage.vessel import vessel_row

KEY_DAYS = 3650
"""Most days a key may be good for."""
PERSON_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_TOUCH = timedelta(minutes=1)


def must_manage(actor: Actor, vessel_id: str, role: Role, what: str) -> None:
    """Raises NotFound when people of that vessel ("": of the installation) are out of the actor's reach, NotAllowed when the actor may
    not manage people of that role. what: such as "make a chief known"."""
    actor.must_reach(vessel_id, "person")
    if not may_manage(actor.role, role):
        raise NotAllowed(
            _(
                "The role {role} may not {what}. People are managed by a chief aboard, the office "
                "or an admin, and by nobody who may do less than they.",
                role=_(actor.role.value),
                what=what,
            )
        )


def add_person(
    context: Context,
    by: Actor | Hand,
    *,
    person_id: str,
    name: str,
    rank: str,
    role: Role,
    vessel_id: str | None,
) -> None:
    """Make a person known. by: who does it; as a hand action it is done once under its key.

    Raises:
        Refused: a bad id, name or rank, a vessel missing for a shipboard role or given for the office. NotAllowed: as `must_manage`.
        NotFound: no such vessel. Clash: the id is taken, on that vessel or by one of the installation (who acts on every vessel,
        and must not be taken for another there).
    """
    hand = by if isinstance(by, Hand) else Hand(by, None, {})
    if role not in PERSON_ROLES:
        raise fault_at("role", "A counter is no person. Make it a key.")
    name, rank = checked_name(name), checked_rank(rank)
    if not PERSON_ID.fullmatch(person_id):
        raise fault_at("id", f'The person id "{person_id:.80}" must be small letters, digits and hyphens, at most 63.')
    _scope(role, vessel_id)
    must_manage(
        hand.actor, vessel_id or INSTALLATION, role, _("make a person with the role {role} known", role=_(role.value))
    )

    def act(session: Session) -> Answer:
        if vessel_id is not None and vessel_row(session, vessel_id) is None:
            raise NotFound(f"There is no vessel {vessel_id}. Put its document first.")
        near = (vessel_id, INSTALLATION)
        if any(one.id == person_id and (vessel_id is None or one.vessel_id in near) for one in person_rows(session)):
            raise Clash(f"There is a person {person_id} already. Choose another id.")
        where = vessel_id or INSTALLATION
        session.add(PersonRow(vessel_id=where, id=person_id, name=name, rank=rank, role=role, created_at=context.now()))
        session.flush()
        payload = {"person": person_id, "name": name, "rank": rank, "role": role.value, "by": hand.actor.name}
        append_record(session, chain_kept_here(session, where), "person added", context.now(), payload)
        return Answer(201, {"person": person_id})

    hand_action(context, hand, INSTALLATION, act, needs_key=isinstance(by, Hand))


def add_key(
    context: Context,
    actor: Actor,
    *,
    role: Role,
    label: str,
    vessel_id: str | None = None,
    person_id: str | None = None,
    days: int | None = None,
    once: Hand | None = None,
) -> str:
    """A new key, shown this once; person_id: of the vessel or of the installation, none for a counter's alone. days: how long it is
    good; none: until withdrawn. once: under which Idempotency-Key it is made once.

    Raises:
        Refused: a vessel missing for a shipboard role, several vessels have such a person, a bad label or number of days, a role
        beyond the person's, a counter key of a person, any other of nobody. NotFound: no such vessel or person.
        NotAllowed: another's, as `must_manage`.
    """
    _scope(role, vessel_id)
    label = " ".join(label.split())
    if not label or len(label) > 100:
        raise fault_at(
            "label", f"The label has {len(label)} characters; 1 to 100 are expected, such as engine room gateway."
        )
    if days is not None and not 1 <= days <= KEY_DAYS:
        raise fault_at("days", f"A key cannot be good for {days} days; 1 to {KEY_DAYS} are expected.")
    with context.db.write(INSTALLATION) as session:
        if role is not Role.SHIP and vessel_id is not None and vessel_row(session, vessel_id) is None:
            raise NotFound(f"There is no vessel {vessel_id}. Put its document first.")
        person = None if person_id is None else find_person(session, person_id, vessel_id)
        _fits(person, role)
        must_manage_key(actor, person, vessel_id, role)
        if role is Role.SHIP:
            _may_have_ship_key(session, str(vessel_id), context.now())
        maker = maker_of(actor)
        prefix, whole = new_key()
        make_once(session, once, context.now(), f"key {prefix}")
        row = ApiKeyRow(
            prefix=prefix,
            sha256=hashed(whole),
            person_vessel_id=None if person is None else person.vessel_id,
            person_id=person_id,
            vessel_id=vessel_id,
            role=role,
            label=label,
            created_at=context.now(),
            expires_at=None if days is None else context.now() + timedelta(days=days),
            made_by_id=maker.id,
            made_by=maker.name,
        )
        session.add(row)
        record_key(session, row, "key made", context.now(), actor)
    return whole


def _fits(person: PersonRow | None, role: Role) -> None:
    """Raises Refused unless a key of that role may be that person's: a counter's is nobody's, any other somebody's."""
    if person is None and role not in MACHINES:
        raise fault_at("person", f"A key with the role {role.value} belongs to a person: say whose it is.")
    if person is not None and (role in MACHINES or role_by_key(role, person.role) is not role):
        says = f"A {role.value}'s key is nobody's" if role in MACHINES else f"{person.name} is {person.role.value}"
        raise fault_at("role", f"{says}, so there is no key with the role {role.value} for them.")


def _may_have_ship_key(session: Session, vessel_id: str, now: datetime) -> None:
    """A ship that is not here yet may have one: what she sends brings her. Raises Refused for no id, Clash where two are good."""
    if not PERSON_ID.fullmatch(vessel_id):
        raise fault_at(
            "vessel", f"{vessel_id[:70]!r} is no vessel id: it is made of small letters, digits and hyphens."
        )
    good = good_ship_keys(session, vessel_id, now)
    if len(good) >= 2:
        raise Clash(f"Two keys of this ship are good already: {' and '.join(good)}. Withdraw one of them first.")


def give_key(context: Context, actor: Actor, prefix: str, person_id: str) -> None:
    """Say whose a key is that was made before keys belonged to people: from now on that person decides and signs with it.

    Raises:
        NotFound: no such key, or no such person of its vessel or the installation. Clash: it is somebody's already, or withdrawn.
        Refused: it is a counter's, or its role is not the person's. NotAllowed: as `must_manage`.
    """
    with context.db.write(INSTALLATION) as session:
        row, now = key_of(session, actor, prefix), context.now()
        if row.person_id is not None or not is_good(row, now):
            raise Clash(f"The key {prefix} is no longer good, or belongs to a person already. Make a new one.")
        person = find_person(session, person_id, row.vessel_id or INSTALLATION)
        _fits(person, row.role)
        must_manage_key(actor, person, row.vessel_id, row.role)
        maker = maker_of(actor)
        row.person_vessel_id, row.person_id = person.vessel_id, person.id
        row.made_by_id, row.made_by = maker.id, maker.name
        record_key(session, row, "key given to a person", now, actor)
        session.add(row)


def new_key() -> tuple[str, str]:
    """The prefix of a new key, and the whole."""
    prefix = secrets.token_hex(4)
    return prefix, f"ll_{prefix}_{secrets.token_urlsafe(32)}"


def is_good(row: ApiKeyRow, now: datetime) -> bool:
    """Whether the key opens anything at that instant."""
    return row.revoked_at is None and (row.expires_at is None or now < row.expires_at)


def must_manage_key(actor: Actor, person: PersonRow | None, vessel_id: str | None, role: Role) -> None:
    """The own key, or a key of people or counters that the actor manages."""
    if person is not None and (person.vessel_id, person.id) == (actor.person_vessel_id, actor.person_id):
        return
    if role is Role.SHIP:
        if actor.role not in FLEETWIDE:
            raise NotAllowed(_("A ship's key is made and withdrawn by the office or an admin."))
        return
    whose = Role.ENGINEER if role is Role.COUNTER else role if person is None else person.role
    where = (vessel_id or INSTALLATION) if person is None else person.vessel_id
    must_manage(actor, where, whose, f"manage a key with the role {role.value}")


def key_of(session: Session, actor: Actor, prefix: str) -> ApiKeyRow:
    """Raises NotFound unless there is such a key, and it is the actor's own or one that the actor manages."""
    row = key_row_by_prefix(session, prefix)
    unknown = NotFound(
        _("There is no key {prefix} here. The list of keys shows their first letters.", prefix=f"{prefix[:40]!r}")
    )
    if row is None:
        raise unknown
    person = None if row.person_id is None else person_row(session, row.person_vessel_id or "", row.person_id)
    try:
        must_manage_key(actor, person, row.vessel_id, row.role)
    except (NotAllowed, NotFound):
        raise unknown from None
    return row


def record_key(session: Session, row: ApiKeyRow, what: str, now: datetime, actor: Actor) -> None:
    session.flush()
    payload = {
        "key": row.prefix,
        "label": row.label,
        "role": row.role.value,
        "person": row.person_id,
        "expires_at": None if row.expires_at is None else row.expires_at.isoformat(),
        "follows": row.follows,
        "by": actor.name,
    }
    append_record(session, chain_of_key(session, row), what, now, payload)


def revoke_key(context: Context, actor: Actor, prefix: str) -> None:
    """End a key at once. Raises NotFound when there is none with that prefix, or it is another's."""
    with context.db.write(INSTALLATION) as session:
        row = key_of(session, actor, prefix)
        if row.revoked_at is None:
            withdraw_key(session, row, context.now(), actor)


def withdraw_key(session: Session, row: ApiKeyRow, now: datetime, actor: Actor) -> None:
    """End a key, on record."""
    row.revoked_at = now
    session.add(row)
    payload = {"key": row.prefix, "label": row.label, "by": actor.name}
    append_record(session, chain_of_key(session, row), "key revoked", now, payload)


def who_holds(context: Context, key: str) -> Actor:
    """The actor a key stands for.

    Raises:
        NotSignedIn: the key is malformed, unknown, revoked or out of date (one message for all four).
    """
    unknown = NotSignedIn("This key is not known here, was revoked, or ran out. Send `Authorization: Bearer ll_...`.")
    parts = key.split("_", 2)
    if len(parts) != 3 or parts[0] != "ll":
        raise unknown
    with context.db.read() as session:
        row = key_row_by_prefix(session, parts[1])
        person = person_row(session, row.person_vessel_id or "", row.person_id) if row and row.person_id else None
    stored = row.sha256 if row else "0" * 64
    now = context.now()
    if not hmac.compare_digest(stored, hashed(key)) or row is None or not is_good(row, now):
        raise unknown
    if person is not None and person.withdrawn_at is not None:
        raise unknown
    if row.last_used_at is None or now - row.last_used_at >= _TOUCH:
        with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:
            again = key_row_by_prefix(session, row.prefix)
            if again is not None:
                again.last_used_at = now
                session.add(again)
    actor = key_actor(row, person)
    if actor is None:
        raise unknown
    return actor


def make_link(
    context: Context,
    person_id: str,
    vessel_id: str | None = None,
    by: Actor | None = None,
    once: Hand | None = None,
) -> str:
    """A one-time sign-in token for a person, good for a while, on record with its maker. by none: made at the server itself.
    once: under which Idempotency-Key it is made once.

    Raises as `find_person`, and as `must_manage`.
    """
    token, now = secrets.token_urlsafe(32), context.now()
    with context.db.write(INSTALLATION) as session:
        person = find_person(session, person_id, vessel_id)
        maker = None if by is None else maker_of(by)
        if by is not None and (by.person_vessel_id, by.person_id) != (person.vessel_id, person.id):
            must_manage(by, person.vessel_id, person.role, _("make a sign-in link for {name}", name=person.name))
        make_once(session, once, now, f"sign-in link for {person.name}")
        session.add(
            SignInLinkRow(
                sha256=hashed(token),
                person_vessel_id=person.vessel_id,
                person_id=person_id,
                expires_at=now + timedelta(minutes=context.settings.link_minutes),
                made_by_id=None if maker is None else maker.id,
                made_by="" if maker is None else maker.name,
            )
        )
        session.flush()
        payload = {"person": person_id, "by": None if by is None else by.name}
        append_record(session, chain_kept_here(session, person.vessel_id), "sign-in link made", now, payload)
    return token


def enter(context: Context, token: str, browser: Browser = NO_BROWSER) -> str:
    """Use a one-time link up; the new session's secret for the cookie.

    Raises:
        NotSignedIn: unknown, used or out of date (one message for all three).
    """
    now = context.now()
    with context.db.read() as session:  # a guess costs no write
        _good_link(session, token, now)
    with context.db.write(INSTALLATION) as session:
        link, person = _good_link(session, token, now)
        link.used_at = now
        session.add(link)
        own = link.made_by_id in (None, person.id)
        maker = None if own else Person(str(link.made_by_id), link.made_by)
        return open_session(session, context, person, Proof.LINK, browser, maker)


def _good_link(session: Session, token: str, now: datetime) -> tuple[SignInLinkRow, PersonRow]:
    link = link_row(session, hashed(token))
    person = None if link is None else person_row(session, link.person_vessel_id, link.person_id)
    if link is None or link.used_at is not None or link.expires_at <= now or person is None or person.withdrawn_at:
        raise NotSignedIn(
            _(
                "This sign-in link is not known, was used, or is out of date. Ask the chief engineer "
                "for a new one, or make one at the server: `leadline key link PERSON`."
            )
        )
    return link, person


def find_person(session: Session, person_id: str, vessel_id: str | None) -> PersonRow:
    """The person with that id on a vessel or of the installation, unless withdrawn; vessel_id none: the only one anywhere.

    Raises:
        NotFound: there is none. Refused: people of several vessels have that id, and no vessel is named.
    """
    everybody = [one for one in person_rows(session) if one.withdrawn_at is None]
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


def _scope(role: Role, vessel_id: str | None) -> None:
    if role in FLEETWIDE and vessel_id is not None:
        raise fault_at("vessel", f"The role {role.value} reaches every vessel; leave the vessel out.")
    if role not in FLEETWIDE and vessel_id is None:
        raise fault_at("vessel", f"The role {role.value} belongs to one vessel; say which.")
