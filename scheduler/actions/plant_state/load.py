"""How a plant stands at an instant: loaded once, worked out once; page, feed, plan and answers all rest on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from scheduler.actions.base.context import Context, instant, maybe, seconds
from scheduler.actions.hours.ledger import StoredTotals, daily_of, derive_vessel, may_be_missing, setups_of_vessel
from scheduler.actions.plant_state.published import posted_of
from scheduler.actions.plant_state.stored import (
    Pin,
    StoredPlan,
    capacities_of,
    concessions_of,
    done_of,
    first_dates_of,
    outage_of,
    pins_of,
    stored_plan,
)
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.actions.voyage.days import voyage_days_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, capacities_at
from scheduler.domain.due.docking import Dock
from scheduler.domain.due.jobs import DueJob, jobs_due
from scheduler.domain.due.last_done import Done, HoursAt, JobId, reckon_first
from scheduler.domain.due.meters import Loss, Meters
from scheduler.domain.due.publishing import Posted, as_published, slack_days
from scheduler.domain.due.subjects import Key, where
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.domain.hours.ledger import Flag, setup_at
from scheduler.domain.hours.running import RunningHours, running_hours
from scheduler.domain.hours.sources import Change, retired, source_at
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.domain.voyage.days import Stretch
from scheduler.domain.work.breakdown import breakdown_job
from scheduler.shiptime import ShipOffset, instant_of
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import Session
from scheduler.storage.due import dock_rows, granted_postponements, part_dates_by_job
from scheduler.storage.hours.counters import CounterRow, counter_rows, flag_rows
from scheduler.storage.hours.readings import newest_readings, value_at
from scheduler.storage.plan import PlanStatus, plan_row
from scheduler.storage.vessel import kinds_since
from scheduler.storage.work import job_rows


@dataclass(frozen=True, slots=True)
class CounterState:
    """A counter: where it is, its newest reading, whether it counts for its position now or only checks it.

    silent: it has not posted for too long. One that another took over from is never silent.
    """

    id: str
    position: str
    newest_at: datetime | None
    silent: bool
    quiet_after_hours: int
    primary: bool = True
    figure: CounterFigure | None = None
    """The newest value that is counted; none: nothing is."""


@dataclass(frozen=True, slots=True)
class PlantState:
    """One plant of one vessel at one instant.

    hours: as last read. projected: running seconds now of what has a silent counter, carried on at the usual rate.
    jobs: as reckoned now; posted: what is published of each, by key. People are shown `shown`.
    """

    vessel: Vessel
    version: int
    plant: Plant
    at: datetime
    offset_minutes: ShipOffset
    hours: Mapping[tuple[Subject, str], RunningHours]
    projected: Mapping[tuple[Subject, str], int]
    done: Mapping[Key, Done]
    jobs: tuple[DueJob, ...]
    posted: Mapping[str, Posted]
    capacities: Mapping[str, Swept]
    outages: tuple[Outage, ...]
    outage_status: Mapping[str, str]
    counters: tuple[CounterState, ...]
    flags: tuple[tuple[str, Flag], ...]
    """(counter id, flag), newest first."""
    taken: StoredPlan | None
    proposed: StoredPlan | None
    days: tuple[Stretch, ...] = ()
    """The ship's days by kind, as in its operating calendar."""
    clock_changes: tuple[tuple[datetime, int], ...] = ()
    """Clock changes ahead: from when, and minutes ahead of UTC from then on."""
    concessions: tuple[Concession, ...] = ()
    """Lower minima asked for; one counts when both have signed."""
    parts_on: Mapping[str, date] = field(default_factory=dict)
    """By job key, the ship's date from which its parts are aboard."""
    pins: Mapping[str, Pin] = field(default_factory=dict)
    """By key of an open job, where its slot was set by hand; the newest move that was not undone counts."""
    docks: tuple[Dock, ...] = ()
    """Stays in dock with the jobs chosen for them."""
    breakdowns: tuple[DueJob, ...] = ()
    """Open breakdown jobs; they are not planned, and stand apart from what falls due."""

    @property
    def open_keys(self) -> frozenset[str]:
        """Keys of the turns that are due or to come, and of the open breakdowns."""
        return frozenset(job.job_id.key for job in (*self.jobs, *self.breakdowns))

    @property
    def shown(self) -> tuple[DueJob, ...]:
        """The jobs with the dates that are published."""
        return tuple(self.as_shown(job) for job in self.jobs)

    def as_shown(self, job: DueJob) -> DueJob:
        """The job with its published dates; one that is closed has none."""
        posted = self.posted.get(job.job_id.key)
        return job if posted is None else as_published(job, posted.new)

    def counts_for(self) -> dict[str, Swept]:
        """What each pump in a position counts for now, tests, outages and the not-proved rule taken in."""
        return capacities_at(self.plant, self.outages, self.at, self.capacities)

    def parts_from(self) -> dict[str, datetime]:
        """By job key, the ship's midnight from which its parts are aboard."""
        return {key: instant_of(datetime.combine(on, time()), self.offset_minutes) for key, on in self.parts_on.items()}

    def position_name(self, position: str | None) -> str:
        """The name people use (VP2), or the plant's for none."""
        return next((p.name for p in self.plant.positions if p.id == position), self.plant.name)

    def serial_of(self, pump: str | None) -> str:
        """Serial number of a pump, empty for none."""
        return next((p.serial for p in self.plant.pumps if p.id == pump), "")

    def hours_as_of(self) -> datetime | None:
        """The oldest of the newest readings of the counters that count; none while one has not posted at all."""
        newest = [c.newest_at for c in self.counters if c.primary]
        return min((at for at in newest if at is not None), default=None)

    def counter_figure(self, position: str | None) -> CounterFigure | None:
        """What the counter that counts for a position shows; none where there is none, or nothing was counted."""
        return next((c.figure for c in self.counters if c.position == position and c.primary), None)

    def job(self, key: str) -> DueJob | None:
        """The due job with that key as reckoned, or the open breakdown, or none."""
        return next((job for job in (*self.jobs, *self.breakdowns) if job.job_id.key == key), None)


