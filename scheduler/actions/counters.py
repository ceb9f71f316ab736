"""Counter events: replacement, adjustment, opening balance, a decision on a reading. Each is a record; the ledger follows."""

import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.actions.actor import AUTHORITY
from scheduler.actions.fleet import Place
from scheduler.actions.house import Answer, Hand, House, once, seconds
from scheduler.actions.ledger import setup_of
from scheduler.actions.pumps import AHEAD
from scheduler.actions.wanted import want_plan
from scheduler.domain.door import Refusal, value_milli
from scheduler.domain.ledger import Setup
from scheduler.errors import NotAllowed, NotFound, Refused
from scheduler.storage import fleet_rows, ledger_rows
from scheduler.storage.database import bump_revision
from scheduler.storage.history_rows import append
from scheduler.storage.tables import CounterEventRow, CounterRow, FlagRow, LedgerEntryRow

MOST_HOURS = 200_000
EXPECTED = "replacement, adjustment, opening balance, step decision or bad reading"


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterEvent:
    """What happened to a counter. kind: replacement, adjustment, opening balance, step decision, bad reading.

    old_final, new_first: counts the old one showed at the end (none: not known) and the new one at the start.
    hours: running hours added (an adjustment may take away), or that a jump of the counter is decided to be worth.
    A decision is about the reading at exactly `at`.
    """

    kind: str
    at: datetime
    reason: str
    old_final: float | None = None
    new_first: float | None = None
    hours: float | None = None


def add_event(house: House, hand: Hand, place: Place, event: CounterEvent) -> Answer:
    """Record the event and have the ledger derived from its instant on.

    Raises:
        Refused: an instant to come, no reason, a value missing or impossible. NotAllowed: hours taken away by someone
            below the chief engineer.
    """
    if not event.reason.strip():
        raise Refused("Say why in a few words; the reason is empty.", faults=[("/reason", "this is empty")])
    if event.at > house.now() + AHEAD:
        raise Refused(f"{event.at:%Y-%m-%dT%H:%M%z} is still to come; give the instant of the {event.kind}.")
    with house.db.write(place.vessel_id) as session:

        def act() -> Answer:
            row = fleet_rows.counter(session, place.id)
            if row is None or row.no is None:
                raise NotFound(f"There is no counter {place.id} here.")
            detail = _detail(setup_of(row), event, hand)
            at_s = seconds(event.at)
            session.add(
                CounterEventRow(
                    id=secrets.token_hex(8),
                    vessel_id=place.vessel_id,
                    counter_no=row.no,
                    kind=event.kind,
                    at_s=at_s,
                    detail=json.dumps(detail),
                    actor=hand.actor.name,
                    reason=event.reason,
                    recorded_s=house.now_s(),
                )
            )
            row.dirty_from_s = at_s if row.dirty_from_s is None else min(at_s, row.dirty_from_s)
            session.add(row)
            payload = {
                "counter": place.id,
                "event": event.kind,
                "at": event.at,
                **detail,
                "reason": event.reason,
                "by": hand.actor.name,
            }
            number, _ = append(session, place.vessel_id, f"counter {event.kind}", house.now(), payload)
            want_plan(session, place.vessel_id, place.plant_id, house.now_s())
            bump_revision(session, place.vessel_id)
            return Answer(201, {"counter": place.id, "event": event.kind, "record": number})

        return once(session, place.vessel_id, hand, house.now_s(), act)


def _detail(setup: Setup, event: CounterEvent, hand: Hand) -> dict[str, Any]:
    match event.kind:
        case "replacement":
            return {
                "old_final_milli": None if event.old_final is None else _milli(setup, "old_final", event.old_final),
                "new_first_milli": _milli(setup, "new_first", event.new_first),
            }
        case "adjustment" | "opening balance":
            hours = event.hours
            least = -MOST_HOURS if event.kind == "adjustment" else 0
            if hours is None or hours == 0 or not least <= hours <= MOST_HOURS:
                says = f"{hours} h is not an {event.kind}; expected a figure other than 0, at most {MOST_HOURS} h."
                raise Refused(f"hours: {says}", faults=[("/hours", says)])
            if hours < 0 and hand.actor.role not in AUTHORITY:
                raise NotAllowed("Running hours are taken away by the chief engineer or the office. Ask one of them.")
            return {"seconds": round(hours * 3600)}
        case "step decision":
            if event.hours is None or not 0 <= event.hours <= MOST_HOURS:
                says = f"{event.hours} h cannot be what the jump is worth; expected 0 to {MOST_HOURS} h."
                raise Refused(f"hours: {says}", faults=[("/hours", says)])
            return {"seconds": round(event.hours * 3600)}
        case "bad reading":
            return {}
    raise Refused(
        f"{event.kind!r} is not a counter event; expected {EXPECTED}.", faults=[("/kind", f"expected {EXPECTED}.")]
    )


def _milli(setup: Setup, name: str, value: float | None) -> int:
    taken = value_milli(setup, value)
    if isinstance(taken, Refusal):
        raise Refused(f"{name}: {taken.says}", faults=[(f"/{name}", taken.says)])
    return taken


@dataclass(frozen=True, slots=True)
class CounterBook:
    """A counter's row, its newest reading (epoch seconds, thousandths), newest ledger entries and flags."""

    row: CounterRow
    newest: tuple[int, int] | None
    entries: Sequence[LedgerEntryRow]
    flags: Sequence[FlagRow]


def counter_book(house: House, place: Place, limit: int = 50) -> CounterBook:
    """What the ledger made of a counter's newest readings. Raises NotFound."""
    with house.db.read() as session:
        row = fleet_rows.counter(session, place.id)
        if row is None or row.no is None:
            raise NotFound(f"There is no counter {place.id} here.")
        flags = [flag for flag in ledger_rows.flags(session, place.vessel_id) if flag.counter_no == row.no]
        return CounterBook(
            row, ledger_rows.newest_reading(session, row.no), ledger_rows.recent_entries(session, row.no, limit), flags
        )
