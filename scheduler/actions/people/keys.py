"""Keys as people see them: whose, last used, until when; a new one that takes over while the older still works."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from scheduler.actions.base.actor import Actor, maker_of
from scheduler.actions.base.context import Context, Hand, make_once
from scheduler.actions.people.fields import fault_at
from scheduler.actions.people.people import is_good, key_of, must_manage_key, new_key, record_key
from scheduler.actions.people.sessions import hashed
from scheduler.domain.base.enums import Role
from scheduler.domain.people.roles import MACHINES
from scheduler.errors import Clash, NotAllowed, NotFound
from scheduler.language import gettext as _
from scheduler.storage.database import INSTALLATION
from scheduler.storage.people import ApiKeyRow, PersonRow, key_row_by_prefix, key_rows, person_rows

BOTH_DAYS = 7
"""How long the older of two keys is good beside the one that takes over, unless said otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyShown:
    """A key without its secret. person: name of whose it is, none for a program's own."""

    prefix: str
    label: str
    role: Role
    vessel_id: str | None
    person_vessel_id: str | None
    person_id: str | None
    person: str | None
    made_at: datetime
    made_by: str
    last_used_at: datetime | None
    expires_at: datetime | None
    revoked_at: datetime | None
    follows: str | None
    state: Literal["good", "withdrawn", "run out"]


def keys_shown(context: Context, actor: Actor) -> list[KeyShown]:
    """The actor's own keys and those the actor manages, oldest first."""
    now = context.now()
    with context.db.read() as session:
        people = {(one.vessel_id, one.id): one for one in person_rows(session)}
        pairs = [(row, people.get((row.person_vessel_id or "", row.person_id or ""))) for row in key_rows(session)]
    return [_shown(row, person, now) for row, person in pairs if _manages(actor, row, person)]


def _manages(actor: Actor, row: ApiKeyRow, person: PersonRow | None) -> bool:
    try:
        must_manage_key(actor, person, row.vessel_id, row.role)
    except (NotAllowed, NotFound):
        return False
    return True


def _shown(row: ApiKeyRow, person: PersonRow | None, now: datetime) -> KeyShown:
    state: Literal["good", "withdrawn", "run out"] = "good"
    if not is_good(row, now):
        state = "run out" if row.revoked_at is None else "withdrawn"
    return KeyShown(
        prefix=row.prefix,
        label=row.label,
        role=row.role,
        vessel_id=row.vessel_id,
        person_vessel_id=row.person_vessel_id,
        person_id=row.person_id,
        person=None if person is None else person.name,
        made_at=row.created_at,
        made_by=row.made_by,
        last_used_at=row.last_used_at,
        expires_at=row.expires_at,
        revoked_at=row.revoked_at,
        follows=row.follows,
        state=state,
    )


def rotate_key(
    context: Context, actor: Actor, prefix: str, both_days: int = BOTH_DAYS, *, once: Hand | None = None
) -> str:
    """A new key that takes over from one, shown this once; both are good for so many days (0: the older ends now), no longer than the
    older was. once: under which Idempotency-Key it is made once.

    Raises:
        NotFound: no good key with that prefix, or another's. Clash: two of it are good already.
        Refused: more than a year of both, or it is nobody's and no counter's.
    """
    if not 0 <= both_days <= 365:
        raise fault_at(
            "both_days",
            _("Two keys cannot be good together for {both_days} days; 0 to 365 are expected.", both_days=both_days),
        )
    now = context.now()
    with context.db.write(INSTALLATION) as session:
        old = key_of(session, actor, prefix)
        new_prefix, whole = new_key()
        make_once(session, once, now, f"key {new_prefix}")
        if not is_good(old, now):
            raise NotFound(_("The key {prefix} is no longer good. Make a new one.", prefix=prefix))
        if old.person_id is None and old.role not in MACHINES:
            raise fault_at(
                "person",
                _(
                    "The key {prefix} belongs to no person yet: say whose it is, or make that person one.",
                    prefix=prefix,
                ),
            )
        if any(other.follows == prefix and is_good(other, now) for other in key_rows(session)):
            raise Clash(
                _("A key that takes over from {prefix} is good already. Withdraw one of the two first.", prefix=prefix)
            )
        if old.follows is not None:
            older = key_row_by_prefix(session, old.follows)
            if older is not None and is_good(older, now):
                raise Clash(
                    _(
                        "Two keys are good already: {prefix} and {prefix_2}. Withdraw {prefix_2} first.",
                        prefix=prefix,
                        prefix_2=older.prefix,
                    )
                )
        lasts = None if old.expires_at is None else old.expires_at - old.created_at
        maker = maker_of(actor)
        row = ApiKeyRow(
            prefix=new_prefix,
            sha256=hashed(whole),
            person_vessel_id=old.person_vessel_id,
            person_id=old.person_id,
            vessel_id=old.vessel_id,
            role=old.role,
            label=old.label,
            created_at=now,
            expires_at=None if lasts is None else now + lasts,
            follows=prefix,
            made_by_id=maker.id,
            made_by=maker.name,
        )
        session.add(row)
        ends_at = now + timedelta(days=both_days)
        old.expires_at = ends_at if old.expires_at is None else min(old.expires_at, ends_at)
        session.add(old)
        record_key(session, row, "key made", now, actor)
    return whole
