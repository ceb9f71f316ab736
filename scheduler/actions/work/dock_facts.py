"""What a stay in dock means for a plant: which jobs are better done there, what they take, and the margin aboard and there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.due.docking import dock_horizon_days, must_be_dock_days
from scheduler.actions.plan.planning import margins_now
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.voyage.days import voyage_days_of
from scheduler.domain.base.enums import JobState
from scheduler.domain.capacity.minimum import Swept, capacities_at, hands_at, minimum_agreed
from scheduler.domain.due.docking import better_in_dock, dock_of, given_away
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.voyage.days import LAID_UP
from scheduler.domain.voyage.stretches import VoyageDays
from scheduler.shiptime import ShipOffset, instant_of, ship_time
from scheduler.storage.due import DockRow, dock_rows
from scheduler.storage.work import part_count_rows

_HOUR = timedelta(hours=1)
COMES_AT, LEAVES_AT = time(8), time(18)
"""Of a stay that the operating calendar knows by its days alone. Judgement: it is shown, and can be changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DockedJob:
    """A job that is better done there. aboard_m3_per_h: margin while its pump is open aboard, in its slot where it is planned, else
    over the plant's usual minimum, all other pumps well; there_m3_per_h: the same in the dock.

    in_window: its window has opened by the end of the stay; early_days, given_away: how long before its due point the stay ends (0:
    not before it), and which share of its interval that is (none: not known). short_parts: parts it needs that are not all aboard;
    uncounted: those nobody counted; parts_on: from when, where somebody said.
    """

    job: DueJob
    in_window: bool
    early_days: int
    given_away: float | None
    aboard_m3_per_h: float
    planned: bool
    there_m3_per_h: float
    short_parts: tuple[str, ...]
    uncounted: tuple[str, ...]
    parts_on: date | None
    batch: int | None
    """The batch for which it was chosen already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DockFacts:
    """A stay. minimum_m3_per_h: the highest in it. hand_hours: hours of work that the crew has in it, hands times hours.

    laid_up: each day of it is one of the yard or of lay-up in the operating calendar. tests: what takes no pump out and falls due in
    it. batches: chosen for these days or others to come, newest first, none that was taken back.
    """

    now: PlantState
    from_at: datetime
    to_at: datetime
    minimum_m3_per_h: float
    whole_m3_per_h: float
    jobs: tuple[DockedJob, ...]
    tests: tuple[DueJob, ...]
    hand_hours: int
    hands: int
    laid_up: bool
    batches: tuple[DockRow, ...]


def coming_dock(
    book: VoyageDays, batches: Sequence[DockRow], now_at: datetime, offset: ShipOffset
) -> tuple[datetime, datetime] | None:
    """The next stay in dock: the days of the newest batch, else those entered as yard or lay-up; none is known."""
    chosen = next((row for row in batches if row.withdrawn_at is None and row.to_at > now_at), None)
    if chosen is not None:
        return chosen.from_at, chosen.to_at
    for spell in book.spells:
        from_at = instant_of(datetime.combine(spell.from_on, COMES_AT), offset)
        to_at = instant_of(datetime.combine(spell.to_on, LEAVES_AT), offset)
        if spell.kind in LAID_UP and to_at > now_at:
            return from_at, to_at
    return None


def dock_stay(context: Context, now: PlantState) -> tuple[datetime, datetime] | None:
    """The next stay in dock of the ship of this plant, if any is known."""
    with context.db.read() as session:
        book, _ = voyage_days_of(session, now.vessel.id)
        rows = dock_rows(session, now.vessel.id, now.plant.id)
    return coming_dock(book, list(reversed(rows)), now.at, now.offset_minutes)


def dock_facts(context: Context, place: Place, from_at: datetime, to_at: datetime) -> DockFacts:
    """The facts of a stay. Raises Refused where the days make no sense, NotFound."""
    must_be_dock_days(context, from_at, to_at)
    now = plant_state(context, place.vessel_id, place.plant_id, horizon_days=dock_horizon_days(context, to_at))
    with context.db.read() as session:
        rows = [row for row in reversed(dock_rows(session, now.vessel.id, now.plant.id)) if row.withdrawn_at is None]
        book, _ = voyage_days_of(session, now.vessel.id)
        counts = {row.name: row.aboard for row in part_count_rows(session, now.vessel.id, now.plant.id)}
    steps = [from_at + n * _HOUR for n in range(int((to_at - from_at) / _HOUR))]
    minimum = max(
        minimum_agreed(now.plant, at, now.offset_minutes, now.concessions)[0].m3_per_h for at in steps or [from_at]
    )
    gives = capacities_at(now.plant, (), from_at, now.capacities)
    whole = sum(swept.m3_per_h for swept in gives.values())
    margins = margins_now(now, context)
    crew = [hands_at(now.plant.crew, ship_time(at, now.offset_minutes).replace(tzinfo=None)) for at in steps]

    def of(job: DueJob) -> DockedJob:
        key = job.job_id.key
        mine = gives.get(job.pump or "", Swept(0.0)).m3_per_h
        kind = now.plant.kind(job.job_id.kind)
        dock = dock_of(now.docks, key)
        row = None if dock is None else next((one for one in rows if key in one.jobs), None)
        parts_on = now.parts_on.get(key)
        return DockedJob(
            job=now.as_shown(job),
            in_window=job.window_opens_at <= to_at,
            early_days=max(0, (job.due_at - to_at).days),
            given_away=given_away(job, to_at),
            aboard_m3_per_h=margins.get(key, whole - mine - now.plant.minimum_swept_m3_per_h),
            planned=key in margins,
            there_m3_per_h=whole - mine - minimum,
            short_parts=tuple(p.name for p in kind.parts if p.name in counts and counts[p.name] < p.quantity),
            uncounted=tuple(p.name for p in kind.parts if p.name not in counts),
            parts_on=parts_on,
            batch=None if row is None else row.number,
        )

    ends = (JobState.DONE, JobState.WITHDRAWN)
    days = [
        ship_time(from_at, now.offset_minutes).date() + timedelta(days=n) for n in range((to_at - from_at).days + 1)
    ]
    kinds = [book.on(day) for day in days]
    return DockFacts(
        now=now,
        from_at=from_at,
        to_at=to_at,
        minimum_m3_per_h=minimum,
        whole_m3_per_h=whole - minimum,
        jobs=tuple(of(job) for job in better_in_dock(now.jobs, from_at, to_at)),
        tests=tuple(
            now.as_shown(job)
            for job in now.jobs
            if not job.takes_pump_out and job.state not in ends and from_at <= job.due_at <= to_at
        ),
        hand_hours=sum(crew),
        hands=max(crew, default=0),
        laid_up=all(spell is not None and spell.kind in LAID_UP for spell in kinds),
        batches=tuple(row for row in rows if row.to_at > now.at),
    )
