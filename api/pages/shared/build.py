"""From a situation to the views of the pages: who sees what, which links, which figures."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from api.pages.shared.layout import typed_moment
from api.pages.shared.margin import margin_stretches
from api.pages.shared.view import (
    Closed,
    CloseForm,
    Frame,
    JobLine,
    JobView,
    Link,
    PlanLine,
    PlantView,
    PumpRow,
    VesselLine,
    WorkLine,
    WorkView,
)
from api.pages.words import moment
from api.pages.words.closed import closed_facts
from api.pages.words.work import step_words, work_words
from api.pages.work.forms import StepTyped, next_kind
from api.pages.work.sheet_view import SheetView
from api.server.access import DOORS, NoRole
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.plan import planning
from scheduler.actions.plan.explaining import words_of
from scheduler.actions.plant_state.load import PlantState, StoredPlan
from scheduler.actions.plant_state.work import StoredStep, state_of
from scheduler.actions.vessel import fleet
from scheduler.domain.base.enums import JobState, Subject, Test, Trigger
from scheduler.domain.capacity.returning import asks_for_return, planned_back
from scheduler.domain.due.jobs import DueJob, JobId
from scheduler.domain.due.subjects import where
from scheduler.domain.people.persons import same_name
from scheduler.domain.vessel.document import JobKind, Plant, Vessel
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.rules import stop_reasons
from scheduler.domain.work.state import struck_numbers
from scheduler.wording.names import job_words
from scheduler.wording.plan import shortfall_words
from scheduler.wording.work import against_words

LOOK_AHEAD_DAYS = 28
_COUNTS = {
    JobState.PAST_LIMIT: "past_limit",
    JobState.PAST_DUE: "past_due",
    JobState.WINDOW_OPEN: "window_open",
    JobState.POSTPONED: "postponed",
    JobState.NOT_KNOWN: "not_known",
}


def may(who: Asking, method: str, route: str) -> bool:
    """Whether this person passes that door."""
    door = DOORS[method, route]
    return isinstance(door, NoRole) or who.actor.role in door


def frame_of(now: PlantState, who: Asking, here: str, title: str, current: str) -> Frame:
    """What stands around a page of a plant."""
    pumps = sum(now.plant.position_of(pump.id, now.at) is not None for pump in now.plant.pumps)
    return Frame(
        title=f"{title} · {now.vessel.name}",
        here=here,
        vessel=now.vessel.name,
        subtitle=f"{now.plant.name}, {pumps} pumps",
        links=_links(now.vessel, now.plant, current),
        now_at=now.at,
        utc_offset_minutes=now.offset_minutes,
        person=who.actor.name,
        sign_out_action="/sign-out",
    )


def vessel_frame(context: Context, who: Asking, vessel_id: str, here: str, title: str, current: str) -> Frame:
    """What stands around a page of a vessel as a whole. Raises NotFound."""
    vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
    return Frame(
        title=f"{title} · {vessel.name}",
        here=here,
        vessel=vessel.name,
        subtitle=title,
        links=_links(vessel, vessel.plants[0], current),
        now_at=context.now(),
        utc_offset_minutes=fleet.offset_now(context, vessel_id),
        person=who.actor.name,
        sign_out_action="/sign-out",
    )


def _links(vessel: Vessel, plant: Plant, current: str) -> tuple[Link, ...]:
    plants = vessel.plants
    links = [
        Link(label="Plant" if len(plants) == 1 else one.name, href=f"/plants/{one.id}", current=current == one.id)
        for one in plants
    ]
    links.append(Link(label="Plan", href=f"/plants/{plant.id}/plan", current=current == "plan"))
    links.append(Link(label="Figures", href=f"/plants/{plant.id}/figures", current=current == "figures"))
    links.append(Link(label="Days", href=f"/vessels/{vessel.id}/calendar", current=current == "calendar"))
    links.append(Link(label="Counters", href=f"/vessels/{vessel.id}/counters", current=current == "counters"))
    links.append(Link(label="Notes", href=f"/vessels/{vessel.id}/notes", current=current == "notes"))
    links.append(Link(label="Feed", href="/feeds", current=current == "feed"))
    links.append(Link(label="Fleet", href="/?all=1", current=current == "fleet"))
    return tuple(links)


def plant_view(now: PlantState, context: Context, who: Asking, here: str, current: str) -> PlantView:
    """The plant page's view."""
    problem, plan = planning.as_now(now, context)
    runs = margin_stretches(problem, plan.slots, positions_of(now))
    ends_at = now.at + timedelta(days=LOOK_AHEAD_DAYS)
    proposed, margins = newer_plan(now), planning.margins_now(now, context)
    return PlantView(
        frame=frame_of(now, who, here, "Plant" if current != "figures" else "Figures", current),
        plant=now.plant.name,
        now_at=now.at,
        horizon_at=ends_at,
        pumps=tuple(_pump_lines(now, may(who, "POST", "/pumps/{pump_id}/out"))),
        jobs=tuple(job_line(now, job, margins) for job in (*now.jobs, *now.breakdowns) if job.first),
        runs=tuple(run for run in runs if run.from_at < ends_at),
        plan=plan_line(now, now.taken, taken=True, take=""),
        proposed=plan_line(now, proposed, taken=False, take=""),
        plan_href=f"/plants/{now.plant.id}/plan",
        plant_href=f"/plants/{now.plant.id}",
        figures_href=f"/plants/{now.plant.id}/figures",
        moved_href=f"/plants/{now.plant.id}/moved",
        feed_href="/feeds",
        minimum_href=f"/plants/{now.plant.id}/minimum",
        hours_href=f"/vessels/{now.vessel.id}/hours" if may(who, "POST", "/vessels/{vessel_id}/hours") else "",
    )


