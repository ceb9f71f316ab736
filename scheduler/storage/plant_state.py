"""All that is stored of a plant and that its state rests on, read in one go."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from scheduler.domain.hours.running import DAY_S, Point, TotalsAround
from scheduler.storage.capacity import ConcessionRow, OutageRow, concession_rows, outage_rows, passed_tests
from scheduler.storage.database import Session
from scheduler.storage.due import (
    DockRow,
    FirstDateRow,
    PublishedRow,
    dock_rows,
    event_counts,
    first_date_rows,
    granted_postponements,
    part_dates_by_job,
    published_rows,
)
from scheduler.storage.hours.counters import (
    CounterEventRow,
    CounterRow,
    FlagRow,
    counter_events_of_kinds,
    counter_numbers,
    counter_rows,
    flag_rows,
)
from scheduler.storage.hours.day_ends import day_ends
from scheduler.storage.hours.ledger import counted_values, totals_by_id
from scheduler.storage.plan import MoveRow, PlanRow, PlanStatus, move_rows, plan_row
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import ShipOffsetRow, VesselRow, kinds_since, ship_offset_rows, vessel_row
from scheduler.storage.voyage import StretchValues, VoyageVersionRow, newest_voyage_version, voyage_stretches
from scheduler.storage.work import DoneRow, JobRow, job_rows, latest_done_rows

LOOK_BACK_DAYS = 3 * 366
"""So far back a plant's days are read, if its counters go that far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantRows:
    """What is stored of a plant at an instant; of the vessel what it shares with her other plants.

    totals, counted, day_ends: by counter id; numbers: short number of each. event_counts: see there.
    """

    vessel: VesselRow | None
    clock: Sequence[ShipOffsetRow]
    voyage: VoyageVersionRow | None
    stretches: tuple[StretchValues, ...]
    kinds_since: Mapping[str, datetime]
    counters: Sequence[CounterRow]
    numbers: Mapping[str, int]
    counter_events: Sequence[CounterEventRow]
    event_counts: tuple[int, int]
    flags: Sequence[FlagRow]
    totals: Mapping[str, TotalsAround]
    counted: Mapping[str, tuple[int, int]]
    day_ends: Mapping[str, Sequence[Point]]
    done: Sequence[DoneRow]
    jobs: Sequence[JobRow]
    postponed: Mapping[str, datetime]
    first_dates: Sequence[FirstDateRow]
    published: Mapping[str, PublishedRow]
    parts_on: Mapping[str, date]
    docks: Sequence[DockRow]
    outages: Sequence[OutageRow]
    tested: Mapping[str, int]
    concessions: Sequence[ConcessionRow]
    taken: PlanRow | None
    proposed: PlanRow | None
    moves: Sequence[MoveRow]


def read_plant(session: Session, vessel_id: str, plant_id: str, at: datetime, event_kinds: Sequence[str]) -> PlantRows:
    """All of it. event_kinds: of the vessel's counter events those that are wanted."""
    at_s = int(floor_second(at).timestamp())
    today = at_s // DAY_S
    counters = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant_id]
    numbers = counter_numbers(counters)
    totals = totals_by_id(session, numbers, at_s)
    ends = day_ends(session, list(numbers.values()), (today - LOOK_BACK_DAYS) * DAY_S, today * DAY_S)
    return PlantRows(
        counters=counters,
        numbers=numbers,
        counter_events=counter_events_of_kinds(session, vessel_id, event_kinds),
        flags=flag_rows(session, vessel_id),
        totals=totals,
        counted=counted_values(session, counters, totals),
        day_ends={counter: ends[no] for counter, no in numbers.items()},
        event_counts=event_counts(session, list(numbers.values())),
        vessel=vessel_row(session, vessel_id),
        clock=ship_offset_rows(session, vessel_id),
        voyage=(voyage := newest_voyage_version(session, vessel_id)),
        stretches=voyage_stretches(session, vessel_id) if voyage else (),
        kinds_since=kinds_since(session, vessel_id, plant_id),
        done=latest_done_rows(session, vessel_id),
        jobs=job_rows(session, vessel_id, plant_id),
        postponed=granted_postponements(session, vessel_id),
        first_dates=first_date_rows(session, vessel_id),
        published=published_rows(session, vessel_id, plant_id),
        parts_on=part_dates_by_job(session, vessel_id),
        docks=dock_rows(session, vessel_id, plant_id),
        outages=outage_rows(session, vessel_id, plant_id, since_at=at),
        tested=passed_tests(session, vessel_id),
        concessions=concession_rows(session, vessel_id, plant_id),
        taken=plan_row(session, vessel_id, plant_id, PlanStatus.TAKEN),
        proposed=plan_row(session, vessel_id, plant_id, PlanStatus.PROPOSED),
        moves=move_rows(session, vessel_id, plant_id, not_undone=True),
    )


def rows_then(session: Session, vessel_id: str, rows: PlantRows, at: datetime) -> PlantRows:
    """The same without what was done, granted or set since an instant that they were read for."""
    return replace(
        rows,
        done=latest_done_rows(session, vessel_id, before_at=at),
        postponed=granted_postponements(session, vessel_id, before_at=at),
        first_dates=[row for row in rows.first_dates if row.set_at < at],
    )
