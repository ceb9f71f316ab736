"""Running hours of positions, pumps and parts at any instant, with pumps that move and counters that fall quiet."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.ledger import Adjustment, Item, OpeningBalance, Reading, Replacement, Setup, derive
from scheduler.domain.hours.running import (
    DAY_S,
    Curve,
    Curves,
    RunningHours,
    daily_seconds,
    projected,
    pump_daily_seconds,
    running_hours,
)
from scheduler.domain.vessel.document import Counter, Fitting, Plant, Stay
from tests.property.counter_pasts import HOURS, honest
from tests.unit.domain.plants import plant

T0 = datetime(2026, 11, 2, tzinfo=UTC)
T0_S = int(T0.timestamp())


def at(hour: float) -> datetime:
    return T0 + timedelta(hours=hour)


def at_s(hour: float) -> int:
    return T0_S + round(hour * 3600)


def posts(*pairs: tuple[float, float]) -> list[Item]:
    return [Reading(at_s(hour), round(counts * 1000), at_s(hour)) for hour, counts in pairs]


def curve(*items: Item) -> Curve:
    return Curve.of(derive(Setup(3600, None, 1000), items).entries)


def moved(hour: float = 36) -> Plant:
    """Two pumps that change places; a knife set that goes into the first one at 12."""
    return plant(
        stays=(
            Stay(pump="u1", position="vp1", from_at=T0, to_at=at(hour)),
            Stay(pump="u2", position="vp2", from_at=T0, to_at=at(hour)),
            Stay(pump="u1", position="vp2", from_at=at(hour)),
            Stay(pump="u2", position="vp1", from_at=at(hour)),
        ),
        fittings=(Fitting(part="k1", pump="u1", from_at=at(12)),),
    )


TWO = Curves(
    {
        "c1": curve(*posts((0, 1000), (24, 1012), (48, 1020))),
        "c2": curve(*posts((0, 5000), (24, 5004), (48, 5016), (72, 5026))),
    }
)


def ran(plant: Plant, totals: Curves, subject: Subject, name: str, hour: float) -> tuple[float, bool]:
    hours = running_hours(plant, totals, subject, name, at(hour))
    return hours.hours, hours.estimated


def test_two_counters_and_a_swap() -> None:
    """R21: first pump 32 h, second 14 h, knife set 26 h, all estimated because the swap fell between readings.

    Source: derived by hand; common practice, no published source.
    """
    assert ran(moved(), TWO, Subject.PUMP, "u1", 72) == (32, True)
    assert ran(moved(), TWO, Subject.PUMP, "u2", 72) == (14, True)
    assert ran(moved(), TWO, Subject.PART, "k1", 72) == (26, True)


def test_a_swap_at_a_reading_is_exact() -> None:
    """With a reading of each counter at the swap nothing is pro-rated."""
    assert ran(moved(24), TWO, Subject.PUMP, "u1", 48) == (12 + 12, False)
    assert ran(moved(24), TWO, Subject.PUMP, "u2", 48) == (4 + 8, False)


@pytest.mark.parametrize(
    ("hour", "hours", "estimated", "as_of"),
    [
        (-5, 0, False, None),
        (0, 0, False, 0),
        (12, 6, True, 12),
        (24, 12, False, 24),
        (48, 20, False, 48),
        (900, 20, False, 48),
    ],
)
def test_a_position_at_any_instant(hour: float, hours: float, estimated: bool, as_of: float | None) -> None:
    """Nothing before the first reading, pro-rated between readings, exact at one, and left where the newest one was."""
    now = running_hours(plant(), TWO, Subject.POSITION, "vp1", at(hour))
    expected_as_of = None if as_of is None else at(as_of)
    assert now == RunningHours(seconds=round(hours * 3600), as_of=expected_as_of, estimated=estimated)


def test_nothing_run_between_two_readings_is_exact() -> None:
    """Where the counter stood there is nothing to pro-rate."""
    totals = Curves({"c1": curve(*posts((0, 1000), (48, 1000)))})
    assert ran(plant(), totals, Subject.POSITION, "vp1", 30) == (0, False)


def test_held_and_false_values_bend_no_curve() -> None:
    """A spike between two readings is not a point: the run is pro-rated across it."""
    totals = Curves({"c1": curve(*posts((0, 1000), (24, 90000), (48, 1020)))})
    assert ran(plant(), totals, Subject.POSITION, "vp1", 24) == (10, True)


def test_an_adjustment_is_a_step() -> None:
    """40 h given at 10 are there from 10 on and not before, though the next reading is at 24."""
    totals = Curves({"c1": curve(*posts((0, 1000), (24, 1012)), Adjustment(at_s(10), 40 * 3600))})
    assert ran(plant(), totals, Subject.POSITION, "vp1", 8) == (4, True)
    assert ran(plant(), totals, Subject.POSITION, "vp1", 10) == (45, True)
    assert ran(plant(), totals, Subject.POSITION, "vp1", 24) == (52, False)


def test_steps_add_up() -> None:
    """Three adjustments, one of them backwards: each counts from its own instant on."""
    steps = [Adjustment(at_s(hour), hours * 3600) for hour, hours in ((10, 40), (20, 5), (40, -30))]
    totals = Curves({"c1": curve(*posts((0, 1000), (24, 1012), (48, 1020)), *steps)})
    given = [totals.given("c1", at_s(hour)) // 3600 for hour in (9.99, 10, 19.99, 20, 39.99, 40, 900)]
    assert given == [0, 40, 40, 45, 45, 15, 15]


def test_openings_are_each_ones_own() -> None:
    """What one pump or part had run before says nothing of another, and counts from the instant it is put in."""
    context = plant(
        stays=tuple(
            Stay(pump=f"u{n}", position=f"vp{n}", from_at=at(0), opening_running_hours=100.0 * n) for n in (1, 2)
        ),
        fittings=tuple(
            Fitting(part=f"k{n}", pump=f"u{n}", from_at=at(0), opening_running_hours=10.0 * n) for n in (1, 2)
        ),
    )
    for hour, first, second in ((-0.01, 0, 0), (0, 0, 0), (24, 12, 4), (48, 20, 16)):
        before = 0 if hour < 0 else 1
        assert ran(context, TWO, Subject.PUMP, "u1", hour) == (100 * before + first, False)
        assert ran(context, TWO, Subject.PUMP, "u2", hour) == (200 * before + second, False)
        assert ran(context, TWO, Subject.PART, "k1", hour) == (10 * before + first, False)
        assert ran(context, TWO, Subject.PART, "k2", hour) == (20 * before + second, False)


def test_an_opening_balance_is_the_positions_own() -> None:
    """It counts for the position from its instant on; the pump put in later brings its own."""
    context = plant(stays=(Stay(pump="u1", position="vp1", from_at=at(0), opening_running_hours=300.0),))
    totals = Curves({"c1": curve(OpeningBalance(at_s(-1), 9000 * 3600), *posts((0, 1000), (24, 1012)))})
    assert ran(context, totals, Subject.POSITION, "vp1", 24) == (9012, False)
    assert ran(context, totals, Subject.PUMP, "u1", 24) == (312, False)


def test_a_replaced_counter_goes_on() -> None:
    """R14: the position's hours run over the exchange."""
    items = [*posts((0, 12000), (48, 4), (72, 9)), Replacement(at_s(24), 12_004_000, 0)]
    assert ran(plant(), Curves({"c1": curve(*items)}), Subject.POSITION, "vp1", 72) == (13, False)


