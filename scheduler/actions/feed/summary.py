"""Plant summaries: worked out from the plant's state with the calendars, stored, and read for a page of many ships."""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache, lru_cache
from itertools import pairwise

from pydantic import TypeAdapter

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import Context, seconds
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.turning import turns_after
from scheduler.actions.work.waiting import all_waiting
from scheduler.domain.base.enums import JobState
from scheduler.domain.base.matters import MatterCode
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.summary import (
    RANKS_OF_A_TROUBLE,
    SHOWN,
    STATES_COUNTED,
    MarginPiece,
    PlantSummary,
    Trouble,
    Waiting,
    first_below,
    least_piece,
    waits_for,
)
from scheduler.planning.judge.check import margin_series
from scheduler.shiptime import instant_of, ship_time
from scheduler.storage.database import Session
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.summary import NEVER_S, summaries_by, summary_lines, summary_row
from scheduler.storage.types import floor_second
from scheduler.wording.due import job_rank

_SUMMARY: TypeAdapter[PlantSummary] = TypeAdapter(PlantSummary)
PAGE = 100
"""Plants on one page."""
_DAY = timedelta(days=1)


@cache
def form() -> str:
    """Names the shape of a stored summary: one of another shape is worked out anew."""
    return hashlib.sha256(json.dumps(_SUMMARY.json_schema(), sort_keys=True).encode()).hexdigest()[:16]


def summarise(session: Session, context: Context, now: PlantState, *, of_vessel: bool, alone: bool) -> PlantSummary:
    """How the plant stands, in short.

    Margins rest on the plan as the pages show it, reckoned from the ship's midnight so that the hour in which it is done changes
    nothing.

    Args:
        of_vessel: with what waits of the vessel as a whole. alone: it is the vessel's only plant, and needs no name.
    """
    problem, plan = planning.as_now(now, context, of_day=True)
    midnight = _midnight(now.at, now)
    runs = margin_series(problem, plan)
    edges = [problem.starts_at + timedelta(hours=one.from_step) for one in runs]
    edges.append(problem.starts_at + timedelta(hours=problem.steps))
    every = [MarginPiece(*edge, one.available, one.minimum) for edge, one in zip(pairwise(edges), runs, strict=True)]
    below = first_below(every, now.at)
    least = least_piece((one for one in every if one.from_at < midnight + SHOWN), now.at)
    waits = all_waiting(session, now, planning.slot_margins(problem, plan, runs), of_vessel=of_vessel)
    jobs = [_as_read(now, job, midnight) for job in (*now.jobs, *now.breakdowns) if job.first]
    heard = heard_at(session, now.vessel.id)
    silent = [one for one in now.counters if one.silent_when(heard) and one.primary]
    longest = min(silent, key=lambda one: (one.newest_at is not None, one.newest_at or now.at), default=None)
    ends = [one.to_at for one in (below, least) if one is not None]
    dated = [job.due_at for job in jobs if job.state is not JobState.NOT_KNOWN]
    counts = {name: sum(job.first and job.state is state for job in now.jobs) for state, name in STATES_COUNTED.items()}
    return PlantSummary(
        plant="" if alone else now.plant.name,
        **counts,
        silent_counters=sum(one.silent_when(heard) for one in now.counters),
        no_plan=now.taken is None,
        below_at=None if below is None else below.from_at,
        least_litres_per_h=None if least is None else least.margin_litres_per_h,
        least_at=None if least is None else least.from_at,
        next_due_at=floor_second(min(dated)) if dated else None,
        hours_as_of=now.hours_as_of(),
        turns_at=turns_after(now, (*ends, *_ends_of(waits))),
        silent_position="" if longest is None else now.position_name(longest.position),
        silent_since_at=None if longest is None else longest.newest_at,
        worst=min(jobs, key=job_rank, default=None),
        margins=tuple(one for one in every if one.from_at < midnight + SHOWN + _DAY),
        waits=waits,
        from_at=midnight,
        clock_first=now.offset_minutes.first,
        clock_changes=now.offset_minutes.changes,
    )


