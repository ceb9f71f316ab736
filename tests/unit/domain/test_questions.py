"""Which questions a counter's past asks, and that answering one as proposed ends it."""

import pytest

from scheduler.domain.hours.ledger import (
    START,
    Adjustment,
    BadReading,
    Code,
    Derived,
    Flag,
    Item,
    LedgerVerdict,
    Reading,
    Replacement,
    Setup,
    StepDecision,
    VerdictReason,
    derive,
)
from scheduler.domain.hours.questions import (
    Asks,
    Question,
    held_questions,
    may_miss,
    misread_before,
    missing_question,
    open_held,
    with_earlier,
)

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000, "vp1-hours")
PAST = ((0, 12000), (24, 12006))


def at(hour: float) -> int:
    return T0 + round(hour * 3600)


def posts(*pairs: tuple[float, float]) -> list[Item]:
    return [Reading(at(hour), round(counts * 1000), at(hour)) for hour, counts in pairs]


def asked(items: list[Item], a_day: float = 6 * 3600) -> list[Question]:
    """The questions about held readings after these items."""
    derived = derive(HOURS, items, START)
    return held_questions(HOURS, derived.state, derived.flags, held_of(items, derived), a_day)


def held_of(items: list[Item], derived: Derived) -> list[Reading]:
    held = {e.at_s for e in derived.entries if e.verdict is LedgerVerdict.HELD and e.reason != VerdictReason.FUTURE}
    return sorted((i for i in items if isinstance(i, Reading) and i.at_s in held), key=lambda one: one.at_s)


def test_a_run_of_held_readings_is_one_question() -> None:
    """The jump and all that follow from it are asked about once, with the reading before and what would fit."""
    (question,) = asked(posts(*PAST, (48, 12900), (72, 12906), (96, 12912)))
    assert question.asks is Asks.HELD
    assert [reading.value_milli for reading in question.readings] == [12_900_000, 12_906_000, 12_912_000]
    assert question.good == (at(24), 12_006_000)
    assert (question.most_s, question.fit_s) == (24 * 3600, 6 * 3600)
    assert (question.flag.code, question.flag.facts["to"]) == (Code.HELD, 12_900_000)


