"""From the plant state to the view of a job's page."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from api.pages.shared.forms import FormRefusal, FormState
from api.pages.shared.frame import frame_of, may, may_ask
from api.pages.shared.job_line import job_line
from api.pages.voyage.page import voyage_day
from api.pages.work.box import measure_fields
from api.pages.work.closed import after_view, closed_facts
from api.pages.work.course import CourseAsked, CourseView, course_view
from api.pages.work.forms import BY_KIND, FORMS, FORMS_IN_USE, RefusedStep, StepForm, form_said
from api.pages.work.sheet_view import StepLine
from api.pages.work.view import Closed, CloseForm, FirstDateView, JobView, PartView, PostponeView, WorkLine, WorkView
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.due import first_dates, part_dates, postponing
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import StoredStep, state_of
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import checking
from scheduler.actions.work.acts import procedure_for
from scheduler.actions.work.after_close import AfterClose
from scheduler.actions.work.counter_at_close import counter_at_subject
from scheduler.domain.base.enums import Role, Test
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.people.persons import same_name
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.work.acts import Note, Noted
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.course import entries_left
from scheduler.domain.work.rules import stop_reasons
from scheduler.domain.work.state import struck_numbers
from scheduler.language import gettext as _
from scheduler.storage.vessel import AssetKind
from scheduler.wording.figures import capital, field_moment
from scheduler.wording.hours import hours_field
from scheduler.wording.names import job_words
from scheduler.wording.steps import step_words, work_words
from scheduler.wording.work import against_words


@dataclass(frozen=True, slots=True)
class JobFormBack:
    """Which of the page's forms was refused, and how; name empty: none."""

    name: str = ""
    refusal: FormRefusal | None = None

    def state(self, name: str) -> FormState:
        """How a form is drawn: with what was typed where it is the one that was refused."""
        return self.refusal.state if self.refusal and self.name == name else FormState()

    def drawn_in(self, view: JobView) -> bool:
        """Whether the form that was refused is on the page."""
        takes_out = view.job.kind.takes_pump_out
        step = self.step
        return {
            "acts": view.course is not None and view.course.box is not None,
            "close": view.form is not None,
            "step": step is not None
            and bool(view.work and view.work.action)
            and any(form.kind == step.kind for form in (FORMS if takes_out else FORMS_IN_USE)),
            "postpone": bool(view.postpone.action),
            "first-date": bool(view.first_date.action),
            "part-date": bool(view.part.action),
            "photo": bool(view.photo_action),
            "count": bool(view.sheet and view.sheet.parts and view.work and view.work.action),
            "check": view.closed is not None,
            "strike": False,
        }[self.name]

    @property
    def step(self) -> RefusedStep | None:
        """The step form that was refused; none: another or none."""
        if self.refusal is None or self.name != "step":
            return None
        return RefusedStep(
            kind=self.refusal.values.get("kind", ""),
            values=self.refusal.values,
            faults=self.refusal.faults,
            says=self.refusal.error.says,
            may_be_fact=bool(self.refusal.error.more.get("may_be_fact")),
        )


def work_view(
    now: PlantState, who: Asking, here: str, kept: Sequence[StoredStep], back: JobFormBack, *, is_open: bool
) -> WorkView:
    """The steps of the work so far, and the forms for the next when this person may write them."""
    work, refused = state_of(kept), back.step
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
        points=names,
        hanging=tuple(tag.point for tag in work.hanging),
        values={"at": field_moment(now.at, now.offset_minutes, seconds=True), "by": who.actor.name},
        refused=refused,
    )


def open_view(
    now: PlantState,
    context: Context,
    who: Asking,
    here: str,
    job: DueJob,
    kept: Sequence[StoredStep],
    back: JobFormBack,
    also: str = "",
) -> JobView:
    """An open job's view; with its work, and the forms, when this person may write.

    Args:
        also: which other act is asked for instead of the next; "close": the close.
    """
    may_close = job.first and may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/close")
    kind = now.plant.kind(job.job_id.kind)
    seconds = now.projected.get((kind.subject, job.job_id.subject))
    out = kind.takes_pump_out
    closes = may_close and (not out or also == "close" or back.name == "close")
    course = _course(now, context, who, job, kind, kept, back, also) if out and job.first else None
    left = _steps_left(kind, kept)
    return JobView(
        frame=frame_of(now, who, here, capital(job.kind_name), ""),
        now_at=now.at,
        job=job_line(now, job, planning.margins_now(now, context)),
        serial=now.serial_of(job.pump),
        running_hours=now.hours.get((kind.subject, job.job_id.subject)),
        projected_hours=None if seconds is None else seconds / 3600,
        plant_href=f"/plants/{now.plant.id}",
        form=_close_form(now, who, here, job, len(kept), back) if closes else None,
        course=course,
        also_form=_also_form(also, back, out=out) if job.first else None,
        close_steps=() if out else left,
        close_measures=() if out else measure_fields(kind.measures),
        work=work_view(now, who, here, kept, back, is_open=job.first),
        postpone=_postpone(context, who, now.vessel.id, here, job, back),
        part=_part(context, who, now.vessel.id, here, job, back),
        first_date=_first_date(context, who, here, now, job, back),
        count=back.state("count"),
    )


