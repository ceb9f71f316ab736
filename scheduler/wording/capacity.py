"""May a pump be opened then: the answer in words. Calculated, so never a promise, and never a permit."""

import math
from collections.abc import Iterator, Sequence
from datetime import datetime

from scheduler.domain.capacity.may_open import CounterDoubt, OpeningAnswer, OpeningCode, OpenStretch
from scheduler.domain.capacity.notices import Notified
from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import clock, count_words, inner, listed, long_date, margin_number, moment, number, ship
from scheduler.wording.names import job_words, pump_words

NO_PERMIT = marked("Not a permit.")


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
        near = _("now {at}", at=clock(at, self.offset)) if at == self.now_at else moment(at, self.offset, self.now_at)
        return _(
            "{pump}, {near}, for {hours}\u00a0h", pump=self.name(self.answer.pump), near=near, hours=self.answer.hours
        )

    def first(self) -> str:
        """The answer itself."""
        one = self.answer
        if one.code is OpeningCode.WORKED_ON and one.work is not None:
            return self._worked_on()
        if one.code is OpeningCode.POOR_VACUUM:
            return _(
                "Not now: {read}\u00a0kPa gauge is poorer than the start at {start}.",
                read=number(one.vacuum_kpa or 0.0, 1).removesuffix(".0"),
                start=number(one.start_vacuum_kpa, 1).removesuffix(".0"),
            )
        if one.code is OpeningCode.SHORT and one.short is not None:
            return self._short(one.short)
        if one.code is OpeningCode.NOT_KNOWN:
            return _("Not known: {doubts}.", doubts=listed([self._doubt(doubt) for doubt in one.doubts]))
        over = over_number(one.margin_litres_per_h)
        if one.code is OpeningCode.LESS_LATER and one.then is not None:
            then = over_number(one.least_litres_per_h)
            return _(
                "Capacity holds: {over} over the minimum until {from_at}, then {then}. {no_permit}",
                over=over,
                from_at=self.when(one.then.from_at),
                then=then,
                no_permit=_(NO_PERMIT),
            )
        if one.until_at is None:
            to = long_date(one.stretches[-1].to_at, self.offset, self.now_at)
            return _(
                "Capacity holds to {to} at least, {over} over the minimum. {no_permit}",
                to=to,
                over=over,
                no_permit=_(NO_PERMIT),
            )
        return _(
            "Capacity holds until {until_at}, {over} over the minimum. {no_permit}",
            until_at=self.when(one.until_at),
            over=over,
            no_permit=_(NO_PERMIT),
        )

    def rest(self) -> tuple[str, ...]:
        """What ends it, one trip more, what is not known, and what to do."""
        return tuple(self._rest())

    def _rest(self) -> Iterator[str]:
        one = self.answer
        if one.code is OpeningCode.WORKED_ON and one.work is not None:
            yield _(
                "Go on in the job {job}, or see there who is on the locks.",
                job=job_words(self.plant, one.at, one.work.job_key),
            )
            return
        if one.takes_nothing:
            yield _("{pump} counts for nothing already: opening it takes nothing more away.", pump=self.name(one.pump))
        if one.code is OpeningCode.SHORT:
            yield from self._next()
            return
        if one.code is OpeningCode.POOR_VACUUM:
            yield (
                _(
                    "As reckoned {stretches}, but the plant does less than reckoned. Look for the leak or the "
                    "clog first, then ask again.",
                    stretches=self._left(one.stretches[0]),
                )
            )
            return
        if one.code is OpeningCode.NOT_KNOWN:
            yield (
                _(
                    "As reckoned {stretches}. A silent counter or a held reading takes the yes away: look at the "
                    "panel, and give what the counter shows first.",
                    stretches=self._left(one.stretches[0]),
                )
            )
        if one.then is not None:
            yield self._end(one.then)
        yield self._trip(one.after_trip_litres_per_h)
        if one.about_now and one.vacuum_kpa is None and one.code is not OpeningCode.NOT_KNOWN:
            start = number(one.start_vacuum_kpa, 1).removesuffix(".0")
            yield _("The vacuum was not given: poorer than {start}\u00a0kPa gauge takes the yes away.", start=start)

    def _worked_on(self) -> str:
        work = self.answer.work
        assert work is not None
        name = self.name(self.answer.pump)
        said = (
            _("{name} is locked for work", name=name)
            if work.open_since_at is None
            else _("{name} is open since {open_since_at}", name=name, open_since_at=self.when(work.open_since_at))
        )
        if work.locks:
            said += _(", {locks} on the box", locks=inner(count_words(work.locks, "personal lock", "personal locks")))
        return f"{said}."

    def _short(self, short: OpenStretch) -> str:
        name = self.name(self.answer.pump)
        lacking = _(
            "Short by {margin_litres_per_h}\u00a0m³/h", margin_litres_per_h=short_number(short.margin_litres_per_h)
        )
        if short.margin_litres_per_h >= 0:
            lacking = _("{lacking_pumps} too few", lacking_pumps=count_words(short.lacking_pumps, "pump", "pumps"))
        if short.from_at <= self.answer.at:
            return _("{lacking} while {name} is open.", lacking=lacking, name=name)
        return _(
            "Capacity holds only until {from_at}: then {lacking} while {name} is open.",
            from_at=self.when(short.from_at),
            lacking=inner(lacking),
            name=name,
        )

    def _next(self) -> Iterator[str]:
        found = self.answer.next_hold
        if found is None:
            yield _("No time in the next two weeks holds for {hours}\u00a0h.", hours=self.answer.hours)
            return
        day = moment(found.from_at, self.offset, self.now_at)
        over = over_number(found.margin_litres_per_h)
        yield _(
            "It holds from {day} until {found}, {over} over the minimum.", day=day, found=self._until(found), over=over
        )
        yield self._trip(found.after_trip_litres_per_h, then=True)

    def _until(self, stretch: OpenStretch) -> str:
        same = ship(stretch.from_at, self.offset).date() == ship(stretch.to_at, self.offset).date()
        return clock(stretch.to_at, self.offset) if same else moment(stretch.to_at, self.offset, self.now_at)

    def _end(self, then: OpenStretch) -> str:
        first = self.answer.stretches[0]
        others = sorted(self.name(pump) for pump in then.out - first.out)
        name, when = self.name(self.answer.pump), self.when(then.from_at)
        if others:
            return _(
                "{name} back before {others} at {when}: with both open {then}.",
                name=name,
                others=listed(others),
                when=when,
                then=self._left(then),
            )
        if then.minimum_litres_per_h > first.minimum_litres_per_h:
            why = _("the minimum rises") if then.label == first.label else then.label
            return _("From {when} ({why}) {then}.", when=when, why=why, then=self._left(then))
        return _("From {when} {then}.", when=when, then=self._left(then))

    def _left(self, stretch: OpenStretch) -> str:
        if stretch.margin_litres_per_h < 0:
            return _(
                "it would be short by {margin_litres_per_h}",
                margin_litres_per_h=short_number(stretch.margin_litres_per_h),
            )
        if stretch.lacking_pumps:
            return _(
                "{lacking_pumps} would be too few",
                lacking_pumps=inner(count_words(stretch.lacking_pumps, "pump", "pumps")),
            )
        return _("{margin_litres_per_h} would be left", margin_litres_per_h=over_number(stretch.margin_litres_per_h))

    def _trip(self, after: int, *, then: bool = False) -> str:
        said = (
            _("short by {after}", after=short_number(after))
            if after < 0
            else _("{after} would be left", after=over_number(after))
        )
        return (
            _("If one more pump trips then: {said}.", said=said)
            if then
            else _("If one more pump trips: {said}.", said=said)
        )

    def _doubt(self, doubt: CounterDoubt) -> str:
        name = self.name(doubt.pump)
        if not doubt.silent:
            return _("a reading of {name} is held", name=name)
        return _("{name} is silent", name=name) + (
            ""
            if doubt.since_at is None
            else _(" since {since_at}", since_at=moment(doubt.since_at, self.offset, self.now_at))
        )


