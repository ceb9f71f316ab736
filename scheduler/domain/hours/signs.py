"""The rule: ten days against the 56 usable days before them, in this ship's own spread. A sentence comes of it, no alarm.

Values are logarithms: of the plant's air a day, or of a pump's air against the median of its sisters. A day folded in costs
a day's work and gives what a fold from the start gives.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import bottleneck as bn
import numpy as np

from scheduler.domain.hours.air import DIGITS
from scheduler.domain.hours.rises import (
    BEFORE_DAYS,
    LEAST_BEFORE,
    LEAST_NOW,
    MOST_STEP,
    NOW_DAYS,
    WITHIN_DAYS,
    DayResiduals,
)
from scheduler.domain.hours.sign_values import Quiet, QuietReason, Sign, SignAnswer, SignEnd
from scheduler.domain.hours.usual import Ints
from scheduler.domain.voyage.days import Floats

SIGN_WIDTHS = 2.5
LEAST_RISE = math.log(1.12)
WIDTH_DAYS, WIDTH_AGO = 365, 7
MAD_TO_SIGMA = 1.4826
"""Normal spread of a median absolute deviation: 1 / the upper quartile of the standard normal."""
LEAST_WIDTH = 0.03
MOST_LEAST = math.log(1.5)
"""Where less than so much would not show, nothing is said."""
BEGAN_WITHIN, BEGAN_LEAST = 40, 3
BACK_DAYS, BACK_WITHIN = 7, math.log(1.25) / 2
ASK_AGAIN_DAYS = 10
UNANSWERED_DAYS = 30
SAME_RISE_DAYS, SAME_RISE = 90, math.log(1.25)
"""A rise for which nothing was found is not said again for so long, unless it grows by so much."""


@dataclass(frozen=True, slots=True)
class SignRule:
    """Of a plant or of a pump. history_days, past_rises: needed before it speaks. directions: 1 more, -1 less."""

    history_days: int
    past_rises: int
    directions: tuple[int, ...]
    by_kind: bool


PLANT_RULE = SignRule(150, 60, (1,), by_kind=True)
PUMP_RULE = SignRule(90, 40, (1, -1), by_kind=False)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Days of one plant or pump as far as folded, oldest first.

    values: NaN where a day cannot be used. kinds: code of each day's kind. rises: now less before, as each was reckoned on
    its own day with signs left aside.
    """

    first_day: int
    values: Floats = field(default_factory=lambda: np.zeros(0))
    kinds: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    rises: Floats = field(default_factory=lambda: np.zeros(0))
    signs: tuple[Sign, ...] = ()
    renewed: tuple[int, ...] = ()
    """Days on which the pump was overhauled or exchanged."""

    @property
    def next_day(self) -> int:
        """The epoch day that is to be folded in next."""
        return self.first_day + len(self.values)

    def after(self, day: int) -> "Track":
        """Without the days before one; signs stay."""
        n = min(max(0, day - self.first_day), len(self.values))
        days = self.values[n:], self.kinds[n:], self.rises[n:]
        return Track(self.first_day + n, *days, self.signs, self.renewed)

    def before(self, day: int) -> "Track":
        """As it was before a day was folded in."""
        n = min(max(0, day - self.first_day), len(self.values))
        signs = tuple(was for sign in self.signs if (was := sign.before(day)) is not None)
        return Track(self.first_day, self.values[:n], self.kinds[:n], self.rises[:n], signs, self.renewed)

    @property
    def open_sign(self) -> Sign | None:
        """The sign that has not ended."""
        return next((sign for sign in self.signs if sign.end is None), None)


def fold_signs(
    track: Track,
    rule: SignRule,
    values: Floats,
    kinds: Ints,
    *,
    answers: Sequence[SignAnswer] = (),
    renewed: Sequence[int] = (),
    barred: frozenset[int] = frozenset(),
) -> Track:
    """The track with more days.

    Args:
        values, kinds: of the days from `track.next_day` on.
        answers: all that were given and not undone. renewed: days on which the pump was overhauled or exchanged.
        barred: days on which no sign is made, since more than half the pumps were out.
    """
    begun = track.before(track.next_day)
    all_values = np.concatenate([begun.values, values])
    all_kinds = np.concatenate([begun.kinds, kinds])
    days = DayResiduals(begun.first_day, all_values, all_kinds, len(begun.values), rule.by_kind)
    folded = _Fold(
        rule,
        days,
        np.concatenate([begun.rises, np.round(days.new_rises(), DIGITS)]),
        list(begun.signs),
        renewed,
        answers,
    )
    n, loud = len(begun.values), folded.loud()
    while n < len(all_values):
        if folded.calm and (n := int(loud[np.searchsorted(loud, n)])) == len(all_values):
            break  # nothing can happen before the next day that is loud
        folded.step(n, barred=begun.first_day + n in barred)
        n += 1
    folded.answer(begun.first_day + len(all_values), None)
    return Track(begun.first_day, all_values, all_kinds, folded.rises, tuple(folded.signs), tuple(sorted(renewed)))


