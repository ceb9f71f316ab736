"""The watch over counters: silent ones, and ones that stand while the other pumps run (rule R20)."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from scheduler.domain.hours.ledger import START, Code, Reading, Setup, fold
from scheduler.domain.hours.running import Curve, Curves
from scheduler.domain.hours.watch import Seen, apart, watch
from scheduler.domain.vessel.document import Counter
from tests.unit.domain.plants import AT, plant

NOW = int(AT.timestamp())
DAY = 86_400
WELL = Seen(read_s=NOW - 3600, rose_s=NOW - 3600)
ALL_WELL = {"c1": WELL, "c2": WELL, "c3": WELL}
STILL = replace(WELL, rose_s=NOW - 3600 - 7 * DAY)


def codes(seen: dict[str, Seen], out: tuple[str, ...] = ()) -> dict[str, Code]:
    return {counter: flag.code for counter, flag in watch(plant(), seen, AT, out)}


def test_all_well_says_nothing() -> None:
    """Counters that post and rise, and ones that have never posted, are left alone."""
    assert codes(ALL_WELL) == {}
    assert codes({}) == {}
    assert codes({"c1": Seen(read_s=None, rose_s=None)}) == {}


@pytest.mark.parametrize(("age_s", "silent"), [(36 * 3600, False), (36 * 3600 + 1, True)])
def test_a_silent_counter(age_s: int, silent: bool) -> None:
    """A second past its 36 hours, with the instant of its last reading and how long ago that was."""
    flags = watch(plant(), ALL_WELL | {"c2": replace(WELL, read_s=NOW - age_s)}, AT)
    assert [(counter, flag.code) for counter, flag in flags] == ([("c2", Code.SILENT)] if silent else [])
    if silent:
        assert (flags[0][1].at_s, flags[0][1].seconds) == (NOW - age_s, age_s)
        assert flags[0][1].facts == {"quiet_h": 36}


@pytest.mark.parametrize(("still_s", "idle"), [(7 * DAY - 1, False), (7 * DAY, True)])
def test_a_standing_counter(still_s: int, idle: bool) -> None:
    """It posts and has not risen for seven days while the others ran."""
    seen = ALL_WELL | {"c1": replace(WELL, rose_s=NOW - 3600 - still_s)}
    assert codes(seen) == ({"c1": Code.STANDING} if idle else {})


def test_a_standing_counter_keeps_its_flag_while_nothing_changes() -> None:
    """The flag is about the last increase, so a new reading without a rise gives the same one."""
    first = watch(plant(), ALL_WELL | {"c1": STILL}, AT)[0][1]
    later = watch(plant(), ALL_WELL | {"c1": replace(STILL, read_s=NOW)}, AT)[0][1]
    assert (first.code, first.at_s) == (later.code, later.at_s) == (Code.STANDING, STILL.rose_s)
    assert (first.seconds, later.seconds) == (7 * DAY, 7 * DAY + 3600)


def test_a_pump_out_of_service_may_stand() -> None:
    """And so may an empty position."""
    assert codes(ALL_WELL | {"c1": STILL}, ("u1",)) == {}
    assert watch(plant(stays=()), ALL_WELL | {"c1": STILL}, AT) == []


def test_a_whole_plant_may_stand() -> None:
    """Laid up: nothing runs, so nothing is out of the ordinary."""
    assert codes(dict.fromkeys(ALL_WELL, STILL)) == {}
    long_ago = replace(WELL, rose_s=NOW - 7 * DAY)
    assert codes({"c1": STILL, "c2": long_ago, "c3": long_ago}) == {}


def test_in_lay_up_a_pump_may_stand_and_silence_is_still_told() -> None:
    """Said by the ship's calendar, not by its pumps: one that is turned over now and then makes no flag of the others."""
    seen = ALL_WELL | {"c1": STILL, "c2": replace(WELL, read_s=NOW - 37 * 3600)}
    flags = watch(plant(), seen, AT, laid_up=True)
    assert [(counter, flag.code) for counter, flag in flags] == [("c2", Code.SILENT)]


def test_a_held_counter_is_not_called_standing() -> None:
    """It is flagged as held already, and its last increase says nothing."""
    assert codes(ALL_WELL | {"c1": replace(STILL, undecided=True)}) == {}


