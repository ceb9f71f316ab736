"""The operating calendar as people keep it: which kind of day each ship's day was, or will be.

Rules, in short:

- A day has one kind. A day that nobody entered counts as the usual mix of the days in the log.
- What the log says stands over what the plan says. Between two of the same origin the one entered later counts, for the
  days it covers.
- In one file or one request, two stretches that put different kinds on the same day contradict each other: nothing is
  taken in, and both are named.
- A log is of days gone by; what is still to come is a plan.

The weight of a kind says how much the pumps run on such a day, as a share of a day at sea.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from functools import cached_property
from itertools import groupby
from math import isfinite

from scheduler.domain.voyage.days import LEAST_WEIGHT, MOST_WEIGHT, SEA, WEIGHTS, Calendar, Stretch
from scheduler.language import gettext

LONGEST_DAYS = 3660
FIRST_ON, LAST_ON = date(1990, 1, 1), date(2100, 12, 31)
MOST_KINDS, MOST_SPELLS = 30, 5000
KIND = re.compile(r"[a-z][a-z0-9 -]{0,29}")
LONGEST_NOTE = 120


class Source(StrEnum):
    """Where a stretch comes from."""

    LOG = "log"
    PLAN = "plan"


@dataclass(frozen=True, slots=True, kw_only=True)
class KindOfDay:
    """A kind of day and its weight: running hours on such a day as a share of a day at sea."""

    code: str
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Spell:
    """A stretch of ship's days of one kind, both ends included."""

    from_on: date
    to_on: date
    kind: str
    source: Source = Source.PLAN
    note: str = ""

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.to_on - self.from_on).days + 1


FIRST_KINDS = tuple(KindOfDay(code=code, weight=weight) for code, weight in WEIGHTS.items())
"""The kinds a calendar begins with. The weights are judgement, no source; what the pumps run puts them right."""


