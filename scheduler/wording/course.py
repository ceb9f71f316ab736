"""The course of the work on a pump, in words: what is done, what comes next, what an undo leaves behind."""

from collections.abc import Iterable, Mapping, Sequence

from scheduler.domain.work.acts import (
    AnyStep,
    GasChecked,
    MadeReady,
    Noted,
    NoVoltage,
    Opened,
    PermitIssued,
    PersonalLockOff,
    PersonalLockOn,
    Returned,
    Rinsed,
    StartedLocally,
    TagPlaced,
    TagRemoved,
    TagTakenOver,
    Tested,
)
from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.course import CourseAct, Stand, WorkAct, next_act
from scheduler.domain.work.state import WorkState
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import count_words, inner, listed
from scheduler.wording.work import against_words

ISOLATING = (WorkAct.LOCKED, WorkAct.START_TRIED, WorkAct.NO_VOLTAGE, WorkAct.VACUUM_OUT)
"""Acts that stand in one list: points, with the tests set in where they are made."""

BACK_WORDS = marked("people clear, points off one by one, local start, AUTO, pull-down, close")
"""What follows once the work on the open pump is done."""

_NAMES: Mapping[WorkAct, str] = {
    WorkAct.READY: marked("Before: permit, stand-by seen, told"),
    WorkAct.ROOM_GAS: marked("Gas in the room: O2, LEL, H2S"),
    WorkAct.RINSED: marked("Rinsed, drained, stopped"),
    WorkAct.LOCKED: marked("Lock, tag, prove dead"),
    WorkAct.START_TRIED: marked("Start tried, control supply alive"),
    WorkAct.NO_VOLTAGE: marked("No voltage: L1, L2, L3"),
    WorkAct.VACUUM_OUT: marked("Gauge stays at zero; drained"),
    WorkAct.ON_BOX: marked("Lock box: own lock of everybody at it"),
    WorkAct.COVER_GAS: marked("Gas at the slackened cover: O2, LEL, H2S"),
    WorkAct.OPENED: marked("Opened"),
    WorkAct.CLEAR: marked("People and tools clear, covers on"),
    WorkAct.OFF_BOX: marked("Personal locks off"),
    WorkAct.UNLOCKED: marked("Points off, one by one, suction last"),
    WorkAct.LOCAL_START: marked("Start locally: leaks, current, turning"),
    WorkAct.AUTO: "AUTO",
    WorkAct.CLOSE: marked("Pull-down, then close"),
}


def act_words(act: CourseAct) -> str:
    """What the act is, as a line of the course; a point or a step of the sheet by its own name."""
    return act.name or _(_NAMES[act.act])


def list_words(act: WorkAct) -> str:
    """What a list of acts is, over it: the points with their tests, or the points as they come off."""
    return _(_NAMES[act])


def done_words(act: CourseAct, entry: AnyStep | None) -> tuple[str, str]:
    """(what was done, its particulars) of an act whose entry is known, or none."""
    match entry:
        case GasChecked():
            where = _("Room gas") if act.act is WorkAct.ROOM_GAS else _("Cover gas")
            pairs = (("O2", entry.oxygen_percent), (_("LEL"), entry.lel_percent), ("H2S", entry.h2s_ppm))
            return where, ", ".join(f"{name} {value:g}" for name, value in pairs if value is not None)
        case PermitIssued():
            return _("Before"), _("permit {number}, stand-by, told", number=entry.number)
        case MadeReady():
            return _("Before"), _("stand-by seen, told")
        case Rinsed():
            return _("Rinsed, stopped"), _("drained to {drained_to}", drained_to=entry.drained_to)
        case NoVoltage():
            return _(_NAMES[WorkAct.NO_VOLTAGE]), _("meter {meter}", meter=entry.meter)
        case PersonalLockOn():
            return _("On the box"), entry.by
        case Opened():
            return _("Opened"), ""
        case StartedLocally():
            current = " / ".join(f"{one:g}" for one in entry.phase_ampere)
            return _("Local start"), f"{current} A" if current else ""
        case Returned():
            return "AUTO", ""
        case _:
            return (act.name.split(". ")[0].split("; ")[0] if act.act is WorkAct.STEP else act_words(act)), ""