def _as_read(now: PlantState, job: DueJob, midnight: datetime) -> DueJob:
    """The job as people see it, its position by name; without what is not listed of it, or changes with each second."""
    name = now.position_name(job.position) if job.position else None
    seen = replace(now.as_shown(job), position=name, forecast=None, projected_seconds_left=None)
    if job.state is JobState.NOT_KNOWN:
        seen = replace(seen, due_at=midnight, window_opens_at=midnight)
    return seen


def _midnight(at: datetime, now: PlantState) -> datetime:
    wall = ship_time(at, now.offset_minutes)
    return instant_of(wall.replace(hour=0, minute=0, second=0, microsecond=0), now.offset_minutes)


def _ends_of(waits: Sequence[Waiting]) -> Iterator[datetime | None]:
    return (one.matter.to_at for one in waits if one.matter.code is MatterCode.LOWER_MINIMUM)


@lru_cache(512)
def _read(text: str) -> PlantSummary:
    """A summary as stored. Some pages' worth are held: reading a hundred takes two thirds of the time of the page that lists them, and
    from one look to the next few are others."""
    return _SUMMARY.validate_json(text)


def keep_summary(
    session: Session, vessel_id: str, plant_id: str, summary: PlantSummary, revision: int, at: datetime
) -> None:
    """Store a plant's summary, worked out at an instant from that revision of the vessel."""
    row = summary_row(session, vessel_id, plant_id)
    if row is None:
        return  # of a plant that was taken from the document meanwhile
    row.rank, row.due_s = summary.rank, NEVER_S if summary.next_due_at is None else seconds(summary.next_due_at)
    row.turns_at, row.worked_at, row.revision = summary.turns_at, at, revision
    row.form, row.text = form(), _SUMMARY.dump_json(summary).decode()
    session.add(row)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipLine:
    """A plant as listed. summary none: not worked out yet. behind: something changed since. waits: for whoever asks."""

    vessel_id: str
    plant_id: str
    name: str
    imo: str
    summary: PlantSummary | None
    worked_at: datetime
    behind: bool
    waits: tuple[Waiting, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipsPage:
    """A page of the plants an actor reaches, worst first. plants, troubled: of all pages, how many there are and how many with
    something past due, short or not known, or without a plan."""

    lines: tuple[ShipLine, ...]
    number: int
    plants: int
    troubled: int

    @property
    def pages(self) -> int:
        """How many pages there are, 1 or more."""
        return max(1, -(-self.plants // PAGE))


def ships_page(context: Context, actor: Actor, number: int = 1) -> ShipsPage:
    """That page of the plants the actor reaches, from what is stored: two queries, however many ships there are."""
    at, person = context.now(), person_of(actor)
    with context.db.read() as session:
        found = summary_lines(session, actor.vessel_id, skip=(number - 1) * PAGE, most=PAGE)
        counted = summaries_by(session, actor.vessel_id, RANKS_OF_A_TROUBLE)
    lines = []
    for row, name, imo, revision in found:
        summary = _read(row.text) if row.form == form() else None
        waits = waits_for(summary.waits, actor.role, person) if summary is not None and actor.person_id else ()
        lines.append(
            ShipLine(
                vessel_id=row.vessel_id,
                plant_id=row.plant_id,
                name=name if summary is None or not summary.plant else f"{name}, {summary.plant}",
                imo=imo,
                summary=summary,
                worked_at=row.worked_at,
                behind=row.revision != revision or row.turns_at <= at,
                waits=waits,
            )
        )
    troubled = sum(many for trouble, many in counted.items() if Trouble(trouble) <= Trouble.NO_PLAN)
    return ShipsPage(lines=tuple(lines), number=number, plants=sum(counted.values()), troubled=troubled)