def test_counters_one_after_the_other_add_up() -> None:
    """R18: a position whose second counter counts from the instant at which the first one ended runs on from it."""
    context = plant(counters=(Counter(id="old", position="vp1"), Counter(id="new", position="vp1", primary=False)))
    curves = {"old": curve(*posts((0, 500), (24, 510))), "new": curve(*posts((24, 0), (48, 8)))}
    totals = Curves(curves, {"vp1": [(at_s(24), "new")]})
    now = running_hours(context, totals, Subject.POSITION, "vp1", at(48))
    assert (now.hours, now.as_of, now.estimated) == (18, at(48), False)


def test_a_part_does_not_take_the_pumps_earlier_hours() -> None:
    """Fitted ashore before the pump came aboard with 5000 h: the part has only what ran since, on top of its own."""
    context = plant(
        stays=(Stay(pump="u1", position="vp1", from_at=at(0), opening_running_hours=5000.0),),
        fittings=(Fitting(part="k1", pump="u1", from_at=at(-100), opening_running_hours=70.0),),
    )
    assert ran(context, TWO, Subject.PUMP, "u1", 24) == (5012, False)
    assert ran(context, TWO, Subject.PART, "k1", 24) == (82, False)


def test_a_part_moves_between_pumps() -> None:
    """Its hours are those of whichever pump it sat in, and none on the shelf."""
    context = plant(
        fittings=(
            Fitting(part="k1", pump="u1", from_at=at(0), to_at=at(24)),
            Fitting(part="k1", pump="u2", from_at=at(48)),
        ),
        stays=(Stay(pump="u1", position="vp1", from_at=T0), Stay(pump="u2", position="vp2", from_at=T0)),
    )
    assert ran(context, TWO, Subject.PART, "k1", 48) == (12, False)
    assert ran(context, TWO, Subject.PART, "k1", 72) == (22, False)


