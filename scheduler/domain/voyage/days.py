"""The operating calendar: which days a ship is at sea, in port, laid up, and how much a day of each kind runs.

The past comes from the log, the future from the plan; days outside any stretch take the usual mix. A forecast is made on
an axis of operating days, on which a port day is worth less than a sea day, and converted back to dates. How much less
starts from the plant's own weights and is put right by what its pumps ran on such days (`Operating.of`).

Stretches are ship dates, days of running are UTC days; that they differ by some hours is left aside.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from types import MappingProxyType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import Refused
from scheduler.language import gettext as _

Floats = NDArray[np.float64]


_DAY = timedelta(days=1)
SEA = "sea"
WEIGHTS: Mapping[str, float] = MappingProxyType({SEA: 1.0, "port": 0.3, "anchor": 0.6, "yard": 0.1, "lay-up": 0.2})
"""What a day of each kind runs, as a share of a sea day, until the ship's own days say better: judgement, no source."""
LAID_UP = frozenset({"yard", "lay-up"})
"""Days on which pumps may stand for weeks."""
LEAST_WEIGHT, MOST_WEIGHT = 0.02, 3.0
LEAST_LOGGED_DAYS = 60
"""With fewer days of the last year in the log the calendar is left aside."""
USUAL_DAYS = 365
"""The usual mix is that of the logged days among so many last ones."""
TRUST_DAYS = 20.0
"""The weight given counts for as much as so many days of the ship's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Days of one kind; both dates included.

    Raises:
        Refused: it ends before it begins.
    """

    from_on: date
    to_on: date
    kind: str

    def __post_init__(self) -> None:
        if self.to_on < self.from_on:
            raise Refused(
                _(
                    "The stretch of {kind} ends on {to_on}, before it begins on {from_on}: a last day on "
                    "or after the first was expected. Change one of the dates.",
                    kind=self.kind,
                    to_on=self.to_on,
                    from_on=self.from_on,
                )
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """A ship's days as logged and as planned. Of stretches that hold the same day the last one counts.

    weights: of each kind of day, as a share of a sea day, 0.02 to 3.

    Raises:
        Refused: a weight is out of bounds, or a stretch is of a kind that has none.
    """

    stretches: tuple[Stretch, ...] = ()
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)

    def __post_init__(self) -> None:
        for kind, weight in self.weights.items():
            if not LEAST_WEIGHT <= weight <= MOST_WEIGHT:
                raise Refused(
                    _(
                        "A weight of {weight} for a day of {kind} cannot be: {least_weight} to {most_weight} "
                        "was expected, 1 being a day at sea. Give the share of a sea day's running.",
                        weight=f"{weight:g}",
                        kind=kind,
                        least_weight=f"{LEAST_WEIGHT:g}",
                        most_weight=f"{MOST_WEIGHT:g}",
                    )
                )
        for kind in sorted({stretch.kind for stretch in self.stretches} - self.weights.keys()):
            raise Refused(
                _(
                    "A stretch is of the kind {kind}, which has no weight here: one of {weights} was "
                    "expected. Give the kind a weight, or the stretch another kind.",
                    kind=f"{kind!r}",
                    weights=", ".join(self.weights),
                )
            )

    def kinds(self, first_on: date, days: int) -> list[str | None]:
        """The kind of each of `days` days from `first_on` on; none where no stretch says."""
        found: list[str | None] = [None] * days
        after_on = first_on + timedelta(days=days)
        for stretch in self.stretches:
            if stretch.to_on < first_on or stretch.from_on >= after_on:
                continue
            start = max(0, (stretch.from_on - first_on).days)
            end = min(days, (stretch.to_on - first_on).days + 1)
            if start < end:
                found[start:end] = [stretch.kind] * (end - start)
        return found

    def last_on(self) -> date | None:
        """The last day that any stretch holds; none without stretches."""
        return max((stretch.to_on for stretch in self.stretches), default=None)


