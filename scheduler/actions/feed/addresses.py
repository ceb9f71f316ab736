"""Calendar addresses: the secret in each is shown once and kept as its hash; what it shows, how long, who used it last."""

import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand, make_once
from scheduler.actions.feed.calendars import FLEET, kept_scopes, scope_of
from scheduler.actions.people.people import find_person
from scheduler.actions.people.sessions import hashed
from scheduler.actions.vessel.document import document_of
from scheduler.domain.base.enums import Role
from scheduler.domain.feed.scope import ALARM_HOUR, FIRST_ALARM, LAST_ALARM, Scope
from scheduler.errors import Busy, Gone, NotFound, Refused, StorageFull
from scheduler.language import gettext as _
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.feed import AddressRow, address_row, address_row_by_id, address_rows, feed_body_row
from scheduler.storage.people import PersonRow, person_row
from scheduler.storage.record import append_record, chain_kept_here
from scheduler.storage.vessel import vessel_row, vessel_rows

WITHDRAWN_DAYS = 30
"""How long an address that was withdrawn, or ran out, still says so to the programs that fetch it."""
MOST_DAYS, MOST_AHEAD = 3650, 180
_TOUCH = timedelta(minutes=1)
_UNKNOWN = "There is no calendar at this address. Ask whoever keeps Leadline aboard for a new one."


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """A calendar address without its secret. vessel_id none: the whole fleet. kinds none: all job kinds."""

    id: str
    person_id: str
    vessel_id: str | None
    label: str
    alarms: bool
    kinds: tuple[str, ...] | None
    made_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    last_used_at: datetime | None
    agent: str
    state: Literal["good", "withdrawn", "run out"]
    ended_at: datetime | None
    alarm_hour: int = ALARM_HOUR
    days_ahead: int | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """A new address and its secret, which is not to be had again."""

    id: str
    secret: str


@dataclass(frozen=True, slots=True)
class AddressOpened:
    """What a secret opens. ended_at: since when it is no longer good, none while it is."""

    scope: Scope
    ended_at: datetime | None


def make_address(
    context: Context,
    actor: Actor,
    *,
    person_id: str,
    vessel_id: str | None,
    label: str = "",
    alarms: bool = False,
    kinds: Sequence[str] | None = None,
    days: int | None = None,
    alarm_hour: int = ALARM_HOUR,
    days_ahead: int | None = None,
    once: Hand | None = None,
) -> Made:
    """A new calendar address for a person.

    Args:
        vessel_id: whose jobs; none: the whole fleet, for people of the office. kinds: job kind codes, none for all.
        days: how long it is good, 1 to 3650; none: until it is withdrawn.
        alarm_hour: ship's hour at which reminders ring on the evening before, 6 to 21. days_ahead: open jobs of so many days only,
            1 to 180; none: all. once: under which Idempotency-Key it is made once.

    Raises:
        NotFound: no such person or vessel, or the vessel is not the person's or the actor's.
        Refused: the fleet for somebody of one vessel, an unknown job kind, a bad label or number of days.
    """
    label = " ".join(label.split())
    if len(label) > 100:
        raise Refused(_("The label has {count} letters; at most 100 are kept.", count=len(label)))
    if days is not None and not 1 <= days <= MOST_DAYS:
        raise Refused(
            _("An address cannot be good for {days} days; expected 1 to {most_days}.", days=days, most_days=MOST_DAYS)
        )
    if not FIRST_ALARM <= alarm_hour <= LAST_ALARM:
        says = _(
            "a reminder at {alarm_hour} h would ring at night; {first_alarm} to {last_alarm} h can be chosen.",
            alarm_hour=alarm_hour,
            first_alarm=FIRST_ALARM,
            last_alarm=LAST_ALARM,
        )
        raise Refused(f"alarm_hour: {says}", faults=[("/alarm_hour", says)])
    if days_ahead is not None and not 1 <= days_ahead <= MOST_AHEAD:
        says = _(
            "{days_ahead} days ahead cannot be shown; 1 to {most_ahead} can be chosen, or nothing for all.",
            days_ahead=days_ahead,
            most_ahead=MOST_AHEAD,
        )
        raise Refused(f"days_ahead: {says}", faults=[("/days_ahead", says)])
    made = Made(secrets.token_hex(4), secrets.token_urlsafe(32))
    with context.db.write(INSTALLATION) as session:
        own = person_row(session, actor.person_vessel_id, person_id) if person_id == actor.person_id else None
        person = own or find_person(session, person_id, vessel_id)
        _must_reach(session, actor, person, vessel_id)
        make_once(session, once, context.now(), f"calendar address {made.id}")
        row = AddressRow(
            sha256=hashed(made.secret),
            id=made.id,
            person_vessel_id=person.vessel_id,
            person_id=person_id,
            vessel_id=vessel_id,
            created_at=context.now(),
            expires_at=None if days is None else context.now() + timedelta(days=days),
            alarms=alarms,
            kinds=_kinds(session, vessel_id, kinds),
            label=label,
            alarm_hour=alarm_hour,
            days_ahead=days_ahead,
        )
        session.add(row)
        _record(session, context, actor, row, "feed address made")
    return made


