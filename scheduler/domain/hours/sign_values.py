"""What the hours say, as values: a sign of a plant or a pump, how it ended, and why nothing can be said."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Self


class SignEnd(StrEnum):
    """How a sign ended."""

    OVER = "over"
    MENDED = "mended"
    KNOWN = "known"
    NOTHING_FOUND = "nothing found"
    NOT_ANSWERED = "not answered"
    RENEWED = "renewed"
    """The pump was overhauled or exchanged."""


class QuietReason(StrEnum):
    """Why the hours say nothing now, whatever happens."""

    NO_HISTORY = "no history"
    AFTER_SIGN = "after sign"
    RESTLESS = "restless"
    DAYS_MISSING = "days missing"
    HALF_OUT = "half out"
    NEW_KIND = "new kind"
    TURNS_NOT_KNOWN = "turns not known"
    WHOLE_HOURS = "whole hours"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignAnswer:
    """What a person answered to the sign seen on a day. end: MENDED, KNOWN or NOTHING_FOUND; days are epoch days.

    until_day: last day of a known cause, none for good.
    """

    seen_day: int
    day: int
    end: SignEnd
    until_day: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """A lasting change. Days are epoch days, all inclusive.

    direction: 1 more than usual, -1 less. began_day: about. rise: natural logarithm of now against usual, in its direction.
    after_day, base_day: what was usual before it, from the day after the one up to the other. width: the ship's own spread.
    mended_day, asked_again_day: first answered as mended, and asked again since it had not come back.
    back_day: since when it is back to usual. renewed until_day: see `SignAnswer`.
    """

    seen_day: int
    direction: int
    began_day: int
    rise: float
    width: float
    after_day: int
    base_day: int
    end: SignEnd | None = None
    ended_day: int | None = None
    until_day: int | None = None
    mended_day: int | None = None
    asked_again_day: int | None = None
    back_day: int | None = None

    @property
    def percent(self) -> int:
        """How much more or less than usual, to the nearest 10 %, 10 at least."""
        return max(10, round((math.exp(self.rise) - 1) * 10) * 10)

    def before(self, day: int) -> Self | None:
        """As it was before a day was folded in; none where it had not been seen."""
        if self.seen_day >= day:
            return None
        sign = self
        if sign.ended_day is not None and sign.ended_day >= day:
            sign = replace(sign, end=None, ended_day=None, until_day=None)
        if sign.back_day is not None and sign.end is None:
            sign = replace(sign, back_day=None)
        if sign.asked_again_day is not None and sign.asked_again_day >= day:
            sign = replace(sign, asked_again_day=None, end=SignEnd.MENDED, ended_day=sign.mended_day)
        if sign.mended_day is not None and sign.mended_day >= day:
            sign = replace(sign, mended_day=None, end=None, ended_day=None, back_day=None)
        return sign

    def answered(self, answer: SignAnswer) -> Self:
        """With an answer."""
        mended = self.mended_day if self.mended_day is not None or answer.end is not SignEnd.MENDED else answer.day
        return replace(
            self, end=answer.end, ended_day=answer.day, until_day=answer.until_day, mended_day=mended, back_day=None
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Quiet:
    """Why nothing can be said. speaks_day: the earliest epoch day on which it may; none where that is not known."""

    reason: QuietReason
    speaks_day: int | None = None
    days: int | None = None
    """How many days there are, of those that are needed."""
