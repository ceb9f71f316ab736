"""Which pump should lead next: advice, so that the overhauls of a plant come one after the other. It writes to no automation.

The pump-hours a day of a plant are fixed by the air admitted and the leak; control only shares them out. Control that
equalises the hours since overhaul makes all overhauls fall due together. A ladder keeps them apart: the hours left of n
pumps form rungs an nth of the interval apart; the pump most above its rung leads, each keeps at least a quarter of an
equal share, and while all stand near their rungs they share equally. Own method; figures in `tests/bench` are simulated.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

LEAST_SHARE = 0.25
"""Of an equal share; a pump that never runs seizes (judgement, no source)."""
NEAR = 0.02
"""Of the interval: so near its rung a pump counts as on it (judgement, no source)."""
BUNCH_DAYS = 30
MOST_H_PER_DAY = 24.0
TREND_DAYS = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """A pump on the ladder. above_hours: how far its hours left are above its rung (below: negative)."""

    pump: str
    left_hours: float
    rung_hours: float
    above_hours: float
    h_per_day: float
    """Advised for the next period."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The ladder as it stands, lead first, and what follows from it.

    gap_days: expected days from one overhaul to the next. bunched: pumps that fall due within 30 days of each other at
    the rates they run now; empty when none do.
    """

    ladder: tuple[Rung, ...]
    near: bool
    gap_days: float | None
    bunched: tuple[str, ...]

    @property
    def order(self) -> tuple[str, ...]:
        """Pump ids, the one that should lead first."""
        return tuple(rung.pump for rung in self.ladder)


def advise(
    left_hours: Mapping[str, float],
    *,
    interval_hours: float,
    pump_hours_per_day: float,
    now_h_per_day: Mapping[str, float],
) -> Advice:
    """The lead order for the next period.

    Args:
        left_hours: running hours left to its overhaul, by pump; negative when past. At least one pump.
        interval_hours: of the overhaul, above 0. pump_hours_per_day: of all pumps together, as they run now.
        now_h_per_day: what each runs now, for what falls due together.
    """
    n = len(left_hours)
    ranked = sorted(left_hours, key=lambda pump: (left_hours[pump], pump))
    lowest = sum(left_hours[pump] for pump in ranked) / n - (n - 1) / 2 * interval_hours / n
    rungs = {pump: lowest + place * interval_hours / n for place, pump in enumerate(ranked)}
    above = {pump: left_hours[pump] - rungs[pump] for pump in ranked}
    near = all(abs(value) <= NEAR * interval_hours for value in above.values())
    order = sorted(ranked, key=lambda pump: (-above[pump], pump))
    rates = _shared(order, pump_hours_per_day, near)
    ladder = tuple(
        Rung(
            pump=pump,
            left_hours=left_hours[pump],
            rung_hours=rungs[pump],
            above_hours=above[pump],
            h_per_day=rates[pump],
        )
        for pump in order
    )
    gap = interval_hours / pump_hours_per_day if pump_hours_per_day > 0 else None
    return Advice(ladder=ladder, near=near, gap_days=gap, bunched=_bunched(left_hours, now_h_per_day))


def _shared(order: Sequence[str], total: float, near: bool) -> dict[str, float]:
    n = len(order)
    equal = min(total / n, MOST_H_PER_DAY)
    if near:
        return dict.fromkeys(order, equal)
    rates = dict.fromkeys(order, LEAST_SHARE * equal)
    rest = equal * n - sum(rates.values())
    for pump in order:
        more = min(rest, MOST_H_PER_DAY - rates[pump])
        rates[pump] += more
        rest -= more
    return rates


def _bunched(left_hours: Mapping[str, float], h_per_day: Mapping[str, float]) -> tuple[str, ...]:
    """The largest group that falls due within `BUNCH_DAYS`, two pumps or more, by date."""
    days = sorted(
        (max(left, 0.0) / h_per_day[pump], pump) for pump, left in left_hours.items() if h_per_day.get(pump, 0.0) > 0
    )
    best: list[str] = []
    for first, (start, _) in enumerate(days):
        group = [pump for at, pump in days[first:] if at - start <= BUNCH_DAYS]
        if len(group) > len(best):
            best = group
    return tuple(best) if len(best) > 1 else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Pump-hours a day of a plant over the last four weeks and the four before; none without so much past."""

    recent_h_per_day: float | None
    before_h_per_day: float | None

    @property
    def change_percent(self) -> float | None:
        """How much more than before; rising at equal persons aboard means a leak or a worn pump."""
        if not self.before_h_per_day or self.recent_h_per_day is None:
            return None
        return (self.recent_h_per_day / self.before_h_per_day - 1) * 100


def load_of(daily_seconds: Mapping[str, Sequence[int]]) -> Load:
    """The trend of a plant's pump-hours a day.

    Args:
        daily_seconds: seconds run on each day of each pump, newest last, all ending on the same day.
    """

    def mean(first: int, last: int | None) -> float | None:
        days = [list(one)[first:last] for one in daily_seconds.values()]
        whole = [one for one in days if len(one) == TREND_DAYS]
        return sum(map(sum, whole)) / 3600 / TREND_DAYS if whole else None

    return Load(recent_h_per_day=mean(-TREND_DAYS, None), before_h_per_day=mean(-2 * TREND_DAYS, -TREND_DAYS))
