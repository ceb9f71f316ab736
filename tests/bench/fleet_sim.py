"""A simulated fleet to try forecasts on: invented ships, invented figures, the same for the same seed.

Frozen: `tests/unit/test_fleet_sim.py` holds this file's hash, so that it cannot be changed unseen while a forecast is
tuned on it. `TUNING_SEEDS` are for choosing figures, `SCORING_SEEDS` for the score alone.

What is in it: ferries, cruise ships and ships on irregular trips; regime changes (a new route, more or fewer persons, a
leak that is found after a while); plants of 2 to 8 pumps whose total hours follow the load and are only shared out by
the control (lead and lag, equal rate, equalising hours since overhaul); overhauls, breakdowns, pumps held in reserve;
counters that go quiet. The day's kind (sea, port, lay-up) is known from the log for the past and from a plan for some
time ahead, and the plan is not always kept. How much a port day or a lay-up day runs differs from ship to ship.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

TUNING_SEEDS = range(1000, 1060)
SCORING_SEEDS = range(2000, 2120)
FIRST_ON = date(2015, 1, 1)
DAYS = 2900
SEA, PORT, LAY_UP = "sea", "port", "lay-up"
TRADES = ("ferry", "cruise", "trips")
CONTROLS = ("lead and lag", "equal rate", "equalising")

Kinds = list[str]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a ship at the start of a day: seconds a day of each pump up to its last reading, and its age."""

    daily_seconds: list[list[int]]
    """Newest last; a pump's list ends on the last day its counter was read at the end of."""
    unread_days: list[int]
    """Days since then, a pump."""
    log: list[tuple[date, str]]
    """Kind of each day past, as logged."""
    plan: list[tuple[date, str]]
    """Kind of each day from today on, as planned now."""


@dataclass(frozen=True, slots=True)
class Ship:
    """One simulated ship. Arrays have one row a pump and one column a day from `FIRST_ON`."""

    seed: int
    trade: str
    control: str
    seconds: NDArray[np.int64]
    read: NDArray[np.bool_]
    kinds: Kinds
    plans: tuple[tuple[int, Kinds], ...]
    """(day from which it is known, kind of each day): the newest known one holds."""
    plan_days: int
    log_from: int
    history_from: int
    """Day on which this tool began to count: nothing is known before it."""

    def known(self, day: int) -> Known:
        """All that is known in the morning of `day`."""
        daily, unread = [], []
        for row, read in zip(self.seconds, self.read, strict=True):
            days = np.flatnonzero(read[self.history_from : day]) + self.history_from
            last = int(days[-1]) if len(days) else self.history_from - 1
            daily.append(_as_read(row, days, self.history_from, last))
            unread.append(day - 1 - last)
        plan = max((p for p in self.plans if p[0] <= day), key=lambda p: p[0])[1]
        return Known(
            daily,
            unread,
            [(on(d), self.kinds[d]) for d in range(max(self.history_from, self.log_from), day)],
            [(on(d), plan[d]) for d in range(day, min(day + self.plan_days, DAYS))],
        )

    def days_until(self, pump: int, day: int, seconds: float) -> tuple[float, bool]:
        """Days from the start of `day` until the pump has run so long, and whether it did before the simulation ended."""
        ran = np.cumsum(self.seconds[pump, day:])
        at = int(np.searchsorted(ran, seconds))
        if at == len(ran):
            return float(at), False
        before = float(ran[at - 1]) if at else 0.0
        return at + (seconds - before) / (float(ran[at]) - before), True


def on(day: int) -> date:
    """Date of a day's number."""
    return FIRST_ON + timedelta(days=day)