@dataclass(frozen=True, kw_only=True)  # no slots: the calendar made of it is kept with it
class VoyageDays:
    """The kinds of day and the stretches entered: sorted, none overlaps another."""

    kinds: tuple[KindOfDay, ...] = FIRST_KINDS
    spells: tuple[Spell, ...] = ()

    def on(self, day: date) -> Spell | None:
        """The stretch that holds this day, or none."""
        return next((spell for spell in self.spells if spell.from_on <= day <= spell.to_on), None)

    def calendar(self) -> Calendar | None:
        """The calendar as forecasts use it; none while nothing is entered."""
        return self._calendar

    @cached_property
    def _calendar(self) -> Calendar | None:
        if not self.spells:
            return None
        stretches = (Stretch(from_on=s.from_on, to_on=s.to_on, kind=s.kind) for s in self.spells)
        return Calendar(stretches=tuple(stretches), weights={kind.code: kind.weight for kind in self.kinds})

    def logged_days(self, first: date, last: date) -> int:
        """How many of the days `first` to `last` (both included) the log covers."""
        return sum(
            max(0, (min(s.to_on, last) - max(s.from_on, first)).days + 1) for s in self.spells if s.source is Source.LOG
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DayChange:
    """Days whose kind changes; none stands for a day nobody entered."""

    from_on: date
    to_on: date
    was: str | None
    now: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A daybook with something laid over it.

    changes: days whose kind is another now. kept: planned stretches that the log stood over, for the days named.
    """

    book: VoyageDays
    changes: tuple[DayChange, ...]
    kept: tuple[DayChange, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellFault:
    """What is wrong with one stretch of several: its place (from 0), the column, and a sentence."""

    place: int
    column: str
    says: str


def day_kind_faults(kinds: Sequence[KindOfDay], used: Iterable[str]) -> list[tuple[str, str]]:
    """(JSON Pointer, sentence) of each fault of the kinds of day.

    Args:
        used: kinds that stretches have; they cannot be left out.
    """
    faults = []
    codes = [kind.code for kind in kinds]
    if not 1 <= len(kinds) <= MOST_KINDS:
        faults.append(
            (
                "/kinds",
                gettext(
                    "there are {count} kinds of day: 1 to {most_kinds} were expected.",
                    count=len(kinds),
                    most_kinds=MOST_KINDS,
                ),
            )
        )
    for place, kind in enumerate(kinds):
        if not KIND.fullmatch(kind.code):
            faults.append(
                (
                    f"/kinds/{place}/code",
                    gettext(
                        "{code} is no name for a kind of day: 1 to 30 small letters, digits, spaces and "
                        "hyphens, a letter first, were expected, such as lay-up.",
                        code=f"{kind.code!r:.40}",
                    ),
                )
            )
        if codes.index(kind.code) != place:
            faults.append(
                (
                    f"/kinds/{place}/code",
                    gettext("{code} stands there twice: each kind once was expected.", code=kind.code),
                )
            )
        if not (isfinite(kind.weight) and LEAST_WEIGHT <= kind.weight <= MOST_WEIGHT):
            faults.append(
                (
                    f"/kinds/{place}/weight",
                    gettext(
                        "the weight of {code} is {weight}: {least_weight} to {most_weight} was expected (1 "
                        "is a day at sea, 0.3 one on which the pumps run three tenths of that).",
                        code=f"{kind.code:.30}",
                        weight=f"{kind.weight:g}",
                        least_weight=f"{LEAST_WEIGHT:g}",
                        most_weight=f"{MOST_WEIGHT:g}",
                    ),
                )
            )
    if SEA not in codes:
        faults.append(
            ("/kinds", gettext("the kind sea is missing: the weights of the others are shares of a day at sea."))
        )
    gone = sorted(set(used) - set(codes))
    if gone:
        faults.append(
            (
                "/kinds",
                gettext(
                    "stretches have the kind {gone}, which is not in the list any more. Keep it there.",
                    gone=", ".join(gone),
                ),
            )
        )
    return faults


def spell_faults(
    spells: Sequence[Spell], kinds: Iterable[str], today: date, name: Callable[[int], str]
) -> list[SpellFault]:
    """Every fault of stretches that are to be laid over a daybook together, contradictions among them included.

    Args:
        today: the ship's date. name: what the reader calls the stretch at that place, such as "row 4".
    """
    known = list(kinds)
    faults = [
        SpellFault(place=place, column=column, says=says)
        for place, spell in enumerate(spells)
        for column, says in _faults_of(spell, known, today)
    ]
    return [*faults, *_contradictions(spells, {fault.place for fault in faults}, name)]


def _faults_of(spell: Spell, kinds: list[str], today: date) -> Iterable[tuple[str, str]]:
    for column, day in (("from", spell.from_on), ("to", spell.to_on)):
        if not FIRST_ON <= day <= LAST_ON:
            yield (
                column,
                gettext(
                    "{day}: a date from {year} to {year_2} was expected; check the year.",
                    day=day,
                    year=FIRST_ON.year,
                    year_2=LAST_ON.year,
                ),
            )
            return
    if spell.to_on < spell.from_on:
        yield (
            "to",
            gettext(
                "{to_on} is before {from_on}: the last day of the stretch, on or after its first, was expected.",
                to_on=spell.to_on,
                from_on=spell.from_on,
            ),
        )
    elif spell.days > LONGEST_DAYS:
        yield (
            "to",
            gettext(
                "{to_on} is {days} days after the first: at most {longest_days} days were expected; check the year.",
                to_on=spell.to_on,
                days=spell.days,
                longest_days=LONGEST_DAYS,
            ),
        )
    elif spell.source is Source.LOG and spell.to_on > today:
        yield (
            "to",
            gettext(
                "{to_on} is still to come (today is {today} aboard): a log is of days gone by. Enter "
                "it as a plan, or end it today.",
                to_on=spell.to_on,
                today=today,
            ),
        )
    if spell.kind not in kinds:
        yield (
            "kind",
            gettext(
                "{kind} is no kind of day here: {kinds} were expected, or add the kind first.",
                kind=f"{spell.kind!r:.40}",
                kinds=", ".join(kinds),
            ),
        )
    if len(spell.note) > LONGEST_NOTE or any(ord(c) < 32 or 127 <= ord(c) < 160 for c in spell.note):
        yield (
            "note",
            gettext(
                "{note}: at most {longest_note} characters of plain text were expected.",
                note=f"{spell.note!r:.40}",
                longest_note=LONGEST_NOTE,
            ),
        )


def _contradictions(spells: Sequence[Spell], bad: set[int], name: Callable[[int], str]) -> list[SpellFault]:
    first: dict[tuple[int, Source], int] = {}
    clash: set[tuple[int, int]] = set()
    for place, spell in enumerate(spells):
        if place in bad:
            continue
        for day in range(spell.from_on.toordinal(), spell.to_on.toordinal() + 1):
            other = first.setdefault((day, spell.source), place)
            if spells[other].kind != spell.kind:
                clash.add((other, place))
    found = []
    for other, place in sorted(clash):
        one, two = spells[other], spells[place]
        days = days_text(max(one.from_on, two.from_on), min(one.to_on, two.to_on))
        says = gettext(
            "{kind} on {days}, where {name} says {kind_2}: a day has one kind. Correct one of the two.",
            kind=two.kind,
            days=days,
            name=name(other),
            kind_2=one.kind,
        )
        found.append(SpellFault(place=place, column="kind", says=says))
    return found


def lay(book: VoyageDays, spells: Iterable[Spell]) -> Laid:
    """The daybook with these stretches laid over it, in the order given; they must be without faults."""
    before = _by_day(book.spells)
    after = dict(before)
    kept: dict[int, tuple[str | None, str | None]] = {}
    for spell in spells:
        for day in range(spell.from_on.toordinal(), spell.to_on.toordinal() + 1):
            there = after.get(day)
            if there is not None and there.source is Source.LOG and spell.source is Source.PLAN:
                if there.kind != spell.kind:
                    kept[day] = (there.kind, spell.kind)
            else:
                after[day] = spell
    return _laid(book, before, after, kept)


def clear(book: VoyageDays, from_on: date, to_on: date) -> Laid:
    """The daybook with nothing entered for these days (both ends included)."""
    before = _by_day(book.spells)
    gone = range(from_on.toordinal(), to_on.toordinal() + 1)
    return _laid(book, before, {day: spell for day, spell in before.items() if day not in gone}, {})


def difference(old: VoyageDays, new: VoyageDays) -> tuple[DayChange, ...]:
    """Days whose kind is another in `new` than in `old`."""
    return _changes(_by_day(old.spells), _by_day(new.spells))


def days_text(from_on: date, to_on: date) -> str:
    """The days as written in a sentence.

    >>> days_words(date(2026, 11, 3), date(2026, 11, 5))
    '2026-11-03 to 2026-11-05'
    """
    return f"{from_on}" if from_on == to_on else f"{from_on} to {to_on}"


def _laid(
    book: VoyageDays,
    before: Mapping[int, Spell],
    after: Mapping[int, Spell],
    kept: Mapping[int, tuple[str | None, str | None]],
) -> Laid:
    return Laid(book=replace(book, spells=_spells(after)), changes=_changes(before, after), kept=tuple(_ranges(kept)))


def _by_day(spells: Iterable[Spell]) -> dict[int, Spell]:
    return {day: s for s in spells for day in range(s.from_on.toordinal(), s.to_on.toordinal() + 1)}


def _spells(by_day: Mapping[int, Spell]) -> tuple[Spell, ...]:
    """The fewest stretches that say the same day by day."""
    days = sorted(by_day)
    found = []
    for _, run in groupby(
        enumerate(days), lambda p: (p[1] - p[0], by_day[p[1]].kind, by_day[p[1]].source, by_day[p[1]].note)
    ):
        same = [day for _, day in run]
        spell = by_day[same[0]]
        found.append(replace(spell, from_on=date.fromordinal(same[0]), to_on=date.fromordinal(same[-1])))
    return tuple(found)


def _changes(before: Mapping[int, Spell], after: Mapping[int, Spell]) -> tuple[DayChange, ...]:
    def kind(there: Spell | None) -> str | None:
        return None if there is None else there.kind

    found = {day: (kind(before.get(day)), kind(after.get(day))) for day in before.keys() | after.keys()}
    return tuple(_ranges({day: pair for day, pair in found.items() if pair[0] != pair[1]}))


def _ranges(by_day: Mapping[int, tuple[str | None, str | None]]) -> Iterable[DayChange]:
    for _, run in groupby(enumerate(sorted(by_day)), lambda p: (p[1] - p[0], by_day[p[1]])):
        days = [day for _, day in run]
        was, now = by_day[days[0]]
        yield DayChange(from_on=date.fromordinal(days[0]), to_on=date.fromordinal(days[-1]), was=was, now=now)