def newer_plan(now: PlantState) -> StoredPlan | None:
    """The proposed plan when taking it would change something, or none."""
    return now.proposed if now.proposed and (not now.taken or planning.slot_differences(now)) else None


def positions_of(now: PlantState) -> Mapping[str, str]:
    """Position name of each pump that stands in one."""
    places = {pump.id: now.plant.position_of(pump.id, now.at) for pump in now.plant.pumps}
    return {pump: now.position_name(position) for pump, position in places.items() if position is not None}


def job_line(now: PlantState, job: DueJob, margins: Mapping[str, float]) -> JobLine:
    """A due job with its slot in the plan shown; its position and name as people say them."""
    held = now.taken or now.proposed
    times = (held.times() if held else {}).get(job.job_id.key)
    return JobLine(
        due=as_job_line(now, job),
        kind=now.plant.kind(job.job_id.kind),
        href=f"/vessels/{now.vessel.id}/jobs/{job.job_id.key}",
        slot_from_at=times[0] if times else None,
        slot_to_at=times[1] if times else None,
        margin_m3_per_h=margins.get(job.job_id.key),
    )


def as_job_line(now: PlantState, job: DueJob) -> DueJob:
    """The job as people see it: with its published dates, and its position's name in place of its id."""
    return replace(now.as_shown(job), position=now.position_name(job.position) if job.position else None)


def _pump_lines(now: PlantState, may_put_out: bool) -> list[PumpRow]:
    counts = now.counts_for()
    repairs = {job.job_id.subject: job.job_id.key for job in now.breakdowns}
    lines = []
    for position in now.plant.positions:
        pump_id = now.plant.pump_in(position.id, now.at)
        pump = next((p for p in now.plant.pumps if p.id == pump_id), None)
        silent = [c for c in now.counters if c.position == position.id and c.silent and c.primary]
        hours = now.hours.get((Subject.PUMP, pump_id or ""))
        projected = now.projected.get((Subject.PUMP, pump_id or ""))
        out = next((o for o in now.outages if o.pump == pump_id and o.from_at <= now.at), None)
        down = out is not None and out.to_at is None and out.counts_for.m3_per_h <= 0
        counts_for = counts.get(pump_id or "")
        lines.append(
            PumpRow(
                position=position.name,
                serial=pump.serial if pump else "",
                hours=hours if hours and hours.as_of else None,
                projected_hours=None if projected is None else projected / 3600,
                capacity_m3_per_h=counts_for.m3_per_h if counts_for else None,
                measured=pump is not None and pump.measured_swept_m3_per_h is not None,
                outage=out,
                silent_since_at=silent[0].newest_at if silent else None,
                out_action=f"/pumps/{pump_id}/out" if pump and may_put_out and pump_id not in repairs else "",
                repair_href=f"/vessels/{now.vessel.id}/jobs/{repairs[pump_id]}" if pump_id in repairs else "",
                return_action=f"/pumps/{pump_id}/return" if down and may_put_out else "",
                runs_action=f"/pumps/{pump_id}/runs" if down and may_put_out and pump_id in repairs else "",
                back=None if out is None else planned_back(out, now.at),
                asks_return=out is not None and asks_for_return(out, now.at),
            )
        )
    return lines


