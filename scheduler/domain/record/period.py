"""What a period's records hold, sorted for paper and spreadsheet in one pass: closed jobs, tests, stops, counters. Pure."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

from scheduler.domain.hours.daily import DayHours
from scheduler.domain.record.chain import Record
from scheduler.domain.record.closed_job import ClosedJob, HoursSource, Verdict
from scheduler.domain.work.photos import PHOTO
from scheduler.errors import TooLarge
from scheduler.shiptime import ship_time

MOST_CLOSED = 10_000
"""Closed jobs that go on paper, or on the sheets of a workbook that are sorted."""
STOPS = ("breakdown opened", "runs after all", "pump down", "pump back")
REVIEW = "monthly review signed"
CLOSE_STRUCK = "close struck"
JOB_CHECKED = "job checked"
NOT_CHECKED = "not checked"
"""In the record of a close that nobody was asked to check."""
_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodEntry:
    """A record with its members as recorded; at: when what it tells happened."""

    number: int
    kind: str
    at: datetime
    stamp: str
    members: Mapping[str, Any]

    def text(self, name: str) -> str:
        """A member as text, empty where it is absent."""
        value = self.members.get(name)
        return "" if value is None else str(value)

    def figure(self, name: str) -> float | None:
        """A member as a number, none where it is absent."""
        value = self.members.get(name)
        return None if value is None else float(value)

    def instant(self, name: str) -> datetime | None:
        """A member as an instant, none where it is absent."""
        value = self.members.get(name)
        return None if value is None else datetime.fromisoformat(str(value))

    @property
    def verdict(self) -> Verdict:
        """Of a closed job."""
        return Verdict(self.text("verdict"))

    @property
    def kind_code(self) -> str:
        """Code of a closed job's kind."""
        return self.text("job_no").partition(":")[0]

    @property
    def sheet_check(self) -> str:
        """Of a job taken from paper: its check as recorded from the sheet; empty where the sheet shows none."""
        return sheet_check_of(self.members)

    @property
    def hours_from_due(self) -> float | None:
        """Running hours before (negative) or past the due point of a closed job; none without a due point by hours."""
        seconds = self.figure("seconds_from_due")
        return None if seconds is None else seconds / _HOUR


def sheet_check_of(members: Mapping[str, Any]) -> str:
    """As `PeriodEntry.sheet_check`, from the members of a close."""
    check = str(members.get("check") or "") if members.get("from_paper") else ""
    return "" if check == NOT_CHECKED else check


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodFacts:
    """Each oldest first. closed: by its newest correction. struck: numbers of closes that were struck.

    photos: by job number. checks: who checked, by number of the record of a close. first_at and last_at: when the first and the last
    record was made, none of no records.
    """

    closed: tuple[PeriodEntry, ...] = ()
    tests: tuple[PeriodEntry, ...] = ()
    stops: tuple[PeriodEntry, ...] = ()
    counters: tuple[PeriodEntry, ...] = ()
    corrections: int = 0
    struck: tuple[int, ...] = ()
    photos: Mapping[str, Sequence[PeriodEntry]] = field(default_factory=dict)
    checks: Mapping[int, str] = field(default_factory=dict)
    first_at: datetime | None = None
    last_at: datetime | None = None

    @property
    def earliest_at(self) -> datetime | None:
        """The first instant that a record or what it tells is of; none of no records."""
        told = [rows[0].at for rows in (self.closed, self.tests, self.stops, self.counters) if rows]
        return min([*told, *([self.first_at] if self.first_at else [])], default=None)

    def count(self, member: str, value: str | None) -> int:
        """How many closed jobs have that value; none: how many lack one."""
        return sum((entry.text(member) or None) == value for entry in self.closed)

    def checked_by(self, closed: PeriodEntry) -> str:
        """Who checked a closed job, empty for nobody."""
        return closed.text("checked_by") or self.checks.get(closed.number, "")

    @property
    def estimated(self) -> int:
        """Closed jobs whose running hours were estimated."""
        return self.count("hours_source", HoursSource.ESTIMATED.value)


def period_facts(records: Iterable[Record], rest: Iterable[Record] | None = None) -> PeriodFacts:
    """The records sorted.

    Args:
        records: those that were chosen. rest: all of the same period, where the choice is of closed jobs alone: tests, stops,
            counters, photos and checks are read from them.

    Raises:
        TooLarge: more than `MOST_CLOSED` closed jobs.
    """
    closed: list[PeriodEntry] = []
    found: dict[str, list[PeriodEntry]] = {name: [] for name in ("tests", "stops", "counters")}
    photos: dict[str, list[PeriodEntry]] = {}
    checks: dict[int, str] = {}
    replaced: set[int] = set()
    struck: list[int] = []
    first, last = None, None
    for record in records:
        first, last = first or record.recorded_at, record.recorded_at
        if record.kind == ClosedJob.KIND:
            closed.append(entry_of(record))
            if corrects := closed[-1].members.get("corrects"):
                replaced.add(int(corrects))
            if len(closed) > MOST_CLOSED:
                raise TooLarge(
                    f"More than {MOST_CLOSED} closed jobs do not go on paper or sheet. Choose a period, or take CSV or JSON Lines."
                )
        elif rest is None:
            _sort(record, found, photos, checks, struck)
    for record in rest or ():
        _sort(record, found, photos, checks, struck)
    numbers = {one.number for one in closed}
    closed.sort(key=_when)
    return PeriodFacts(
        closed=tuple(one for one in closed if one.number not in replaced),
        tests=tuple(sorted(found["tests"], key=_when)),
        stops=tuple(sorted(found["stops"], key=_when)),
        counters=tuple(sorted(found["counters"], key=_when)),
        corrections=len(replaced),
        struck=tuple(one for one in struck if one in numbers),
        photos=photos,
        checks=checks,
        first_at=first,
        last_at=last,
    )


