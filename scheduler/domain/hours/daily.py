"""Hours of each day of a position or pump, and whether they are measured or laid over a gap (rule R19).

A gap needs no filling: the run between two readings is known, only its days are not. Days that touch a gap of more than
48 h are marked interpolated; days that no reading reaches the end of are not known yet. Hours given by people are no run of a
day and are left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.running import DAY_S, Curves, RunningHours, opening_hours, running_hours
from scheduler.domain.hours.sources import EVER_S, sources_of
from scheduler.domain.vessel.document import Plant
from scheduler.shiptime import instant_of

GAP_S = 48 * 3600

Span = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayHours:
    """What ran on a day, the ship's or a UTC one. seconds: none when not known yet, or the pump stood in no position."""

    on: date
    seconds: int | None
    interpolated: bool = False


def daily_hours(
    plant: Plant,
    curves: Curves,
    subject: Subject,
    subject_id: str,
    first_day: int,
    days: int,
    offset_minutes: int = 0,
) -> list[DayHours]:
    """The days of a position or pump, oldest first.

    Args:
        curves: used entries of each counter, at least the first and last of each day and the last one before them; no steps.
        first_day: epoch seconds // 86400 of the first day. days: how many. offset_minutes: whose midnights part the days, the
            clock of each day where it is a `ShipOffset`; 0: UTC days.
    """
    dates = [date(1970, 1, 1) + timedelta(days=first_day + n) for n in range(days + 1)]
    ends = [instant_of(datetime.combine(on, time()), offset_minutes) for on in dates]
    marks = [running_hours(plant, curves, subject, subject_id, end) for end in ends]
    gaps = [
        gap
        for start, end, position in _places(plant, subject, subject_id)
        for gap in _gaps(plant, curves, position, start, end)
    ]
    given = [opening_hours(plant, subject_id, _second(end)) if subject is Subject.PUMP else 0.0 for end in ends]
    found = []
    for n, (early, late) in enumerate(pairwise(marks)):
        from_s, to_s = _second(ends[n]), _second(ends[n + 1])
        ran = late.seconds - early.seconds - round((given[n + 1] - given[n]) * 3600)
        found.append(
            DayHours(
                on=dates[n],
                seconds=ran if _known(plant, subject, subject_id, late, ends[n + 1]) else None,
                interpolated=any(start < to_s and end > from_s for start, end in gaps),
            )
        )
    return found


def _known(plant: Plant, subject: Subject, subject_id: str, late: RunningHours, end: datetime) -> bool:
    if late.as_of is None:
        return False
    if subject is Subject.PUMP and late.as_of < end:
        left = [s.to_at for s in plant.stays if s.pump == subject_id and s.to_at is not None and s.to_at <= end]
        return late.as_of in left and (end - late.as_of).total_seconds() < DAY_S
    return late.as_of >= end


def _places(plant: Plant, subject: Subject, subject_id: str) -> Iterator[tuple[int, int, str]]:
    if subject is Subject.POSITION:
        yield EVER_S, -EVER_S, subject_id
    for stay in plant.stays:
        if subject is Subject.PUMP and stay.pump == subject_id:
            yield _second(stay.from_at), -EVER_S if stay.to_at is None else _second(stay.to_at), stay.position


def _gaps(plant: Plant, curves: Curves, position: str, from_s: int, to_s: int) -> Iterator[Span]:
    """Gaps of more than 48 h in what counted for a position, inside a span."""
    sources = [*sources_of(plant, position, curves.changes(position)), (-EVER_S, "")]
    for (since_s, counter), (until_s, _) in pairwise(sources):
        curve = curves.curves.get(counter)
        for early, late in pairwise(() if curve is None else curve.instants):
            start, end = max(early, since_s, from_s), min(late, until_s, to_s)
            if late - early > GAP_S and start < end:
                yield start, end


def _second(at: datetime) -> int:
    return int(at.timestamp() // 1)