def plan_line(now: PlantState, held: StoredPlan | None, *, taken: bool, take: str) -> PlanLine | None:
    """A plan as the pages show it; of one not taken yet, what taking it changes. take: where its form posts, or empty."""
    if held is None:
        return None
    words = words_of(now, held.problem)
    changes = []
    if not taken and now.taken is not None:
        for moved in planning.slot_differences(now):
            name = job_words(now.plant, now.at, moved.key)
            old, new = (None if at is None else moment(at, now.offset_minutes) for at in (moved.from_at, moved.to_at))
            if new is None:
                changes.append(f"{name} of {old} leaves the plan.")
            else:
                changes.append(f"{name} moves from {old} to {new}." if old else f"{name} comes in on {new}.")
    return PlanLine(
        digest=held.digest,
        made_at=held.made_at,
        starts_at=held.problem.starts_at,
        proven=held.plan.proven,
        shortfalls=tuple(shortfall_words(short, words) for short in held.plan.shortfalls),
        unplaced=sum(short.key is not None for short in held.plan.shortfalls),
        remarks=(*(says for _, says in planning.dates_given(now, held)), *held.plan.remarks),
        changes=tuple(changes),
        taken_at=held.taken_at,
        take_action=take,
        idempotency_key=secrets.token_hex(16),
    )


def work_view(
    now: PlantState, who: Asking, here: str, kept: Sequence[StoredStep], typed: StepTyped | None, *, is_open: bool
) -> WorkView:
    """The steps of the work so far, and the forms for the next when this person may write them."""
    work = state_of(kept)
    gone = struck_numbers([one.step for one in kept])
    rules = Procedure(permit_needed=now.plant.permit_needed, gas_minutes=now.plant.gas_minutes)
    stop = tuple(against_words(one, now.offset_minutes) for one in stop_reasons(work, now.at, rules))
    names = tuple(point.name for point in now.plant.points)
    route = "/vessels/{vessel_id}/jobs/{key}/steps"
    ordered = sorted(kept, key=lambda one: (one.step.at, one.number))
    return WorkView(
        words=work_words(work),
        lines=tuple(
            WorkLine(
                at=one.step.at,
                by=one.step.by,
                words=step_words(one.step),
                flags=one.flags(now.offset_minutes),
                record=one.record,
                struck=one.number in gone,
                number=one.number,
            )
            for one in ordered
        ),
        stop=stop,
        action=f"{here}/steps" if is_open and may(who, "POST", route) else "",
        version=len(kept),
        idempotency_key=secrets.token_hex(16),
        next_kind=typed.kind if typed else next_kind(work, names),
        points=names,
        hanging=tuple(tag.point for tag in work.hanging),
        values={"at": typed_moment(now.at, now.offset_minutes), "by": who.actor.name},
        typed=typed,
    )


def job_view(
    now: PlantState,
    context: Context,
    who: Asking,
    here: str,
    job: DueJob,
    form: CloseForm | None,
    kept: Sequence[StoredStep] = (),
    typed: StepTyped | None = None,
    sheet: SheetView | None = None,
) -> JobView:
    """An open job's view; with its work, and the close form, when this person may write."""
    route = "/vessels/{vessel_id}/jobs/{key}/close"
    may_close = job.first and may(who, "POST", route)
    kind = now.plant.kind(job.job_id.kind)
    return JobView(
        frame=frame_of(now, who, here, job.kind_name.capitalize(), ""),
        now_at=now.at,
        job=job_line(now, job, planning.margins_now(now, context)),
        serial=now.serial_of(job.pump),
        running_hours=now.hours.get((kind.subject, job.job_id.subject)),
        projected_hours=_projected(now, kind, job),
        plant_href=f"/plants/{now.plant.id}",
        form=replace(form or blank_form(now, who, here, kind), version=str(len(kept))) if may_close else None,
        work=work_view(now, who, here, kept, typed, is_open=job.first),
        sheet=sheet,
    )


def _projected(now: PlantState, kind: JobKind, job: DueJob) -> float | None:
    seconds = now.projected.get((kind.subject, job.job_id.subject))
    return None if seconds is None else seconds / 3600


def blank_form(now: PlantState, who: Asking, here: str, kind: JobKind) -> CloseForm:
    """The close form before anything is typed."""
    values = {
        "done_at": typed_moment(now.at, now.offset_minutes),
        "done_by": who.actor.name,
        "test": Test.NONE.value if kind.takes_pump_out else Test.PASSED.value,
    }
    return CloseForm(action=f"{here}/close", version="0", idempotency_key=secrets.token_hex(16), values=values)


