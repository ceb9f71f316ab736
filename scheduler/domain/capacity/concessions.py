"""A lower minimum for a stretch of time: what may be asked for. Who may sign stands in `deciding`.

Common practice, no source: the plant serves hotel and crew, so whom the ship names for them agrees before it runs on less.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite

from scheduler.domain.capacity.minimum import Swept, minimum_agreed
from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.shiptime import ShipOffset

SHORTEST, LONGEST = timedelta(hours=1), timedelta(days=366)
SECOND_SIGNERS = ("hotel", "chief officer", "master")
"""Whom a ship may name to sign beside the chief engineer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lower:
    """A concession as asked for; minimum: of swept volume."""

    from_at: datetime
    to_at: datetime
    minimum: Swept
    reason: str


def lower_faults(plant: Plant, asked: Lower, *, offset_minutes: int, now_at: datetime) -> list[tuple[str, str]]:
    """What is wrong with a request, a (pointer, sentence) each; empty when nothing is."""
    faults = []
    if not asked.reason.strip():
        faults.append(("/reason", _("this is empty; say why less is enough in that time.")))
    if not SHORTEST <= asked.to_at - asked.from_at <= LONGEST:
        faults.append(("/to_at", _("an end 1 hour to 366 days after from_at was expected; correct either.")))
        return faults
    if asked.to_at <= now_at:
        faults.append(("/to_at", _("this is past; a minimum is lowered for a time to come.")))
    figure = asked.minimum.m3_per_h
    marks = _hours_begun(asked.from_at, asked.to_at, offset_minutes)
    most = max(minimum_agreed(plant, at, offset_minutes)[0] for at in marks)
    if not (isfinite(figure) and 0 <= figure < most.m3_per_h):
        faults.append(
            (
                "/minimum_swept_m3_per_h",
                _(
                    "{figure} m3/h: 0 or more and less than the highest minimum in that time, "
                    "{m3_per_h}, was expected.",
                    figure=f"{figure:g}",
                    m3_per_h=f"{most.m3_per_h:g}",
                ),
            )
        )
    return faults


def _hours_begun(from_at: datetime, to_at: datetime, offset_minutes: int) -> Iterator[datetime]:
    """The beginning, and every instant before the end at which an hour of the ship's begins: a minimum changes at no other."""
    yield from_at
    offsets = offset_minutes.known() if isinstance(offset_minutes, ShipOffset) else (offset_minutes,)
    for past in sorted({-minutes % 60 for minutes in offsets}):
        at = from_at.replace(minute=past, second=0, microsecond=0)
        while at < to_at:
            if at > from_at:
                yield at
            at += timedelta(hours=1)
