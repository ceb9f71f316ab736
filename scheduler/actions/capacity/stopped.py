"""A pump stops: what is left without it, hour by hour, and what opening another pump would take. Facts; nothing is recorded."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.actions.capacity.opening import planned_openings
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.capacity.may_open import OpenStretch, open_stretches
from scheduler.domain.capacity.minimum import Outage, Swept, capacities_at
from scheduler.domain.capacity.returning import PlannedReturn, planned_back

AHEAD_SHOWN = timedelta(hours=24)
PLANNED_WITHIN = timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedOpening:
    """A planned opening of another pump, with the worst that it would leave while this one is out."""

    pump: str
    from_at: datetime
    to_at: datetime
    worst: OpenStretch


@dataclass(frozen=True, slots=True, kw_only=True)
class StoppedPump:
    """What a pump that stops leaves.

    since_at: none: it is not out yet. back: when plans have it back. left: the next 24 hours without it, nothing else opened.
    running: pumps that count, to be left in AUTO. planned: openings of them in the next seven days. best: by running pump, the best
    stretch of the 24 hours with that pump open too. reason: as recorded.
    """

    pump: str
    at: datetime
    since_at: datetime | None
    reason: str
    expected_at: datetime | None
    back: PlannedReturn | None
    left: tuple[OpenStretch, ...]
    running: tuple[str, ...]
    planned: tuple[PlannedOpening, ...]
    best: tuple[tuple[str, OpenStretch], ...]

    @property
    def least(self) -> OpenStretch:
        """The first stretch with the least left."""
        return min(self.left, key=lambda one: (one.margin_litres_per_h, one.from_at))


def stopped_pump(now: PlantState, pump: str) -> StoppedPump:
    """What is left without a pump, whether it is out already or not. No return is assumed."""
    out = next(
        (
            one
            for one in now.outages
            if one.pump == pump and one.from_at <= now.at and one.to_at is None and one.counts_for.m3_per_h <= 0
        ),
        None,
    )
    facts = (*now.outages, Outage(pump=pump, from_at=now.at, to_at=None, counts_for=Swept(0.0), reason="asked"))

    def stretches(other: str | None, from_at: datetime, to_at: datetime) -> tuple[OpenStretch, ...]:
        return open_stretches(
            now.plant,
            facts,
            other,
            from_at=from_at,
            to_at=to_at,
            offset_minutes=now.offset_minutes,
            whole=now.capacities,
            concessions=now.concessions,
        )

    counts = capacities_at(now.plant, facts, now.at, now.capacities)
    running = tuple(one for one, swept in counts.items() if swept.m3_per_h > 0)
    until_at = now.at + AHEAD_SHOWN
    planned = [
        PlannedOpening(
            pump=one.pump,
            from_at=max(one.from_at, now.at),
            to_at=one.to_at,
            worst=min(
                stretches(one.pump, max(one.from_at, now.at), one.to_at),
                key=lambda stretch: (stretch.margin_litres_per_h, stretch.from_at),
            ),
        )
        for one in planned_openings(now, pump)
        if one.to_at is not None and one.pump in running and one.from_at < now.at + PLANNED_WITHIN
    ]
    best = [
        (other, max(stretches(other, now.at, until_at), key=lambda one: one.margin_litres_per_h)) for other in running
    ]
    return StoppedPump(
        pump=pump,
        at=now.at,
        since_at=None if out is None else out.from_at,
        reason="" if out is None else out.reason,
        expected_at=None if out is None else out.expected_at,
        back=None if out is None else planned_back(out, now.at),
        left=stretches(None, now.at, until_at),
        running=running,
        planned=tuple(sorted(planned, key=lambda one: (one.from_at, one.pump))),
        best=tuple(best),
    )