def test_a_stay_whose_end_no_reading_reaches_is_estimated() -> None:
    """The pump came ashore after the newest reading: what it ran until then is not known."""
    context = plant(stays=(Stay(pump="u1", position="vp1", from_at=T0, to_at=at(60)),))
    assert ran(context, TWO, Subject.PUMP, "u1", 50) == (20, False)
    assert ran(context, TWO, Subject.PUMP, "u1", 60) == (20, True)
    assert ran(context, TWO, Subject.PUMP, "u1", 70) == (20, True)


def test_a_fitting_whose_end_no_reading_reaches_is_estimated() -> None:
    """So it is for a part, from the instant it was taken out."""
    context = plant(fittings=(Fitting(part="k1", pump="u1", from_at=at(0), to_at=at(60)),))
    assert [ran(context, TWO, Subject.PART, "k1", hour) for hour in (50, 60, 70)] == [
        (20, False),
        (20, True),
        (20, True),
    ]


def test_a_stay_that_ends_as_it_begins_lacks_nothing() -> None:
    """Put in and taken out at one instant, long after the newest reading: nothing run, nothing estimated."""
    context = plant(stays=(Stay(pump="u1", position="vp1", from_at=at(100), to_at=at(100)),))
    now = running_hours(context, TWO, Subject.PUMP, "u1", at(200))
    assert now == RunningHours(seconds=0, as_of=at(100))


def test_hours_are_accounted_for_from_the_day_the_pump_came() -> None:
    """Put in where the counter has long been quiet: it is to be carried on from when it was put in, not from before."""
    context = plant(stays=(Stay(pump="u1", position="vp1", from_at=at(100)),))
    assert running_hours(context, TWO, Subject.PUMP, "u1", at(200)).as_of == at(100)


def test_a_pump_that_never_stood_anywhere_has_none() -> None:
    """And no instant that it rests on."""
    nowhere = plant(stays=())
    assert running_hours(nowhere, TWO, Subject.PUMP, "u1", at(48)) == RunningHours(seconds=0, as_of=None)


def test_a_plant_has_no_hours() -> None:
    """It is a mistake to ask."""
    with pytest.raises(ValueError, match="no running hours"):
        running_hours(plant(), TWO, Subject.PLANT, "aft", at(0))


@given(st.integers(0, 72 * 3600), st.integers(0, 100 * 3600))
def test_a_swap_moves_no_hours(swap_s: int, then_s: int) -> None:
    """Whenever two pumps change places, together they have what their two positions have, to the second."""
    context, then = moved(swap_s / 3600), T0 + timedelta(seconds=then_s)
    pumps = sum(running_hours(context, TWO, Subject.PUMP, name, then).seconds for name in ("u1", "u2"))
    positions = sum(running_hours(context, TWO, Subject.POSITION, name, then).seconds for name in ("vp1", "vp2"))
    assert pumps == positions


@given(honest(HOURS), st.lists(st.integers(-100_000, 40_000_000), min_size=2, max_size=12))
def test_hours_never_fall(readings: Sequence[Reading], offsets_s: list[int]) -> None:
    """A later instant never has fewer hours, and at every reading they are the ledger's."""
    entries = derive(HOURS, list(readings)).entries
    totals = Curves({"c1": Curve.of(entries)})
    thens = [datetime.fromtimestamp(readings[0].at_s + offset, UTC) for offset in sorted(offsets_s)]
    hours = [running_hours(plant(), totals, Subject.POSITION, "vp1", then).seconds for then in thens]
    assert hours == sorted(hours)
    for entry in entries:
        then = datetime.fromtimestamp(entry.at_s, UTC)
        assert running_hours(plant(), totals, Subject.POSITION, "vp1", then).seconds == entry.total_s