def plant_state(context: Context, vessel_id: str, plant_id: str, *, horizon_days: int | None = None) -> PlantState:
    """How the plant stands now, its ledger brought up to date first.

    Raises:
        NotFound: no such vessel or plant.
    """
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        return load_plant(session, context, vessel_id, plant_id, horizon_days=horizon_days)


def load_plant(
    session: Session, context: Context, vessel_id: str, plant_id: str, *, horizon_days: int | None = None
) -> PlantState:
    """As `situation`, inside a session of the caller's."""
    at = context.now()
    vessel, version = document_of(session, vessel_id)
    plant = plant_of(vessel, plant_id)
    rows = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant_id]
    totals = StoredTotals(session, rows)

    def hours_at(subject: Subject, subject_id: str, when: datetime) -> RunningHours:
        return running_hours(plant, totals, subject, subject_id, when)

    figures = _figures(session, vessel_id, rows, totals, at)
    counters = tuple(
        replace(_counter(plant, row, totals.changes(row.position_id), at), figure=figures.get(row.id)) for row in rows
    )
    silent = {counter.position for counter in counters if counter.silent and counter.primary}
    hours = {key: _marked(hours_at(*key, at), where(plant, *key, at)[1] in silent) for key in _subjects(plant)}
    done = known_from(session, vessel_id, plant, hours_at)
    named = {row.no: row.id for row in rows}
    flags = tuple((named[f.counter_no], f.flag()) for f in flag_rows(session, vessel_id) if f.counter_no in named)
    counting = {counter.id for counter in counters if counter.primary}
    book, daybook = voyage_days_of(session, vessel_id)
    calendar = book.calendar()
    meters = Meters(
        plant=plant,
        hours=lambda subject, subject_id: hours[subject, subject_id],
        daily=daily_of(session, plant, rows, at),
        at=at,
        calendar=calendar,
        losses=_losses(session, [row for row in rows if row.id in counting], flags),
    )
    days = horizon_days or context.settings.horizon_days
    reckoned = jobs_due(
        meters,
        done,
        horizon_days=days + slack_days(days),
        postponed=granted_postponements(session, vessel_id),
        first_dates=first_dates_of(session, vessel_id),
    )
    posted = posted_of(
        session,
        vessel_id,
        plant,
        reckoned,
        rows,
        hours_at,
        at=at,
        document=version,
        daybook=daybook,
        planning_window=timedelta(days=context.settings.horizon_days),
    )
    posted = {key: one for key, one in posted.items() if one.stays_within(at + timedelta(days=days))}
    jobs = tuple(job for job in reckoned if job.job_id.key in posted)
    outages = outage_rows(session, vessel_id, plant_id, since_at=at)
    clock = clock_of(session, vessel_id, at)
    return PlantState(
        vessel=vessel,
        version=version,
        plant=plant,
        at=at,
        offset_minutes=clock,
        hours=hours,
        projected={
            key: meter.seconds_by(at) for key in hours if (meter := meters.of(*key)) is not None and meter.silent
        },
        done=done,
        jobs=jobs,
        posted=posted,
        capacities=capacities_of(session, vessel_id, plant),
        outages=tuple(outage_of(row) for row in outages),
        outage_status={row.pump_id: row.status.value for row in outages if row.from_at <= at},
        counters=counters,
        flags=flags,
        taken=stored_plan(plan_row(session, vessel_id, plant_id, PlanStatus.TAKEN)),
        proposed=stored_plan(plan_row(session, vessel_id, plant_id, PlanStatus.PROPOSED)),
        days=calendar.stretches if calendar else (),
        concessions=concessions_of(session, vessel_id, plant_id),
        parts_on=part_dates_by_job(session, vessel_id),
        docks=tuple(
            Dock(from_at=row.from_at, to_at=row.to_at, keys=tuple(row.jobs))
            for row in dock_rows(session, vessel_id, plant_id)
            if row.withdrawn_at is None
        ),
        pins=pins_of(session, vessel_id, plant_id, {job.job_id.key for job in jobs}),
        breakdowns=tuple(
            breakdown_job(
                plant,
                JobId(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
                row.due_at,
                at,
            )
            for row in job_rows(session, vessel_id, plant_id)
            if row.kind == BREAKDOWN.code
        ),
        clock_changes=tuple(change for change in clock.changes if change[0] > at),
    )


def _losses(session: Session, rows: Sequence[CounterRow], flags: Sequence[tuple[str, Flag]]) -> dict[str, list[Loss]]:
    """By position, hours that may be missing and that nobody has answered for (rule R23)."""
    found: dict[str, list[Loss]] = {}
    for row in rows:
        own = [flag for counter, flag in flags if counter == row.id]
        for flag in may_be_missing(session, row, own):
            found.setdefault(row.position_id, []).append((instant(flag.at_s), flag.seconds))
    return found


def hours_then(session: Session, now: PlantState, subject: Subject, subject_id: str, at: datetime) -> RunningHours:
    """Running hours of a subject of the situation's plant at another instant."""
    rows = [row for row in counter_rows(session, now.vessel.id) if row.plant_id == now.plant.id]
    return running_hours(now.plant, StoredTotals(session, rows), subject, subject_id, at)


def known_from(session: Session, vessel_id: str, plant: Plant, hours_at: HoursAt) -> dict[Key, Done]:
    """Where the interval of each kind and subject starts, as far as that is known: by this tool's own record, else by the
    document."""
    since = kinds_since(session, vessel_id, plant.id)
    return {**reckon_first(plant, hours_at, since=since), **done_of(session, vessel_id)}


def _subjects(plant: Plant) -> Sequence[tuple[Subject, str]]:
    return [
        *((Subject.POSITION, p.id) for p in plant.positions),
        *((Subject.PUMP, p.id) for p in plant.pumps),
        *((Subject.PART, p.id) for p in plant.parts),
    ]


def _marked(hours: RunningHours, silent: bool) -> RunningHours:
    """The hours of a silent counter stand where it left them, and are no more than an estimate of today's (rule R23)."""
    return replace(hours, estimated=True) if silent else hours


def _figures(
    session: Session, vessel_id: str, rows: Sequence[CounterRow], totals: StoredTotals, at: datetime
) -> dict[str, CounterFigure]:
    """By counter, the newest value that is counted."""
    setups = setups_of_vessel(session, vessel_id, rows)
    newest = newest_readings(session, [row.no for row in rows if row.no is not None])
    found = {}
    for row in rows:
        before, _ = totals.around(row.id, seconds(at))
        if row.no is None or before is None:
            continue
        at_s, milli = newest.get(row.no, (None, None))
        value = milli if at_s == before[0] else value_at(session, row.no, before[0], row.skew_most_s)
        if value is not None:
            scale = setup_at(setups[row.no], before[0])
            found[row.id] = CounterFigure(
                at=instant(before[0]),
                value_milli=value,
                seconds_per_count=scale.seconds_per_count,
                modulus=scale.modulus,
            )
    return found


def _counter(plant: Plant, row: CounterRow, changes: Sequence[Change], at: datetime) -> CounterState:
    newest = maybe(row.newest_s)
    silent = newest is None or at - newest > timedelta(hours=row.quiet_after_hours)
    counts = source_at(plant, row.position_id, seconds(at), changes) == row.id
    counter = next((c for c in plant.counters if c.id == row.id), None)
    gone = counter is not None and retired(plant, counter, seconds(at), changes)
    return CounterState(row.id, row.position_id, newest, silent and not gone, row.quiet_after_hours, counts)
