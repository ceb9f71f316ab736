"""An entry made by mistake is struck: a counter-entry, within minutes, that never says what the plant is."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from scheduler.domain.work.acts import (
    AnyStep,
    MeasureAccepted,
    PermitClosed,
    PermitIssued,
    Struck,
    TagPlaced,
    TagRemoved,
)
from scheduler.domain.work.against import Against, Objection

STRIKE_WITHIN = timedelta(minutes=10)
"""For so long after it was recorded an entry may be struck."""


def strike_objections(
    entries: Iterable[AnyStep],
    struck: Struck,
    *,
    recorded_at: Mapping[int, datetime],
    recorded_by: Mapping[int, str],
    flagged: frozenset[int],
    by: str,
    now: datetime,
    within: timedelta,
) -> list[Objection]:
    """What stands against striking an entry: only the newest, by who recorded it, for ten minutes, and never what somebody
    signed or decided, nor what carries a flag.

    Args:
        entries: all entries, in order of recording. recorded_at, recorded_by, flagged: by number, from 1.
    """
    told = list(entries)
    gone = {one.number for one in told if isinstance(one, Struck)}
    live = [n for n, one in enumerate(told, 1) if n not in gone and not isinstance(one, Struck)]
    if struck.number not in live:
        return [Objection(Against.NOTHING_TO_STRIKE, {"number": float(min(struck.number, 10**9))}, impossible=True)]
    if struck.number != live[-1] or recorded_by[struck.number] != by:
        return [Objection(Against.NOT_THE_NEWEST, {"number": float(live[-1])}, impossible=True)]
    step = told[struck.number - 1]
    stays = struck.number in flagged or isinstance(step, PermitIssued | PermitClosed | MeasureAccepted)
    stays |= isinstance(step, TagPlaced) and bool(step.override.strip())
    stays |= isinstance(step, TagRemoved) and step.other_hand is not None
    if stays:
        return [Objection(Against.STAYS, impossible=True)]
    if now - recorded_at[struck.number] > within:
        return [Objection(Against.TOO_LATE, {"minutes": within / timedelta(minutes=1)}, impossible=True)]
    return []
