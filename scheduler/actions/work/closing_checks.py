"""What a close is asked before it is taken: who, when, at what hours, and what of the work it lacks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduler.actions.base.context import AHEAD
from scheduler.actions.plant_state.load import PlantState, hours_then
from scheduler.actions.plant_state.work import StoredStep
from scheduler.actions.work.so_far import begun_at, procedure_of
from scheduler.domain.base.enums import Subject, Test
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import in_place_since, where
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.people.persons import same_name
from scheduler.domain.record.closed_job import HoursSource
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.work.against import Against, Objection, to_plain
from scheduler.domain.work.closing import ASKED, Skipped, measures_left, skipped
from scheduler.domain.work.locks import on_permit
from scheduler.domain.work.paper import PaperAct, paper_objections, seen_on_paper
from scheduler.domain.work.rules import close_objections
from scheduler.domain.work.state import WorkState
from scheduler.errors import Clash, Refused
from scheduler.language import ENGLISH, gettext, in_language
from scheduler.storage.database import Session
from scheduler.wording.figures import moment
from scheduler.wording.names import subject_words
from scheduler.wording.work import against_words, skipped_words

HOURS_APART = 24
"""Hours by hand may differ this much from the ledger at that time before the record says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """A job's close as told. running_hours: of the subject at done_at, none: the ledger's.

    checked_by: who is asked to check it; it stands "not checked" until that person signs. company, answers_for: of a contractor,
    and the person aboard who answers for the job. from_paper: the work was done before and is told from its sheet: what the
    sheet does not show was not seen there, and is no breach.
    """

    done_at: datetime
    done_by: str
    test: Test
    checked_by: str | None = None
    company: str = ""
    answers_for: str = ""
    from_paper: bool = False
    opened_at: datetime | None = None
    running_hours: float | None = None
    findings: str = ""
    permit_no: str | None = None
    reason: str = ""
    on_paper: tuple[PaperAct, ...] = ()
    """What its sheet shows of the work, act by act."""


@dataclass(frozen=True, slots=True)
class Lacks:
    """What a close lacks: what was never recorded of the work, and what else stands against it."""

    skipped: tuple[Skipped, ...]
    against: tuple[Objection, ...]
    breach: bool
    """Work on an open pump was skipped, and it is not told from paper."""

    @in_language(ENGLISH)
    def words(self, offset_minutes: int, *, from_paper: bool) -> list[str]:
        """Its flags, in words, as they stand on record."""
        said = [against_words(one, offset_minutes) for one in self.against]
        if self.skipped:
            lead = "Not seen on paper" if from_paper else "Never recorded"
            said.append(f"{lead}: {'; '.join(map(skipped_words, self.skipped))}.")
        return said


def lacks_of(
    session: Session,
    now: PlantState,
    kind: JobKind,
    job_id: JobId,
    closing: Close,
    kept: Sequence[StoredStep],
    work: WorkState,
) -> Lacks:
    pump = where(now.plant, kind.subject, job_id.subject, closing.done_at)[0] if kind.takes_pump_out else None
    begun = begun_at(kept, closing.opened_at or closing.done_at)
    procedure = procedure_of(session, now.vessel.id, now.plant, kind, pump, begun, now.offset_minutes)
    steps = [one.step for one in kept]
    shown = seen_on_paper(closing.on_paper)
    found = skipped(steps, procedure, kind.measures, takes_pump_out=kind.takes_pump_out)
    missing = tuple(one for one in found if one.act not in shown)
    against = [*measures_left(work), *paper_objections(closing.on_paper, procedure.h2s_limit_ppm)]
    if closing.company.strip() and kept and not on_permit(work, closing.company):
        against.append(Objection(Against.COMPANY_NOT_ON_PERMIT, {"company": closing.company.strip()}))
    breach = kind.takes_pump_out and not closing.from_paper and any(one.act in ASKED for one in missing)
    return Lacks(missing, tuple(against), breach)


def must_be_finished(kept: Sequence[StoredStep], work: WorkState, closing: Close, offset_minutes: int) -> None:
    """A job whose work was recorded step by step is closed when that work is at its end; a failed test needs no end."""
    against = close_objections(work) if kept and closing.test is not Test.FAILED else []
    if closing.test is Test.PASSED and not work.tests:
        against = [one for one in against if one.code not in (Against.TEST_FAILED, Against.NOT_RETURNED)]
    elif closing.test is Test.PASSED and work.test is Test.NONE:  # a test is on record, and it proved nothing
        against.append(Objection(Against.TEST_NOT_PASSED))
    if against:
        said = [against_words(one, offset_minutes) for one in against]
        told_so = [{**to_plain(one), "says": says} for one, says in zip(against, said, strict=True)]
        raise Clash(" ".join(said), more={"objections": told_so})