def rotate(context: Context, actor: Actor, address_id: str, *, once: Hand | None = None) -> Made:
    """A new secret for an address; programs that have the old one are told as by a withdrawn one. Raises NotFound, or Refused when
    it has ended."""
    made = Made(address_id, secrets.token_urlsafe(32))
    with context.db.write(INSTALLATION) as session:
        old = _own(session, actor, address_id)
        make_once(session, once, context.now(), f"new secret of calendar address {address_id}")
        if _ended_at(old, context.now()) is not None:
            raise Refused(
                _("The calendar address {address_id} is no longer good. Make a new one.", address_id=address_id)
            )
        kept = old.model_dump() | {"sha256": hashed(made.secret), "last_used_at": None, "agent": None}
        old.id, old.label = secrets.token_hex(4), f"{old.label} (changed)".strip()
        old.revoked_at = _after_last(session, old, context.now())
        session.add(old)
        session.flush()
        row = AddressRow(**kept)
        session.add(row)
        _record(session, context, actor, row, "feed address changed")
    return made


def revoke(context: Context, actor: Actor, address_id: str) -> None:
    """Withdraw an address; for 30 days it serves a calendar that says so. Raises NotFound when there is none such."""
    with context.db.write(INSTALLATION) as session:
        row = _own(session, actor, address_id)
        if row.revoked_at is not None:
            return
        row.revoked_at = _after_last(session, row, context.now())
        session.add(row)
        _record(session, context, actor, row, "feed address withdrawn")


def _after_last(session: Session, row: AddressRow, now: datetime) -> datetime:
    """Since when it is withdrawn: what it says next may not be older than what it said last, whatever the clock did."""
    shown = [feed_body_row(session, row.vessel_id or FLEET, scope_of(row, tasks).name) for tasks in (False, True)]
    return max((now, *(body.changed_at + timedelta(seconds=1) for body in shown if body is not None)))


def addresses(context: Context, actor: Actor, person_id: str | None = None) -> list[Address]:
    """A person's own addresses, oldest first; for who keeps the installation: of whoever has that id, or (none) everybody's.

    Raises:
        NotFound: somebody else's.
    """
    if actor.role is not Role.ADMIN and (person_id is None or person_id != actor.person_id):
        raise NotFound(_("There are no calendar addresses of that person here."))
    with context.db.read() as session:
        own = actor.person_vessel_id if person_id is not None and person_id == actor.person_id else None
        rows = address_rows(session, person_id, own)
    return [_address(row, context.now()) for row in rows]


def open_address(context: Context, secret: str, agent: str) -> AddressOpened:
    """What a secret opens; notes when and by what it was used (at most once a minute).

    Raises:
        NotFound: it is not known here. Gone: it ended more than 30 days ago.
    """
    now = context.now()
    with context.db.read() as session:
        row = address_row(session, hashed(secret))
    if row is None:
        raise NotFound(_UNKNOWN)
    ended_at = _ended_at(row, now)
    if ended_at is not None and now >= ended_at + timedelta(days=WITHDRAWN_DAYS):
        raise Gone(_("This calendar address was withdrawn and is no longer served. Delete it, or ask for a new one."))
    if row.last_used_at is None or now - row.last_used_at >= _TOUCH:
        with (
            suppress(Busy, StorageFull),
            context.db.write(INSTALLATION) as session,
        ):  # a note, no reason to refuse the calendar
            again = address_row(session, row.sha256)
            if again is not None:
                again.last_used_at, again.agent = now, agent.replace(secret, "***")[:200]
                session.add(again)
    return AddressOpened(scope_of(row, False), ended_at)