def course_heading(acts: Sequence[CourseAct], work: WorkState) -> str:
    """What is asked now, as the answer that heads the page."""
    following = next_act(acts)
    if work.not_known or work.people_not_known or work.open_not_known:
        where = listed(sorted({*work.not_known, *work.people_not_known})) or _("whether the pump is open")
        return _("Not known: {where}. Go and look.", where=where)
    if following.again:
        return (
            _("Stop work: no permit holds.") if following.act is WorkAct.READY else _("Stop work: read the gas again.")
        )
    locked = [one for one in acts if one.act is WorkAct.LOCKED]
    off = [one for one in acts if one.act is WorkAct.UNLOCKED]
    what = act_words(following).rstrip(". ")
    if following.act in ISOLATING:
        return _(
            "{done} of {all} locked and tagged: {what} next.",
            done=_done(locked),
            all=len(locked),
            what=_small(what),
        )
    if following.act is WorkAct.UNLOCKED:
        return _("{done} of {all} off: {what} next.", done=_done(off), all=len(off), what=what)
    return _(_HEADS[following.act]) if following.act in _HEADS else f"{what}."


_HEADS: Mapping[WorkAct, str] = {
    WorkAct.READY: marked("Permit first; then the stand-by seen, people told."),
    WorkAct.ROOM_GAS: marked("Read the gas in the room."),
    WorkAct.RINSED: marked("Rinse, drain, stop."),
    WorkAct.ON_BOX: marked("Dead and drained: hang your own lock on the box."),
    WorkAct.COVER_GAS: marked("Read the gas at the slackened cover."),
    WorkAct.OPENED: marked("All proved: it may be opened."),
    WorkAct.CLEAR: marked("Work done: people and tools clear, covers on."),
    WorkAct.OFF_BOX: marked("Personal locks off the box first."),
    WorkAct.LOCAL_START: marked("All locks off: start it locally."),
    WorkAct.AUTO: marked("It runs: back to AUTO."),
    WorkAct.CLOSE: marked("In AUTO, not proved: the pull-down, then close."),
}


def exceeded_words(over: Noted) -> tuple[str, str]:
    """(heading, what to do) where a figure is above the nameplate after the local start."""
    read = _("{value} {unit} of {high}", value=f"{over.value:g}", unit=over.unit, high=f"{over.high:g}").replace(
        "  ", " "
    )
    name = over.name[:1].upper() + over.name[1:]
    return (
        _("{name} {read}: stop it.", name=name, read=read),
        _(
            "The pump stays out of AUTO: {name} {read}, the nameplate; nobody accepts more. Stop it and "
            "set the selector to OFF. Then start it and read once more, or give it up as failed.",
            name=over.name,
            read=read,
        ),
    )


def _done(acts: Iterable[CourseAct]) -> int:
    return sum(one.stand is Stand.DONE for one in acts)


def _small(said: str) -> str:
    return inner(said) if said[1:2].islower() else said


def lacks_words(against: Sequence[Objection], offset_minutes: int) -> str:
    """What opening still lacks, shortly: "Not yet: 4 points not locked and tagged, voltage not read."; empty for nothing."""
    if not against:
        return ""
    codes = {one.code for one in against}
    said = []
    for one in against:
        if one.code is Against.NO_TAG and Against.POINT_NOT_LOCKED in codes:
            continue
        if one.code is Against.POINT_NOT_LOCKED:
            points = one.facts["points"]
            assert isinstance(points, tuple)
            said.append(_("{points} not locked and tagged", points=inner(count_words(len(points), "point", "points"))))
        else:
            said.append(_(_LACKS[one.code]) if one.code in _LACKS else against_words(one, offset_minutes).rstrip(". "))
    return _("Not yet: {said}.", said=", ".join(said))


_LACKS: Mapping[Against, str] = {
    Against.NO_PERMIT: marked("no permit"),
    Against.NOT_RINSED: marked("not rinsed and drained"),
    Against.START_NOT_TRIED: marked("start not tried"),
    Against.VOLTAGE_NOT_READ: marked("voltage not read"),
    Against.VACUUM_NOT_OUT: marked("gauge not seen at zero"),
    Against.NO_GAS_CHECK: marked("gas not read at the cover"),
    Against.NOT_AT_COVER: marked("gas not read at the cover"),
    Against.NO_PERSONAL_LOCK: marked("your lock not on the box"),
    Against.NO_METER: marked("gas meter not named"),
    Against.NO_BUMP_TEST: marked("gas meter not bump tested"),
}


def undo_words(step: AnyStep) -> str:
    """What taking an entry back leaves behind: never what the plant is."""
    match step:
        case TagPlaced() | TagRemoved() | TagTakenOver():
            return _("Undone, {point} stands as not known: go and look.", point=step.point)
        case PersonalLockOn() | PersonalLockOff():
            return _("Undone, it is not known whether a lock of {by} hangs: go and look.", by=step.by)
        case Opened():
            return _("Undone, it is not known whether the pump is open: go and look.")
        case Tested():
            return _("Undone, the pump stands as returned, not proved.")
        case Returned():
            return _("Undone, the pump counts for nothing until it is told anew.")
        case _:
            return _("Undone, the act is asked again.")