def _sort(
    record: Record,
    found: Mapping[str, list[PeriodEntry]],
    photos: dict[str, list[PeriodEntry]],
    checks: dict[int, str],
    struck: list[int],
) -> None:
    where = _WHERE.get(record.kind) or ("counters" if record.kind.startswith("counter ") else "")
    if where:
        found[where].append(entry_of(record))
    elif record.kind == PHOTO:
        entry = entry_of(record)
        photos.setdefault(entry.text("job_no"), []).append(entry)
    elif record.kind == JOB_CHECKED:
        entry = entry_of(record)
        checks[int(entry.text("checks_record") or 0)] = entry.text("checked_by")
    elif record.kind == CLOSE_STRUCK:
        struck.append(int(entry_of(record).text("strikes_record") or 0))


def _when(entry: PeriodEntry) -> tuple[datetime, int]:
    return entry.at, entry.number


_WHERE = {"pump tested": "tests", **dict.fromkeys(STOPS, "stops")}


def entry_of(record: Record) -> PeriodEntry:
    """A record with its members read; what it tells happened when it says so, else when it was recorded."""
    members = json.loads(record.text)
    members = members if isinstance(members, dict) else {}
    told = members.get("done_at") or members.get("at") or members.get("ran_again_at")
    at = datetime.fromisoformat(str(told)) if told else record.recorded_at
    return PeriodEntry(number=record.number, kind=record.kind, at=at, stamp=record.hash, members=members)


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceMark:
    """A job that ended a run of hours. since_hours: there were since the one before. other: name of the job that took it with it,
    empty for the job itself."""

    on: date
    since_hours: float
    entry: PeriodEntry
    other: str = ""


def since_curves(
    days: Sequence[DayHours], ends: Sequence[tuple[date, float]], *, since_now_hours: float | None
) -> list[list[tuple[date, float]]]:
    """Hours since a job on each day, in stretches that each end where it was done, the last one at the end of the days. Each is
    reckoned back from what there were at its end, and begins after the last day on which nobody counted.

    Args:
        days: oldest first. ends: (day, hours there were) of each time it was done, oldest first; those before the first day are left
            out. since_now_hours: at the end of the last day; none: not known, and the last stretch is reckoned on from its beginning.
    """
    ends = [one for one in ends if days and one[0] >= days[0].on]
    if not days or (not ends and since_now_hours is None):
        return []
    runs = [
        _run_back([day for day in days if begin <= day.on < on], begin if number else None, on, hours)
        for number, ((begin, _), (on, hours)) in enumerate(pairwise([(days[0].on, 0.0), *ends]))
    ]
    begin = ends[-1][0] if ends else None
    rest = [day for day in days if begin is None or day.on >= begin]
    if since_now_hours is not None:
        return [*runs, _run_back(rest, begin, days[-1].on, since_now_hours)]
    last, since = [], 0.0
    for day in rest:
        last.append((day.on, since))
        if day.seconds is None:
            break
        since += day.seconds / _HOUR
    return [*runs, last] if last else runs


def _run_back(days: Sequence[DayHours], zero_on: date | None, end: date, hours: float) -> list[tuple[date, float]]:
    """zero_on: when it was zero, none: not within the days. A day whose run does not fit is the one on which it was zero."""
    points, left = [(end, hours)], hours
    for day in reversed(days):
        left -= (day.seconds or 0) / _HOUR
        if day.seconds is None:
            zero_on = None
        if day.seconds is None or left < 0:
            break
        points.append((day.on, left))
    if zero_on is not None:
        points = [*(point for point in points if point[0] > zero_on or point is points[0]), (zero_on, 0.0)]
    return points[::-1]


def thinned(points: Sequence[tuple[date, float]], most: int = 30) -> list[tuple[date, float]]:
    """Every so many of the points with the first and the last; about `most` of them."""
    step = max(1, len(points) // most)
    return [point for place, point in enumerate(points) if place % step == 0 or place == len(points) - 1]


def month_hours(days: Sequence[DayHours]) -> dict[str, float]:
    """Hours run in each month ("2026-10"), from days that are known."""
    found: dict[str, float] = {}
    for day in days:
        month = f"{day.on:%Y-%m}"
        found[month] = found.get(month, 0.0) + (day.seconds or 0) / _HOUR
    return found


def months_over(first_on: date, last_on: date) -> list[str]:
    """The months ("2026-10") that begin and end within two dates, both included."""
    found = []
    year, month = first_on.year, first_on.month
    while (year, month) <= (last_on.year, last_on.month):
        begin = date(year, month, 1)
        following = date(year + month // 12, month % 12 + 1, 1)
        if begin >= first_on and following - timedelta(days=1) <= last_on:
            found.append(f"{begin:%Y-%m}")
        year, month = following.year, following.month
    return found


def ship_date(at: datetime, offset_minutes: int) -> date:
    """The date aboard."""
    return ship_time(at, offset_minutes).date()