def good_addresses(context: Context) -> list[tuple[str, Scope]]:
    """(hash of the secret, scope) of every address that is good now, as events and as tasks."""
    with context.db.read() as session:
        return kept_scopes(session, context.now())


def _own(session: Session, actor: Actor, address_id: str) -> AddressRow:
    row = address_row_by_id(session, address_id)
    if row is None or (
        actor.role is not Role.ADMIN
        and (row.person_vessel_id, row.person_id) != (actor.person_vessel_id, actor.person_id)
    ):
        raise NotFound(
            _(
                "There is no calendar address {address_id} of yours. The list of them shows their ids.",
                address_id=f"{address_id[:40]!r}",
            )
        )
    return row


def _must_reach(session: Session, actor: Actor, person: PersonRow, vessel_id: str | None) -> None:
    if vessel_id is None:
        actor.must_reach(FLEET, "calendar of the fleet")
        if person.vessel_id:
            raise Refused(
                _(
                    "{id} belongs to {vessel_id}; the calendar of the whole fleet is the office's.",
                    id=person.id,
                    vessel_id=person.vessel_id,
                )
            )
    else:
        if person.vessel_id not in (INSTALLATION, vessel_id):
            raise NotFound(
                _("There is no person {id} on {vessel_id}. Check both ids.", id=person.id, vessel_id=vessel_id)
            )
        if vessel_row(session, vessel_id) is None:
            raise NotFound(_("There is no vessel {vessel_id} here. Check the id.", vessel_id=vessel_id))
        actor.must_reach(vessel_id, f"vessel {vessel_id}")


def _kinds(session: Session, vessel_id: str | None, wanted: Sequence[str] | None) -> list[str] | None:
    if wanted is None:
        return None
    vessels = [document_of(session, row.id)[0] for row in vessel_rows(session, vessel_id)]
    known = sorted({kind.code for vessel in vessels for plant in vessel.plants for kind in plant.job_kinds})
    for code in wanted:
        if code not in known:
            raise Refused(
                _(
                    "There is no job kind {code}. Known: {known}.",
                    code=f"{code!r:.60}",
                    known=", ".join(known) or "none",
                )
            )
    if not wanted:
        raise Refused(
            _("No job kind is named, so nothing would be shown. Known: {known}.", known=", ".join(known) or "none")
        )
    return None if set(wanted) == set(known) else sorted(set(wanted))


def _ended_at(row: AddressRow, now: datetime) -> datetime | None:
    run_out = row.expires_at if row.expires_at is not None and row.expires_at <= now else None
    return min((at for at in (row.revoked_at, run_out) if at is not None), default=None)


def _record(session: Session, context: Context, actor: Actor, row: AddressRow, what: str) -> None:
    session.flush()
    payload = {
        "address": row.id,
        "person": row.person_id,
        "shows": row.vessel_id or "fleet",
        "alarms": row.alarms,
        "alarm_hour": row.alarm_hour if row.alarms else None,
        "days_ahead": row.days_ahead,
        "kinds": row.kinds,
        "label": row.label,
        "expires_at": None if row.expires_at is None else row.expires_at.isoformat(),
        "by": actor.name,
    }
    append_record(session, chain_kept_here(session, row.vessel_id or FLEET), what, context.now(), payload)


def _address(row: AddressRow, now: datetime) -> Address:
    state: Literal["good", "withdrawn", "run out"] = "good"
    ended_at = _ended_at(row, now)
    if ended_at is not None:
        state = "run out" if row.revoked_at is None else "withdrawn"
    return Address(
        id=row.id,
        person_id=row.person_id,
        vessel_id=row.vessel_id,
        label=row.label,
        alarms=row.alarms,
        kinds=None if row.kinds is None else tuple(row.kinds),
        made_at=row.created_at,
        expires_at=row.expires_at,
        revoked_at=row.revoked_at,
        last_used_at=row.last_used_at,
        agent=row.agent or "",
        state=state,
        ended_at=ended_at,
        alarm_hour=row.alarm_hour,
        days_ahead=row.days_ahead,
    )