class _Fold:
    """The days one after another: what is open, what ends, what is seen."""

    def __init__(
        self,
        rule: SignRule,
        days: DayResiduals,
        rises: Floats,
        signs: list[Sign],
        renewed: Sequence[int],
        answers: Sequence[SignAnswer] = (),
    ) -> None:
        self.rule, self.days, self.rises, self.signs = rule, days, rises, signs
        self._answers = sorted(answers, key=lambda one: one.day)
        self._renewed = sorted(renewed)
        known = np.flatnonzero(~np.isnan(days.values))
        self._history_from = int(known[0]) if len(known) else len(days.values)

    def answer(self, from_day: int, to_day: int | None) -> None:
        """Put the answers of these days (none: all later ones) to the sign that is open."""
        for one in self._answers:
            if one.day < from_day or (to_day is not None and one.day > to_day):
                continue
            for n, sign in enumerate(self.signs):
                if sign.end is None and abs(sign.seen_day - one.seen_day) <= NOW_DAYS * 2:
                    self.signs[n] = sign.answered(one)

    @property
    def calm(self) -> bool:
        """Whether no sign, answer or renewal touches any day so far."""
        return not self.signs and not self._answers and not any(one >= self.days.first_day for one in self._renewed)

    def loud(self) -> Ints:
        """Indices of the days that rose by enough to be a sign, then how many days there are."""
        rises = np.abs(self.rises) if len(self.rule.directions) > 1 else self.rises
        return np.append(np.flatnonzero(rises > LEAST_RISE), len(rises))

    def step(self, n: int, *, barred: bool) -> None:
        """One day, by its index."""
        day = self.days.first_day + n
        self.answer(day, day)
        last = self.signs[-1] if self.signs else None
        if last is not None and last.end is None:
            self.signs[-1] = self._on(last, n)
        elif last is not None and self._awaited(last):
            self.signs[-1] = self._back_or_again(last, n)
        elif not barred:
            self._look(n)

    def _on(self, sign: Sign, n: int) -> Sign:
        """An open sign a day later: its size anew; over, renewed, or unanswered for too long."""
        day = self.days.first_day + n
        if any(sign.seen_day < one <= day for one in self._renewed):
            return replace(sign, end=SignEnd.RENEWED, ended_day=day)
        back = self._back_since(sign, n, sign.seen_day)
        if back is not None:
            return replace(sign, end=SignEnd.OVER, ended_day=day, back_day=back)
        since = sign.seen_day if sign.asked_again_day is None else sign.asked_again_day
        if day - since >= UNANSWERED_DAYS:
            return replace(sign, end=SignEnd.NOT_ANSWERED, ended_day=day)
        return replace(sign, rise=self._size(sign, n))

    @staticmethod
    def _awaited(sign: Sign) -> bool:
        """Whether what was mended is still to come back."""
        return sign.end is SignEnd.MENDED and sign.back_day is None and sign.asked_again_day is None

    def _back_or_again(self, sign: Sign, n: int) -> Sign:
        day = self.days.first_day + n
        assert sign.ended_day is not None
        back = self._back_since(sign, n, sign.ended_day)
        if back is not None:
            return replace(sign, back_day=back)
        after = self.days.residuals(n)[max(0, sign.ended_day + 1 - self.days.first_day) :]
        if np.count_nonzero(~np.isnan(after)) >= ASK_AGAIN_DAYS:
            return replace(sign, end=None, ended_day=None, asked_again_day=day)
        return sign

    def _back_since(self, sign: Sign, n: int, after_day: int) -> int | None:
        """The day since which it is back to usual, by the last seven usable days after a day; none while it is not."""
        residuals, mu = self.days.residuals(n), self.mu(sign, n)
        after = after_day + 1 - self.days.first_day
        at = np.flatnonzero(~np.isnan(residuals[after:]))[-BACK_DAYS:] + after
        if len(at) < BACK_DAYS or mu is None:
            return None
        off = sign.direction * (residuals[at] - mu)
        if float(np.median(off)) >= BACK_WITHIN:
            return None
        return self.days.first_day + int(at[np.flatnonzero(off < BACK_WITHIN)[0]])

    def mu(self, sign: Sign, n: int) -> float | None:
        """What was usual before a sign, under the fit of a day."""
        residuals = self.days.residuals(n)
        before = self.usable(residuals, sign.after_day, sign.base_day)[-BEFORE_DAYS:]
        return float(bn.median(residuals[before])) if len(before) else None

    def _size(self, sign: Sign, n: int) -> float:
        residuals, mu = self.days.residuals(n), self.mu(sign, n)
        since = self.usable(residuals, sign.began_day - 1, self.days.first_day + n, mended_out=False)
        if mu is None or not len(since):
            return sign.rise
        return float(np.median(sign.direction * (residuals[since] - mu)))

    def usable(self, residuals: Floats, after_day: int, to_day: int, *, mended_out: bool = True) -> Ints:
        """Indices of the days with a residual from the one after a day to another, those of a rise that was mended left out."""
        first = self.days.first_day
        start = max(0, after_day + 1 - first)
        fine = ~np.isnan(residuals[start : max(start, to_day + 1 - first)])
        for sign in self.signs if mended_out else ():
            if sign.mended_day is not None:
                last = max(sign.mended_day, (sign.back_day or 0) - 1)
                fine[max(0, sign.began_day - first - start) : max(0, last + 1 - first - start)] = False
        return np.flatnonzero(fine) + start

    def floor(self, n: int) -> int:
        """The last day that may not count as usual any more; before the first day where nothing ended."""
        day = self.days.first_day + n
        found = [self.days.first_day - 1, *(one for one in self._renewed if one <= day)]
        for sign in self.signs:
            if sign.ended_day is None or (sign.end is SignEnd.MENDED and sign.asked_again_day is None):
                continue
            found.append(sign.ended_day)
            if sign.until_day is not None and sign.ended_day < sign.until_day < day:
                found.append(sign.until_day)
        return max(found)

    def width(self, n: int) -> float | None:
        """Spread of the past year's rises up to a week ago; none while there are too few."""
        past = self.rises[max(0, n - WIDTH_DAYS) : max(0, n - WIDTH_AGO + 1)]
        past = past[~np.isnan(past)]
        if len(past) < self.rule.past_rises:
            return None
        return max(LEAST_WIDTH, MAD_TO_SIGMA * float(bn.median(np.abs(past - bn.median(past)))))

    def rise(self, n: int) -> tuple[float, int] | None:
        """Now less before with what ended left out, and the last day of before; none where there are too few days."""
        residuals, floor = self.days.residuals(n), self.floor(n)
        day = self.days.first_day + n
        if np.isnan(residuals[n]):
            return None
        before = self.usable(residuals, max(floor, day - WITHIN_DAYS), day - NOW_DAYS)[-BEFORE_DAYS:]
        now = self.usable(residuals, day - NOW_DAYS, day)
        if len(before) < LEAST_BEFORE or len(now) < LEAST_NOW:
            return None
        mu = float(bn.median(residuals[before]))
        return float(np.clip(residuals[now] - mu, -MOST_STEP, MOST_STEP).mean()), floor

    def _look(self, n: int) -> None:
        """Whether the day shows a sign."""
        day = self.days.first_day + n
        if n - self._history_from < self.rule.history_days:
            return
        ended = max(self.floor(n), day - WITHIN_DAYS) >= max(self.days.first_day, day - WITHIN_DAYS + 1)
        mended = any(one.mended_day is not None for one in self.signs)
        if not (ended or mended) and not any(way * self.rises[n] > LEAST_RISE for way in self.rule.directions):
            return
        found = self.rise(n)
        if found is None:
            return
        rise, floor = found
        way = 1 if rise > 0 else -1
        if way not in self.rule.directions or not way * rise > LEAST_RISE:
            return
        width = self.width(n)
        if width is None or SIGN_WIDTHS * width > MOST_LEAST or not way * rise > SIGN_WIDTHS * width:
            return
        sign = Sign(
            seen_day=day,
            direction=way,
            began_day=day,
            rise=way * rise,
            width=width,
            after_day=max(floor, day - WITHIN_DAYS),
            base_day=day - NOW_DAYS,
        )
        sign = replace(sign, began_day=self._began(sign, n, floor))
        sign = replace(sign, rise=self._size(sign, n))
        if not self._said_before(sign, n):
            self.signs.append(sign)

    def _began(self, sign: Sign, n: int, floor: int) -> int:
        residuals, mu = self.days.residuals(n), self.mu(sign, n)
        assert mu is not None
        at = self.usable(residuals, max(floor, sign.seen_day - BEGAN_WITHIN), sign.seen_day)
        off = sign.direction * (residuals[at] - mu)
        lengths = np.arange(len(at), 0, -1)
        scores = np.cumsum(off[::-1])[::-1] / np.sqrt(lengths)
        best = int(np.argmax(np.where(lengths >= BEGAN_LEAST, scores, -np.inf)))
        return self.days.first_day + int(at[best])

    def _said_before(self, sign: Sign, n: int) -> bool:
        """Whether it is a rise for which nothing was found less than 90 days ago, and has not grown since."""
        residuals = self.days.residuals(n)
        now = self.usable(residuals, sign.began_day - 1, sign.seen_day)
        for last in self.signs:
            if last.end is not SignEnd.NOTHING_FOUND or last.ended_day is None or last.direction != sign.direction:
                continue
            mu = self.mu(last, n)
            if mu is None or sign.seen_day - last.ended_day > SAME_RISE_DAYS:
                continue
            if float(np.median(sign.direction * (residuals[now] - mu))) <= last.rise + SAME_RISE:
                return True
        return False


