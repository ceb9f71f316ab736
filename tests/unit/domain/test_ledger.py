"""The running-hours ledger: what it says, what it keeps for later, and what it does when people speak up."""

import json
from dataclasses import FrozenInstanceError

import pytest

from scheduler.domain.hours.ledger import (
    START,
    Adjustment,
    BadReading,
    Code,
    Entry,
    Item,
    LedgerState,
    LedgerVerdict,
    Reading,
    Replacement,
    Setup,
    StepDecision,
    VerdictReason,
    derive,
    fold,
    items_in_order,
    step,
)
from scheduler.domain.hours.ledger_fit import advanced, allowance_s, follows, rise_fits, rolled, tolerance_s
from scheduler.domain.hours.ledger_rules import MOST_LINES, MOST_PENDING, Fold
from scheduler.domain.hours.ledger_values import Good
from scheduler.domain.vessel.document import Counter
from scheduler.wording.hours import counts_text, flag_words, hours_text

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000, "vp1-hours")


def at(hour: float) -> int:
    return T0 + round(hour * 3600)


def posts(*pairs: tuple[float, float]) -> list[Item]:
    return [Reading(at(hour), round(counts * 1000), at(hour)) for hour, counts in pairs]


def verdicts(items: list[Item], setup: Setup = HOURS) -> list[LedgerVerdict]:
    return [entry.verdict for entry in derive(setup, items).entries]


def test_a_setup_comes_from_the_vessel_document() -> None:
    """Resolution becomes thousandths of a count, the counter's id the name in sentences."""
    counter = Counter(id="vp1-hours", position="vp1", seconds_per_count=360, modulus=65536, resolution=0.5)
    assert Setup.of(counter) == Setup(360, 65536, 500, "vp1-hours")


@pytest.mark.parametrize("broken", [(0, None, 1000), (3600, 0, 1000), (3600, None, 0)])
def test_a_setup_that_cannot_count_is_refused(broken: tuple[int, int | None, int]) -> None:
    """Nothing is divided or rolled over by nought."""
    with pytest.raises(ValueError, match="must be above 0"):
        Setup(*broken)


@pytest.mark.parametrize(("stretch_s", "seconds"), [(0, 3780), (86_400, 3866), (86_400_000, 3780 + 86_400)])
def test_the_tolerance_of_a_stretch(stretch_s: int, seconds: int) -> None:
    """One hour of resolution, 0.05 h, and a thousandth of the stretch. Common practice, no source."""
    assert tolerance_s(HOURS, stretch_s) == seconds


@pytest.mark.parametrize(("rise_s", "verdict"), [(25, LedgerVerdict.CREDITED), (26, LedgerVerdict.HELD)])
def test_the_edge_of_what_can_have_run(rise_s: int, verdict: LedgerVerdict) -> None:
    """24 h allow 25 whole hours (24 + 1.05 + 0.024), not 26."""
    assert verdicts(posts((0, 100), (24, 100 + rise_s)))[-1] is verdict


def test_the_edge_of_a_reset_is_exact_to_the_second() -> None:
    """A counter of seconds that fell is one that started again if it can have run what it shows, and not one more."""
    seconds = Setup(1, None, 1000)
    fell = [Reading(T0, 9_000_000, T0), Reading(T0 + 3600, 3_784_000, T0 + 3600)]
    assert verdicts(list(fell), seconds)[-1] is LedgerVerdict.RESET
    assert verdicts([fell[0], fell[1]._replace(value_milli=3_785_000)], seconds)[-1] is LedgerVerdict.HELD


def test_the_edge_is_exact_to_the_second() -> None:
    """On a counter of seconds 3600 s allow 3600 + 1 + 180 + 3, and not one more."""
    seconds = Setup(1, None, 1000)
    readings = [Reading(T0, 0, T0), Reading(T0 + 3600, 3_784_000, T0 + 3600)]
    assert verdicts(list(readings), seconds)[-1] is LedgerVerdict.CREDITED
    assert verdicts([readings[0], readings[1]._replace(value_milli=3_785_000)], seconds)[-1] is LedgerVerdict.HELD


