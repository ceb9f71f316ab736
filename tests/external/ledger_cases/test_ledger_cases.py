"""What a careful engineer would make of a counter's posts, case by case.

Source: derived by hand from the rules of the ledger (each row says which); common practice, no published source.
Hours are counted from the first instant; the counter shows whole hours unless a row says otherwise.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import permutations

import pytest

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.accepting import Refusal, check_item
from scheduler.domain.hours.ledger import (
    Adjustment,
    BadReading,
    Code,
    Item,
    LedgerVerdict,
    OpeningBalance,
    Reading,
    Replacement,
    Rescale,
    Setup,
    StepDecision,
    derive,
)
from scheduler.domain.hours.running import Curve, Curves, running_hours
from scheduler.domain.vessel.document import Fitting, Stay
from scheduler.wording.hours import flag_words
from tests.unit.domain.plants import plant

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000, "VP1")


def at(hour: float) -> int:
    return T0 + round(hour * 3600)


def instant(hour: float) -> datetime:
    return datetime.fromtimestamp(at(hour), UTC)


def posts(*pairs: tuple[float, float]) -> list[Item]:
    """Readings (hour, counts), each received as it was observed."""
    return [Reading(at(hour), round(counts * 1000), at(hour)) for hour, counts in pairs]


@dataclass(frozen=True)
class Case:
    """rule, what is put in, hours that come out, and (hour, verdict) of the entries worth naming."""

    rule: str
    items: Sequence[Item]
    hours: float
    verdicts: tuple[tuple[float, LedgerVerdict], ...] = ()
    flags: tuple[tuple[float, Code, float | None], ...] = ()
    setup: Setup = HOURS


V = LedgerVerdict
CASES = {
    "three readings": Case("R5", posts((0, 12000), (24, 12006), (48, 12011)), 11, ((0, V.BASELINE), (48, V.CREDITED))),
    "the first alone": Case("R4", posts((0, 12000)), 0, ((0, V.BASELINE),)),
    "the same twice": Case("R2", posts((0, 12000), (24, 12006), (24, 12006)), 6),
    "another value at the same instant": Case(
        "R2", [*posts((0, 12000), (24, 12006)), Reading(at(24), 12_007_000, at(25))], 6
    ),
    "out of order": Case("R3", posts((48, 12011), (0, 12000), (24, 12006)), 11),
    "late backfill between": Case("R3", posts((0, 12000), (240, 12060), (120, 12048)), 60, ((120, V.CREDITED),)),
    "late backfill before all": Case("R3", posts((100, 12040), (124, 12046), (0, 12000)), 46, ((0, V.BASELINE),)),
    "opening balance": Case("R4", [OpeningBalance(at(0), 3600 * 11000), *posts((0, 12000), (24, 12006))], 11006),
    "reset": Case("R10", posts((0, 12000), (24, 3)), 3, ((24, V.RESET),), ((24, Code.RESET, 21),)),
    "reset, then on": Case("R10", posts((0, 12000), (24, 3), (48, 13)), 13, ((24, V.RESET),), ((24, Code.RESET, 21),)),
    "rollover of 100000": Case(
        "R9", posts((0, 99997), (24, 4)), 7, ((24, V.ROLLOVER),), setup=Setup(3600, 100_000, 1000)
    ),
    "rollover of 16 bits in tenths": Case(
        "R9", posts((0, 65530), (10, 44)), 5.0, ((10, V.ROLLOVER),), setup=Setup(360, 65_536, 1000)
    ),
    "a fall to no use": Case(
        "R11, R7", posts((0, 12000), (24, 8000), (48, 8005)), 0, ((24, V.HELD), (48, V.HELD)), ((24, Code.HELD, 4000),)
    ),
    "replaced": Case(
        "R14",
        [*posts((0, 12000), (48, 4), (72, 9)), Replacement(at(24), 12_004_000, 0)],
        13,
        ((24, V.REPLACEMENT), (48, V.CREDITED)),
    ),
    "replaced, final value not known": Case(
        "R14",
        [*posts((0, 12000), (48, 4), (72, 9)), Replacement(at(24), None, 0)],
        9,
        ((24, V.REPLACEMENT),),
        ((24, Code.REPLACEMENT, 24),),
    ),
    "spike": Case(
        "R7",
        posts((0, 12000), (24, 12900), (48, 12010)),
        10,
        ((24, V.SPIKE), (48, V.CREDITED)),
        ((24, Code.SPIKE, 900),),
    ),
    "a false jump that goes on": Case(
        "R6, R7",
        posts((0, 12000), (24, 12500), (48, 12505), (720, 12630)),
        0,
        ((24, V.HELD), (48, V.HELD), (720, V.HELD)),
        ((24, Code.HELD, 500),),
    ),
    "the same, decided": Case(
        "R17",
        [*posts((0, 12000), (24, 12500), (48, 12505), (720, 12630)), StepDecision(at(24), 6 * 3600)],
        136,
        ((24, V.CREDITED), (720, V.CREDITED)),
    ),
    "a bad first reading marked": Case(
        "R17", [*posts((0, 70), (1, 12000), (25, 12010)), BadReading(at(0))], 10, ((0, V.GLITCH), (1, V.BASELINE))
    ),
    "one step of resolution": Case("R5", posts((0, 12000), (1 / 6, 12001)), 1, ((1 / 6, V.CREDITED),)),
    "from the future": Case(
        "R12",
        [*posts((0, 12000)), Reading(at(24), 12_006_000, at(21))],
        0,
        ((24, V.HELD),),
        ((24, Code.FUTURE, 3),),
    ),
    "two minutes ahead": Case("R12", [*posts((0, 12000)), Reading(at(24), 12_006_000, at(24) - 120)], 6),
    "minutes register": Case("R5", posts((0, 600_000), (24, 600_360)), 6, setup=Setup(60, None, 1000)),
    "clock of the sender 3 h behind": Case(
        "R12",
        [*posts((0, 12000)), Reading(at(24), 12_006_000, at(24), 3 * 3600), *posts((48, 12012))],
        12,
        ((24, V.CREDITED), (48, V.CREDITED)),
        ((24, Code.CLOCK, 3), (48, Code.CLOCK_RIGHT, 0)),
    ),
    "hours to minutes": Case(
        "R15",
        [*posts((0, 12000), (48, 720_600), (72, 720_960)), Rescale(at(24), 12_004_000, 720_240_000, 60, None, 1000)],
        16,
        ((24, V.RESCALE), (48, V.CREDITED), (72, V.CREDITED)),
    ),
    "hours to minutes, never said": Case(
        "R15, R6",
        posts((0, 12000), (48, 720_600), (72, 720_960)),
        0,
        ((48, V.HELD), (72, V.HELD)),
        ((48, Code.HELD, 708_600),),
    ),
    "a drop, then a nought before any rise": Case(
        "R10",
        posts((0, 12000), (24, 9), (48, 0), (72, 14)),
        14,
        ((24, V.RESET), (48, V.GLITCH), (72, V.CREDITED)),
        ((24, Code.RESET, 15), (48, Code.GLITCH, 0)),
    ),
    "a drop, noughts, then the drop's value again": Case(
        "R10",
        posts((0, 12000), (24, 9), (48, 0), (49, 0), (50, 9), (72, 14)),
        14,
        ((24, V.RESET), (48, V.GLITCH), (49, V.GLITCH), (50, V.CREDITED), (72, V.CREDITED)),
    ),
    "a drop, then a nought it goes on from": Case(
        "R10",
        posts((0, 12000), (24, 9), (48, 0), (72, 4)),
        13,
        ((24, V.RESET), (48, V.RESET), (72, V.CREDITED)),
    ),
    "a drop and a nought, both false": Case(
        "R10",
        posts((0, 12000), (24, 9), (48, 0), (72, 12014)),
        14,
        ((24, V.GLITCH), (48, V.GLITCH), (72, V.CREDITED)),
    ),
    "a drop, a nought, then exchanged": Case(
        "R10, R14",
        [*posts((0, 1000), (10, 1010), (110, 50), (111, 0)), Replacement(at(171), 50_500, 0)],
        60.5,
        ((110, V.RESET), (111, V.GLITCH), (171, V.REPLACEMENT)),
    ),
    "a nought after a rise has confirmed the drop": Case(
        "R10",
        posts((0, 12000), (24, 9), (48, 14), (72, 0), (96, 6)),
        20,
        ((24, V.RESET), (72, V.RESET), (96, V.CREDITED)),
    ),
    "a new modulus": Case(
        "R15, R9",
        [*posts((0, 9990), (24, 9995), (72, 1)), Rescale(at(30), 9_996_000, 9_996_000, 3600, 10_000, 1000)],
        11,
        ((30, V.RESCALE), (72, V.ROLLOVER)),
        setup=Setup(3600, 100_000, 1000),
    ),
    "rescaled, final value not known": Case(
        "R15",
        [*posts((0, 12000), (48, 600), (72, 960)), Rescale(at(24), None, 0, 60, None, 1000)],
        16,
        ((24, V.RESCALE),),
        ((24, Code.REPLACEMENT, 24),),
    ),
    "measured and adjusted": Case(
        "R16",
        [*posts((0, 12000), (24, 12006)), Adjustment(at(30), 40 * 3600)],
        46,
        ((24, V.CREDITED), (30, V.ADJUSTMENT)),
    ),
    "adjusted and undone": Case(
        "R16", [*posts((0, 12000), (24, 12006)), Adjustment(at(30), 40 * 3600), Adjustment(at(40), -40 * 3600)], 6
    ),
    "jitter of a tenth": Case(
        "R8",
        posts((0, 215.6), (1, 215.7), (2, 215.6), (3, 215.7)),
        0.1,
        ((2, V.JITTER), (3, V.CREDITED)),
        setup=Setup(3600, None, 100),
    ),
    "a nought between": Case(
        "R10", posts((0, 12000), (1, 0), (2, 12001)), 1, ((1, V.GLITCH), (2, V.CREDITED)), ((1, Code.GLITCH, 0),)
    ),
    "noughts between": Case(
        "R10",
        posts((0, 12000), (1, 0), (2, 0), (3, 0), (4, 12001)),
        1,
        ((1, V.GLITCH), (2, V.GLITCH), (3, V.GLITCH), (4, V.CREDITED)),
    ),
    "an hour a minute": Case(
        "R5", posts(*((n / 60, 12000 + n) for n in range(61))), 1, ((1 / 60, V.CREDITED), (2 / 60, V.HELD))
    ),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_the_hours_come_out(case: Case) -> None:
    """The hours credited are those of the case, and the entries and the state agree on them."""
    derived = derive(case.setup, case.items)
    assert derived.state.total_s / 3600 == pytest.approx(case.hours, abs=1e-9)
    assert sum(entry.credit_s for entry in derived.entries) == derived.state.total_s


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_the_verdicts_come_out(case: Case) -> None:
    """Each named reading has its verdict; each named flag stands, with the hours in question; no others are raised
    where a case names flags."""
    derived = derive(case.setup, case.items)
    found = {entry.at_s: entry.verdict for entry in derived.entries}
    assert {hour: found[at(hour)] for hour, _ in case.verdicts} == dict(case.verdicts)
    if case.flags:
        assert [(f.at_s, f.code, f.seconds / 3600) for f in derived.flags] == [
            (at(hour), code, seconds) for hour, code, seconds in case.flags
        ]


def test_late_backfill_splits_the_hours() -> None:
    """R3: 60 h posted over 240 h become 48 and 12 once a reading from between comes in."""
    credits = [entry.credit_s / 3600 for entry in derive(HOURS, CASES["late backfill between"].items).entries]
    assert credits == [0, 48, 12]


def test_an_adjustment_is_an_entry_of_its_own() -> None:
    """R16: six hours measured and forty given by a person are two entries that count."""
    credits = [entry.credit_s / 3600 for entry in derive(HOURS, CASES["measured and adjusted"].items).entries]
    assert credits == [0, 6, 40]


def test_a_scale_is_never_inferred_but_hinted_at() -> None:
    """R15: a register that counts minutes since, never said, is held, and the flag says which reading of it would fit."""
    flag = derive(HOURS, CASES["hours to minutes, never said"].items).flags[0]
    said = flag_words(flag, "VP1", 0).replace("\u202f", "")
    assert "720600 / 60 = 12010 would fit, as if it counted minutes now: if so, record the change of scale." in said


def test_pumps_that_change_places_and_a_knife_set() -> None:
    """R21: pump 1 ran 32 h, pump 2 14 h, the knife set 26 h, all estimated because the swap fell between readings."""
    curves = {
        "c1": Curve.of(derive(HOURS, posts((0, 1000), (24, 1012), (48, 1020))).entries),
        "c2": Curve.of(derive(HOURS, posts((0, 5000), (24, 5004), (48, 5016), (72, 5026))).entries),
    }
    start, swap = instant(0), instant(36)
    context = plant(
        stays=(
            Stay(pump="u1", position="vp1", from_at=start, to_at=swap),
            Stay(pump="u2", position="vp2", from_at=start, to_at=swap),
            Stay(pump="u1", position="vp2", from_at=swap),
            Stay(pump="u2", position="vp1", from_at=swap),
        ),
        fittings=(Fitting(part="k1", pump="u1", from_at=instant(12)),),
    )
    for subject, name, hours in ((Subject.PUMP, "u1", 32), (Subject.PUMP, "u2", 14), (Subject.PART, "k1", 26)):
        ran = running_hours(context, Curves(curves), subject, name, instant(72))
        assert (ran.hours, ran.estimated) == (hours, True)


@pytest.mark.parametrize(
    ("item", "refused"),
    [
        ({"value": float("nan")}, "not finite"),
        ({"value": -5}, "negative"),
        ({"value": "12006"}, "not a number"),
        ({"value": 100_000}, "over modulus"),
        ({"delta": 6}, "delta"),
        ({"value": 5, "observed_at": "2026-11-25T07:00:00"}, "no offset"),
    ],
)
def test_what_cannot_be_a_counters_value_is_refused(item: dict[str, object], refused: str) -> None:
    """R12, R13, R22: each in its own words. (An unknown counter is refused by the door that knows the counters.)"""
    told = check_item(Setup(3600, 100_000, 1000), {"observed_at": "2026-11-25T07:00:00Z", **item})
    assert isinstance(told, Refusal)
    assert told.code == refused


def test_any_arrival_of_a_spike_and_a_reset_gives_the_same_hours() -> None:
    """R1, R3: every one of the 720 arrivals of six posts, each post doubled, gives the same entries."""
    items = posts((0, 12000), (24, 12900), (48, 12010), (72, 2), (96, 12), (120, 20))
    expected = derive(HOURS, items)
    assert expected.state.total_s == 30 * 3600
    for shuffled in permutations(items):
        assert derive(HOURS, [*shuffled, *shuffled]) == expected
