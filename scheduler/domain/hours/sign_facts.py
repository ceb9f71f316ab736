"""What a plant's signs are, as facts to be said: dates, figures, which pump. Nothing is worded here."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from scheduler.domain.hours.sign_days import SignDays
from scheduler.domain.hours.sign_values import Quiet, QuietReason, Sign, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, Track, deviations, least_that_shows, quiet
from scheduler.domain.voyage.days import Floats

ONE_CAUSE_DAYS = 21
"""A pump's sign that began so near to the plant's names that pump; one downwards so near to a sister's upwards is the same fact."""
WEEK_WIDTH = 0.12
"""On a ship as restless as this the start is said to the week."""
SHOWN_DAYS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class SignFacts:
    """One sign. position: of the pump it is about; none: the plant. UTC dates.

    rise_percent: how much longer the plant or pump runs, to the nearest 10; less, for a sign downwards.
    hours_a_day: pump-hours a day that it means, of the whole plant alone. kind: of most of its days, where an operating calendar
    is kept. names: position of the pump that it comes from, where the hours tell. usual_until_on: last day of what it is
    measured against.
    """

    number: int | None
    position: str | None
    up: bool
    began_on: date
    to_the_week: bool
    seen_on: date
    rise_percent: int
    rise: float
    hours_a_day: float | None
    kind: str | None
    names: str | None
    usual_until_on: date
    days_used: int
    end: SignEnd | None
    ended_on: date | None
    back_on: date | None
    asked_again: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantSigns:
    """What the hours say of a plant now. signs: newest first. least_percent: the smallest lasting rise that would show.

    quiet: why the plant can say nothing; pumps_quiet: why its pumps cannot. pumps_may_speak: so that "every pump alike" may be said.
    off: each of the last 120 days against usual (0.1 is about 10 % more), NaN where it cannot be said; they end on `last_on`.
    """

    signs: tuple[SignFacts, ...]
    least_percent: int | None
    quiet: Quiet | None
    pumps_quiet: Quiet | None
    off: Floats
    last_on: date

    @property
    def plant_sign(self) -> SignFacts | None:
        """The plant's open sign."""
        return next((one for one in self.signs if one.position is None and one.end is None), None)

    @property
    def open(self) -> tuple[SignFacts, ...]:
        """Open signs that are said where people look: the plant's, and pumps that need longer."""
        return tuple(one for one in self.signs if one.end is None and (one.position is None or one.up))

    @property
    def back_again(self) -> SignFacts | None:
        """The plant's newest sign where it went back to usual within the last week."""
        last = next((one for one in self.signs if one.position is None), None)
        if last is None or last.back_on is None or (self.last_on - last.back_on).days > BACK_SAID_DAYS:
            return None
        return last


BACK_SAID_DAYS = 14
"""So long after it is back to usual, that is said."""


def plant_signs(
    days: SignDays,
    numbered: Iterable[tuple[int | None, str | None, Sign]],
    *,
    half_out: bool,
    by_starts: bool,
    whole_hours: bool,
) -> PlantSigns:
    """The facts.

    Args:
        numbered: number, position (none: the plant) and sign. by_starts: the document says that control takes turns by starts.
        whole_hours: some counter is read to the whole hour.
    """
    facts = [_facts(days, *one) for one in numbered]
    ups = [one for one in facts if one.position is not None and one.up]
    shown = [one for one in facts if one.position is None or one.up or not _mirrored(one, ups)]
    named = [replace(one, names=_named(one, ups)) if one.position is None else one for one in shown]
    least = least_that_shows(days.plant, PLANT_RULE)
    last_on = _date(days.plant.next_day - 1)
    return PlantSigns(
        signs=tuple(sorted(named, key=lambda one: (one.seen_on, one.position or ""), reverse=True)),
        least_percent=None if least is None else math.ceil(round(least * 100, 6)),
        quiet=quiet(days.plant, PLANT_RULE, barred=half_out),
        pumps_quiet=_pumps_quiet(days.pumps, half_out=half_out, by_starts=by_starts, whole_hours=whole_hours),
        off=deviations(days.plant, PLANT_RULE)[-SHOWN_DAYS:],
        last_on=last_on,
    )


def _pumps_quiet(pumps: Mapping[str, Track], *, half_out: bool, by_starts: bool, whole_hours: bool) -> Quiet | None:
    if whole_hours:
        return Quiet(reason=QuietReason.WHOLE_HOURS)
    if not by_starts:
        return Quiet(reason=QuietReason.TURNS_NOT_KNOWN)
    found = [quiet(track, PUMP_RULE, barred=half_out) for track in pumps.values()]
    return found[0] if found and all(one is not None for one in found) else None


def _mirrored(down: SignFacts, ups: list[SignFacts]) -> bool:
    """Whether a pump needs less only because a sister needs more."""
    return any(
        one.position != down.position and abs((one.began_on - down.began_on).days) <= ONE_CAUSE_DAYS for one in ups
    )


def _named(plant: SignFacts, ups: list[SignFacts]) -> str | None:
    near = [
        (abs((one.began_on - plant.began_on).days), one.position or "")
        for one in ups
        if abs((one.began_on - plant.began_on).days) <= ONE_CAUSE_DAYS
    ]
    return min(near)[1] if near else None


def _facts(days: SignDays, number: int | None, position: str | None, sign: Sign) -> SignFacts:
    track = days.plant if position is None else days.pumps[position]
    begun = slice(
        max(0, sign.began_day - track.first_day), max(0, (sign.ended_day or track.next_day) - track.first_day)
    )
    before = track.values[max(0, sign.after_day + 1 - track.first_day) : max(0, sign.base_day + 1 - track.first_day)]
    hours = kind = None
    if position is None:
        ran = days.hours[begun]
        ran = ran[~np.isnan(ran)]
        hours = float(ran.mean()) * -math.expm1(-sign.rise) if len(ran) else None
        codes = track.kinds[begun]
        if len(codes):
            name = days.kinds[int(np.bincount(codes).argmax())]
            kind = name or None
    return SignFacts(
        number=number,
        position=position,
        up=sign.direction > 0,
        began_on=_date(sign.began_day),
        to_the_week=sign.width > WEEK_WIDTH,
        seen_on=_date(sign.seen_day),
        rise_percent=sign.percent if sign.direction > 0 else max(10, round(-math.expm1(-sign.rise) * 10) * 10),
        rise=sign.rise,
        hours_a_day=None if hours is None else max(0.0, round(hours, 1)),
        kind=kind,
        names=None,
        usual_until_on=_date(sign.base_day),
        days_used=min(56, int(np.count_nonzero(~np.isnan(before)))),
        end=sign.end,
        ended_on=None if sign.ended_day is None else _date(sign.ended_day),
        back_on=None if sign.back_day is None else _date(sign.back_day),
        asked_again=sign.asked_again_day is not None and sign.end is None,
    )


def _date(day: int) -> date:
    return date(1970, 1, 1) + timedelta(days=day)