@pytest.mark.parametrize(("ahead_s", "reason"), [(300, VerdictReason.PLAIN), (301, VerdictReason.FUTURE)])
def test_the_edge_of_the_future(ahead_s: int, reason: VerdictReason) -> None:
    """Five minutes ahead is taken, a second more is held."""
    items: list[Item] = [*posts((0, 100)), Reading(at(24), 110_000, at(24) - ahead_s)]
    assert derive(HOURS, items).entries[-1].reason == reason


def test_the_edges_are_the_same_for_a_reading_by_itself_and_in_a_row() -> None:
    """On a counter of seconds, a post every 24 h exactly, each rising by all that time and tolerance allow, then by a
    second more than that, then after 24 h of nothing: both ways of the ledger give the same, to the anchors."""
    seconds = Setup(1, None, 1000)
    for rises in ([3784], [3785], [86_667], [86_668], [86_667] * 3, [86_667, 86_400, 86_400, 0, 86_667, 86_668]):
        gap_s = 3600 if rises[0] < 4000 else 86_400
        shown = [sum(rises[:n]) for n in range(len(rises) + 1)]
        readings = [Reading(T0 + gap_s * n, value * 1000, T0 + gap_s * n) for n, value in enumerate(shown)]
        alone = Fold(seconds, START)
        for reading in readings:
            alone.take(reading)
        row = fold(seconds, readings)
        assert (alone.state(), alone.entries, alone.flags) == row
        assert [e.verdict for e in row.entries[1:2]] == ([LedgerVerdict.CREDITED] if rises[0] in (3784, 86_667) else [])


def test_a_drop_of_more_than_an_hour_is_no_jitter() -> None:
    """R8: a counter in steps of two hours may flicker by one, not by two."""
    coarse = Setup(3600, None, 2000)
    assert verdicts(posts((0, 500), (1, 499)), coarse)[-1] is LedgerVerdict.JITTER
    assert verdicts(posts((0, 500), (1, 498)), coarse)[-1] is LedgerVerdict.HELD


def test_a_run_of_stamps_from_the_future_is_flagged_once() -> None:
    """A sender whose clock is fast gives one flag, not one a minute; the next run gives another."""
    ahead: list[Item] = [Reading(at(n), 100_000, at(n - 5)) for n in (1, 2, 3, 5, 6)]
    flags = derive(HOURS, [*posts((0, 100), (4, 100)), *ahead]).flags
    assert [(flag.code, flag.at_s) for flag in flags] == [(Code.FUTURE, at(1)), (Code.FUTURE, at(5))]


def test_a_pending_verdict_changes_when_a_later_reading_settles_it() -> None:
    """Held becomes spike: the state carries the entry until then, and the rewriting starts at its instant."""
    first = derive(HOURS, posts((0, 12000), (24, 12900)))
    assert first.entries[-1].verdict is LedgerVerdict.HELD
    assert first.state.pending == (first.entries[-1],)
    assert first.state.undecided
    later = derive(HOURS, posts((48, 12010)), first.state)
    assert [(e.at_s, e.verdict) for e in later.entries] == [
        (at(24), LedgerVerdict.SPIKE),
        (at(48), LedgerVerdict.CREDITED),
    ]
    assert later.rewrite_from_s == at(24)
    assert [flag.code for flag in later.flags] == [Code.SPIKE]
    assert not later.state.undecided


def test_a_reset_is_taken_back_when_the_counter_goes_on() -> None:
    """Reset credits what the counter shows at once; a reading that fits the old count makes it a glitch and takes the
    credit back."""
    first = derive(HOURS, posts((0, 12000), (24, 3)))
    assert first.state.total_s == 3 * 3600
    later = derive(HOURS, posts((25, 12001)), first.state)
    assert [(e.credit_s, e.total_s, e.verdict) for e in later.entries] == [
        (0, None, LedgerVerdict.GLITCH),
        (3600, 3600, LedgerVerdict.CREDITED),
    ]


