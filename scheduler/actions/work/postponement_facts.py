"""What a postponement changes, for the person who decides it: if no, if yes, and what it rests on."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.due.postponing import resting_on_return
from scheduler.actions.hours.shown import CounterShows, counters_show
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import NotFound
from scheduler.language import gettext
from scheduler.storage.due import PostponementRow, postponement_row, postponement_rows

_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class PostponementFacts:
    """One postponement. job: as it stands, none when it is closed meanwhile. margin_m3_per_h: in its slot as planned now, none without
    one; after_trip: if one more pump trips in it.

    hours_if_no, hours_if_yes: of the interval at the old and the new limit; counter_if_no, counter_if_yes: thousandths of a count
    then; none where hours do not say. before: how often this job was postponed already; this_year: postponements granted on this
    vessel in the last 365 days. rests_on: why it rests on a guess, empty where it does not.
    """

    row: PostponementRow
    kind: JobKind
    job: DueJob | None
    shows: CounterShows | None
    slot: tuple[datetime, datetime] | None
    margin_m3_per_h: float | None
    after_trip_m3_per_h: float | None
    hours_if_no: float | None
    hours_if_yes: float | None
    interval_hours: float | None
    counter_if_no: int | None
    counter_if_yes: int | None
    before: int
    this_year: int
    rests_on: str


def plant_of_postponement(context: Context, vessel_id: str, number: int) -> str:
    """Id of the plant it is about. Raises NotFound."""
    with context.db.read() as session:
        row = postponement_row(session, vessel_id, number)
    if row is None:
        raise NotFound(gettext("There is no postponement {number} on this vessel.", number=number))
    return row.plant_id


def postponement_facts(context: Context, now: PlantState, number: int) -> PostponementFacts:
    """The facts of a postponement of this plant. Raises NotFound."""
    vessel = now.vessel.id
    with context.db.read() as session:
        row = postponement_row(session, vessel, number)
        if row is None or row.plant_id != now.plant.id:
            raise NotFound(gettext("There is no postponement {number} on this vessel.", number=number))
        rows = postponement_rows(session, vessel)
        shows = counters_show(session, vessel, [one.id for one in now.counters if one.primary])
    code = row.job_key.partition(":")[0]
    kind = next((one for one in now.plant.job_kinds if one.code == code), None)
    if kind is None:
        raise NotFound(gettext("The job kind of this postponement is no longer set up."))
    job = now.job(row.job_key)
    margin, after_trip, slot = _in_slot(context, now, row.job_key)
    shown = None if job is None else shows.get(job.position or "")
    if_no, if_yes = (None, None) if job is None else (job.limit_left_seconds, job.likely_seconds_by(row.to_at, now.at))
    since = None if job is None else job.since_seconds
    due_left = None if job is None else job.running_seconds_left
    known = job is not None and since is not None and due_left is not None and job.interval_seconds is not None

    def hours(left: int | None) -> float | None:
        return (since + left) / _HOUR if known and since is not None and left is not None else None

    granted = [one for one in rows if one.granted]
    year_ago = now.at - timedelta(days=365)
    resting = resting_on_return(now, row.job_key) if row.granted is None else []
    return PostponementFacts(
        row=row,
        kind=kind,
        job=job,
        shows=shown,
        slot=slot,
        margin_m3_per_h=margin,
        after_trip_m3_per_h=after_trip,
        hours_if_no=hours(if_no),
        hours_if_yes=hours(if_yes),
        interval_hours=job.interval_seconds / _HOUR if known and job is not None and job.interval_seconds else None,
        counter_if_no=None if shown is None or hours(if_no) is None or if_no is None else shown.after(if_no),
        counter_if_yes=None if shown is None or hours(if_yes) is None or if_yes is None else shown.after(if_yes),
        before=sum(one.job_key == row.job_key and one.number != number for one in granted),
        this_year=sum(one.decided_at is not None and one.decided_at > year_ago for one in granted),
        rests_on=resting[0][1] if resting else "",
    )


def _in_slot(
    context: Context, now: PlantState, key: str
) -> tuple[float | None, float | None, tuple[datetime, datetime] | None]:
    held = now.taken or now.proposed
    slot = None if held is None else held.times().get(key)
    margins = planning.margins_now(now, context)
    if slot is None or key not in margins:
        return None, None, slot
    pump = next((one.pump for one in held.plan.slots if one.key == key), None) if held is not None else None
    others = [swept.m3_per_h for one, swept in now.counts_for().items() if one != pump]
    largest = max(others, default=0.0)
    return margins[key], margins[key] - largest, slot
