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

from seed_fleet.ships import PumpPlan, ShipPlan

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

    Raises:
        ValueError: `until` has no offset, or the past would be shorter than a watch.
    """

    def __init__(self, ship: ShipPlan, seed: int, until: datetime, years: float = 2.0) -> None:
        self.ship, self.seed = ship, seed
        if until.tzinfo is None:
            raise ValueError("until: an instant with its offset was expected")
        if years * 8760 < WATCH_HOURS:
            raise ValueError("years: a past of at least one watch was expected")
        self.end = until.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        start = self.end - timedelta(hours=round(years * 8760))
        self.start = start - timedelta(hours=start.hour % WATCH_HOURS)
        self.past_hours = (self.end - self.start) // HOUR
        self._numbers = range(len(ship.pumps))
        self._first = (self._ship_time(self.start) - self._midnight(self.today)) // HOUR  # hours from day 0, 00:00
        self._source = self._hours({})
        self._ran: list[list[int]] = [[0] for _ in self._numbers]
        self._grow(self.past_hours)
        planned = {n: {kind: self._instant(n, since) for kind, since in _since(p)} for n, p in enumerate(ship.pumps)}
        # The same weather again, now with each pump standing while it was worked on.
        self._source = self._hours(self._standing(planned))
        self._ran = [[0] for _ in self._numbers]
        self._grow(self.past_hours)
        self.marks = {(n, kind): self._mark(n, kind, at) for n, kinds in planned.items() for kind, at in kinds.items()}

    @property
    def today(self) -> date:
        """Day 0: the ship's date at the end of the past."""
        return self._ship_time(self.end).date()

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
        """True running seconds of the parts in pump `number`, which the last overhaul renewed."""
        return self.pump_seconds(number, at) - self.marks[number, "overhaul"].pump_seconds

    def _ship_time(self, at: datetime) -> datetime:
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

    def _standing(self, planned: Mapping[int, Mapping[str, datetime]]) -> dict[int, set[int]]:
        standing: dict[int, set[int]] = {}
        for number, kinds in planned.items():
            for kind, at in kinds.items():
                done = (at - self.start) // HOUR
                for hour in range(done - TAKES_HOURS[kind], done):
                    standing.setdefault(hour, set()).add(number)
        return standing

    def _mark(self, number: int, kind: str, at: datetime) -> Mark:
        if at >= self.start:
            return Mark(at, self.pump_seconds(number, at))
        since = dict(_since(self.ship.pumps[number]))[kind]
        whole = (self.pump_seconds(number, self.end) // 3600 - since) * 3600
        opening = self.ship.pumps[number].opening_running_hours * 3600
        return Mark(at, max(0, min(whole, opening)))


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