def test_a_rise_confirms_a_reset_and_the_same_value_does_not() -> None:
    """The same value again may be the same fault again; a rise is a counter that lives."""
    same = derive(HOURS, posts((0, 12000), (24, 3), (25, 3)))
    assert same.state.undecided
    assert not derive(HOURS, posts((26, 4)), same.state).state.undecided


def test_a_second_reset_before_the_first_is_confirmed_can_still_be_a_glitch() -> None:
    """12000, 3, 0 and on from 12001: both drops were false."""
    said = verdicts(posts((0, 12000), (4, 3), (5, 0), (6, 12001)))
    assert said == [LedgerVerdict.BASELINE, LedgerVerdict.GLITCH, LedgerVerdict.GLITCH, LedgerVerdict.CREDITED]


def test_a_false_value_after_a_false_nought_is_forgotten_with_it() -> None:
    """12000, 0, 90000, 12001: a glitch and a spike, and nothing stays open."""
    derived = derive(HOURS, posts((0, 12000), (1, 0), (2, 90000), (3, 12001)))
    assert [e.verdict for e in derived.entries[1:]] == [
        LedgerVerdict.GLITCH,
        LedgerVerdict.SPIKE,
        LedgerVerdict.CREDITED,
    ]
    assert [flag.code for flag in derived.flags] == [Code.GLITCH, Code.SPIKE]
    assert not derived.state.undecided


@pytest.mark.parametrize(
    ("noughts", "verdict"), [(MOST_PENDING, LedgerVerdict.CREDITED), (MOST_PENDING + 1, LedgerVerdict.HELD)]
)
def test_noughts_for_very_long_are_a_reset(noughts: int, verdict: LedgerVerdict) -> None:
    """Up to as many readings as may still change the counter can come back to its old value; after that the reset stands,
    what comes is held for a person, and the state stays small throughout."""
    items = [*posts((0, 12000)), *posts(*((n / 60, 0) for n in range(1, noughts + 1)))]
    state = fold(HOURS, items).state
    assert len(state.pending) <= MOST_PENDING
    assert derive(HOURS, posts((noughts / 60 + 1, 12001)), state).entries[-1].verdict is verdict
    rising = derive(HOURS, posts((noughts / 60 + 1, 1)), state)
    assert (rising.state.total_s, rising.state.undecided) == (3600, False)


def test_a_long_false_jump_that_ends_is_flagged_as_one() -> None:
    """Held for longer than entries may change: the first stay held, and a flag says that the value was false."""
    false = posts(*((n / 60, 13000) for n in range(1, MOST_PENDING + 50)))
    derived = derive(HOURS, [*posts((0, 12000)), *false, *posts((24, 12006))])
    assert [flag.code for flag in derived.flags] == [Code.HELD, Code.SPIKE]
    assert [e.verdict for e in (derived.entries[1], derived.entries[-2])] == [LedgerVerdict.HELD, LedgerVerdict.SPIKE]
    assert derived.state.total_s == 6 * 3600


def test_a_second_value_at_an_instant_is_passed_over_by_the_fold_too() -> None:
    """R2 holds however the readings got there, also where they rise so that the second would fit."""
    assert fold(HOURS, posts((0, 100), (1, 101), (1, 102), (2, 102))).state.total_s == 2 * 3600


def test_what_a_reset_credits_stays_within_the_anchor() -> None:
    """A counter that had used up its tolerance and starts again at 1 is not credited another hour for one minute."""
    items = posts((0, 12000), (1, 12002), (1 + 1 / 60, 1))
    derived = derive(HOURS, items)
    assert derived.entries[-1].verdict is LedgerVerdict.RESET
    assert derived.state.total_s <= 3660 + tolerance_s(HOURS, 3660)
    assert derived.entries[-1].credit_s < 3600


def test_a_flickering_last_digit_does_not_open_the_door_to_a_jump() -> None:
    """Jitter is a sighting of the old value: after ten days of it a jump of 200 h in an hour is held."""
    flicker = posts((0, 500), *((n * 24, 499) for n in range(1, 11)), (241, 700))
    assert verdicts(flicker)[1:] == [LedgerVerdict.JITTER] * 10 + [LedgerVerdict.HELD]