def least_that_shows(track: Track, rule: SignRule) -> float | None:
    """The smallest lasting rise that would show, as a share (0.15 is 15 %); none while the past says too little."""
    width = _view(track, rule).width(len(track.values) - 1) if len(track.values) else None
    return None if width is None else math.expm1(max(SIGN_WIDTHS * width, LEAST_RISE))


def quiet(track: Track, rule: SignRule, *, barred: bool = False) -> Quiet | None:
    """Why nothing could be said on the newest day, or none where it could. barred: more than half the pumps are out."""
    n = len(track.values) - 1
    view = _view(track, rule)
    last_day = track.next_day - 1
    history = n - int(np.argmax(~np.isnan(track.values))) if np.isfinite(track.values).any() else 0
    past = int(np.count_nonzero(~np.isnan(track.rises[max(0, n - WIDTH_DAYS) : max(0, n - WIDTH_AGO + 1)])))
    if history < rule.history_days or past < rule.past_rises:
        wait = max(rule.history_days - history, rule.past_rises - past)
        return Quiet(reason=QuietReason.NO_HISTORY, speaks_day=last_day + max(wait, 1), days=history)
    if barred:
        return Quiet(reason=QuietReason.HALF_OUT)
    width = view.width(n)
    if width is not None and SIGN_WIDTHS * width > MOST_LEAST:
        return Quiet(reason=QuietReason.RESTLESS)
    residuals = view.days.residuals(n)
    window = slice(max(0, n + 1 - NOW_DAYS), n + 1)
    fresh = int(np.count_nonzero(~np.isnan(track.values[window])))
    usable = int(np.count_nonzero(~np.isnan(residuals[window])))
    if usable < LEAST_NOW:
        if fresh >= LEAST_NOW:
            return Quiet(reason=QuietReason.NEW_KIND)
        return Quiet(reason=QuietReason.DAYS_MISSING, days=usable)
    floor = view.floor(n)
    since = len(view.usable(residuals, max(floor, last_day - WITHIN_DAYS), last_day - NOW_DAYS))
    if track.open_sign is None and since < LEAST_BEFORE:
        return Quiet(reason=QuietReason.AFTER_SIGN, speaks_day=last_day + LEAST_BEFORE - since, days=since)
    return None


def deviations(track: Track, rule: SignRule) -> Floats:
    """Each day against what is usual now (0.1 is about 10 % more), under the newest fit; NaN where it cannot be said.

    Usual is the median that the newest open sign is measured against, else of the last 56 usable days before the last ten.
    """
    n = len(track.values) - 1
    if n < 0:
        return np.zeros(0)
    view = _view(track, rule)
    residuals = view.days.residuals(n)
    sign = track.open_sign
    mu = view.mu(sign, n) if sign is not None else None
    if mu is None:
        before = view.usable(residuals, view.floor(n), track.next_day - 1 - NOW_DAYS)[-BEFORE_DAYS:]
        mu = float(bn.median(residuals[before])) if len(before) else np.nan
    return residuals - mu


def _view(track: Track, rule: SignRule) -> _Fold:
    """The newest day of a track, to be asked."""
    done = max(0, len(track.values) - 1)
    days = DayResiduals(track.first_day, track.values, track.kinds, done, rule.by_kind)
    return _Fold(rule, days, track.rises, list(track.signs), track.renewed)