def test_projection_carries_on_from_the_last_reading() -> None:
    """R23: 20 h as of 48, ten hours a day, two and a half days on: 45 h, estimated, still as of 48."""
    now = RunningHours(seconds=20 * 3600, as_of=at(48))
    assert projected(now, 10.0, at(108)) == RunningHours(seconds=45 * 3600, as_of=at(48), estimated=True)
    assert projected(now, 10.0, at(48)) == now
    unknown = RunningHours(seconds=0, as_of=None)
    assert projected(unknown, 10.0, at(48)) == unknown


def points_of(totals: Curves, name: str) -> list[tuple[int, int]]:
    curve = totals.curves[name]
    return list(zip(curve.instants, curve.totals, strict=True))


def test_seconds_a_day() -> None:
    """12, 8 and 0 h on three UTC days, none before and after."""
    assert [s / 3600 for s in daily_seconds(points_of(TWO, "c1"), T0_S // DAY_S - 1, 5)] == [0, 12, 8, 0, 0]
    assert daily_seconds([], T0_S // DAY_S, 2) == [0, 0]


def test_a_gap_is_pro_rated_over_its_days() -> None:
    """40 h between two readings four days apart, 12 h into a day: 5, 10, 10, 10, 5."""
    points = points_of(Curves({"c": curve(*posts((12, 100), (108, 140)))}), "c")
    assert [s / 3600 for s in daily_seconds(points, T0_S // DAY_S, 5)] == [5, 10, 10, 10, 5]


@given(honest(HOURS))
def test_the_days_add_up(readings: Sequence[Reading]) -> None:
    """Over all days between first and last reading they are the ledger's total, and none has more than 24 h and what
    rounding to whole counts allows."""
    entries = derive(HOURS, list(readings)).entries
    points = [(e.at_s, e.total_s) for e in entries if e.total_s is not None]
    first, last = points[0][0] // DAY_S, points[-1][0] // DAY_S
    days = daily_seconds(points, first, last - first + 1)
    assert sum(days) == points[-1][1]
    assert max(days) <= DAY_S + 2 * 3781 + 90


def test_a_pumps_days_follow_it() -> None:
    """Over the swap each pump has the day of the position in which it stood at noon."""
    points = {name: points_of(TWO, name) for name in ("c1", "c2")}
    first = T0_S // DAY_S
    assert [s / 3600 for s in pump_daily_seconds(moved(24), points, "u1", first, 3)] == [12, 12, 10]
    assert [s / 3600 for s in pump_daily_seconds(moved(24), points, "u2", first, 3)] == [4, 8, 0]


@given(st.integers(-20, 100))
def test_the_days_of_two_pumps_are_those_of_their_positions(swap_hour: int) -> None:
    """Whenever they change places, at noon too, each day belongs to one pump of each position."""
    points = {name: points_of(TWO, name) for name in ("c1", "c2")}
    first, context = T0_S // DAY_S - 1, moved(swap_hour)
    pumps = [pump_daily_seconds(context, points, name, first, 5) for name in ("u1", "u2")]
    positions = [daily_seconds(points[name], first, 5) for name in ("c1", "c2")]
    assert [sum(day) for day in zip(*pumps, strict=True)] == [sum(day) for day in zip(*positions, strict=True)]


def test_of_several_totals_at_one_instant_the_last_counts() -> None:
    """An exchange and the new counter's reading at the same second."""
    both = curve(*posts((0, 100), (24, 1), (48, 9)), Replacement(at_s(24), 110_000, 0))
    assert both.instants == (at_s(0), at_s(24), at_s(48))
    assert [total // 3600 for total in both.totals] == [0, 11, 19]
    assert all(early < late for early, late in pairwise(both.instants))


def test_a_counter_nobody_knows_has_no_totals() -> None:
    """A counter in the document that never posted is empty, not an error."""
    empty: dict[str, Any] = {}
    assert Curves(empty).around("c9", 0) == (None, None)
    assert Curves(empty).given("c9", 0) == 0