def test_values_that_do_not_follow_from_each_other_are_held_until_a_person_decides() -> None:
    """After eight of them even a value that fits is held; a step decision ends it."""
    wild = posts((0, 12000), *((n, 50_000 * n) for n in range(1, MOST_LINES + 1)))
    after = posts((20, 12005), (21, 12006))
    derived = derive(HOURS, [*wild, *after])
    assert [e.reason for e in derived.entries[-2:]] == [VerdictReason.ERRATIC, VerdictReason.ERRATIC]
    assert derived.flags[-1].code is Code.ERRATIC
    decided = derive(HOURS, [*wild, *after, StepDecision(at(20), 5 * 3600)])
    assert decided.state.total_s == 6 * 3600
    assert not decided.state.undecided


def test_a_drop_within_a_hold_is_weighed_against_the_good_reading() -> None:
    """12000, a false 12900, then a true restart: the restart counts, the false value is a spike."""
    said = verdicts(posts((0, 12000), (24, 12900), (48, 3), (72, 13)))
    assert said == [LedgerVerdict.BASELINE, LedgerVerdict.SPIKE, LedgerVerdict.RESET, LedgerVerdict.CREDITED]


def test_events_come_before_the_reading_of_their_instant() -> None:
    """At one instant: marked bad, decision, opening balance, replacement, adjustment, reading, however they arrive; so a
    reading at the instant of an exchange is the new counter's."""
    items: list[Item] = [
        Reading(at(24), 0, at(24)),
        Adjustment(at(24), 60),
        Replacement(at(24), 12_004_000, 0),
        StepDecision(at(24), 0),
        BadReading(at(24)),
    ]
    assert items_in_order(items) == items[::-1]
    derived = derive(HOURS, [*posts((0, 12000)), *items[:3]])
    assert [e.verdict for e in derived.entries[1:]] == [
        LedgerVerdict.REPLACEMENT,
        LedgerVerdict.ADJUSTMENT,
        LedgerVerdict.CREDITED,
    ]
    assert derived.state.total_s == 4 * 3600 + 60


def test_the_first_received_of_two_values_stays() -> None:
    """Two posts for one instant: whichever came first, in whatever order they are given."""
    early, late = Reading(at(1), 12_001_000, at(1)), Reading(at(1), 12_000_000, at(2))
    assert items_in_order([late, early]) == [early]


def test_a_final_value_that_does_not_fit_is_not_credited() -> None:
    """A mistyped final value counts nothing, goes on from the new counter, and is flagged with the hours in question."""
    derived = derive(HOURS, [*posts((0, 12000), (48, 5)), Replacement(at(24), 21_004_000, 0)])
    assert derived.state.total_s == 5 * 3600
    assert [(f.code, f.seconds) for f in derived.flags] == [(Code.REPLACEMENT, 24 * 3600)]
    assert derived.flags[0].facts["to"] == 21_004_000


def test_an_exchange_ends_what_was_held() -> None:
    """Held readings of the old counter stay held; the new counter counts from its first value."""
    derived = derive(HOURS, [*posts((0, 12000), (24, 15000), (48, 4)), Replacement(at(30), None, 0)])
    assert [e.verdict for e in derived.entries[1:]] == [
        LedgerVerdict.HELD,
        LedgerVerdict.REPLACEMENT,
        LedgerVerdict.CREDITED,
    ]
    assert derived.state.total_s == 4 * 3600


def test_a_final_value_that_follows_what_is_held_is_not_trusted() -> None:
    """The old counter had jumped and was exchanged in that state: its final value is part of the jump."""
    derived = derive(HOURS, [*posts((0, 12000), (24, 12500), (960, 12510)), Replacement(at(961), 12_511_000, 0)])
    assert derived.state.total_s == 0
    assert derived.flags[-1].code is Code.REPLACEMENT