def _course(
    now: PlantState,
    context: Context,
    who: Asking,
    job: DueJob,
    kind: JobKind,
    kept: Sequence[StoredStep],
    back: JobFormBack,
    also: str,
) -> CourseView:
    place = Place(job.job_id.subject, now.vessel.id, now.plant.id, AssetKind.PUMP)
    more = back.refusal.error.more if back.refusal and back.name == "acts" else {}
    return course_view(
        CourseAsked(
            now=now,
            context=context,
            place=place,
            job=job,
            kind=kind,
            kept=kept,
            procedure=procedure_for(context, now, job, kept),
            person=who.actor.name,
            may_write=may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/acts"),
            check_from=checking.who_may_check(context, now.vessel.id, who.actor.name),
            back=back.state("acts"),
            may_be_fact=bool(more.get("may_be_fact")),
            override="times_that_hold" in more,
            also=also,
        )
    )


def _also_form(also: str, back: JobFormBack, *, out: bool) -> StepForm | None:
    """The form of another act: as asked for, or as it was refused."""
    kind = back.step.kind if back.step else also
    form = BY_KIND.get(kind)
    return form_said(form) if form in (FORMS if out else FORMS_IN_USE) else None


def _steps_left(kind: JobKind, kept: Sequence[StoredStep]) -> tuple[StepLine, ...]:
    """The steps of the sheet that nobody ticked."""
    left = entries_left([one.step for one in kept])
    ticked = {one.name for one in left if isinstance(one, Noted) and one.about is Note.STEP}
    numbered = enumerate(kind.sheet, 1)
    return tuple(StepLine(number=n, text=one.text) for n, one in numbered if one.text not in ticked and not one.act)


def _close_form(now: PlantState, who: Asking, here: str, job: DueJob, version: int, back: JobFormBack) -> CloseForm:
    kind = now.plant.kind(job.job_id.kind)
    blank = {
        "done_at": field_moment(now.at, now.offset_minutes),
        "done_by": who.actor.name,
        "test": Test.NONE.value if kind.takes_pump_out else Test.PASSED.value,
    }
    state = back.state("close")
    return CloseForm(
        action=f"{here}/close",
        version=str(version),
        idempotency_key=secrets.token_hex(16),
        hours=hours_field(
            counter_at_subject(now, kind, job.job_id), job, now.hours.get((kind.subject, job.job_id.subject))
        ),
        values=state.values or blank,
        faults=state.faults,
        says=state.says,
    )


def _postpone(context: Context, who: Asking, vessel_id: str, here: str, job: DueJob, back: JobFormBack) -> PostponeView:
    listed = postponing.postponements_listed(context, vessel_id, job.job_id.key)
    waits = any(one["state"] == "asked" for one in listed)
    open_now = job.first and job.job_id.kind != BREAKDOWN.code and not waits and job.limit_at is not None
    may_ask = open_now and may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/postponements")
    return PostponeView(
        action=f"{here}/postponements" if may_ask else "",
        idempotency_key=secrets.token_hex(16),
        listed=listed,
        decisions_href=f"/vessels/{vessel_id}/decisions",
        **back.state("postpone").members,
    )


def _first_date(
    context: Context, who: Asking, here: str, now: PlantState, job: DueJob, back: JobFormBack
) -> FirstDateView:
    if not first_dates.may_be_set(job):
        return FirstDateView()
    given = first_dates.given(context, now.vessel.id, job.job_id)
    may_set = may(who, "PUT", "/api/v1/jobs/{key}/first-date")
    return FirstDateView(
        asked=True,
        action=f"{here}/first-date" if may_set else "",
        idempotency_key=secrets.token_hex(16),
        version=given.version if given else 0,
        latest=voyage_day(first_dates.latest(now, job)),
        class_item=now.plant.kind(job.job_id.kind).class_item,
        set_words=""
        if given is None
        else _("First due {voyage_day}: {reason}", voyage_day=voyage_day(given.on), reason=given.reason),
        by="" if given is None else given.by,
        waits=given is not None and given.waits,
        agree_action=f"{here}/first-date/agreement" if given is not None and _may_agree(who, given) else "",
        agreed_by="" if given is None else given.agreed_by or "",
        **back.state("first-date").members,
    )


