"""How a plant stands at an instant: loaded once, worked out once; page, feed, plan and answers all rest on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time

from scheduler.actions.base.context import Context, instant, seconds
from scheduler.actions.hours.ledger import ANSWERS, changes_in, derive_vessel, missing_in, setups_in, totals_of
from scheduler.actions.plant_state.stored import (
    Pin,
    StoredPlan,
    capacities_of,
    concessions_of,
    docks_of,
    done_of,
    first_dates_of,
    outage_of,
    pins_of,
    stored_plan,
)
from scheduler.actions.vessel.document import document_in, plant_of
from scheduler.actions.vessel.fleet import clock_in
from scheduler.actions.voyage.days import voyage_days_in
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, capacities_at
from scheduler.domain.due.docking import Dock
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import Done, JobId
from scheduler.domain.due.publishing import Basis, Posted, Published, as_published
from scheduler.domain.due.reckoning import DueFacts, reckon_due
from scheduler.domain.due.subjects import Key
from scheduler.domain.hours.counter_figure import CounterFigure, CounterState, counter_state
from scheduler.domain.hours.ledger_values import Flag
from scheduler.domain.hours.running import RunningHours, SoughtTotals, running_hours
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.domain.voyage.days import Stretch
from scheduler.domain.work.breakdown import breakdown_job
from scheduler.shiptime import ShipOffset, instant_of
from scheduler.storage.database import Session, read_once
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.ledger import totals_by_id
from scheduler.storage.plant_state import PlantRows, read_plant, rows_then

EVENTS_READ = ("primary", "rescale", "undo", *ANSWERS)
"""Kinds of counter event that a plant's state rests on besides its ledger."""


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
    """As `plant_state`, inside a session of the caller's; in one that only reads it stays at the instant of the first time."""
    key = (PlantState, vessel_id, plant_id, horizon_days)
    return read_once(session, key, lambda: _loaded(session, context, vessel_id, plant_id, horizon_days))


def _loaded(session: Session, context: Context, vessel_id: str, plant_id: str, horizon_days: int | None) -> PlantState:
    """Read, turned into values, reckoned."""
    at = context.now()
    rows, days = read_plant(session, vessel_id, plant_id, at, EVENTS_READ), context.settings.horizon_days
    return _reckoned(session, rows, at, vessel_id, plant_id, horizon_days or days, days)


def plant_state_then(context: Context, vessel_id: str, plant_id: str, at: datetime) -> PlantState:
    """How the plant stood at an instant gone by: by the hours up to then, jobs done before it, dates and limits that were set before
    it. Document, operating calendar, counters' questions and plans are those of now.

    Raises:
        NotFound: no such vessel or plant.
    """
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        rows = rows_then(session, vessel_id, read_plant(session, vessel_id, plant_id, at, EVENTS_READ), at)
        published = {key: row for key, row in rows.published.items() if Published.read(row.text).since_at < at}
        rows, days = replace(rows, published=published), context.settings.horizon_days
        return _reckoned(session, rows, at, vessel_id, plant_id, days, days)


def _reckoned(
    session: Session, rows: PlantRows, at: datetime, vessel_id: str, plant_id: str, horizon_days: int, planned_days: int
) -> PlantState:
    vessel, version = document_in(rows.vessel, vessel_id)
    plant, clock = plant_of(vessel, plant_id), clock_in(rows.clock, at)
    book, daybook = voyage_days_in(rows.voyage, rows.stretches)
    calendar = book.calendar()
    changes, setups = changes_in(rows.counter_events, rows.counters), setups_in(rows.counter_events, rows.counters)
    counters = tuple(
        counter_state(
            plant,
            row.id,
            row.position_id,
            at,
            newest_s=row.newest_s,
            quiet_after_hours=row.quiet_after_hours,
            changes=changes.get(row.position_id, ()),
            counted=rows.counted.get(row.id),
            setups=setups[row.no],
        )
        for row in rows.counters
    )
    named = {row.no: row.id for row in rows.counters}
    flags = tuple((named[row.counter_no], row.flag()) for row in rows.flags if row.counter_no in named)
    primary = [counter.id for counter in counters if counter.primary]
    due = reckon_due(
        DueFacts(
            plant=plant,
            at=at,
            totals=SoughtTotals(
                changes, lambda at_s: totals_by_id(session, rows.numbers, at_s), {seconds(at): rows.totals}
            ),
            recorded=done_of(rows.done),
            kinds_since=rows.kinds_since,
            day_ends=rows.day_ends,
            changes=changes,
            calendar=calendar,
            silent={counter.position for counter in counters if counter.silent and counter.primary},
            losses=_losses(rows, primary, flags),
            postponed=rows.postponed,
            first_dates=first_dates_of(rows.first_dates),
            published={key: row.text for key, row in rows.published.items()},
            basis=Basis(
                figure="",
                document=version,
                daybook=daybook,
                events=rows.event_counts[0],
                replacements=rows.event_counts[1],
            ),
            horizon_days=horizon_days,
            planned_days=planned_days,
        )
    )
    return PlantState(
        vessel=vessel,
        version=version,
        plant=plant,
        at=at,
        offset_minutes=clock,
        hours=due.hours,
        projected=due.projected,
        done=due.done,
        jobs=due.jobs,
        posted=due.posted,
        capacities=capacities_of(plant, rows.tested),
        outages=tuple(outage_of(row) for row in rows.outages),
        outage_status={row.pump_id: row.status.value for row in rows.outages if row.from_at <= at},
        counters=counters,
        flags=flags,
        taken=stored_plan(rows.taken),
        proposed=stored_plan(rows.proposed),
        days=calendar.stretches if calendar else (),
        concessions=concessions_of(rows.concessions),
        parts_on=rows.parts_on,
        docks=docks_of(rows.docks),
        pins=pins_of(rows.moves, {job.job_id.key for job in due.jobs}),
        breakdowns=tuple(
            breakdown_job(plant, JobId(kind=row.kind, subject=row.subject_id, sequence=row.sequence), row.due_at, at)
            for row in rows.jobs
            if row.kind == BREAKDOWN.code
        ),
        clock_changes=tuple(change for change in clock.changes if change[0] > at),
    )


def _losses(
    rows: PlantRows, counting: Sequence[str], flags: Sequence[tuple[str, Flag]]
) -> dict[str, list[tuple[datetime, int]]]:
    """By position, hours that may be missing and that nobody has answered for (rule R23)."""
    found: dict[str, list[tuple[datetime, int]]] = {}
    for row in rows.counters:
        own = [flag for counter, flag in flags if counter == row.id]
        if own and row.id in counting:
            events = [event for event in rows.counter_events if event.counter_no == row.no]
            for flag in missing_in(events, own):
                found.setdefault(row.position_id, []).append((instant(flag.at_s), flag.seconds))
    return found


def hours_then(session: Session, now: PlantState, subject: Subject, subject_id: str, at: datetime) -> RunningHours:
    """Running hours of a subject of the situation's plant at another instant."""
    rows = [row for row in counter_rows(session, now.vessel.id) if row.plant_id == now.plant.id]
    return running_hours(now.plant, totals_of(session, now.vessel.id, rows), subject, subject_id, at)