def _as_read(row: NDArray[np.int64], read_days: NDArray[np.int64], first: int, last: int) -> list[int]:
    """Days up to `last`; those of a gap share evenly what the counter shows after it."""
    out = np.zeros(last + 1 - first, dtype=np.int64)
    before = first - 1
    for d in read_days:
        total, n = int(row[before + 1 : d + 1].sum()), int(d - before)
        share = np.full(n, total // n, dtype=np.int64)
        share[-1] += total - int(share.sum())
        out[before + 1 - first : d + 1 - first] = share
        before = int(d)
    return [int(s) for s in out]


def simulate(seed: int) -> Ship:
    """The ship of a seed; trades and controls take turns so that each meets each."""
    rng = np.random.default_rng(seed)
    trade, control = TRADES[seed % 3], CONTROLS[seed // 3 % 3]
    pumps = int(rng.integers(2, 9))
    routes = _routes(rng)
    schedules = [_schedule(rng, trade) for _ in routes]
    plans: list[tuple[int, Kinds]] = [(0, schedules[0])]
    for (day, notice), schedule in zip(routes[1:], schedules[1:], strict=True):
        plans.append((max(day - notice, 0), [*plans[-1][1][:day], *schedule[day:]]))
    kinds = _as_sailed(rng, plans[-1][1])
    load = _load(rng, kinds, [day for day, _ in routes], pumps * rng.uniform(5.0, 13.0))
    out = _outages(rng, pumps)
    seconds = _shared(rng, control, load, out)
    return Ship(
        seed=seed,
        trade=trade,
        control=control,
        seconds=seconds,
        read=_read(rng, pumps),
        kinds=kinds,
        plans=tuple(plans),
        plan_days={"ferry": 300, "cruise": 500, "trips": int(rng.integers(40, 150))}[trade],
        log_from=0 if rng.random() < 0.75 else int(rng.integers(500, 1000)),
        history_from=int(rng.choice([0, 0, 300, 700])),
    )


def _routes(rng: np.random.Generator) -> list[tuple[int, int]]:
    """(first day, days of notice) of each route; the first has always been."""
    routes, day = [(0, 0)], int(rng.exponential(900))
    while day < DAYS:
        routes.append((day, int(rng.integers(10, 100))))
        day += 120 + int(rng.exponential(900))
    return routes


def _schedule(rng: np.random.Generator, trade: str) -> Kinds:
    match trade:
        case "ferry":
            return _ferry(rng)
        case "cruise":
            return _cruise(rng)
    return _trips(rng)


def _ferry(rng: np.random.Generator) -> Kinds:
    """Sails daily, lies by a day a week in summer and up to four in winter; docked once a year."""
    winter, summer = int(rng.integers(0, 5)), int(rng.integers(0, 2))
    dock, dock_days = int(rng.integers(0, 365)), int(rng.integers(10, 30))
    kinds = []
    for day in range(DAYS):
        idle = winter if on(day).month in (11, 12, 1, 2, 3) else summer
        in_dock = (day - dock) % 365 < dock_days
        kinds.append(LAY_UP if in_dock else PORT if day % 7 < idle else SEA)
    return kinds


def _cruise(rng: np.random.Generator) -> Kinds:
    """Cruises of 5 to 14 days with port days in them, and weeks of lay-up between the seasons."""
    port_share = rng.uniform(0.25, 0.65)
    start, gap_days = int(rng.integers(0, 365)), int(rng.integers(14, 75))
    kinds: Kinds = []
    while len(kinds) < DAYS:
        cruise = [PORT, *(PORT if rng.random() < port_share else SEA for _ in range(int(rng.integers(4, 14))))]
        kinds += cruise
    return [LAY_UP if (day - start) % 365 < gap_days else kind for day, kind in enumerate(kinds[:DAYS])]


def _trips(rng: np.random.Generator) -> Kinds:
    """Trips of a few days to weeks, stays in port of days to weeks, now and then a long lay-up."""
    trip, stay = rng.uniform(6, 25), rng.uniform(3, 14)
    kinds: Kinds = []
    while len(kinds) < DAYS:
        kinds += [SEA] * (2 + int(rng.gamma(2, trip / 2))) + [PORT] * (1 + int(rng.gamma(2, stay / 2)))
        if rng.random() < 0.06:
            kinds += [LAY_UP] * int(rng.integers(20, 91))
    return kinds[:DAYS]


def _as_sailed(rng: np.random.Generator, plan: Kinds) -> Kinds:
    """The plan as it was kept: days in port for weather or repair, trips put in, stays that ran over."""
    kinds, day = list(plan), 0
    while (day := day + 1 + int(rng.exponential(50))) < DAYS:
        length, was = 1 + int(rng.exponential(4)), kinds[day]
        if was == LAY_UP:
            while day < DAYS and kinds[day] == LAY_UP:
                day += 1
            for d in range(day, min(day + length * 2, DAYS)):
                kinds[d] = LAY_UP
        else:
            other = PORT if was == SEA or rng.random() < 0.3 else SEA
            for d in range(day, min(day + length, DAYS)):
                kinds[d] = other
        day += length
    return kinds


def _load(rng: np.random.Generator, kinds: Kinds, route_days: list[int], sea_hours: float) -> NDArray[np.float64]:
    """Pump-hours a day of the whole plant."""
    weight = {SEA: 1.0, PORT: rng.uniform(0.2, 0.65), LAY_UP: rng.uniform(0.05, 0.3)}
    days = np.arange(DAYS)
    season = 1 + rng.uniform(0.0, 0.25) * np.cos(2 * np.pi * (days - rng.uniform(0, 365)) / 365)
    level = np.ones(DAYS)
    for day in route_days[1:]:
        level[day:] *= rng.lognormal(0.0, 0.22)
    day = int(rng.exponential(700))
    while day < DAYS:  # more or fewer persons
        level[day:] *= rng.lognormal(0.05, 0.15)
        day += 100 + int(rng.exponential(700))
    level = np.clip(level, 0.45, 1.9)
    noise, today = np.zeros(DAYS), 0.0
    steady, spread = rng.uniform(0.6, 0.95), rng.uniform(0.05, 0.15)
    for d in range(DAYS):
        today = steady * today + spread * np.sqrt(1 - steady**2) * rng.standard_normal()
        noise[d] = today
    load = sea_hours * np.array([weight[k] for k in kinds]) * season * level * np.exp(noise)
    day = int(rng.exponential(600))
    while day < DAYS:  # a leak that grows until it is found
        length = int(rng.integers(20, 160))
        end = min(day + length, DAYS)
        load[day:end] += sea_hours * rng.uniform(0.05, 0.4) * np.linspace(0.4, 1.0, length)[: end - day]
        day += length + int(rng.exponential(600))
    return load


def _outages(rng: np.random.Generator, pumps: int) -> NDArray[np.bool_]:
    """Days on which a pump cannot run: breakdowns, and spells held in reserve; at least half of them always can."""
    out = np.zeros((pumps, DAYS), dtype=np.bool_)
    for pump in range(pumps):
        for every, least, most in ((380, 1, 90), (1100, 25, 120)):
            day = int(rng.exponential(every))
            while day < DAYS:
                length = (
                    int(np.clip(rng.lognormal(np.log(6), 1.0), least, most))
                    if least == 1
                    else int(rng.integers(25, 120))
                )
                if out[:, day : day + length].sum(axis=0).max(initial=0) < pumps // 2:
                    out[pump, day : day + length] = True
                day += length + int(rng.exponential(every))
    return out


def _shared(
    rng: np.random.Generator, control: str, load: NDArray[np.float64], out: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """The plant's hours shared between the pumps that can run, at most 23.5 h each, in whole seconds."""
    pumps = len(out)
    hours = np.zeros((pumps, DAYS))
    since = rng.uniform(0, 9000, pumps)
    interval = rng.choice([6000.0, 8000.0, 10000.0])
    overhaul_until = np.zeros(pumps)
    rotate = int(rng.choice([7, 14, 30, 91]))
    step, own = rng.uniform(0.35, 0.75), rng.lognormal(0.0, 0.07, pumps)
    for day in range(DAYS):
        can = ~out[:, day] & (overhaul_until <= day)
        if can.sum() > max(pumps // 2, 1):
            for pump in np.flatnonzero(can & (since > interval))[:1]:
                overhaul_until[pump], since[pump], can[pump] = day + int(rng.integers(2, 7)), 0.0, False
        if not can.any():
            can[int(rng.integers(pumps))] = True
        if control == "equal rate":
            share = own * rng.lognormal(0.0, 0.1, pumps)
        else:
            in_turn = control == "lead and lag"
            order = np.roll(np.arange(pumps), day // rotate % pumps) if in_turn else np.argsort(since, kind="stable")
            share = np.empty(pumps)
            share[order] = step ** np.arange(pumps) * rng.lognormal(0.0, 0.1, pumps)
        hours[:, day] = _fill(np.where(can, share, 0.0), load[day])
        since += hours[:, day]
    return np.rint(hours * 3600).astype(np.int64)


def _fill(share: NDArray[np.float64], load: float) -> NDArray[np.float64]:
    """Hours by share; what a pump cannot take the others take."""
    hours, open_, left = np.zeros(len(share)), share > 0, load
    while left > 1e-9 and open_.any():
        hours = np.where(open_, hours + left * share / share[open_].sum(), hours)
        left = float(np.maximum(hours - 23.5, 0).sum())
        hours = np.minimum(hours, 23.5)
        open_ &= hours < 23.5
    return hours


def _read(rng: np.random.Generator, pumps: int) -> NDArray[np.bool_]:
    """Whether a counter was read at the end of each day: gaps of one counter, and of all at once."""
    read = np.ones((pumps, DAYS), dtype=np.bool_)
    for rows, every, most in (*((slice(p, p + 1), 260, 22) for p in range(pumps)), (slice(None), 700, 12)):
        day = int(rng.exponential(every))
        while day < DAYS:
            length = int(rng.integers(2, most))
            read[rows, day : day + length] = False
            day += length + int(rng.exponential(every))
    return read
