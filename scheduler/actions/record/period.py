"""What stands beside the records on paper and in the workbook: the plants over the period, their pumps' hours, signed months."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.hours.daily import daily_book
from scheduler.actions.plant_state.load import hours_then, plant_state
from scheduler.actions.record.history import ChosenRecords
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.actions.work.handover import reviews_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.daily import DayHours
from scheduler.domain.record.period import ship_date
from scheduler.domain.vessel.document import Plant, Pump
from scheduler.shiptime import ShipOffset
from scheduler.storage.vessel import AssetKind

MOST_DAYS = 3660
_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpPeriod:
    """A pump over the period. days: hours run on each of the ship's days of it. hours_at_end: running hours at its end, none where
    no reading tells. since: by kind code, hours since it was last done, now; only where the period reaches up to now."""

    pump: Pump
    days: tuple[DayHours, ...]
    hours_at_end: float | None
    since: Mapping[str, float]
    measured: float | None = None
    """What it counts for now, swept m3/h."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantPeriod:
    """A plant as its document has it now, and its pumps over the period, in the order of their positions."""

    plant: Plant
    pumps: tuple[PumpPeriod, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselPeriod:
    """A vessel from a ship's date to another, both included. reviews: months signed, newest first, as answers tell them."""

    vessel_name: str
    imo: str
    offset: ShipOffset
    first_on: date
    last_on: date
    plants: tuple[PlantPeriod, ...] = ()
    reviews: tuple[Mapping[str, object], ...] = ()

    @property
    def days(self) -> int:
        """How many days lie between the first and the last, 1 at least."""
        return max(1, (self.last_on - self.first_on).days)


def period_of(context: Context, chosen: ChosenRecords, first_at: datetime | None) -> VesselPeriod:
    """The vessel over the period of a choice of records.

    Args:
        first_at: when the first of them was made, or the first of what they tell; the period begins there where the choice is open.
    """
    now_at = context.now()
    choice = chosen.choice
    from_at = choice.from_at or choice.done_from_at or choice.due_from_at or first_at or now_at
    to_at = min(choice.to_at or choice.done_to_at or choice.due_to_at or now_at, now_at)
    with context.db.read() as session:
        vessel, _ = document_of(session, chosen.vessel_id)
        offset = clock_of(session, chosen.vessel_id, to_at)
    last_on = ship_date(max(from_at, to_at - timedelta(seconds=1) if to_at < now_at else to_at), offset)
    first_on = max(min(ship_date(from_at, offset), last_on), last_on - timedelta(days=MOST_DAYS))
    return VesselPeriod(
        vessel_name=vessel.name,
        imo=vessel.imo or "",
        offset=offset,
        first_on=first_on,
        last_on=last_on,
        plants=tuple(
            _plant(context, chosen.vessel_id, plant, first_on, last_on, to_at, offset) for plant in vessel.plants
        ),
        reviews=tuple(reviews_of(context, chosen.vessel_id)),
    )


def _plant(
    context: Context,
    vessel_id: str,
    plant: Plant,
    first_on: date,
    last_on: date,
    to_at: datetime,
    offset: ShipOffset,
) -> PlantPeriod:
    now = plant_state(context, vessel_id, plant.id)
    until_now = now.at - to_at < timedelta(days=1)
    back = max(1, (ship_date(now.at, offset) - first_on).days)
    place = Place(plant.id, vessel_id, plant.id, AssetKind.PLANT)
    book = daily_book(context, place, min(back, MOST_DAYS), offset=offset)
    counts = now.counts_for()
    order = {
        stay.pump: place for place, one in enumerate(plant.positions) for stay in plant.stays if stay.position == one.id
    }
    found = []
    with context.db.read() as session:
        for pump in sorted(plant.pumps, key=lambda one: (order.get(one.id, len(order)), one.id)):
            hours = (
                now.hours.get((Subject.PUMP, pump.id))
                if until_now
                else hours_then(session, now, Subject.PUMP, pump.id, to_at)
            )
            counted = counts.get(pump.id)
            found.append(
                PumpPeriod(
                    pump=pump,
                    days=tuple(day for day in book.days[Subject.PUMP, pump.id] if first_on <= day.on <= last_on),
                    hours_at_end=None if hours is None or hours.as_of is None else hours.hours,
                    since={
                        job.job_id.kind: job.since_seconds / _HOUR
                        for job in now.jobs
                        if until_now and job.first and job.pump == pump.id and job.since_seconds is not None
                    },
                    measured=None if counted is None else counted.m3_per_h,
                )
            )
    return PlantPeriod(plant=now.plant, pumps=tuple(found))
