"""May a pump be opened then? Asked of the plant as it stands; asking records nothing."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.hours.questions import undecided_since
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import state_of, steps_of
from scheduler.domain.capacity.may_open import CounterDoubt, OpeningAnswer, WorkInHand, may_open
from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA, Outage, Swept
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.work import jobs_worked_on
from scheduler.wording.due import job_rank

USUAL_HOURS = 4
"""Of work, where no job of the pump says how long it takes. Judgement: half a working day."""
MOST_HOURS = 24 * 7
MOST_DAYS_AHEAD = 400
LATE = timedelta(minutes=5)
"""So long after the minute that was meant the question may come in."""


def opening_answer(
    context: Context,
    now: PlantState,
    pump: str,
    *,
    at: datetime | None = None,
    hours: int | None = None,
    vacuum_kpa: float | None = None,
) -> OpeningAnswer:
    """Whether capacity holds with the pump open from an instant on.

    Args:
        at: none: now. hours: of work; none: what the pump's most pressing job takes. vacuum_kpa: as the gauge stands now, kPa below
            atmosphere, none where nobody said.

    Raises:
        Refused: an instant that is past or too far away, hours or a vacuum that cannot be, or a pump that stands in no position.
    """
    asked_at = now.at if at is None or now.at - LATE <= at < now.at else at
    faults = []
    if asked_at < now.at:
        faults.append(("/at", _("this is past; ask for now or for a time to come")))
    if asked_at > now.at + timedelta(days=MOST_DAYS_AHEAD):
        faults.append(
            ("/at", _("nothing is reckoned more than {most_days_ahead} days ahead", most_days_ahead=MOST_DAYS_AHEAD))
        )
    if hours is not None and not 1 <= hours <= MOST_HOURS:
        faults.append(("/hours", _("1 to {most_hours} hours of work are expected", most_hours=MOST_HOURS)))
    if vacuum_kpa is not None and not 0 <= vacuum_kpa < ATMOSPHERE_KPA:
        faults.append(
            (
                "/vacuum_kpa",
                _(
                    "kPa below atmosphere are expected, from 0 to under {atmosphere_kpa}, without a minus sign",
                    atmosphere_kpa=f"{ATMOSPHERE_KPA:g}",
                ),
            )
        )
    if now.plant.position_of(pump, now.at) is None:
        faults.append(("/pump", _("this pump stands in no position, so opening it takes nothing away")))
    if faults:
        raise Refused(f"{faults[0][0].lstrip('/')}: {faults[0][1]}.", faults=faults)
    with context.db.read() as session:
        doubts, work = counter_doubts(session, now), _in_hand(session, now, pump)
    return may_open(
        now.plant,
        (*now.outages, *planned_openings(now, pump)),
        pump,
        at=asked_at,
        now_at=now.at,
        hours=hours or usual_hours(now, pump),
        offset_minutes=now.offset_minutes,
        whole=now.capacities,
        concessions=now.concessions,
        vacuum_kpa=vacuum_kpa,
        doubts=doubts,
        work=work,
    )


def planned_openings(now: PlantState, without: str | None) -> list[Outage]:
    """The slots that take other pumps out: of the plan aboard, of the proposed one where none is taken."""
    held = now.taken or now.proposed
    if held is None:
        return []
    times, open_keys = held.times(), now.open_keys
    return [
        Outage(
            pump=slot.pump,
            from_at=times[slot.key][0],
            to_at=times[slot.key][1],
            counts_for=Swept(0.0),
            reason="planned",
        )
        for slot in held.plan.slots
        if slot.pump is not None and slot.pump != without and slot.key in open_keys and times[slot.key][1] > now.at
    ]


def usual_hours(now: PlantState, pump: str) -> int:
    """What the most pressing job takes for which the pump is opened; an open repair before all else."""
    own = [job for job in (*now.breakdowns, *now.shown) if job.pump == pump and job.takes_pump_out and job.first]
    first = min(own, key=lambda job: (job.job_id.kind != BREAKDOWN.code, job_rank(job)), default=None)
    return USUAL_HOURS if first is None else max(1, first.takes_hours)


def counter_doubts(session: Session, now: PlantState) -> Sequence[CounterDoubt]:
    """By pump in a position: its counter is silent, or a reading of it is held and nobody has decided."""
    rows = {row.id: row for row in counter_rows(session, now.vessel.id)}
    found = []
    for counter in now.counters:
        pump = now.plant.pump_in(counter.position, now.at)
        if pump is None or not counter.primary:
            continue
        flags = [flag for one, flag in now.flags if one == counter.id]
        held_at = undecided_since(session, rows[counter.id], flags) if counter.id in rows else None
        if counter.silent or held_at is not None:
            since_at = counter.newest_at if counter.silent else held_at
            found.append(CounterDoubt(pump=pump, silent=counter.silent, since_at=since_at))
    return found


def _in_hand(session: Session, now: PlantState, pump: str) -> WorkInHand | None:
    """The job in which a lock hangs on the pump, or it is open, or nobody knows."""
    for key in jobs_worked_on(session, now.vessel.id, pump):
        work = state_of(steps_of(session, now.vessel.id, key))
        unknown = work.not_known or work.people_not_known or work.open_not_known
        if work.hanging or work.personal_hanging or work.is_open or unknown:
            return WorkInHand(
                job_key=key,
                open_since_at=work.opened_at if work.is_open else None,
                locks=len(work.personal_hanging),
            )
    return None