def with_steps(closing: Close, kept: Sequence[StoredStep], work: WorkState) -> Close:
    """What the steps say already need not be told again: test, permit, when it was opened."""
    opened = min((one.step.at for one in kept if one.step.kind in ("tag placed", "opened")), default=None)
    return replace(
        closing,
        test=work.test if work.tests and closing.test is not Test.FAILED else closing.test,
        permit_no=closing.permit_no or ", ".join(permit.number for permit in work.permits) or None,
        opened_at=closing.opened_at or opened,
    )


def must_be_named(closing: Close) -> None:
    if not closing.done_by.strip():
        raise Refused(
            gettext("Say who did the job; done_by is empty."),
            faults=[("/done_by", gettext("this is empty; a name is expected."))],
        )
    if closing.company.strip() and (not closing.answers_for.strip() or same_name(closing.answers_for, closing.done_by)):
        says = gettext("a contractor did it: name the person aboard who answers for the job.")
        raise Refused(f"answers_for: {says}", faults=[("/answers_for", says)])
    if closing.checked_by is not None and same_name(closing.checked_by, closing.done_by):
        says = gettext("the checker is the doer; name someone else, or leave it empty.")
        raise Refused(f"checked_by: {says}", faults=[("/checked_by", says)])


def must_fit_in_time(now: PlantState, kind: JobKind, job_id: JobId, closing: Close) -> None:
    def refuse(says: str) -> None:
        raise Refused(f"done_at: {says}", faults=[("/done_at", says)])

    if closing.done_at > now.at + AHEAD:
        refuse(gettext("this is still to come; give the instant at which the job was finished."))
    begun = in_place_since(now.plant, kind.subject, job_id.subject)
    if begun is not None and closing.done_at < begun:
        refuse(
            gettext(
                "this is before {subject} was fitted on {moment}. Check the date, or that this is the right pump.",
                subject=subject_words(now.plant, now.at, job_id.subject),
                moment=moment(begun, now.offset_minutes, now.at),
            )
        )
    before = now.done.get((job_id.kind, job_id.subject))
    if before is not None and closing.done_at <= before.done_at:
        done = moment(before.done_at, now.offset_minutes, now.at)
        refuse(gettext("this is not after the one before, done on {done}. Check the date and the job.", done=done))
    if closing.opened_at is not None and closing.opened_at > closing.done_at:
        says = gettext("this is after done_at; give the instant at which the pump was taken out.")
        raise Refused(f"opened_at: {says}", faults=[("/opened_at", says)])


def most_hours(now: PlantState, counted: RunningHours) -> float:
    """The most hours that a subject can have by now: as counted, and one for each hour that its counter is silent."""
    silent_h = 0.0 if counted.as_of is None else max(0.0, (now.at - counted.as_of) / timedelta(hours=1))
    return counted.hours + silent_h + 1


def hours_at_close(
    session: Session, now: PlantState, kind: JobKind, job_id: JobId, closing: Close
) -> tuple[RunningHours | None, HoursSource | None, str]:
    """Hours of the subject when done, where they came from, and a remark when hand and ledger differ."""
    if kind.subject is Subject.PLANT:
        return None, None, ""
    then = hours_then(session, now, kind.subject, job_id.subject, closing.done_at)
    if closing.running_hours is None:
        return then, HoursSource.ESTIMATED if then.estimated else HoursSource.COUNTER, ""
    given = closing.running_hours
    at_most = now.hours[kind.subject, job_id.subject]
    if not 0 <= given <= most_hours(now, at_most):
        says = gettext(
            "{given} h is more than {subject} can have run by now ({hours} h by its counter). Give its hours "
            "when the job was done, or leave them out.",
            given=f"{given:g}",
            subject=subject_words(now.plant, now.at, job_id.subject),
            hours=f"{at_most.hours:.0f}",
        )
        raise Refused(f"running_hours: {says}", faults=[("/running_hours", says)])
    apart = abs(given - then.hours)
    remark = f"by hand {given:g} h, by the ledger {then.hours:.1f} h at that time" if apart > HOURS_APART else ""
    return RunningHours(seconds=round(given * 3600), as_of=closing.done_at), HoursSource.BY_HAND, remark