def test_a_final_value_can_show_that_a_reset_was_none() -> None:
    """12000, 0, exchanged at 12002: the nought was a glitch."""
    derived = derive(HOURS, [*posts((0, 12000), (1, 0)), Replacement(at(2), 12_002_000, 0)])
    assert [e.verdict for e in derived.entries[1:]] == [LedgerVerdict.GLITCH, LedgerVerdict.REPLACEMENT]
    assert derived.state.total_s == 2 * 3600


def test_a_final_value_can_show_that_what_was_held_was_false() -> None:
    """12000, 90000, exchanged at 12002: a spike, and the two hours count."""
    derived = derive(HOURS, [*posts((0, 12000), (1, 90000)), Replacement(at(2), 12_002_000, 0)])
    assert [e.verdict for e in derived.entries[1:]] == [LedgerVerdict.SPIKE, LedgerVerdict.REPLACEMENT]
    assert derived.state.total_s == 2 * 3600


def test_an_erratic_counter_is_exchanged_for_a_good_one() -> None:
    """Its final value is not trusted even where it would fit; the new counter counts from its first value."""
    wild = posts((0, 12000), *((n, 50_000 * n) for n in range(1, MOST_LINES + 1)))
    derived = derive(HOURS, [*wild, Replacement(at(20), 12_005_000, 0), *posts((30, 7))])
    assert derived.entries[-2].reason == VerdictReason.FINAL_DOES_NOT_FIT
    assert (derived.state.total_s, derived.state.undecided) == (7 * 3600, False)


def test_a_replacement_may_be_the_first_thing_known() -> None:
    """It is then the baseline."""
    derived = derive(HOURS, [Replacement(at(0), None, 7000), *posts((24, 17))])
    assert derived.state.total_s == 10 * 3600
    assert [e.verdict for e in derived.entries] == [LedgerVerdict.REPLACEMENT, LedgerVerdict.CREDITED]


def test_a_word_about_a_reading_that_is_not_there_is_flagged() -> None:
    """A decision a minute off its reading changes nothing and says so."""
    derived = derive(HOURS, [*posts((0, 12000), (24, 12006)), StepDecision(at(12), 3600)])
    assert derived.state.total_s == 6 * 3600
    assert [flag.code for flag in derived.flags] == [Code.DECISION]
    assert derived.flags[0].facts == {"decided_s": at(12)}


def test_the_sentence_of_a_reset_names_values_instants_and_what_to_do() -> None:
    """An engineer reads what fell, from what to what, between when, how much may be missing, and what to record."""
    flag = derive(HOURS, posts((0, 12000), (24, 3))).flags[0]
    assert flag_words(flag, "VP1", 60) == (
        "The counter of VP1 fell from 12\u202f000 to 3 hours between Mon 21 Sep 15:13 and Tue 22 Sep 15:13: taken as "
        "started again from 0, up to 21 h may be missing. If it was exchanged, record the replacement; if hours are "
        "missing, add an adjustment."
    )


def test_the_sentence_of_a_jump_says_that_nothing_is_counted() -> None:
    """What rose, by how much in how long, and the three ways out."""
    said = flag_words(derive(HOURS, posts((0, 12000), (24, 12500))).flags[0], "VP1", 0)
    assert "rose from 12\u202f000 to 12\u202f500 hours" in said
    assert "500 h in 24 h" in said
    assert "mark the reading bad, decide what the step counts, or record the replacement" in said


def test_a_counter_of_minutes_is_spoken_of_in_minutes() -> None:
    """Its flags name the values in its own unit."""
    flag = derive(Setup(60, None, 1000), posts((0, 720_000), (24, 730_000))).flags[0]
    assert "rose from 720\u202f000 to 730\u202f000 minutes" in flag_words(flag, "VP1", 0)


def test_a_state_survives_its_text() -> None:
    """With everything in it: a hold, a reset, a word and given seconds."""
    items: list[Item] = [Adjustment(at(0), 5), *posts((0, 12000), (24, 3), (25, 90000)), BadReading(at(30))]
    state = fold(HOURS, items_in_order(items)).state
    assert state.lines
    assert state.before
    assert state.word
    back = LedgerState.from_text(state.to_text())
    assert back == state
    assert type(back.pending[0]) is Entry
    assert back.pending[0].verdict is LedgerVerdict.RESET
    assert LedgerState.from_text(START.to_text()) == START
    noughts = fold(HOURS, posts((0, 12000), (24, 9), (48, 0))).state
    assert noughts.nought is not None
    assert LedgerState.from_text(noughts.to_text()) == noughts


