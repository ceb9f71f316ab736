"""Shared computers: where several people record work in turn, each by a short PIN, and everybody may look."""

import secrets
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people.fields import fault_at
from scheduler.actions.people.people import must_manage
from scheduler.actions.people.sessions import hashed
from scheduler.domain.base.enums import Role
from scheduler.errors import NotFound
from scheduler.language import gettext as _
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.people import SharedComputerRow, computer_by_secret, computer_row, computer_rows, person_rows
from scheduler.storage.record import append_record, chain_kept_here
from scheduler.storage.vessel import vessel_row


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputerShown:
    """A shared computer. people: (id, name with rank) of those who have a PIN for it."""

    id: str
    vessel_id: str
    label: str
    made_by: str
    made_at: datetime
    people: tuple[tuple[str, str], ...] = ()


def share_computer(context: Context, actor: Actor, vessel_id: str, label: str) -> str:
    """Make a browser a shared computer of that vessel, on record; the secret for its cookie.

    Raises:
        NotFound: no such vessel within reach. NotAllowed: as `must_manage`. Refused: a bad label.
    """
    label = " ".join(label.split())
    if not label or len(label) > 100:
        raise fault_at(
            "label",
            _("The label has {count} characters; 1 to 100 are expected, such as control room.", count=len(label)),
        )
    must_manage(actor, vessel_id, Role.ENGINEER, _("make this a shared computer"))
    secret, now = secrets.token_urlsafe(32), context.now()
    with context.db.write(INSTALLATION) as session:
        if vessel_row(session, vessel_id) is None:
            raise NotFound(_("There is no vessel {vessel_id} here. Check the id.", vessel_id=vessel_id))
        row = SharedComputerRow(
            id=secrets.token_hex(4),
            vessel_id=vessel_id,
            sha256=hashed(secret),
            label=label,
            made_by=actor.name,
            created_at=now,
        )
        session.add(row)
        session.flush()
        payload = {"computer": row.id, "label": label, "by": actor.name}
        append_record(session, chain_kept_here(session, vessel_id), "shared computer made", now, payload)
    return secret


def withdraw_computer(context: Context, actor: Actor, computer_id: str) -> None:
    """PINs are good no more on that computer, on record. Raises NotFound when there is none such within reach, or NotAllowed."""
    now = context.now()
    with context.db.write(INSTALLATION) as session:
        row = computer_row(session, computer_id)
        if row is None or row.withdrawn_at is not None or actor.vessel_id not in (None, row.vessel_id):
            raise NotFound(
                _(
                    "There is no shared computer {computer_id} here. The page of people lists them.",
                    computer_id=f"{computer_id[:40]!r}",
                )
            )
        must_manage(actor, row.vessel_id, Role.ENGINEER, _("withdraw a shared computer"))
        row.withdrawn_at = now
        session.add(row)
        payload = {"computer": row.id, "label": row.label, "by": actor.name}
        append_record(session, chain_kept_here(session, row.vessel_id), "shared computer withdrawn", now, payload)


def shared_computers(context: Context, vessel_id: str) -> list[ComputerShown]:
    """A vessel's shared computers, oldest first."""
    with context.db.read() as session:
        return [_shown(session, row) for row in computer_rows(session, vessel_id)]


def this_computer(context: Context, secret: str) -> ComputerShown | None:
    """The shared computer with that cookie, or none."""
    with context.db.read() as session:
        row = computer_by_secret(session, hashed(secret)) if secret else None
        return None if row is None else _shown(session, row)


def _shown(session: Session, row: SharedComputerRow) -> ComputerShown:
    crew = [one for one in person_rows(session) if one.vessel_id == row.vessel_id and one.pin and not one.withdrawn_at]
    return ComputerShown(
        id=row.id,
        vessel_id=row.vessel_id,
        label=row.label,
        made_by=row.made_by,
        made_at=row.created_at,
        people=tuple((one.id, f"{one.name}, {one.rank}") for one in crew),
    )
