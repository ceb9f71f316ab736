"""Hours a day of a plant's positions and pumps, with what is measured and what is laid over a gap."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.base.context import Context, instant, seconds
from scheduler.actions.hours.ledger import changes_of, derive_vessel
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.daily import DayHours, daily_hours
from scheduler.domain.hours.running import DAY_S, Curve, Curves, running_hours
from scheduler.domain.vessel.document import Plant
from scheduler.shiptime import ShipOffset, ship_time
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import CounterRow, counter_numbers, counter_rows
from scheduler.storage.hours.day_ends import days_both_ends
from scheduler.storage.hours.ledger import totals_around

UTC_DAYS = ShipOffset(0)


@dataclass(frozen=True, slots=True)
class DailyBook:
    """Days of each position and pump by (subject, id), oldest first, and up to when readings account for each."""

    plant: Plant
    days: Mapping[tuple[Subject, str], list[DayHours]]
    as_of: Mapping[tuple[Subject, str], datetime | None]


def daily_book(
    context: Context,
    place: Place,
    days: int,
    subjects: Sequence[tuple[Subject, str]] | None = None,
    offset: ShipOffset = UTC_DAYS,
) -> DailyBook:
    """The last whole days of a plant, today not among them. Raises NotFound.

    Args:
        days: 1 or more. subjects: positions and pumps that are asked for; none: all. offset: whose midnights part the days.
    """
    derive_vessel(context, place.vessel_id)
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        rows = [row for row in counter_rows(session, place.vessel_id) if row.plant_id == place.plant_id]
        now = context.now()
        first_day = seconds(ship_time(now, offset)) // DAY_S - days
        curves = _curves(session, place.vessel_id, rows, (first_day - 1) * DAY_S, seconds(now) + DAY_S, offset)
    if subjects is None:
        subjects = [
            *((Subject.POSITION, position.id) for position in plant.positions),
            *((Subject.PUMP, pump.id) for pump in plant.pumps),
        ]
    return DailyBook(
        plant,
        {key: daily_hours(plant, curves, *key, first_day, days, offset) for key in subjects},
        {key: running_hours(plant, curves, *key, instant(seconds(now))).as_of for key in subjects},
    )


def days_of_subjects(
    session: Session,
    vessel_id: str,
    plant: Plant,
    rows: list[CounterRow],
    subjects: Sequence[tuple[Subject, str]],
    first_day: int,
    days: int,
) -> Mapping[tuple[Subject, str], list[DayHours]]:
    """So many UTC days from an epoch day on of some positions and pumps. rows: the plant's counters."""
    if days <= 0:
        return {key: [] for key in subjects}
    curves = _curves(session, vessel_id, rows, first_day * DAY_S, (first_day + days + 1) * DAY_S)
    return {key: daily_hours(plant, curves, *key, first_day, days) for key in subjects}


def _curves(
    session: Session,
    vessel_id: str,
    rows: list[CounterRow],
    from_s: int,
    until_s: int,
    offset: ShipOffset = UTC_DAYS,
) -> Curves:
    numbers = counter_numbers(rows)
    nos = list(numbers.values())
    before = totals_around(session, nos, from_s - 1)
    ends: dict[int, set[tuple[int, int]]] = {no: set() for no in nos}
    for begin_s, end_s, ahead_s in _clocks(offset, from_s, until_s):
        for no, found in days_both_ends(session, nos, begin_s, end_s, ahead_s).items():
            ends[no].update(found)
    curves = {}
    for counter_id, no in numbers.items():
        last = before[no].before
        points = sorted(ends[no] | ({last} if last else set()))
        curves[counter_id] = Curve([at_s for at_s, _ in points], [total_s for _, total_s in points])
    return Curves(curves, changes_of(session, vessel_id, rows))


def _clocks(offset: ShipOffset, from_s: int, until_s: int) -> Iterator[tuple[int, int, int]]:
    """(from, to, seconds ahead of UTC): the stretches of one offset between two seconds."""
    begin_s, minutes = from_s, offset.first
    for change_at, after in offset.changes:
        change_s = seconds(change_at)
        if begin_s < change_s < until_s:
            yield begin_s, change_s, minutes * 60
        begin_s, minutes = min(max(begin_s, change_s), until_s), after
    yield begin_s, until_s, minutes * 60