@dataclass(frozen=True)  # no slots: its beginning is kept with it
class Axis:
    """Operating days counted from the midnight (UTC) before `first_on`; `sums` at each midnight, then the usual rate."""

    first_on: date
    sums: tuple[float, ...]
    usual: float

    def at(self, when: datetime) -> float:
        """Operating days up to an instant not before the axis begins."""
        days = (when - self._from_at) / _DAY
        whole = min(int(days), len(self.sums) - 1)
        return self.sums[whole] + (days - whole) * self._weight(whole)

    def days_from(self, start_at: datetime, operating_days: float) -> float:
        """Calendar days from an instant until so many operating days have gone."""
        goal = self.at(start_at) + operating_days
        whole = min(bisect_right(self.sums, goal), len(self.sums)) - 1
        days = whole + (goal - self.sums[whole]) / self._weight(whole)
        return max(0.0, days - (start_at - self._from_at) / _DAY)

    def corners(self, start_at: datetime, days: float) -> list[float]:
        """The midnights, in days from `start_at`, within the next `days`."""
        begun = (start_at - self._from_at) / _DAY
        return [n - begun for n in range(int(begun) + 1, min(int(begun + days) + 1, len(self.sums)))]

    @cached_property
    def _from_at(self) -> datetime:
        return datetime.combine(self.first_on, time(), UTC)

    def _weight(self, day: int) -> float:
        return self.sums[day + 1] - self.sums[day] if day + 1 < len(self.sums) else self.usual


@dataclass(frozen=True, slots=True)
class Operating:
    """A plant's calendar made ready for a forecast at the end of `last_on`.

    weights: what each kind of day is worth here. past: worth of each day up to `last_on`, newest last. usual: of a day
    in the usual mix. axis: of the days from the one of the last reading on. logged_days: known, of the last year.
    """

    weights: Mapping[str, float]
    past: Floats
    usual: float
    axis: Axis
    logged_days: int

    @classmethod
    def of(cls, calendar: Calendar | None, pumps: Sequence[Sequence[int]], last_on: date) -> Self | None:
        """None when too few days are logged to be of use.

        Args:
            pumps: seconds a day of every pump up to `last_on`, newest last; lengths may differ.
        """
        length = max(map(len, pumps), default=0)
        if calendar is None or not length:
            return None
        kinds = calendar.kinds(last_on - timedelta(days=length - 1), length)
        year = kinds[-USUAL_DAYS:]
        logged = sum(kind is not None for kind in year)
        if logged < LEAST_LOGGED_DAYS:
            return None
        weights = _learned(calendar.weights, year, _plant_days(pumps, len(year)))
        usual = sum(weights[kind] for kind in year if kind is not None) / logged
        past = np.array([usual if kind is None else weights[kind] for kind in kinds])
        first_on, planned_to = last_on + timedelta(days=1), calendar.last_on()
        ahead = max(0, (planned_to - last_on).days) if planned_to is not None else 0
        worth = [usual if kind is None else weights[kind] for kind in calendar.kinds(first_on, ahead)]
        return cls(weights, past, usual, Axis(first_on, (0.0, *map(float, np.cumsum(worth))), usual), logged)

    def up_to(self, days: int) -> Floats:
        """Worth of each day up to `days` days after the last one of `past`, newest last."""
        sums = np.array(self.axis.sums[: days + 1])
        more = np.append(np.diff(sums), np.full(days + 1 - len(sums), self.usual))
        return np.append(self.past, more)


def _plant_days(pumps: Sequence[Sequence[int]], days: int) -> Floats:
    """Mean hours of the pumps known on each of the last `days` days."""
    total, known = np.zeros(days), np.zeros(days)
    for pump in pumps:
        own = np.clip(np.asarray(pump[-days:], dtype=np.float64) / 3600, 0.0, 24.0)
        total[days - len(own) :] += own
        known[days - len(own) :] += 1
    return total / np.maximum(known, 1)


def _learned(weights: Mapping[str, float], kinds: Sequence[str | None], hours: Floats) -> Mapping[str, float]:
    """The weights given, put right by the plant's hours on such days; a sea day, or the commonest, keeps its own."""
    of_kind = {kind: hours[[k == kind for k in kinds]] for kind in weights}
    measure = max(of_kind, key=lambda kind: (len(of_kind[kind]) * (3 if kind == SEA else 1), kind))
    full = float(of_kind[measure].mean()) / weights[measure]
    if full <= 0:
        return dict(weights)
    found = {}
    for kind, ran in of_kind.items():
        share = (float(ran.sum()) / full + TRUST_DAYS * weights[kind]) / (len(ran) + TRUST_DAYS)
        found[kind] = min(max(share, LEAST_WEIGHT), MOST_WEIGHT) if kind != measure else weights[kind]
    return found