def test_checkpoints_of_earlier_versions_are_read() -> None:
    """Version 3 had sentences in its flags, which are said as they were; 2 knew no nought. Nothing is derived anew for that."""
    state = fold(HOURS, posts((0, 12000), (24, 12500))).state
    _, *values = json.loads(state.to_text())
    values[10] = [[code, at_s, "It rose.", seconds] for code, at_s, seconds, _ in values[10]]
    for older in ([3, *values], [2, *values[:-1]]):
        read = LedgerState.from_text(json.dumps(older))
        assert [flag_words(flag, "VP1", 0) for flag in read.open] == ["It rose."]
        assert (read.good, read.lines, read.open[0].seconds) == (state.good, state.lines, state.open[0].seconds)
    with pytest.raises(ValueError, match="another version"):
        LedgerState.from_text(json.dumps([1, *values[:-1]]))


@pytest.mark.parametrize(
    "text", ["", "{}", "[0]", "[1,2,3]", "[2,null,0,null,null,null,[],null,false,0,[],[]]", "null"]
)
def test_a_damaged_checkpoint_says_so(text: str) -> None:
    """Another version or half a line is refused, so that the store derives from further back."""
    with pytest.raises(ValueError, match="derive from an older one or from the start"):
        LedgerState.from_text(text)


def test_a_state_cannot_be_changed() -> None:
    """Checkpoints are values."""
    with pytest.raises(FrozenInstanceError):
        START.given_s = 1  # type: ignore[misc]


def test_the_last_increase_is_known() -> None:
    """For the watch over counters that stand: the newest reading that rose, else the first."""
    good = fold(HOURS, posts((0, 100), (24, 106), (48, 106), (72, 105))).state.good
    assert good is not None
    assert good.rose_s == at(24)
    stood = fold(HOURS, [*posts((0, 100), (24, 106)), Replacement(at(48), 106_000, 0)]).state.good
    assert stood is not None
    assert stood.rose_s == at(24)


def test_nothing_to_derive_writes_nothing() -> None:
    """No items: no entries, the same state, nothing to rewrite."""
    assert derive(HOURS, []) == ([], START, [], None)


def test_a_step_is_a_fold_of_one() -> None:
    """The intake asks for the verdict of one reading at a time."""
    assert step(HOURS, START, posts((0, 12000))[0]) == fold(HOURS, posts((0, 12000)))


@pytest.mark.parametrize(
    ("seconds", "text"), [(3600, "1 h"), (5400, "1.5 h"), (0, "0 h"), (3_600_000_000, "1000000 h")]
)
def test_hours_in_words(seconds: int, text: str) -> None:
    """To a tenth, and never as a power of ten."""
    assert hours_text(seconds) == text


@pytest.mark.parametrize(("milli", "text"), [(0, "0"), (10_000, "10"), (10_050, "10.05"), (999, "0.999")])
def test_counts_in_words(milli: int, text: str) -> None:
    """As the counter shows them."""
    assert counts_text(milli) == text


@pytest.mark.parametrize(("ahead_s", "verdict"), [(300, LedgerVerdict.BASELINE), (301, LedgerVerdict.HELD)])
def test_the_edge_of_the_future_is_the_same_for_the_first_reading(ahead_s: int, verdict: LedgerVerdict) -> None:
    """Five minutes ahead the count starts with it, a second more and it is held."""
    assert verdicts([Reading(T0, 100_000, T0 - ahead_s)]) == [verdict]


@pytest.mark.parametrize(("skew_s", "codes"), [(300, []), (301, [Code.CLOCK]), (-300, []), (-301, [Code.CLOCK])])
def test_a_clock_off_by_just_five_minutes_is_not_told(skew_s: int, codes: list[Code]) -> None:
    """R12: a second more is, either way."""
    derived = derive(HOURS, [*posts((0, 100)), Reading(at(1), 101_000, at(1), skew_s)])
    assert [flag.code for flag in derived.flags] == codes


