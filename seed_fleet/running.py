"""What the pumps truly ran: a seeded simulation of demand, voyage, lead rotation and past work. Pure.

The demand is what the persons aboard and the leak admit; the pumps share it, the lead taking most. The lead changes
weekly. The past ends at a given instant; the same stream goes on beyond it for as long as it is asked.
"""

import math
import random
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import count, islice

from seed_fleet.ships import PumpPlan, ShipPlan, Stop

HOUR = timedelta(hours=1)
WATCH_HOURS = 4
"""Counters of the past are posted once a watch."""
PORT_LOAD = 0.55
LEAK_LOAD = 1.25
MOST_OF_AN_HOUR = 0.97
LEAD_SHARE = 0.6
LEAK_GROWTH_PER_HOUR = 0.05 / 17520
WORK_ENDS_HOUR = 17
TAKES_HOURS: Mapping[str, int] = {"overhaul": 10, "seal_inspection": 4, "knife_inspection": 3}
INTERVAL_HOURS: Mapping[str, int] = {"overhaul": 8000, "seal_inspection": 3000, "knife_inspection": 1500}
MOST_DAYS: Mapping[str, int] = {"overhaul": 880, "seal_inspection": 345, "knife_inspection": 168}
"""Days by which a kind is done before its months are over."""
LATE_HOURS, PUT_OFF_HOURS, PAST_DUE_HOURS = 150, 195, 45
"""Running hours past due of the job done late, of the one that was postponed, of the one within its limit."""
# Persons ashore and asleep, morning, meals, evening: shares of the daily mean, hour by hour of ship time.
_BY_HOUR: tuple[float, ...] = (0.5, 0.4, 0.35, 0.35, 0.45, 0.8, 1.35, 1.7, 1.55, 1.2, 1.05, 1.0)
_BY_HOUR += (1.15, 1.2, 1.0, 0.9, 0.95, 1.25, 1.5, 1.45, 1.25, 1.05, 0.9, 0.7)
_MEAN_OF_DAY = sum(_BY_HOUR) / 24


@dataclass(frozen=True, slots=True)
class Mark:
    """A job done: when, and the running seconds of the pump at that instant."""

    done_at: datetime
    pump_seconds: int