def over_or_short(litres_per_h: int) -> str:
    """ "29 left", or "short by 45"."""
    return (
        _("{litres_per_h} left", litres_per_h=over_number(litres_per_h))
        if litres_per_h >= 0
        else _("short by {litres_per_h}", litres_per_h=short_number(litres_per_h))
    )


def capacity_left_words(stretches: Sequence[OpenStretch], offset_minutes: int) -> str:
    """What is left from now on: "29 left now, 9 left from 06:00"; the second only where it becomes less."""
    first = stretches[0]
    least = min(stretches, key=lambda one: (one.margin_litres_per_h, one.from_at))
    said = _("{margin_litres_per_h} now", margin_litres_per_h=over_or_short(first.margin_litres_per_h))
    if least.margin_litres_per_h < first.margin_litres_per_h:
        said += _(
            ", {margin_litres_per_h} from {from_at}",
            margin_litres_per_h=over_or_short(least.margin_litres_per_h),
            from_at=clock(least.from_at, offset_minutes),
        )
    return said


_NOTIFIED = {
    Notified.CHIEF: marked("Chief engineer"),
    Notified.BRIDGE: marked("Officer of the watch"),
    Notified.HOTEL: marked("Hotel"),
    Notified.CHIEF_OFFICER: marked("Chief officer"),
    Notified.MASTER: marked("Master"),
    Notified.OFFICE: marked("Office"),
}


def notified_words(whom: Notified) -> str:
    """Who was told of a stop."""
    return _(_NOTIFIED[whom])


def leave_words(names: Sequence[str]) -> str:
    """What to do with the pumps that run while another is out; empty for none."""
    if not names:
        return ""
    one, many = (
        marked("Leave {names} running in AUTO. Do not open it up."),
        marked("Leave {names} running in AUTO. Do not open them up."),
    )
    return _(one if len(names) == 1 else many, names=listed(names))


def best_words(name: str, best: OpenStretch, offset_minutes: int) -> str:
    """Whether any of the next 24 hours holds with that pump open too, and which is nearest."""
    hours = _(
        "{from_at} to {to_at}", from_at=clock(best.from_at, offset_minutes), to_at=clock(best.to_at, offset_minutes)
    )
    if best.holds:
        return _(
            "{name} open too would leave the most {hours}: {margin_litres_per_h}.",
            name=name,
            hours=hours,
            margin_litres_per_h=over_or_short(best.margin_litres_per_h),
        )
    return _(
        "No hour of the next 24 holds with {name} open too; nearest {hours}: {margin_litres_per_h}.",
        name=name,
        hours=hours,
        margin_litres_per_h=over_or_short(best.margin_litres_per_h),
    )
