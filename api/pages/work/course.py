"""From the work on a pump to the column of its page: what is done, the one box, what is to come."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from api.pages.shared.forms import FormState
from api.pages.work.box import USED_BEFORE, act_box, readings_kept
from api.pages.work.box_view import ActBox, BoxGround
from api.pages.work.while_out import while_out_chart, while_out_lines
from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import StoredStep
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work.acts import undoable, used_before
from scheduler.actions.work.counter_at_close import counter_at_subject
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.vessel.sheets import Phase
from scheduler.domain.work.acts import AnyStep, GasChecked, GasPlace, Note, Noted, Opened
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.course import (
    CourseAct,
    Stand,
    WorkAct,
    course,
    entries_left,
    measures_asked,
    next_act,
    state_of_round,
)
from scheduler.domain.work.numbering import box_of
from scheduler.domain.work.opening import opening_objections
from scheduler.domain.work.rules import nameplate_exceeded
from scheduler.domain.work.state import WorkState
from scheduler.language import gettext as _
from scheduler.wording.course import (
    BACK_WORDS,
    ISOLATING,
    act_words,
    course_heading,
    done_words,
    exceeded_words,
    lacks_words,
    list_words,
    undo_words,
)
from scheduler.wording.figures import clock, count_words, inner
from scheduler.wording.hours import hours_field
from scheduler.wording.steps import step_words

_KIND_OF: Mapping[WorkAct, str] = {
    WorkAct.READY: "permit issued",
    WorkAct.ROOM_GAS: "gas checked",
    WorkAct.COVER_GAS: "gas checked",
    WorkAct.RINSED: "rinsed",
    WorkAct.NO_VOLTAGE: "no voltage",
    WorkAct.ON_BOX: "personal lock on",
    WorkAct.OPENED: "opened",
    WorkAct.LOCAL_START: "started locally",
    WorkAct.AUTO: "returned",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseRow:
    """A point, or a test set in between, in a list of acts."""

    words: str
    detail: str
    stand: Stand
    test: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseLine:
    """A line of the column. rows: the acts that it stands for, folded. box: it is the next act. not_yet: what opening lacks."""

    words: str
    detail: str = ""
    time: str = ""
    stand: Stand = Stand.COMING
    rows: tuple[CourseRow, ...] = ()
    box: bool = False
    not_yet: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoView:
    """The newest entry, which may be taken back. until: a time of day. leaves: what that leaves behind."""

    number: int
    words: str
    time: str
    until: str
    leaves: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LockBoxView:
    """The lock box: its number and who is on it, with the time. mine: who looks hangs there."""

    number: str
    people: tuple[tuple[str, str, str], ...] = ()
    mine: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseView(FormState):
    """The column. box none: this person may only read. out: the lines told while the pump is out, the first the main one.

    values, faults, says: of the box where it was refused; may_be_fact: it may be kept as a fact all the same.
    """

    heading: str
    alert: str = ""
    """What stops the work now."""
    lines: tuple[CourseLine, ...] = ()
    box: ActBox | None = None
    out: tuple[str, ...] = ()
    chart: Markup = field(default_factory=Markup)
    """The margin of the day while the pump is out."""
    undo: UndoView | None = None
    lock_box: LockBoxView | None = None
    may_be_fact: bool = False
    override: bool = False
    also: str = ""
    """Which other act stands in the box, instead of the next."""
    names: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseAsked:
    """What the column is made from. acts: of the course. back: the box as it was refused."""

    now: PlantState
    context: Context
    place: Place
    job: DueJob
    kind: JobKind
    kept: Sequence[StoredStep]
    procedure: Procedure
    person: str
    may_write: bool
    check_from: tuple[str, ...] = ()
    back: FormState = field(default_factory=FormState)
    may_be_fact: bool = False
    override: bool = False
    also: str = ""


def course_view(asked: CourseAsked) -> CourseView:
    """The column of an open job that takes a pump out."""
    now, offset = asked.now, asked.now.offset_minutes
    entries = [one.step for one in asked.kept]
    work = state_of_round(entries)
    acts = course(entries, asked.procedure, now.at)
    following = next_act(acts)
    box_no = box_of(work, entries)
    taken_back = undoable(asked.kept, asked.person, now.at) if asked.may_write else None
    over = (
        nameplate_exceeded(work, asked.procedure)
        if following.act is WorkAct.LOCAL_START and work.started_locally
        else []
    )
    heading, alert = exceeded_words(over[0]) if over else (course_heading(acts, work), "")
    return CourseView(
        heading=heading,
        alert=alert,
        lines=tuple(_lines(asked, acts, entries_left(entries), work)),
        box=_box(asked, acts, entries, work, following, box_no) if asked.may_write else None,
        out=tuple(while_out_lines(now, work, asked.job.pump, asked.procedure.gas_minutes)),
        chart=while_out_chart(now, work, asked.job.pump),
        undo=None
        if taken_back is None
        else UndoView(
            number=taken_back.entry.number,
            words=step_words(taken_back.entry.step),
            time=clock(taken_back.entry.step.at, offset),
            until=clock(taken_back.until, offset),
            leaves=undo_words(taken_back.entry.step),
        ),
        lock_box=_lock_box(work, box_no, asked.person, offset) if work.hanging or work.personal_hanging else None,
        may_be_fact=asked.may_be_fact,
        override=asked.override,
        also=asked.also,
        **asked.back.members,
    )


def _box(
    asked: CourseAsked,
    acts: Sequence[CourseAct],
    entries: Sequence[AnyStep],
    work: WorkState,
    following: CourseAct,
    box_no: str,
) -> ActBox:
    now = asked.now
    kind = USED_BEFORE.get(following.act)
    if following.act is WorkAct.READY and not asked.procedure.permit_needed:
        kind = "made ready"
    before = None if kind is None else used_before(asked.context, asked.place, kind, box_no)
    measures = measures_asked(acts, entries, asked.kind.measures)
    seen = any(isinstance(one, Noted) and one.about is Note.FINDING for one in entries_left(entries))
    steps = [one.name for one in acts if one.act is WorkAct.STEP]
    at_measures = following.act is WorkAct.STEP and steps.index(following.name) >= max(0, len(steps) - 2)
    counts = now.counts_for()
    return act_box(
        following,
        BoxGround(
            plant=now.plant,
            procedure=asked.procedure,
            work=work,
            at=now.at,
            offset_minutes=now.offset_minutes,
            person=asked.person,
            box_no=box_no,
            entry=None if before is None else before.entry,
            numbers={} if before is None else before.numbers,
            running=tuple(
                now.position_name(now.plant.position_of(pump, now.at))
                for pump, swept in counts.items()
                if pump != asked.job.pump and swept.m3_per_h > 0
            ),
            measures=measures,
            exceeded=readings_kept(
                [
                    (one.at, one.value or 0.0, one.unit, one.high or 0.0)
                    for one in nameplate_exceeded(work, asked.procedure)
                    if work.started_locally is not None
                ],
                now.offset_minutes,
            ),
            first_measures=at_measures and not seen,
            check_from=asked.check_from,
            late=asked.job.state in (JobState.PAST_DUE, JobState.PAST_LIMIT) and asked.kind.code != BREAKDOWN.code,
            hours=hours_field(
                counter_at_subject(now, asked.kind, asked.job.job_id),
                asked.job,
                now.hours.get((asked.kind.subject, asked.job.job_id.subject)),
            ),
            opens=any(one.when is Phase.OPEN for one in asked.procedure.sheet),
        ),
    )


def _lines(
    asked: CourseAsked, acts: Sequence[CourseAct], left: Sequence[AnyStep], work: WorkState
) -> Iterator[CourseLine]:
    """Acts alone, and those of a list together."""
    offset = asked.now.offset_minutes
    n = 0
    while n < len(acts):
        one = acts[n]
        group = ISOLATING if one.act in ISOLATING else (WorkAct.UNLOCKED,) if one.act is WorkAct.UNLOCKED else ()
        if group:
            together = [a for a in acts if a.act in group]
            n = next((m for m in range(n, len(acts)) if acts[m].act not in group), len(acts))
            yield _list_line(together, work, offset)
            continue
        n += 1
        if one.act is WorkAct.STEP and one.stand is Stand.COMING and work.opened_at is None:
            steps = [a for a in acts if a.act is WorkAct.STEP and a.stand is Stand.COMING]
            if one is steps[0]:
                words = inner(count_words(len(steps), "step", "steps"))
                yield CourseLine(words=_("Work"), detail=_("{words} of the sheet", words=words))
            continue
        if one.act is WorkAct.CLEAR and one.stand is Stand.COMING and work.opened_at is None:
            yield CourseLine(words=_("Back"), detail=_(BACK_WORDS))
            return
        if one.act is WorkAct.OFF_BOX and one.stand is not Stand.NEXT:
            continue
        yield _line(asked, one, left, work)


def _line(asked: CourseAsked, one: CourseAct, left: Sequence[AnyStep], work: WorkState) -> CourseLine:
    offset = asked.now.offset_minutes
    done = one.stand is Stand.DONE
    words, detail = done_words(one, _entry(one, left)) if done else (act_words(one).rstrip(". "), "")
    not_yet = ""
    if one.act is WorkAct.OPENED and one.stand is Stand.COMING:
        opened = Opened(at=asked.now.at, by=asked.person)
        not_yet = lacks_words(list(opening_objections(work, opened, asked.procedure, None)), offset)
    return CourseLine(
        words=words.rstrip(". "),
        detail=detail or (_("not recorded") if one.stand is Stand.PASSED_OVER else ""),
        time=clock(one.at, offset) if done and one.at else "",
        stand=one.stand,
        box=one.stand is Stand.NEXT,
        not_yet=not_yet,
    )


def _points_words(done: int, total: int, *, on: bool) -> str:
    if on:
        return _("{done} of {total} locked and tagged", done=done, total=total)
    return _("{done} of {total} off", done=done, total=total)


def _list_line(acts: Sequence[CourseAct], work: WorkState, offset: int) -> CourseLine:
    points = [one for one in acts if one.act in (WorkAct.LOCKED, WorkAct.UNLOCKED)]
    done = sum(one.stand is Stand.DONE for one in points)
    on = acts[0].act in ISOLATING
    following = any(one.stand is Stand.NEXT for one in acts)
    rows = tuple(_row(one, work, offset) for one in acts)
    last = max((one.at for one in acts if one.at is not None and one.stand is Stand.DONE), default=None)
    if all(one.stand is Stand.DONE for one in acts):
        words = _points_words(done, len(points), on=on)
        return CourseLine(
            words=words,
            detail=_("dead, drained") if on else _("suction last"),
            time=clock(last, offset) if last else "",
            stand=Stand.DONE,
            rows=rows,
        )
    name = list_words(WorkAct.LOCKED if on else WorkAct.UNLOCKED)
    if following:
        return CourseLine(words=name, stand=Stand.NEXT, rows=rows, box=True)
    over = any(one.stand is Stand.PASSED_OVER for one in acts)
    lacking = [act_words(one) for one in acts if one.stand is Stand.PASSED_OVER]
    return CourseLine(
        words=_points_words(done, len(points), on=on) if over else name,
        detail=_("not recorded: {several}", several=", ".join(lacking))
        if over
        else _("{total} points", total=len(points)),
        stand=Stand.PASSED_OVER if over else Stand.COMING,
        rows=rows if over else (),
    )


def _row(one: CourseAct, work: WorkState, offset: int) -> CourseRow:
    tag = next((t for t in reversed(work.tags) if t.point == one.name), None) if one.name else None
    point = one.act in (WorkAct.LOCKED, WorkAct.UNLOCKED)
    numbers = (
        [] if tag is None or (one.stand is Stand.COMING and one.act is WorkAct.LOCKED) else [tag.lock_no, tag.tag_no]
    )
    time = clock(one.at, offset) if one.stand is Stand.DONE and one.at else ""
    return CourseRow(
        words=act_words(one),
        detail=" · ".join(part for part in (*numbers, time) if part),
        stand=one.stand,
        test=not point,
    )


def _entry(one: CourseAct, left: Sequence[AnyStep]) -> AnyStep | None:
    kind = _KIND_OF.get(one.act)
    place = {WorkAct.ROOM_GAS: GasPlace.ROOM, WorkAct.COVER_GAS: GasPlace.COVER}.get(one.act)
    found = [
        step
        for step in left
        if step.kind == kind and (place is None or (isinstance(step, GasChecked) and step.place is place))
    ]
    return found[-1] if found else None


def _lock_box(work: WorkState, box_no: str, person: str, offset: int) -> LockBoxView:
    people = tuple((lock.person, lock.company, clock(lock.on_at, offset)) for lock in work.personal_hanging)
    return LockBoxView(number=box_no, people=people, mine=any(name == person for name, _, _ in people))