class Run:
    """Two (or any) years of one ship's pumps, hour by hour, and on from there.

    Args:
        ship: the figures of the ship.
        seed: any whole number; equal seeds give equal runs.
        until: the end of the past, aware; the run ends at the full hour before it.
        years: length of the past, over 0.
        worked: the jobs before the last ones were done within the past too, and a pump broke down; else the last ones alone.

    Raises:
        ValueError: `until` has no offset, or the past would be shorter than a watch.
    """

    def __init__(self, ship: ShipPlan, seed: int, until: datetime, years: float = 2.0, *, worked: bool = False) -> None:
        self.ship, self.seed, self.worked = ship, seed, worked
        if until.tzinfo is None:
            raise ValueError("until: an instant with its offset was expected")
        if years * 8760 < WATCH_HOURS:
            raise ValueError("years: a past of at least one watch was expected")
        self.end = until.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        start = self.end - timedelta(hours=round(years * 8760))
        self.start = start - timedelta(hours=start.hour % WATCH_HOURS)
        self.past_hours = (self.end - self.start) // HOUR
        self._numbers = range(len(ship.pumps))
        self._first = (self.clock_aboard(self.start) - self._midnight(self.today)) // HOUR  # hours from day 0, 00:00
        self._source = self._hours({})
        self._ran: list[list[int]] = [[0] for _ in self._numbers]
        self._grow(self.past_hours)
        since = {
            (n, kind): self._done_before_end(n, kind) if worked else (hours,)
            for n, pump in enumerate(ship.pumps)
            for kind, hours in _since(pump)
        }
        planned = {turn: [self._instant(turn[0], hours) for hours in found] for turn, found in since.items()}
        # The same weather again, now with each pump standing while it was worked on.
        self._source = self._hours(self._standing(planned))
        self._ran = [[0] for _ in self._numbers]
        self._grow(self.past_hours)
        self.done = {
            turn: [self._mark(turn[0], hours, at) for hours, at in zip(since[turn], instants, strict=True)]
            for turn, instants in planned.items()
        }
        """By pump number and job kind, each time it was done, newest first; the last of them may lie before the past."""
        self.marks = {turn: marks[0] for turn, marks in self.done.items()}

    def past_due_hours(self, number: int, kind: str) -> int:
        """Hours past due at which a kind was last done on a pump, where that was meant to go otherwise; else 0."""
        turns = self.done[number, kind]
        overhauls = self.done[number, "overhaul"]
        meant = len(turns) > 1 and turns[1].done_at not in {mark.done_at for mark in overhauls}
        return _PAST_DUE.get((number, kind), 0) if meant else 0

    def ran_before(self, number: int, kind: str, place: int) -> float:
        """Running hours between a turn of a kind on a pump, counted from the newest, and the job before it that did or renewed it."""
        done_at = self.done[number, kind][place].done_at
        earlier = [*self.done[number, kind][place + 1 :], *self.done[number, "overhaul"]]
        before = max((mark.pump_seconds for mark in earlier if mark.done_at < done_at), default=0)
        return (self.done[number, kind][place].pump_seconds - before) / 3600

    @property
    def stop(self) -> Stop | None:
        """The breakdown, where it lies within the past."""
        lies_within = self.worked and self.at_ship_time(-self.ship.stop.days, self.ship.stop.hour) > self.start
        return self.ship.stop if lies_within else None

    @property
    def today(self) -> date:
        """Day 0: the ship's date at the end of the past."""
        return self.clock_aboard(self.end).date()

    def at_ship_time(self, day: int, hour: int) -> datetime:
        """The instant of that ship's hour on that day."""
        midnight = self._midnight(self.today + timedelta(days=day))
        return midnight - timedelta(minutes=self.ship.utc_offset_minutes) + hour * HOUR

    def ran_seconds(self, number: int, at: datetime) -> int:
        """Seconds that pump `number` ran from the start of the past to `at` (0 before the start)."""
        full, rest = divmod(at - self.start, HOUR)
        if full < 0:
            return 0
        self._grow(full + 1)
        ran = self._ran[number]
        return ran[full] + (ran[full + 1] - ran[full]) * (rest // timedelta(seconds=1)) // 3600

    def pump_seconds(self, number: int, at: datetime) -> int:
        """True running seconds of pump `number` in its whole life, at an instant not before the start."""
        return self.ship.pumps[number].opening_running_hours * 3600 + self.ran_seconds(number, at)

    def part_seconds(self, number: int, at: datetime) -> int:
        """True running seconds of the parts in pump `number`, which its last overhaul renewed; in a past with all its work they are
        those that the overhaul before it fitted."""
        overhauls = self.done[number, "overhaul"]
        return self.pump_seconds(number, at) - overhauls[-1].pump_seconds

    def clock_aboard(self, at: datetime) -> datetime:
        """Date and clock aboard at an instant; not an instant any more."""
        return at + timedelta(minutes=self.ship.utc_offset_minutes)

    def _midnight(self, day: date) -> datetime:
        return datetime(day.year, day.month, day.day, tzinfo=UTC)

    def _grow(self, hours: int) -> None:
        missing = hours + 1 - len(self._ran[0])
        for row in islice(self._source, max(missing, 0)):
            for ran, seconds in zip(self._ran, row, strict=True):
                ran.append(ran[-1] + seconds)

    def _hours(self, standing: Mapping[int, set[int]]) -> Iterator[list[int]]:
        """Seconds run in each hour from the start on, pump by pump. standing: hour -> pumps that are out."""
        ship, pumps = self.ship, len(self._numbers)
        rng = random.Random(f"{ship.key} {self.seed}")  # noqa: S311 - a simulation, not a secret
        weather = 1.0
        mean = sum(pump.rated_swept_m3_per_h for pump in ship.pumps) / pumps
        size = [pump.rated_swept_m3_per_h / mean if ship.shares_air else 1.0 for pump in ship.pumps]
        for n in count():
            day, hour = divmod(self._first + n, 24)
            if hour == 0:
                weather = math.exp(rng.gauss(0.0, 0.06))
            left = ship.pumps_running * weather * _BY_HOUR[hour] / _MEAN_OF_DAY * (1.0 + n * LEAK_GROWTH_PER_HOUR)
            left *= rng.uniform(0.9, 1.1)
            if 6 <= hour < 18 and ship.in_port(day):
                left *= PORT_LOAD
            if ship.is_full(day):
                left *= ship.full_ship_load
            if ship.leak_days is not None and day >= -ship.leak_days:
                left *= LEAK_LOAD
            row = [0] * pumps
            lead = day // 7
            out = standing.get(n, ())
            for place in range(pumps):
                number = (lead + place) % pumps
                if number not in out:
                    runs = min(MOST_OF_AN_HOUR, left * LEAD_SHARE / size[number])
                    row[number] = round(runs * 3600)
                    left -= runs * size[number]
            yield row

    def _instant(self, number: int, since_hours: int) -> datetime:
        """The end of a working day on which the pump had about `since_hours` to run until the end of the past."""
        ran = self._ran[number]
        target = ran[self.past_hours] - since_hours * 3600
        hour = bisect_left(ran, target) if target > 0 else int(target * self.past_hours / max(ran[self.past_hours], 1))
        day = (self._first + hour - WORK_ENDS_HOUR) // 24
        return min(self.at_ship_time(day, WORK_ENDS_HOUR), self.at_ship_time(-1, WORK_ENDS_HOUR))

    def _done_before_end(self, number: int, kind: str) -> tuple[int, ...]:
        """Running hours before the end at which a kind was done, up to the last time before the past."""
        pump = self.ship.pumps[number]
        draw = random.Random(f"{self.ship.key} {self.seed} {number} {kind}")  # noqa: S311 - a simulation, not a secret
        ran = self._ran[number][self.past_hours] // 3600
        overhaul = pump.since_overhaul_hours if kind != "overhaul" else ran + 2 * INTERVAL_HOURS["overhaul"]
        found = [dict(_since(pump))[kind]]
        most = ran * MOST_DAYS[kind] * 24 // self.past_hours
        while found[-1] < ran:
            gap = min(most, INTERVAL_HOURS[kind] - draw.choice((90, 70, 50, 30, 15)))
            if len(found) == 1:
                gap = INTERVAL_HOURS[kind] + _PAST_DUE.get((number, kind), gap - INTERVAL_HOURS[kind])
            before = found[-1] + gap
            if found[-1] < overhaul < before + 100:  # the overhaul did it; the one before it lies some way back
                before = overhaul
            elif found[-1] == overhaul:
                before = overhaul + round(INTERVAL_HOURS[kind] * draw.uniform(0.35, 0.7))
            found.append(before)
        return tuple(found)

    def _standing(self, planned: Mapping[tuple[int, str], list[datetime]]) -> dict[int, set[int]]:
        standing: dict[int, set[int]] = {}
        for (number, kind), instants in planned.items():
            for at in instants:
                done = (at - self.start) // HOUR
                for hour in range(done - TAKES_HOURS[kind], done):
                    standing.setdefault(hour, set()).add(number)
        if self.stop is not None:
            broke = (self.at_ship_time(-self.stop.days, self.stop.hour) - self.start) // HOUR
            for hour in range(broke, broke + self.stop.hours):
                standing.setdefault(hour, set()).add(self.stop.pump)
        return standing

    def _mark(self, number: int, since_hours: int, at: datetime) -> Mark:
        if at >= self.start:
            return Mark(at, self.pump_seconds(number, at))
        whole = (self.pump_seconds(number, self.end) // 3600 - since_hours) * 3600
        opening = self.ship.pumps[number].opening_running_hours * 3600
        return Mark(at, max(0, min(whole, opening)))


_PAST_DUE = {
    (0, "seal_inspection"): PUT_OFF_HOURS,
    (1, "knife_inspection"): LATE_HOURS,
    (2, "knife_inspection"): PAST_DUE_HOURS,
}
"""The newest of these was done so many hours past due, where no overhaul came before."""


def truth(run: Run, at: datetime) -> dict[str, int]:
    """True running seconds of every pump and part of the ship at `at`, by id; for comparing a ledger with.

    A counter that counts whole hours, stuck ones and the like keep a ledger within a count or two of this.
    """
    answer: dict[str, int] = {}
    for number in range(len(run.ship.pumps)):
        pump = run.ship.pump(number)
        answer[pump] = run.pump_seconds(number, at)
        answer[f"{pump}-knives"] = answer[f"{pump}-seal"] = run.part_seconds(number, at)
    return answer


def _since(pump: PumpPlan) -> tuple[tuple[str, int], ...]:
    return (
        ("overhaul", pump.since_overhaul_hours),
        ("seal_inspection", pump.since_seal_hours),
        ("knife_inspection", pump.since_knives_hours),
    )
