"""The course of the work on a pump: its acts in their order, which are done, which comes next, which are to come.

It says what is asked next and forbids nothing: `rules` says what stands against an act. An act that was passed over stays
named as such. Order: common practice, no source. The maker's manual and the ship's procedures come first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.isolation import PointRole, off_order
from scheduler.domain.vessel.sheets import MeasureAsked, Phase
from scheduler.domain.work.acts import AnyStep, GasChecked, GasPlace, Note, Noted, Struck, Tested
from scheduler.domain.work.against import Objection, Procedure
from scheduler.domain.work.proofs import gas_age, gas_objections, permit_valid
from scheduler.domain.work.rules import nameplate_exceeded
from scheduler.domain.work.state import Tag, WorkState, begun_anew, replay, struck_numbers


class WorkAct(StrEnum):
    """What is done, one after the other. LOCKED and UNLOCKED are of a point, STEP of a step of the sheet."""

    READY = "before"
    ROOM_GAS = "gas in the room"
    RINSED = "rinsed"
    LOCKED = "locked and tagged"
    START_TRIED = "start tried"
    NO_VOLTAGE = "no voltage"
    VACUUM_OUT = "vacuum let out"
    ON_BOX = "on the box"
    COVER_GAS = "gas at the cover"
    OPENED = "opened"
    STEP = "step"
    CLEAR = "people clear"
    OFF_BOX = "off the box"
    UNLOCKED = "lock and tag off"
    LOCAL_START = "local start"
    AUTO = "AUTO"
    CLOSE = "close"


class Stand(StrEnum):
    """Where an act stands in the course."""

    DONE = "done"
    NEXT = "next"
    COMING = "coming"
    PASSED_OVER = "passed over"


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseAct:
    """An act in the course. name: the point or the step of the sheet. at: when it was done, none where not known.

    again: it was done, and what changed since asks for it anew (a permit that ended, gas read too long ago).
    """

    act: WorkAct
    stand: Stand
    name: str = ""
    at: datetime | None = None
    again: bool = False


@dataclass(frozen=True, slots=True)
class _Known:
    """An act with whether it is done, and when."""

    act: WorkAct
    done: bool
    at: datetime | None = None
    name: str = ""


def state_of_round(entries: Iterable[AnyStep]) -> WorkState:
    """The work as the next act meets it: after a failed test a round begun anew."""
    work = replay(entries)
    return begun_anew(work) if work.test is Test.FAILED else work


def course(entries: Sequence[AnyStep], procedure: Procedure, at: datetime) -> tuple[CourseAct, ...]:
    """The acts of this round of the work on a pump in their order; exactly one of them comes next.

    Args:
        entries: all of them, in order of recording. at: now.
    """
    work = state_of_round(entries)
    known = [
        *_before(entries, work, procedure, at),
        *_isolating(work, procedure),
        *_steps(entries, procedure, Phase.ISOLATED),
        _Known(WorkAct.ON_BOX, bool(work.personal_hanging) or _behind(work), _on_box_at(work)),
        _Known(WorkAct.COVER_GAS, *_cover_gas(work, procedure, at)),
        _Known(WorkAct.OPENED, work.opened_at is not None and not work.open_not_known, work.opened_at),
        *_steps(entries, procedure, Phase.OPEN),
        _Known(WorkAct.CLEAR, work.clear_at is not None, work.clear_at),
        *_steps(entries, procedure, Phase.CLOSED),
        *_back(entries, work, procedure),
    ]
    behind = _reached(work, known)
    asked_again = _asked_again(work, procedure, at)
    following = next((n for n, one in enumerate(known) if n > behind and not one.done), len(known) - 1)
    if asked_again is not None:
        following = next(n for n, one in enumerate(known) if one.act is asked_again)
    return tuple(_placed(n, one, following, asked_again) for n, one in enumerate(known))


def next_act(acts: Iterable[CourseAct]) -> CourseAct:
    """The one that comes next."""
    return next(one for one in acts if one.stand is Stand.NEXT)


def measures_asked(
    acts: Sequence[CourseAct], entries: Sequence[AnyStep], measures: Iterable[MeasureAsked]
) -> tuple[MeasureAsked, ...]:
    """The measures that the next act asks for: those not taken in this round, from the step before the last at the open
    pump on (the last one closes it up); what the nameplate limits is read at the local start."""
    following, measures = next_act(acts), tuple(measures)
    taken = {one.name for one in _notes_of_round(entries, Note.MEASURE)}
    left = [one for one in measures if one.name not in taken]
    match following.act:
        case WorkAct.STEP:
            steps = [one.name for one in acts if one.act is WorkAct.STEP]
            from_step = max(0, len(steps) - 2)
            late = steps.index(following.name) >= from_step
            return tuple(one for one in left if late and not one.nameplate)
        case WorkAct.LOCAL_START:
            return tuple(one for one in measures if one in left or one.nameplate)
        case WorkAct.CLOSE:
            return tuple(left)
        case _:
            return ()


def isolation_order(procedure: Procedure, extra: Sequence[str] = ()) -> tuple[tuple[str, ...], ...]:
    """The points in the order in which they are locked, in three parts: up to the try, up to the voltage, up to the gauge.

    Args:
        extra: what isolates instead of a point that passes.
    """
    first = procedure.of_role(PointRole.SUPPLY)
    electric = (*procedure.of_role(PointRole.SELECTOR), *procedure.of_role(PointRole.CONTROL))
    rest = tuple(one.name for one in procedure.points if one.name not in (*first, *electric))
    return first, electric, (*rest, *(one for one in extra if one not in (*first, *electric, *rest)))


def _before(entries: Sequence[AnyStep], work: WorkState, procedure: Procedure, at: datetime) -> Iterable[_Known]:
    permitted = work.opened_at is not None or not list(permit_valid(work, at, procedure))
    ready = work.ready is not None and work.ready.standby_seen
    yield _Known(WorkAct.READY, ready and permitted, work.ready.at if work.ready else None)
    rooms = [one for one in work.gas_readings if one.place is GasPlace.ROOM]
    clean = bool(rooms) and not list(gas_objections(rooms[-1], procedure))
    yield _Known(WorkAct.ROOM_GAS, clean, rooms[-1].at if rooms else None)
    yield _Known(WorkAct.RINSED, work.rinsed is not None, work.rinsed.at if work.rinsed else None)
    yield from _steps(entries, procedure, Phase.BEFORE)


def _isolating(work: WorkState, procedure: Procedure) -> Iterable[_Known]:
    first, electric, rest = isolation_order(procedure, tuple(one.instead for one in work.passing if one.instead))
    yield from (_locked(work, point) for point in first)
    tried = work.start_tried
    yield _Known(WorkAct.START_TRIED, _since(work, tried.at if tried else None, first), tried.at if tried else None)
    yield from (_locked(work, point) for point in electric)
    read = work.no_voltage
    yield _Known(
        WorkAct.NO_VOLTAGE, _since(work, read.at if read else None, (*first, *electric)), read.at if read else None
    )
    yield from (_locked(work, point) for point in rest)
    out = work.vacuum_out
    valves = procedure.of_role(PointRole.SUCTION, PointRole.DISCHARGE, PointRole.FLUSHING)
    yield _Known(WorkAct.VACUUM_OUT, _since(work, out.at if out else None, valves), out.at if out else None)


def _since(work: WorkState, at: datetime | None, points: Sequence[str]) -> bool:
    """Whether a proof was made and none of its points was locked after it."""
    return at is not None and not any(
        tag.placed_at > at for tag in work.hanging if tag.point in points and not tag.relief
    )


def _locked(work: WorkState, point: str) -> _Known:
    tag = _tag_at(work, point)
    return _Known(
        WorkAct.LOCKED, work.locked(point) or (_behind(work) and tag is not None), tag.placed_at if tag else None, point
    )


def _tag_at(work: WorkState, point: str) -> Tag | None:
    """The newest tag of that point, or none."""
    return next((tag for tag in reversed(work.tags) if tag.point == point), None)


def _behind(work: WorkState) -> bool:
    """Whether the open pump is behind: locks may be off again."""
    return work.clear_at is not None


def _on_box_at(work: WorkState) -> datetime | None:
    return work.personal[-1].on_at if work.personal else None


def _cover_gas(work: WorkState, procedure: Procedure, at: datetime) -> tuple[bool, datetime | None]:
    covers = [one for one in work.gas_readings if one.place is GasPlace.COVER]
    if not covers:
        return False, None
    newest: GasChecked = covers[-1]
    since = work.vacuum_out is None or newest.at >= work.vacuum_out.at
    good = since and not list(gas_objections(newest, procedure))
    fresh = work.opened_at is not None or not list(gas_age(newest, at, procedure))
    return good and fresh, newest.at


def _steps(entries: Sequence[AnyStep], procedure: Procedure, when: Phase) -> Iterable[_Known]:
    ticked = {one.name: one.at for one in _notes_of_round(entries, Note.STEP)}
    for step in procedure.sheet:
        if step.when is when and not step.act:
            yield _Known(WorkAct.STEP, step.text in ticked, ticked.get(step.text), step.text)


def entries_left(entries: Sequence[AnyStep]) -> list[AnyStep]:
    """The entries that were not struck, without those that strike; in order of recording."""
    gone = struck_numbers(entries)
    return [one for n, one in enumerate(entries, 1) if n not in gone and not isinstance(one, Struck)]


def _notes_of_round(entries: Sequence[AnyStep], about: Note) -> list[Noted]:
    """The notes since the last failed test."""
    left = entries_left(entries)
    failed = max((n for n, one in enumerate(left) if isinstance(one, Tested) and one.result is Test.FAILED), default=-1)
    return [one for one in left[failed + 1 :] if isinstance(one, Noted) and one.about is about]


def _back(entries: Sequence[AnyStep], work: WorkState, procedure: Procedure) -> Iterable[_Known]:
    people = bool(work.personal_hanging or work.people_not_known)
    off = [lock.off_at for lock in work.personal if lock.off_at is not None]
    yield _Known(WorkAct.OFF_BOX, _behind(work) and not people, max(off, default=None))
    order = off_order(procedure.points)
    hang = [tag.point for tag in work.hanging]
    for point in (*order, *(one for one in dict.fromkeys((*hang, *sorted(work.not_known))) if one not in order)):
        tag = _tag_at(work, point)
        off_now = _behind(work) and point not in hang and point not in work.not_known
        yield _Known(WorkAct.UNLOCKED, off_now, tag.removed_at if tag else None, point)
    yield from _steps(entries, procedure, Phase.BACK)
    started = work.started_locally
    good = started is not None and work.warned_at is not None and not nameplate_exceeded(work, procedure)
    yield _Known(WorkAct.LOCAL_START, good, started.at if started else None)
    yield _Known(WorkAct.AUTO, work.returned_at is not None, work.returned_at)
    yield _Known(WorkAct.CLOSE, False)


def _reached(work: WorkState, known: Sequence[_Known]) -> int:
    """How far the work has come whatever was recorded of it: what was passed over is not asked any more."""
    if work.open_not_known:
        return -1
    last = None
    if work.opened_at is not None:
        last = WorkAct.OPENED
    if work.clear_at is not None:
        last = WorkAct.CLEAR
    if work.returned_at is not None:
        last = WorkAct.AUTO
    return next((n for n, one in enumerate(known) if one.act is last), -1)


def _asked_again(work: WorkState, procedure: Procedure, at: datetime) -> WorkAct | None:
    """What the open pump asks for anew: `rules.stop_reasons` says why work stops until then."""
    if not work.is_open:
        return None
    if procedure.permit_needed and work.permit_at(at) is None:
        return WorkAct.READY
    stale: list[Objection] = list(gas_age(work.gas, at, procedure))
    return WorkAct.COVER_GAS if stale else None


def _placed(n: int, one: _Known, following: int, again: WorkAct | None) -> CourseAct:
    if n == following:
        stand = Stand.NEXT
    elif one.done:
        stand = Stand.DONE
    else:
        stand = Stand.PASSED_OVER if n < following or (again is not None and one.act in _EARLY) else Stand.COMING
    return CourseAct(act=one.act, stand=stand, name=one.name, at=one.at, again=n == following and again is not None)


_EARLY = tuple(WorkAct)[: tuple(WorkAct).index(WorkAct.OPENED)]
