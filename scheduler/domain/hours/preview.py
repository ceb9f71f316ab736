"""What the ledger would make of a reading that is not stored yet: the same rules, folded over a value that was only typed."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from scheduler.domain.hours.ledger import derive
from scheduler.domain.hours.ledger_fit import follows
from scheduler.domain.hours.ledger_values import (
    Entry,
    Good,
    Item,
    LedgerState,
    LedgerVerdict,
    Reading,
    Setup,
    VerdictReason,
)
from scheduler.domain.hours.questions import amiss
from scheduler.domain.hours.unusual import Unusual, slips, unusual


class ReadingFit(StrEnum):
    """How a value fits what is counted already."""

    FITS = "fits"
    FIRST = "first reading"
    STEP_BACK = "a step back of one"
    ROLLED_OVER = "rolled over"
    KNOWN = "known already"
    UNUSUAL = "far more than usual"
    TOO_MUCH = "more than can have run"
    LESS = "less than before"
    STARTED_AGAIN = "started again"
    FOLLOWS_HELD = "follows a held reading"
    ERRATIC = "erratic"
    SPOILS_LATER = "later readings would not fit"
    CONFLICT = "another value is stored"
    REFUSED = "refused"


TAKEN = frozenset({ReadingFit.FITS, ReadingFit.FIRST, ReadingFit.STEP_BACK, ReadingFit.ROLLED_OVER, ReadingFit.KNOWN})
"""What is stored without a further word."""
NEVER = frozenset({ReadingFit.CONFLICT, ReadingFit.REFUSED})
"""What cannot be stored as it is, whatever is said of it."""


class SlipKind(StrEnum):
    """What likely went wrong at typing."""

    DIGIT = "one digit"
    SWAPPED = "two digits changed round"
    MISSING = "a digit missing"
    EXTRA = "a digit too many"
    UNIT = "typed in hours"


@dataclass(frozen=True, slots=True)
class Slip:
    """kind: see there. milli: the value that was likely meant, thousandths of a count; credit_s: what it would count."""

    kind: SlipKind
    milli: int
    credit_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPreview:
    """A value against what is counted.

    before: (instant, thousandths) of the reading that the count rests on; none: this is the first. elapsed_s: since then.
    credit_s: seconds that would count; none where none would. usual_s_per_day: what the counter ran a day lately; 0 when not
    known. slip: what was likely meant, where it does not fit. stands: the value stored at that instant, thousandths, in a
    conflict. why: the words of a refusal.
    """

    fit: ReadingFit
    before: tuple[int, int] | None = None
    elapsed_s: int = 0
    credit_s: int | None = None
    usual_s_per_day: float = 0.0
    slip: Slip | None = None
    stands: int | None = None
    why: str = ""

    @property
    def taken(self) -> bool:
        """Whether it is stored without a further word."""
        return self.fit in TAKEN

    @property
    def may_be_stored(self) -> bool:
        """Whether a person may have it stored all the same: it counts, or is held until somebody answers for it."""
        return self.fit not in NEVER


def preview(
    setup: Setup, state: LedgerState, items: Sequence[Item], reading: Reading, *, usual_s_per_day: float
) -> ReadingPreview:
    """What the ledger would make of a reading; nothing is stored at its instant yet.

    Args:
        setup: how the counter counted when first set up. state: before the first item, and before the reading. items: readings
            and events from then on, later ones too.
    """
    earlier = [one for one in items if one.at_s < reading.at_s + (not isinstance(one, Reading))]
    there = derive(setup, earlier, state).state
    good = there.before or there.good
    derived = derive(setup, [*items, reading], state)
    entry = [one for one in derived.entries if one.at_s == reading.at_s][-1]
    scaled = setup.scaled(there.scale)
    before = None if good is None else (good.at_s, good.value_milli)
    odd = None
    if before is not None and entry.verdict is LedgerVerdict.CREDITED:
        odd = unusual(scaled, before, reading.at_s, reading.value_milli, seconds_per_day=usual_s_per_day)
    spoils = _spoilt(derived.entries, reading.at_s) > _spoilt(derive(setup, items, state).entries, reading.at_s)
    fit = _fit(entry, spoils=spoils, odd=odd)
    elapsed_s = 0 if good is None else reading.at_s - good.at_s
    return ReadingPreview(
        fit=fit,
        before=before,
        elapsed_s=elapsed_s,
        credit_s=None if entry.total_s is None or fit is ReadingFit.STARTED_AGAIN else entry.credit_s,
        usual_s_per_day=usual_s_per_day,
        slip=None if good is None or fit in TAKEN else _slip(scaled, good, reading, usual_s_per_day),
    )


def _spoilt(entries: Sequence[Entry], after_s: int) -> int:
    return sum(amiss(entry) for entry in entries if entry.at_s > after_s)


_FITS = {
    LedgerVerdict.BASELINE: ReadingFit.FIRST,
    LedgerVerdict.JITTER: ReadingFit.STEP_BACK,
    LedgerVerdict.ROLLOVER: ReadingFit.ROLLED_OVER,
    LedgerVerdict.RESET: ReadingFit.STARTED_AGAIN,
}
_HELD = {
    VerdictReason.IMPOSSIBLE: ReadingFit.TOO_MUCH,
    VerdictReason.DECREASE: ReadingFit.LESS,
    VerdictReason.FOLLOWS_HELD: ReadingFit.FOLLOWS_HELD,
}


def _fit(entry: Entry, *, spoils: bool, odd: Unusual | None) -> ReadingFit:
    if entry.verdict is not LedgerVerdict.CREDITED and entry.verdict not in _FITS:
        return _HELD.get(VerdictReason(entry.reason), ReadingFit.ERRATIC)
    if spoils:
        return ReadingFit.SPOILS_LATER
    if entry.verdict is LedgerVerdict.CREDITED:
        return ReadingFit.FITS if odd is None else ReadingFit.UNUSUAL
    return _FITS[entry.verdict]


def _slip(setup: Setup, good: Good, reading: Reading, usual_s_per_day: float) -> Slip | None:
    """The value one slip away that counts nearest to the usual; none where none comes near, or the usual is not known."""
    elapsed = reading.at_s - good.at_s
    usual_s = round(elapsed * usual_s_per_day / 86_400)
    if usual_s <= 0:
        return None
    near = max(usual_s // 2, setup.resolution_seconds)
    found: list[tuple[int, int, Slip]] = []
    for rank, (kind, milli) in enumerate(_meant(setup, reading.value_milli)):
        fit = follows(setup, good.at_s, good.value_milli, reading.at_s, milli)
        if fit is not None and fit[0] is LedgerVerdict.CREDITED and abs(fit[1] - usual_s) <= near:
            found.append((abs(fit[1] - usual_s), rank, Slip(kind, milli, fit[1])))
    return min(found, default=(0, 0, None))[2]


def _meant(setup: Setup, value_milli: int) -> list[tuple[SlipKind, int]]:
    """The values that one slip makes of another."""
    whole, rest = divmod(value_milli, 1000)
    digits = str(whole)
    found = []
    if setup.seconds_per_count != 3600:
        found.append((SlipKind.UNIT, value_milli * 3600 // setup.seconds_per_count // 1000 * 1000))
    found += [(SlipKind.SWAPPED if swapped else SlipKind.DIGIT, meant * 1000 + rest) for swapped, meant in slips(whole)]
    found += [
        (SlipKind.MISSING, int(digits[:place] + new + digits[place:]) * 1000 + rest)
        for place in range(len(digits) + 1)
        for new in "0123456789"
    ]
    found += [
        (SlipKind.EXTRA, int(digits[:place] + digits[place + 1 :]) * 1000 + rest)
        for place in range(len(digits) if len(digits) > 1 else 0)
    ]
    return found