def _may_agree(who: Asking, given: first_dates.FirstDue) -> bool:
    """Whether the page offers this person to agree; the action looks at it again."""
    passes = may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/first-date/agreement")
    chief = who.actor.role.value == given.set_as == Role.CHIEF.value
    return given.waits and passes and not chief and who.actor.person_id != given.by_id


def _part(context: Context, who: Asking, vessel_id: str, here: str, job: DueJob, back: JobFormBack) -> PartView:
    given = part_dates.date_of(context, vessel_id, job.job_id.key)
    open_now = job.first and job.job_id.kind != BREAKDOWN.code
    may_say = open_now and (may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/part-date") or may_ask(who))
    known = {} if given is None else {"from_on": given.from_on.isoformat(), "note": given.note}
    state = back.state("part-date")
    return PartView(
        action=f"{here}/part-date" if may_say else "",
        idempotency_key=secrets.token_hex(16),
        version=given.version if given else 0,
        from_on=given.from_on if given else None,
        day=voyage_day(given.from_on) if given else "",
        note=given.note if given else "",
        by=given.by if given else "",
        values=state.values or known,
        faults=state.faults,
        says=state.says,
    )


def closed_view(
    now: PlantState,
    who: Asking,
    here: str,
    job: DueJob,
    closed: Mapping[str, object],
    record: Mapping[str, object],
    stamp: str,
    kept: Sequence[StoredStep],
    back: JobFormBack,
    after: AfterClose,
) -> JobView:
    """A closed job's view: what its record says, and nothing reckoned anew.

    Args:
        closed: the job as the answers give it. record: the members of the record of its close. after: what it changed.
    """
    seconds = closed.get("running_seconds")
    number, renewed_by = closed.get("record"), str(closed.get("renewed_by") or "")
    actor = who.actor
    did = [str(closed.get(name) or "") for name in ("done_by", "answers_for")]
    asked_of = str(closed.get("check_asked_of") or "")
    mine = not asked_of or same_name(asked_of, actor.name) or asked_of == actor.person_id
    may_check = (
        may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/check")
        and actor.person_id is not None
        and not closed.get("checked_by")
        and mine
        and not any(same_name(one, actor.name) for one in did)
    )
    flags = closed.get("flags")
    strikes = may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/close/strike") and not renewed_by
    undo_until = checking.strikeable_until(closed, actor, now.at) if strikes else None
    return JobView(
        frame=frame_of(now, who, here, capital(job.kind_name), ""),
        now_at=now.at,
        job=job_line(now, job, {}),
        serial=now.serial_of(job.pump),
        plant_href=f"/plants/{now.plant.id}",
        form=_close_form(now, who, here, job, len(kept), back) if back.name == "close" else None,
        work=work_view(now, who, here, kept, back, is_open=False) if kept else None,
        check=back.state("check"),
        closed=Closed(
            done_at=datetime.fromisoformat(str(closed["closed_at"])),
            done_by=did[0],
            checked_by=str(closed.get("checked_by") or ""),
            running_hours=seconds / 3600 if isinstance(seconds, int) else None,
            test=Test(str(closed.get("test") or Test.NONE.value)),
            findings=str(record.get("findings") or closed.get("findings") or ""),
            permit_no=str(closed.get("permit_no") or ""),
            record_no=number if isinstance(number, int) else None,
            stamp=stamp,
            check=str(closed.get("check") or _("not checked")),
            check_action=f"{here}/check" if may_check else "",
            idempotency_key=secrets.token_hex(16),
            facts=() if renewed_by else closed_facts(record),
            flags=tuple(map(str, flags)) if isinstance(flags, list) else (),
            company=str(closed.get("company") or ""),
            answers_for=did[1],
            after=after_view(after, now, {} if renewed_by else record),
            undo_action=f"{here}/close/strike" if undo_until else "",
            undo_until=undo_until,
            renewed_by=job_words(now.plant, now.at, renewed_by) if renewed_by else "",
        ),
    )
