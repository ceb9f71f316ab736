"""May a pump be opened then: the answer in words. Calculated, so never a promise, and never a permit."""

import math
from collections.abc import Iterator, Sequence
from datetime import datetime

from scheduler.domain.capacity.may_open import CounterDoubt, OpeningAnswer, OpeningCode, OpenStretch
from scheduler.domain.vessel.document import Plant
from scheduler.wording.figures import (
    M3H,
    NBSP,
    clock,
    count_words,
    listed,
    long_date,
    margin_number,
    moment,
    number,
    ship,
)
from scheduler.wording.names import job_words, pump_words

NO_PERMIT = "Not a permit."


def short_number(litres_per_h: int) -> str:
    """How much is lacking, in whole m3/h, rounded up so that it never looks less than it is.

    >>> short_number(-44_800), short_number(-45_000)
    ('45', '45')
    """
    return number(math.ceil(-litres_per_h / 1000 - 1e-9))


def over_number(litres_per_h: int) -> str:
    """A margin in whole m3/h, rounded down.

    >>> over_number(80_700)
    '80'
    """
    return margin_number(litres_per_h / 1000)


class OpeningWords:
    """The sentences of one answer. plant: for names; offset_minutes: the ship's clock; now_at: what is near is said by its time."""

    def __init__(self, answer: OpeningAnswer, plant: Plant, now_at: datetime, offset_minutes: int) -> None:
        self.answer, self.plant, self.now_at, self.offset = answer, plant, now_at, offset_minutes

    def when(self, at: datetime) -> str:
        """The time alone on the day that is asked about, else with its day."""
        same = ship(at, self.offset).date() == ship(self.answer.at, self.offset).date()
        return clock(at, self.offset) if same else moment(at, self.offset, self.now_at)

    def name(self, pump: str) -> str:
        """Of the position it stands in."""
        return pump_words(self.plant, self.answer.at, pump)

    def asked(self) -> str:
        """What was asked: "VP3, now 08:05", "VP1, Tue 1 Dec 09:00"."""
        at = self.answer.at
        near = f"now {clock(at, self.offset)}" if at == self.now_at else moment(at, self.offset, self.now_at)
        return f"{self.name(self.answer.pump)}, {near}, for {self.answer.hours}{NBSP}h"

    def first(self) -> str:
        """The answer itself."""
        one = self.answer
        if one.code is OpeningCode.WORKED_ON and one.work is not None:
            return self._worked_on()
        if one.code is OpeningCode.POOR_VACUUM:
            return (
                f"Not now: {number(one.vacuum_kpa or 0.0, 1).removesuffix('.0')}{NBSP}kPa gauge is poorer than the start at "
                f"{number(one.start_vacuum_kpa, 1).removesuffix('.0')}."
            )
        if one.code is OpeningCode.SHORT and one.short is not None:
            return self._short(one.short)
        if one.code is OpeningCode.NOT_KNOWN:
            return f"Not known: {listed([self._doubt(doubt) for doubt in one.doubts])}."
        over = over_number(one.margin_litres_per_h)
        if one.code is OpeningCode.LESS_LATER and one.then is not None:
            then = over_number(one.least_litres_per_h)
            return (
                f"Capacity holds: {over} over the minimum until {self.when(one.then.from_at)}, then {then}. {NO_PERMIT}"
            )
        if one.until_at is None:
            to = long_date(one.stretches[-1].to_at, self.offset, self.now_at)
            return f"Capacity holds to {to} at least, {over} over the minimum. {NO_PERMIT}"
        return f"Capacity holds until {self.when(one.until_at)}, {over} over the minimum. {NO_PERMIT}"

    def rest(self) -> tuple[str, ...]:
        """What ends it, one trip more, what is not known, and what to do."""
        return tuple(self._rest())

    def _rest(self) -> Iterator[str]:
        one = self.answer
        if one.code is OpeningCode.WORKED_ON and one.work is not None:
            yield f"Go on in the job {job_words(self.plant, one.at, one.work.job_key)}, or see there who is on the locks."
            return
        if one.takes_nothing:
            yield f"{self.name(one.pump)} counts for nothing already: opening it takes nothing more away."
        if one.code is OpeningCode.SHORT:
            yield from self._next()
            return
        if one.code is OpeningCode.POOR_VACUUM:
            yield (
                f"As reckoned {self._left(one.stretches[0])}, but the plant does less than reckoned. Look for the leak or the clog "
                "first, then ask again."
            )
            return
        if one.code is OpeningCode.NOT_KNOWN:
            yield (
                f"As reckoned {self._left(one.stretches[0])}. A silent counter or a held reading takes the yes away: "
                "look at the panel, and give what the counter shows first."
            )
        if one.then is not None:
            yield self._end(one.then)
        yield self._trip(one.after_trip_litres_per_h)
        if one.about_now and one.vacuum_kpa is None and one.code is not OpeningCode.NOT_KNOWN:
            start = number(one.start_vacuum_kpa, 1).removesuffix(".0")
            yield f"The vacuum was not given: poorer than {start}{NBSP}kPa gauge takes the yes away."

    def _worked_on(self) -> str:
        work = self.answer.work
        assert work is not None
        name = self.name(self.answer.pump)
        said = (
            f"{name} is locked for work"
            if work.open_since_at is None
            else f"{name} is open since {self.when(work.open_since_at)}"
        )
        if work.locks:
            said += f", {count_words(work.locks, 'personal lock', 'personal locks').lower()} on the box"
        return f"{said}."

    def _short(self, short: OpenStretch) -> str:
        name = self.name(self.answer.pump)
        lacking = f"Short by {short_number(short.margin_litres_per_h)}{NBSP}{M3H}"
        if short.margin_litres_per_h >= 0:
            lacking = f"{count_words(short.lacking_pumps, 'pump', 'pumps')} too few"
        if short.from_at <= self.answer.at:
            return f"{lacking} while {name} is open."
        return f"Capacity holds only until {self.when(short.from_at)}: then {lacking[:1].lower()}{lacking[1:]} while {name} is open."

    def _next(self) -> Iterator[str]:
        found = self.answer.next_hold
        if found is None:
            yield f"No time in the next two weeks holds for {self.answer.hours}{NBSP}h."
            return
        day = moment(found.from_at, self.offset, self.now_at)
        over = over_number(found.margin_litres_per_h)
        yield f"It holds from {day} until {self._until(found)}, {over} over the minimum."
        yield self._trip(found.after_trip_litres_per_h, "then")

    def _until(self, stretch: OpenStretch) -> str:
        same = ship(stretch.from_at, self.offset).date() == ship(stretch.to_at, self.offset).date()
        return clock(stretch.to_at, self.offset) if same else moment(stretch.to_at, self.offset, self.now_at)

    def _end(self, then: OpenStretch) -> str:
        first = self.answer.stretches[0]
        others = sorted(self.name(pump) for pump in then.out - first.out)
        name, when = self.name(self.answer.pump), self.when(then.from_at)
        if others:
            return f"{name} back before {listed(others)} at {when}: with both open {self._left(then)}."
        if then.minimum_litres_per_h > first.minimum_litres_per_h:
            why = "the minimum rises" if then.label == first.label else then.label
            return f"From {when} ({why}) {self._left(then)}."
        return f"From {when} {self._left(then)}."

    def _left(self, stretch: OpenStretch) -> str:
        if stretch.margin_litres_per_h < 0:
            return f"it would be short by {short_number(stretch.margin_litres_per_h)}"
        if stretch.lacking_pumps:
            return f"{count_words(stretch.lacking_pumps, 'pump', 'pumps').lower()} would be too few"
        return f"{over_number(stretch.margin_litres_per_h)} would be left"

    def _trip(self, after: int, then: str = "") -> str:
        said = f"short by {short_number(after)}" if after < 0 else f"{over_number(after)} would be left"
        return f"If one more pump trips{' ' if then else ''}{then}: {said}."

    def _doubt(self, doubt: CounterDoubt) -> str:
        name = self.name(doubt.pump)
        if not doubt.silent:
            return f"a reading of {name} is held"
        return f"{name} is silent" + (
            "" if doubt.since_at is None else f" since {moment(doubt.since_at, self.offset, self.now_at)}"
        )


