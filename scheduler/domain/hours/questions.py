"""What only a person can answer about a counter: was it replaced, misread or preset; are hours missing (R10, R14 to R17).

Every run of held readings, each following from the one before, is one question. A reset, or an exchange whose final
value does not fit, asks once whether the hours that may be missing are to be added. A question is open until a counter
event answers it; nothing of it is stored.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from scheduler.domain.hours.ledger import derive
from scheduler.domain.hours.ledger_fit import follows
from scheduler.domain.hours.ledger_hints import follows_otherwise, other_scale
from scheduler.domain.hours.ledger_values import (
    BadReading,
    Code,
    Entry,
    Flag,
    Good,
    Item,
    LedgerState,
    LedgerVerdict,
    Reading,
    Setup,
    VerdictReason,
)

MISSING = (Code.RESET, Code.REPLACEMENT)
"""Flags that say how much may be missing."""


class Asks(StrEnum):
    """What is asked."""

    HELD = "held"
    MISSING = "missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question about one counter.

    at_s: the first held reading, or the reset or exchange. flag: what the ledger flagged. good: the reading that the count
    rests on (instant, thousandths), none when there is none. readings: the held run, in order; empty for hours missing.
    most_s: seconds that can have run at most; fit_s: seconds that would fit what the counter ran before.
    scale: seconds per count on which the first held reading would follow; none: on none.
    earlier: the counted reading before (instant, thousandths) without which all that came after it follow from what was before;
    none where no single one explains them.
    """

    asks: Asks
    at_s: int
    flag: Flag
    good: tuple[int, int] | None = None
    readings: tuple[Reading, ...] = ()
    most_s: int = 0
    fit_s: int = 0
    scale: int | None = None
    earlier: tuple[int, int] | None = None


def open_held(state: LedgerState, flags: Sequence[Flag]) -> list[Flag]:
    """The flags of held readings that a person can still decide, oldest first; empty when nothing is held.

    Those before what the count now rests on were passed over by a decision, an exchange or a later reading; one at that very
    instant, held since an exchange, is still asked about.
    """
    if not state.lines:
        return []
    rests = state.before or state.good
    after_s = -(2**62) if rests is None else rests.at_s
    return sorted((f for f in flags if f.code is Code.HELD and f.at_s >= after_s), key=lambda flag: flag.at_s)


def held_runs(
    setup: Setup, starts: Sequence[int], readings: Sequence[Reading], good: Good | None = None
) -> dict[int, tuple[Reading, ...]]:
    """Held readings by the run they belong to: by the instant of its first. `starts` and `readings` in order.

    A reading joins the first run that it follows from, as the ledger takes it, also on the scale on which the run would follow from
    the good reading; one that follows from none, which is so
    once too many runs are open, joins the newest.
    """
    found: dict[int, list[Reading]] = {}
    for reading in readings:
        if reading.at_s in starts:
            found[reading.at_s] = [reading]
            continue
        for run in found.values():
            last = run[-1].at_s, run[-1].value_milli
            fit = follows(setup, *last, reading.at_s, reading.value_milli)
            if fit is None and good is not None:
                fit = follows_otherwise(setup, good, last, reading.at_s, reading.value_milli)
            if fit is not None:
                run.append(reading)
                break
        else:
            if found:
                found[max(found)].append(reading)
    return {start: tuple(run) for start, run in found.items()}


def held_questions(
    setup: Setup, state: LedgerState, flags: Sequence[Flag], held: Sequence[Reading], seconds_per_day: float
) -> list[Question]:
    """One question for each run of held readings, oldest first.

    Args:
        held: readings whose verdict is held (those from the future apart), in order.
        seconds_per_day: what the counter ran a day lately.
    """
    starts = open_held(state, flags)
    good = state.before or state.good
    by_run = held_runs(setup, [flag.at_s for flag in starts], held, good)
    return [
        Question(
            asks=Asks.HELD,
            at_s=flag.at_s,
            flag=flag,
            good=None if good is None else (good.at_s, good.value_milli),
            readings=by_run[flag.at_s],
            most_s=_elapsed(good, flag.at_s),
            fit_s=_fit(_elapsed(good, flag.at_s), seconds_per_day),
            scale=_scale(setup, good, by_run[flag.at_s][0]),
        )
        for flag in starts
        if flag.at_s in by_run
    ]


def misread_before(
    setup: Setup, state: LedgerState, items: Sequence[Item], counted: Sequence[Reading]
) -> Reading | None:
    """The newest of some counted readings without which every later reading of `items` is counted; none if it is none of them.

    A figure typed too high, but not more than can have run, is counted; then the honest ones after it are held.

    Args:
        state: before the first item. items: readings and events from then on. counted: candidates among them.
    """
    for one in sorted(counted, key=lambda reading: -reading.at_s):
        without = derive(setup, [*items, BadReading(one.at_s)], state)
        if without.state.undecided:
            continue
        if not any(amiss(entry) for entry in without.entries if entry.at_s > one.at_s):
            return one
    return None


def amiss(entry: Entry) -> bool:
    """Whether a reading was not taken as it came."""
    odd = entry.verdict in (LedgerVerdict.HELD, LedgerVerdict.SPIKE, LedgerVerdict.RESET, LedgerVerdict.GLITCH)
    return odd and entry.reason not in (VerdictReason.FUTURE, VerdictReason.MARKED_BAD)


def with_earlier(asked: Sequence[Question], earlier: Reading | None) -> list[Question]:
    """The questions about held readings as one, where one counted reading before them explains all; else as they are."""
    if earlier is None or not asked:
        return list(asked)
    readings = sorted({one for question in asked for one in question.readings})
    return [replace(asked[0], readings=tuple(readings), earlier=(earlier.at_s, earlier.value_milli))]


def may_miss(flags: Sequence[Flag], answered: Collection[int]) -> list[Flag]:
    """The flags that say hours may be missing and were not answered, oldest first.

    Args:
        answered: instants for which hours were added, or were said not to be missing.
    """
    asked = (f for f in flags if f.code in MISSING and f.seconds >= 60 and f.at_s not in answered)
    return sorted(asked, key=lambda flag: flag.at_s)


def missing_question(flag: Flag, good: tuple[int, int] | None, seconds_per_day: float) -> Question:
    """The question of one such flag. good: what the counter showed last before it; seconds_per_day: what it ran then."""
    fit_s = flag.seconds
    if good is not None and seconds_per_day > 0:
        elapsed = flag.at_s - good[0]
        counted = elapsed - flag.seconds
        fit_s = min(flag.seconds, max(0, _fit(elapsed, seconds_per_day) - counted))
    return Question(
        asks=Asks.MISSING, at_s=flag.at_s, flag=flag, good=good, most_s=flag.seconds, fit_s=fit_s // 360 * 360
    )


def _scale(setup: Setup, good: Good | None, first: Reading) -> int | None:
    found = None if good is None else other_scale(setup, good, first.at_s, first.value_milli)
    return None if found is None else found[0]


def _elapsed(good: Good | None, at_s: int) -> int:
    return 0 if good is None else max(0, at_s - good.at_s)


def _fit(elapsed_s: int, seconds_per_day: float) -> int:
    """What the counter would have run in that time at its recent rate, to a tenth of an hour."""
    return round(min(elapsed_s, elapsed_s * seconds_per_day / 86_400) / 360) * 360
