"""Invented ships whose hours say something: ferries, cruise ships, cargo ships and work boats that leak from a known day on.

All of it is simulated: no figure here was seen on a ship. Days wander (AR(1) with odd days), pumps are shared out by four
kinds of control, counters are read in three ways (to the second, to a tenth of an hour, to the whole hour), fall silent and
are exchanged.
`fleet_sim` is another world, frozen; its own levels and leaks are left out here and one leak is put in.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.domain.hours.air import PlantDays, plant_values, pump_values
from scheduler.domain.hours.sign_values import Sign, SignAnswer, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, SignRule, Track, fold_signs, least_that_shows
from tests.bench import fleet_sim

TRADES = ("ferry", "cruise", "cargo", "work boat")
CONTROLS = ("turns by starts", "lead and lag", "equal hours", "all together")
READ_S = (1, 360, 3600)
LEAK_FROM, LEAK_UNTIL = 460, 550
DAYS = 730
FREE = 150
"""Days before which nothing may be said."""


@dataclass(frozen=True, slots=True)
class LeakingShip:
    """seconds: (pumps, days) as its counters gave them in the end. known_on: (pumps, days), the first morning each was known.

    leak_day: from when it leaks; none for a worn pump or nothing. share: the true rise of the plant's air, a fraction.
    """

    seed: int
    kinds: NDArray[np.int64]
    swept: NDArray[np.float64]
    seconds: NDArray[np.int64]
    interpolated: NDArray[np.bool_]
    known_on: NDArray[np.int64]
    leak_day: int | None
    share: float
    worn: int | None = None
    control: str = ""
    read_s: int = 1


def own_ship(seed: int, rise: float, *, worn: bool = False, days: int = DAYS) -> LeakingShip:
    """A ship of the generator: rise 0.25 is a quarter more air from a day between 460 and 549 on, or that much pump worn."""
    rng = np.random.default_rng(seed)
    trade, control = TRADES[seed % 4], CONTROLS[0] if worn else CONTROLS[seed // 4 % 4]
    read_s = READ_S[int(rng.integers(3))]
    pumps = int(rng.integers(3, 7))
    swept = rng.choice([40.0, 60.0, 80.0], pumps)
    kinds = _kinds(rng, trade, days)
    weight = np.array([1.0, rng.uniform(0.35, 0.7), rng.uniform(0.1, 0.3)])[kinds]
    weekday = rng.normal(0, 0.04, 7)[np.arange(days) % 7]
    season = 1 + rng.uniform(0, 0.12) * np.cos(2 * np.pi * (np.arange(days) - rng.uniform(0, 365)) / 365)
    steady, spread = rng.uniform(0.2, 0.6), rng.uniform(0.04, 0.1)
    wander = _wander(rng, days, steady, spread)
    odd = np.where(rng.random(days) < 0.02, rng.normal(0, 0.4, days), 0.0)
    air = swept.mean() * pumps * rng.uniform(5, 10) * weight * season * np.exp(weekday + wander + odd)
    leak_day = int(rng.integers(LEAK_FROM, LEAK_UNTIL)) if rise else None
    sick = np.ones((pumps, days))
    which = int(rng.integers(pumps)) if worn else None
    if leak_day is not None and which is not None:
        sick[which, leak_day:] = 1 - rise
    elif leak_day is not None:
        air[leak_day:] *= 1 + rise
    hours = _shared(rng, control, air, swept[:, None] * sick)
    return _read(rng, seed, kinds, swept, hours, read_s, leak_day, rise, which, control)


def simulated_fleet_ship(seed: int, rise: float) -> LeakingShip:
    """A ship of `fleet_sim` without its own levels and leaks; from a day on it takes `rise` of a sea day more.

    Source of the load: `fleet_sim._load` line by line, the two parts that are left out excepted.
    """
    rng = np.random.default_rng(seed)
    trade, control = fleet_sim.TRADES[seed % 3], fleet_sim.CONTROLS[seed // 3 % 3]
    pumps = int(rng.integers(2, 9))
    kinds = fleet_sim._as_sailed(rng, fleet_sim._schedule(rng, trade))
    sea_hours = pumps * rng.uniform(5.0, 13.0)
    weight = {fleet_sim.SEA: 1.0, fleet_sim.PORT: rng.uniform(0.2, 0.65), fleet_sim.LAY_UP: rng.uniform(0.05, 0.3)}
    days = np.arange(fleet_sim.DAYS)
    season = 1 + rng.uniform(0.0, 0.25) * np.cos(2 * np.pi * (days - rng.uniform(0, 365)) / 365)
    wander = _wander(rng, fleet_sim.DAYS, rng.uniform(0.6, 0.95), rng.uniform(0.05, 0.15))
    load = sea_hours * np.array([weight[kind] for kind in kinds]) * season * np.exp(wander)
    leak_day = int(rng.integers(LEAK_FROM, LEAK_UNTIL)) if rise else None
    before = load.copy()
    if leak_day is not None:
        load[leak_day:] += sea_hours * rise
    out = fleet_sim._outages(rng, pumps)
    seconds = fleet_sim._shared(rng, control, load, out)[:, :DAYS]
    read = fleet_sim._read(rng, pumps)[:, :DAYS]
    share = (
        0.0
        if leak_day is None
        else float(np.median(load[leak_day : leak_day + 30] / before[leak_day : leak_day + 30])) - 1
    )
    codes = np.array([(fleet_sim.SEA, fleet_sim.PORT, fleet_sim.LAY_UP).index(kind) for kind in kinds[:DAYS]])
    laid, interpolated, known = _laid(seconds, read)
    return LeakingShip(seed, codes, np.ones(pumps), laid, interpolated, known, leak_day, share, control=control)


def _wander(rng: np.random.Generator, days: int, steady: float, spread: float) -> NDArray[np.float64]:
    """AR(1) of that spread."""
    steps = spread * np.sqrt(1 - steady**2) * rng.standard_normal(days)
    found, now = np.zeros(days), 0.0
    for day in range(days):
        now = steady * now + steps[day]
        found[day] = now
    return found


def _kinds(rng: np.random.Generator, trade: str, days: int) -> NDArray[np.int64]:
    """0 at sea, 1 in port, 2 laid up."""
    kinds = np.zeros(days, dtype=np.int64)
    match trade:
        case "ferry":
            kinds[np.arange(days) % 7 < int(rng.integers(0, 3))] = 1
        case "cruise":
            kinds[rng.random(days) < rng.uniform(0.3, 0.6)] = 1
        case "cargo":
            day = 0
            while day < days:
                day += int(rng.integers(6, 20))
                stay = int(rng.integers(1, 5))
                kinds[day : day + stay] = 1
                day += stay
        case "work boat":
            day = 0
            while day < days:
                day += int(rng.integers(14, 35))
                stay = int(rng.integers(3, 8))
                kinds[day : day + stay] = 1
                day += stay
    start = int(rng.integers(150, 365))
    if trade != "cargo":
        for year in (0, 365):
            kinds[start + year : start + year + int(rng.integers(7, 22))] = 2
    return kinds


def _shared(
    rng: np.random.Generator, control: str, air: NDArray[np.float64], swept: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Hours (pumps, days) that handle the air; a worn pump sweeps less an hour than its plate says."""
    pumps, days = swept.shape
    match control:
        case "turns by starts":  # each start draws the same air, so a worn pump runs longer
            drawn = np.full((pumps, 1), 1 / pumps) * rng.lognormal(0, 0.02, (pumps, days))
        case "lead and lag":
            order = (np.arange(pumps)[:, None] + np.arange(days) // 14) % pumps
            drawn = 0.5**order * rng.lognormal(0, 0.08, (pumps, days))
        case "equal hours":
            drawn = swept * rng.lognormal(0, 0.05, (pumps, days))
        case _:
            drawn = swept * np.ones((pumps, days))
    found: NDArray[np.float64] = np.minimum(air * drawn / drawn.sum(axis=0) / swept, 23.5)
    return found


def _read(
    rng: np.random.Generator,
    seed: int,
    kinds: NDArray[np.int64],
    swept: NDArray[np.float64],
    hours: NDArray[np.float64],
    read_s: int,
    leak_day: int | None,
    rise: float,
    which: int | None,
    control: str,
) -> LeakingShip:
    """As counters of that step give them, with gaps; a counter exchanged loses the part of a step it stood on."""
    pumps, days = hours.shape
    total = np.cumsum(hours * 3600, axis=1)
    for pump in range(pumps):
        for day in np.flatnonzero(rng.random(days) < 1 / 700):  # exchanged
            total[pump, day:] -= total[pump, day] % read_s
    counted = (total // read_s * read_s).astype(np.int64)
    seconds = np.diff(counted, axis=1, prepend=0)
    read = np.ones((pumps, days), dtype=np.bool_)
    for pump in range(pumps):
        day = int(rng.exponential(180))
        while day < days:
            length = int(rng.integers(2, 15))
            read[pump, day : day + length] = False
            day += length + int(rng.exponential(180))
    laid, interpolated, known = _laid(seconds, read)
    return LeakingShip(seed, kinds, swept, laid, interpolated, known, leak_day, rise, which, control, read_s)


def _laid(
    seconds: NDArray[np.int64], read: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.int64]]:
    """Days of a gap share what the counter shows after it, are interpolated, and known when it has ended."""
    laid, interpolated = seconds.copy(), np.zeros(read.shape, dtype=np.bool_)
    known = np.tile(np.arange(1, seconds.shape[1] + 1), (len(seconds), 1))
    for pump, row in enumerate(read):
        start = None
        for day, was_read in enumerate([*row, True]):
            if not was_read and start is None:
                start = day
            elif was_read and start is not None:
                end = min(day + 1, seconds.shape[1])
                laid[pump, start:end] = int(seconds[pump, start:end].sum()) // max(1, end - start)
                interpolated[pump, start:end] = True
                known[pump, start:end] = end if day < seconds.shape[1] else seconds.shape[1] + 1
                start = None
    return laid, interpolated, known


@dataclass(frozen=True, slots=True)
class Said:
    """A sign, by the day on which it could first be read, and what it was about: none for the plant, else a pump's index.

    rise_later: what it gave 14 days after. least: the least that showed then.
    """

    on: int
    about: int | None
    sign: Sign


@dataclass(frozen=True, slots=True)
class Watched:
    """A ship watched day by day: all it said, and the least that showed just before it leaked (none: silent)."""

    ship: LeakingShip
    said: tuple[Said, ...]
    least: float | None


def days_of(ship: LeakingShip, morning: int) -> PlantDays:
    """What is known in the morning of a day."""
    n = min(morning, ship.seconds.shape[1])
    known = ship.known_on[:, :n] <= morning
    return PlantDays(
        first_day=0,
        seconds=np.where(known, ship.seconds[:, :n], np.nan).astype(np.float64),
        interpolated=ship.interpolated[:, :n] & known,
        swept_m3_per_h=np.tile(ship.swept[:, None], (1, n)),
        out=np.zeros((len(ship.swept), n), dtype=np.bool_),
    )


def watched(ship: LeakingShip, *, pumps: bool = False) -> Watched:
    """Each morning what is new is folded in, from the earliest day touched on; each sign is answered the same day.

    Mornings on which nothing but the day before came to be known are folded at once up to the first sign, which is the same
    as one after the other, and ten times as fast.
    """
    subjects: Sequence[int | None] = range(len(ship.swept)) if pumps else [None]
    said: list[Said] = []
    least = None
    for about in subjects:
        own, seen_least = _said_of(ship, about)
        said += own
        least = seen_least if about is None else least
    return Watched(ship, tuple(said), least)


def _said_of(ship: LeakingShip, about: int | None) -> tuple[list[Said], float | None]:
    looked_on = ship.leak_day or 500
    touched = _touched(ship)
    late = {morning for morning, day in touched.items() if day < morning - 1}
    stops = sorted({*late, *(one - 1 for one in late), looked_on, ship.seconds.shape[1]})
    said: list[Said] = []
    answers: list[SignAnswer] = []
    least, track, done = None, Track(0), 0  # done: mornings looked at
    while done < ship.seconds.shape[1]:
        morning = next(stop for stop in stops if stop > done)
        first = touched.get(morning, morning - 1) if morning in late else done
        assert morning not in late or morning == done + 1
        folded = _folded(ship, about, track, first, morning, answers)
        new = _newly_seen(folded, said, done)
        if new and (seen_on := max(done, new[0].seen_day) + 1) < morning:
            morning = seen_on  # no further than the morning after its day
            folded = _folded(ship, about, track, first, morning, answers)
            new = _newly_seen(folded, said, done)
        track = folded
        if new:
            said.append(Said(morning - 1, about, new[0]))
            answers.append(SignAnswer(seen_day=new[0].seen_day, day=morning, end=SignEnd.KNOWN))
        if about is None and morning == looked_on:
            least = least_that_shows(track, PLANT_RULE)
        done = morning
    return said, least


def _folded(
    ship: LeakingShip, about: int | None, track: Track, first: int, morning: int, answers: Sequence[SignAnswer]
) -> Track:
    """The track in the morning of a day, what lies from a first day on folded anew."""
    book = _window(ship, first, morning)
    values = plant_values(book) if about is None else pump_values(book)[about]
    rule: SignRule = PLANT_RULE if about is None else PUMP_RULE
    new = values[first - book.first_day :]
    return fold_signs(track.before(first), rule, new, ship.kinds[first:morning], answers=answers)


def _newly_seen(folded: Track, said: Sequence[Said], done: int) -> list[Sign]:
    """The signs of the mornings after `done` that were not said before; one seen 20 days off is the same."""
    return [
        one
        for one in folded.signs
        if (one.seen_day >= done or one.end is None)
        and not any(abs(one.seen_day - other.sign.seen_day) <= 20 for other in said)
    ]


def _touched(ship: LeakingShip) -> dict[int, int]:
    """By morning, the earliest day that came to be known then."""
    found: dict[int, int] = {}
    for row in ship.known_on:
        for day, morning in enumerate(row.tolist()):
            found[morning] = min(found.get(morning, day), day)
    return found


def _window(ship: LeakingShip, first: int, morning: int) -> PlantDays:
    """The days from a little before the first new one on, since a gap is as long as all its days."""
    start = max(0, first - 20)
    whole = days_of(ship, morning)
    return PlantDays(
        first_day=start,
        seconds=whole.seconds[:, start:],
        interpolated=whole.interpolated[:, start:],
        swept_m3_per_h=whole.swept_m3_per_h[:, start:],
        out=whole.out[:, start:],
    )