def closed_view(
    now: PlantState,
    who: Asking,
    here: str,
    job: DueJob,
    told: Mapping[str, object],
    record: Mapping[str, object],
    stamp: str,
    kept: Sequence[StoredStep] = (),
) -> JobView:
    """A closed job's view: what its record says, and nothing reckoned anew.

    Args:
        record: the members of the record of its close.
    """
    seconds = told.get("running_seconds")
    number, renewed_by = told.get("record"), str(told.get("renewed_by") or "")
    actor = who.actor
    did = [str(told.get(name) or "") for name in ("done_by", "answers_for")]
    asked_of = str(told.get("check_asked_of") or "")
    mine = not asked_of or same_name(asked_of, actor.name) or asked_of == actor.person_id
    may_check = (
        may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/check")
        and actor.person_id is not None
        and not told.get("checked_by")
        and mine
        and not any(same_name(one, actor.name) for one in did)
    )
    flags = told.get("flags")
    return JobView(
        frame=frame_of(now, who, here, job.kind_name.capitalize(), ""),
        now_at=now.at,
        job=job_line(now, job, {}),
        serial=now.serial_of(job.pump),
        plant_href=f"/plants/{now.plant.id}",
        work=work_view(now, who, here, kept, None, is_open=False) if kept else None,
        closed=Closed(
            done_at=datetime.fromisoformat(str(told["closed_at"])),
            done_by=did[0],
            checked_by=str(told.get("checked_by") or ""),
            running_hours=seconds / 3600 if isinstance(seconds, int) else None,
            test=Test(str(told.get("test") or Test.NONE.value)),
            findings=str(record.get("findings") or told.get("findings") or ""),
            permit_no=str(told.get("permit_no") or ""),
            record_no=number if isinstance(number, int) else None,
            stamp=stamp,
            check=str(told.get("check") or "not checked"),
            check_action=f"{here}/check" if may_check else "",
            idempotency_key=secrets.token_hex(16),
            facts=() if renewed_by else closed_facts(record),
            flags=tuple(map(str, flags)) if isinstance(flags, list) else (),
            company=str(told.get("company") or ""),
            answers_for=did[1],
            renewed_by=job_words(now.plant, now.at, renewed_by) if renewed_by else "",
        ),
    )


def vessel_line(plants: list[PlantState], context: Context) -> VesselLine:
    """A vessel in counts, over its plants."""
    first = plants[0]
    tally = dict.fromkeys(_COUNTS.values(), 0)
    below = []
    for now in plants:
        for job in now.jobs:
            if job.first and job.state in _COUNTS:
                tally[_COUNTS[job.state]] += 1
        problem, plan = planning.as_now(now, context)
        runs = margin_stretches(problem, plan.slots, positions_of(now))
        below += [run.from_at for run in runs if run.margin_m3_per_h < 0][:1]
    return VesselLine(
        name=first.vessel.name,
        imo=first.vessel.imo,
        href=f"/plants/{first.plant.id}",
        below_at=min(below, default=None),
        next_due_at=min((job.due_at for now in plants for job in now.shown if job.first), default=None),
        hours_as_of=min((at for now in plants if (at := now.hours_as_of()) is not None), default=None),
        silent_counters=sum(c.silent for now in plants for c in now.counters),
        no_plan=any(now.taken is None for now in plants),
        **tally,
    )


def done_job(now: PlantState, told: Mapping[str, object]) -> DueJob | None:
    """What the page of a closed job needs of it: its kind and place, done; none when the kind is gone."""
    kind_code, subject = str(told["kind"]), str(told["subject"])
    kind = next((k for k in now.plant.job_kinds if k.code == kind_code), None)
    if kind is None:
        return None
    at = datetime.fromisoformat(str(told["closed_at"]))
    pump, position = where(now.plant, kind.subject, subject, at)
    return DueJob(
        job_id=JobId(kind=kind_code, subject=subject, sequence=int(str(told["sequence"]))),
        kind_name=kind.name,
        pump=pump,
        position=position,
        takes_hours=kind.takes_hours,
        hands=kind.hands,
        takes_pump_out=kind.takes_pump_out,
        due_at=at,
        window_opens_at=at,
        limit_at=at,
        trigger=Trigger.CALENDAR,
        state=JobState.DONE,
        first=False,
    )