def over_or_short(litres_per_h: int) -> str:
    """ "29 left", or "short by 45"."""
    return f"{over_number(litres_per_h)} left" if litres_per_h >= 0 else f"short by {short_number(litres_per_h)}"


def capacity_left_words(stretches: Sequence[OpenStretch], offset_minutes: int) -> str:
    """What is left from now on: "29 left now, 9 left from 06:00"; the second only where it becomes less."""
    first = stretches[0]
    least = min(stretches, key=lambda one: (one.margin_litres_per_h, one.from_at))
    said = f"{over_or_short(first.margin_litres_per_h)} now"
    if least.margin_litres_per_h < first.margin_litres_per_h:
        said += f", {over_or_short(least.margin_litres_per_h)} from {clock(least.from_at, offset_minutes)}"
    return said


def leave_words(names: Sequence[str]) -> str:
    """What to do with the pumps that run while another is out; empty for none."""
    if not names:
        return ""
    those = "it" if len(names) == 1 else "them"
    return f"Leave {listed(names)} running in AUTO. Do not open {those} up."


def best_words(name: str, best: OpenStretch, offset_minutes: int) -> str:
    """Whether any of the next 24 hours holds with that pump open too, and which is nearest."""
    hours = f"{clock(best.from_at, offset_minutes)} to {clock(best.to_at, offset_minutes)}"
    if best.holds:
        return f"{name} open too would leave the most {hours}: {over_or_short(best.margin_litres_per_h)}."
    return f"No hour of the next 24 holds with {name} open too; nearest {hours}: {over_or_short(best.margin_litres_per_h)}."