def test_of_two_counters_of_a_position_the_retired_one_is_not_watched() -> None:
    """One that another took over from is not called silent for ever; the one that counts is, and one that checks it."""
    context = plant(counters=(Counter(id="old", position="vp1"), Counter(id="new", position="vp1", primary=False)))
    changes = {"vp1": [(NOW - 400 * DAY, "new")]}
    old = Seen(read_s=NOW - 400 * DAY, rose_s=NOW - 400 * DAY)
    quiet = replace(WELL, read_s=NOW - 2 * DAY)
    for seen, changed, expected in (
        ({"old": old, "new": WELL}, changes, []),
        ({"old": old, "new": quiet}, changes, ["new"]),
        ({"old": WELL, "new": quiet}, {}, ["new"]),
        ({"old": old, "new": WELL}, {}, ["old"]),
    ):
        flags = watch(context, seen, AT, changes=changed)
        assert [(name, flag.code) for name, flag in flags] == [(name, Code.SILENT) for name in expected]


def test_what_is_seen_comes_from_the_ledger() -> None:
    """Newest reading, last increase and whether something is held, from the state the ledger keeps."""
    at = int(datetime(2027, 2, 1, tzinfo=UTC).timestamp())
    posts = [Reading(at + n * 3600, value * 1000, at + n * 3600) for n, value in enumerate((100, 101, 101, 900))]
    state = fold(Setup(3600, None, 1000), posts).state
    assert Seen.of(state) == Seen(read_s=at + 3 * 3600, rose_s=at + 3600, undecided=True)
    assert Seen.of(START) == Seen(read_s=None, rose_s=None)


@pytest.mark.parametrize(
    ("ran_h", "checked_h", "flagged"),
    [(100, 90, False), (100, 89, True), (100, 111, True), (720, 706, False), (720, 705, True), (0, 11, True)],
)
def test_two_counters_may_differ_by_2_percent_or_10_hours_over_30_days(
    ran_h: int, checked_h: int, flagged: bool
) -> None:
    """R18: the greater of the two; what they counted before the last 30 days, and apart from each other, is not looked at."""
    context = plant(counters=(Counter(id="one", position="vp1"), Counter(id="other", position="vp1", primary=False)))
    curves = {
        "one": Curve([NOW - 90 * DAY, NOW - 30 * DAY, NOW], [0, 500 * 3600, (500 + ran_h) * 3600]),
        "other": Curve([NOW - 30 * DAY, NOW], [0, checked_h * 3600]),
    }
    flags = apart(context, Curves(curves), AT)
    assert [(name, flag.code, flag.seconds) for name, flag in flags] == (
        [("other", Code.SOURCES, abs(ran_h - checked_h) * 3600)] if flagged else []
    )
    assert all((f.facts["ran_s"], f.facts["checked_s"]) == (ran_h * 3600, checked_h * 3600) for _, f in flags)
    swapped = apart(context, Curves(curves, {"vp1": [(NOW - DAY, "other")]}), AT)
    assert swapped == []


def test_counters_that_never_counted_together_are_not_compared() -> None:
    """R18: nothing is said of one that has not counted for 30 days, or began after the other ended."""
    context = plant(counters=(Counter(id="one", position="vp1"), Counter(id="other", position="vp1", primary=False)))
    ended = Curve([NOW - 90 * DAY, NOW - 31 * DAY], [0, 3600])
    for one, other in (
        (ended, Curve([NOW - DAY, NOW], [0, 86_400])),
        (Curve([NOW - 40 * DAY, NOW], [0, 900 * 3600]), ended),
    ):
        assert apart(context, Curves({"one": one, "other": other}), AT) == []


def test_another_counter_of_the_same_position_says_nothing_of_the_others() -> None:
    """The other pumps stand; that the second counter of this one rises is no reason to call the first standing."""
    context = plant(counters=(*plant().counters, Counter(id="c9", position="vp1", primary=False)))
    seen = dict.fromkeys(ALL_WELL, STILL) | {"c9": WELL}
    assert "c1" not in {counter for counter, _ in watch(context, seen, AT)}


@pytest.mark.parametrize(("ago_s", "compared"), [(30 * DAY, True), (30 * DAY + 1, False)])
def test_a_counter_that_counted_just_thirty_days_ago_is_compared(ago_s: int, compared: bool) -> None:
    """R18: a second longer ago it is not."""
    context = plant(counters=(Counter(id="one", position="vp1"), Counter(id="other", position="vp1", primary=False)))
    until = NOW - ago_s
    curves = {
        "one": Curve([until - 20 * DAY, until], [0, 100 * 3600]),
        "other": Curve([until - 20 * DAY, until], [0, 10 * 3600]),
    }
    assert bool(apart(context, Curves(curves), AT)) is compared