def test_what_is_credited_in_a_row_stays_within_the_anchor() -> None:
    """Two hours in each hour, again and again: each rise alone would fit, two are more than can have run."""
    assert verdicts(posts((0, 1000), (1, 1002), (2, 1004))) == [
        LedgerVerdict.BASELINE,
        LedgerVerdict.CREDITED,
        LedgerVerdict.HELD,
    ]
    assert verdicts(posts((0, 1000), (1, 1002), (2, 1003))) == [
        LedgerVerdict.BASELINE,
        LedgerVerdict.CREDITED,
        LedgerVerdict.CREDITED,
    ]


def test_a_row_takes_just_what_a_reading_by_itself_may_rise() -> None:
    """Of seconds, still for ten hours: the next hour allows 3600 + 1 + 180 + 3, however much the anchor would."""
    seconds = Setup(1, None, 1000)
    for rise, verdict in ((3784, LedgerVerdict.CREDITED), (3785, LedgerVerdict.HELD)):
        row: list[Item] = [Reading(T0, 0, T0), Reading(T0 + 36_000, 0, T0 + 36_000)]
        row.append(Reading(T0 + 39_600, rise * 1000, T0 + 39_600))
        assert verdicts(row, seconds)[-1] is verdict


def test_after_a_false_nought_only_the_nought_is_taken_back() -> None:
    """12000, started again at 3, a nought, and on from 3: the restart stands, the nought was false."""
    said = verdicts(posts((0, 12000), (24, 3), (25, 0), (26, 4)))
    assert said == [LedgerVerdict.BASELINE, LedgerVerdict.RESET, LedgerVerdict.GLITCH, LedgerVerdict.CREDITED]


def test_a_second_value_at_an_instant_leaves_no_entry() -> None:
    """R2: the first stays, and one entry with it."""
    entries = fold(HOURS, posts((0, 100), (1, 101), (1, 102), (2, 102))).entries
    assert [(entry.at_s, entry.total_s) for entry in entries] == [(at(0), 0), (at(1), 3600), (at(2), 2 * 3600)]


@pytest.mark.parametrize(("milli", "verdict"), [(5060, LedgerVerdict.ROLLOVER), (5061, None)])
def test_the_edge_of_a_rollover_is_what_can_have_run(milli: int, verdict: LedgerVerdict | None) -> None:
    """R9: of 65 536 counts; ten hours allow 11.06 of them, from 65 530 on."""
    fit = follows(Setup(3600, 65_536, 1000), T0, 65_530_000, at(10), milli)
    assert (None if fit is None else fit[0]) is verdict


@pytest.mark.parametrize(("rose_s", "credited"), [(6000, True), (6001, False)])
def test_the_edge_of_what_the_anchor_allows(rose_s: int, credited: bool) -> None:
    """R5: since the anchor an hour and one tolerance, of which some was credited already."""
    seconds = Setup(1, None, 1000)
    good = Good(T0 + 1800, 0, 3784 - rose_s, T0, 0, T0, 0, T0 + 1800)
    assert allowance_s(seconds, good, T0 + 3600) == rose_s
    good = good._replace(run_s=3784 - 1000)
    fit = rise_fits(seconds, good, T0 + 3600, 1_000_000 if credited else 1_001_000)
    assert (fit is not None) is credited


@pytest.mark.parametrize(("after_s", "moved"), [(86_399, False), (86_400, True)])
def test_an_anchor_is_moved_up_once_the_next_one_is_a_day_back(after_s: int, moved: bool) -> None:
    """To the second."""
    good = Good(T0, 0, 50, T0 - 900, 10, T0, 40, T0)
    assert (rolled(good, T0 + after_s).anchor_run_s == 40) is moved
    assert (advanced(good, T0 + after_s, 5, 7).next_run_s == 57) is (moved and (T0 + after_s) // 86_400 != T0 // 86_400)