def test_runs_that_do_not_follow_from_each_other_are_asked_apart() -> None:
    """Two jumps to different values, posted in turn, are two questions, and each has its own readings."""
    found = asked(posts(*PAST, (48, 12900), (49, 8000), (50, 12901), (51, 8001)))
    assert [[r.value_milli // 1000 for r in q.readings] for q in found] == [[12900, 12901], [8000, 8001]]


def test_nothing_is_asked_while_nothing_is_held() -> None:
    """A sound past asks nothing, and a jump that the counter took back by itself asks nothing any more."""
    assert asked(posts(*PAST)) == []
    assert asked(posts(*PAST, (48, 12900), (72, 12010))) == []


def answers(question: Question) -> dict[str, list[Item]]:
    """Each answer as the page proposes it."""
    good = question.good
    assert good is not None
    return {
        "replaced": [Replacement(question.at_s, good[1], question.readings[0].value_milli)],
        "misread": [BadReading(reading.at_s) for reading in question.readings],
        "preset": [StepDecision(question.at_s, question.fit_s)],
    }


@pytest.mark.parametrize("answer", ["replaced", "misread", "preset"])
def test_an_answer_as_proposed_ends_the_question(answer: str) -> None:
    """Whichever is chosen, nothing is held after it, and the hours are those it stands for."""
    items = posts(*PAST, (48, 12900), (72, 12906), (96, 12912))
    (question,) = asked(items)
    answered = [*items, *answers(question)[answer]]
    assert asked(answered) == []
    hours = {"replaced": 6 + 0 + 12, "misread": 6, "preset": 6 + 6 + 12}
    assert derive(HOURS, answered).state.run_s == hours[answer] * 3600


def test_what_an_exchange_passed_over_is_not_asked_again() -> None:
    """Held readings before an exchange recorded later stay held in the ledger, and nobody is asked about them."""
    items = [*posts(*PAST, (48, 12900)), Replacement(at(60), None, 0), *posts((72, 5))]
    derived = derive(HOURS, items)
    assert Code.HELD in {flag.code for flag in derived.flags}
    assert open_held(derived.state, derived.flags) == []


def test_another_scale_that_would_fit_is_offered() -> None:
    """A register that counts minutes from now on is told from a jump; an ordinary jump offers no scale."""
    (minutes,) = asked(posts(*PAST, (48, 720_720)))
    assert minutes.scale == 60
    (jump,) = asked(posts(*PAST, (48, 12900)))
    assert jump.scale is None


def test_a_counter_that_counts_minutes_from_now_on_asks_once() -> None:
    """However many readings: one flag, one question; an hour register's own rise or a fall is not taken for it."""
    items = posts(*PAST, *((48 + n, 720_720 + 20 * n) for n in range(20)))
    derived = derive(HOURS, items)
    assert [flag.code for flag in derived.flags] == [Code.HELD]
    (question,) = asked(items)
    assert (question.scale, len(question.readings)) == (60, 20)
    back = derive(HOURS, [*items, *posts((70, 12020))])
    assert back.entries[-1].verdict is LedgerVerdict.CREDITED
    assert len(asked(posts(*PAST, (48, 720_720), (49, 720_700)))) == 2


def test_honest_minutes_stay_with_their_question_when_a_wild_value_comes_between() -> None:
    """No answer to the wild value touches them."""
    minutes = [(72 + n, 720_720 + 1440 + 20 * n) for n in range(4)]
    found = asked(posts(*PAST, *minutes, (80, 5_000_000), *((81 + n, 722_340 + 20 * n) for n in range(3))))
    assert [len(question.readings) for question in found] == [7, 1]
    assert found[0].scale == 60


DAILY = tuple((24 * day, 20_638 + 7 * day) for day in range(18))
"""Seven hours a day, read each day; on day 18 20764 was read."""


def earlier(items: list[Item], counted: int = 3) -> Reading | None:
    """The counted reading that explains what is held, of the newest few."""
    entries = [e for e in derive(HOURS, items).entries if e.total_s is not None][-counted:]
    known = {e.at_s for e in entries}
    return misread_before(HOURS, START, items, [i for i in items if isinstance(i, Reading) and i.at_s in known])


@pytest.mark.parametrize("after", [1, 2, 9])
def test_a_plausible_typo_is_the_one_before_that_was_wrong(after: int) -> None:
    """20774 typed for 20764: the honest ones that follow are held, and all fit without it."""
    typed = posts(*DAILY, (24 * 18, 20_774))
    items = [*typed, *posts(*((24 * (18 + n), 20_764 + 7 * n) for n in range(1, after + 1)))]
    assert [e.verdict for e in derive(HOURS, items).entries][-after:] == [LedgerVerdict.HELD] * after or after == 9
    found = earlier(items)
    assert found is not None
    assert found.value_milli == 20_774_000
    (question,) = with_earlier(asked(items), found)
    assert question.earlier == (at(24 * 18), 20_774_000)
    answered = [*items, BadReading(found.at_s)]
    assert asked(answered) == []
    assert derive(HOURS, answered).state.run_s == 3600 * 7 * (18 + after)


def test_where_no_single_reading_explains_it_nobody_is_blamed() -> None:
    """A fall to another counter's value, and a jump that goes on."""
    assert earlier(posts(*DAILY, (24 * 18, 9_000), (24 * 19, 9_007))) is None
    assert earlier(posts(*DAILY, (24 * 18, 30_000), (24 * 19, 30_007))) is None


def test_one_typed_too_low_is_found_as_well() -> None:
    """20694 for 20764 is held at once and over with the next; typed low a day before, it makes the next impossible."""
    items = posts((0, 20_600), (24, 20_602), (30, 20_625))
    found = earlier(items)
    assert found is not None
    assert found.value_milli == 20_602_000


def test_a_reading_from_the_future_says_nothing_about_the_one_before() -> None:
    """It is held for its stamp alone."""
    items = [*posts(*DAILY, (24 * 18, 20_774), (24 * 19, 20_771)), Reading(at(24 * 30), 20_900_000, at(24 * 19))]
    found = earlier(items)
    assert found is not None
    assert found.value_milli == 20_774_000


def test_missing_hours_are_asked_once() -> None:
    """A reset asks for what may be missing at most; an adjustment at its instant answers it."""
    items = posts((0, 12000), (24, 3))
    flags = derive(HOURS, items).flags
    (flag,) = may_miss(flags, ())
    question = missing_question(flag, (at(0), 12_000_000), 6 * 3600)
    assert (question.asks, question.at_s, question.most_s) == (Asks.MISSING, at(24), 21 * 3600)
    assert question.fit_s == 3 * 3600, "6 h a day, of which the counter showed 3 h since it started again"
    assert missing_question(flag, None, 0).fit_s == question.most_s, "without a past, all that may be missing"
    answered: list[Item] = [*items, Adjustment(at(24), 21 * 3600)]
    flags = derive(HOURS, answered).flags
    assert may_miss(flags, {at(24)}) == []


@pytest.mark.parametrize(("seconds", "asked"), [(59, False), (60, True)])
def test_a_minute_that_may_be_missing_is_asked_for(seconds: int, asked: bool) -> None:
    """Less is not worth a question."""
    flag = Flag(Code.RESET, at(24), seconds, {})
    assert may_miss([flag], ()) == ([flag] if asked else [])


def test_what_is_proposed_is_never_more_than_can_be_missing() -> None:
    """A counter that ran more a day than is missing: all of it; one that counted more than it usually runs: nothing."""
    flag = Flag(Code.RESET, at(24), 3 * 3600, {})
    assert missing_question(flag, (at(0), 0), 24 * 3600).fit_s == 3 * 3600
    assert missing_question(flag, (at(0), 0), 3600).fit_s == 0


def test_a_value_held_at_the_instant_of_an_exchange_is_asked_about() -> None:
    """All that follows from it is held too, and nobody would ever be asked."""
    items = [
        *posts((0, 12000)),
        Replacement(at(24), 12_006_000, 0),
        Reading(at(24), 12_006_000, at(24)),
        *posts((25, 12007), (49, 12013)),
    ]
    assert [question.at_s for question in asked(items)] == [at(24)]
