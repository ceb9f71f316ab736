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
from scheduler.wording.figures import count_words, listed
from scheduler.wording.work import against_words

ISOLATING = (WorkAct.LOCKED, WorkAct.START_TRIED, WorkAct.NO_VOLTAGE, WorkAct.VACUUM_OUT)
"""Acts that stand in one list: points, with the tests set in where they are made."""

BACK_WORDS = "people clear, points off one by one, local start, AUTO, pull-down, close"
"""What follows once the work on the open pump is done."""

_NAMES: Mapping[WorkAct, str] = {
    WorkAct.READY: "Before: permit, stand-by seen, told",
    WorkAct.ROOM_GAS: "Gas in the room: O2, LEL, H2S",
    WorkAct.RINSED: "Rinsed, drained, stopped",
    WorkAct.LOCKED: "Lock, tag, prove dead",
    WorkAct.START_TRIED: "Start tried, control supply alive",
    WorkAct.NO_VOLTAGE: "No voltage: L1, L2, L3",
    WorkAct.VACUUM_OUT: "Gauge stays at zero; drained",
    WorkAct.ON_BOX: "Lock box: own lock of everybody at it",
    WorkAct.COVER_GAS: "Gas at the slackened cover: O2, LEL, H2S",
    WorkAct.OPENED: "Opened",
    WorkAct.CLEAR: "People and tools clear, covers on",
    WorkAct.OFF_BOX: "Personal locks off",
    WorkAct.UNLOCKED: "Points off, one by one, suction last",
    WorkAct.LOCAL_START: "Start locally: leaks, current, turning",
    WorkAct.AUTO: "AUTO",
    WorkAct.CLOSE: "Pull-down, then close",
}


def act_words(act: CourseAct) -> str:
    """What the act is, as a line of the course; a point or a step of the sheet by its own name."""
    return act.name or _NAMES[act.act]


def list_words(act: WorkAct) -> str:
    """What a list of acts is, over it: the points with their tests, or the points as they come off."""
    return _NAMES[act]


def done_words(act: CourseAct, entry: AnyStep | None) -> tuple[str, str]:
    """(what was done, its particulars) of an act whose entry is known, or none."""
    match entry:
        case GasChecked():
            where = "Room gas" if act.act is WorkAct.ROOM_GAS else "Cover gas"
            pairs = (("O2", entry.oxygen_percent), ("LEL", entry.lel_percent), ("H2S", entry.h2s_ppm))
            return where, ", ".join(f"{name} {value:g}" for name, value in pairs if value is not None)
        case PermitIssued():
            return "Before", f"permit {entry.number}, stand-by, told"
        case MadeReady():
            return "Before", "stand-by seen, told"
        case Rinsed():
            return "Rinsed, stopped", f"drained to {entry.drained_to}"
        case NoVoltage():
            return _NAMES[WorkAct.NO_VOLTAGE], f"meter {entry.meter}"
        case PersonalLockOn():
            return "On the box", entry.by
        case Opened():
            return "Opened", ""
        case StartedLocally():
            current = " / ".join(f"{one:g}" for one in entry.phase_ampere)
            return "Local start", f"{current} A" if current else ""
        case Returned():
            return "AUTO", ""
        case _:
            return (act.name.split(". ")[0].split("; ")[0] if act.act is WorkAct.STEP else act_words(act)), ""


def course_heading(acts: Sequence[CourseAct], work: WorkState) -> str:
    """What is asked now, as the answer that heads the page."""
    following = next_act(acts)
    if work.not_known or work.people_not_known or work.open_not_known:
        where = listed(sorted({*work.not_known, *work.people_not_known})) or "whether the pump is open"
        return f"Not known: {where}. Go and look."
    if following.again:
        return "Stop work: no permit holds." if following.act is WorkAct.READY else "Stop work: read the gas again."
    locked = [one for one in acts if one.act is WorkAct.LOCKED]
    off = [one for one in acts if one.act is WorkAct.UNLOCKED]
    what = act_words(following).rstrip(". ")
    if following.act in ISOLATING:
        return f"{_done(locked)} of {len(locked)} locked and tagged: {_small(what)} next."
    if following.act is WorkAct.UNLOCKED:
        return f"{_done(off)} of {len(off)} off: {what} next."
    return _HEADS.get(following.act, f"{what}.")


_HEADS: Mapping[WorkAct, str] = {
    WorkAct.READY: "Permit first; then the stand-by seen, people told.",
    WorkAct.ROOM_GAS: "Read the gas in the room.",
    WorkAct.RINSED: "Rinse, drain, stop.",
    WorkAct.ON_BOX: "Dead and drained: hang your own lock on the box.",
    WorkAct.COVER_GAS: "Read the gas at the slackened cover.",
    WorkAct.OPENED: "All proved: it may be opened.",
    WorkAct.CLEAR: "Work done: people and tools clear, covers on.",
    WorkAct.OFF_BOX: "Personal locks off the box first.",
    WorkAct.LOCAL_START: "All locks off: start it locally.",
    WorkAct.AUTO: "It runs: back to AUTO.",
    WorkAct.CLOSE: "In AUTO, not proved: the pull-down, then close.",
}


def exceeded_words(over: Noted) -> tuple[str, str]:
    """(heading, what to do) where a figure is above the nameplate after the local start."""
    read = f"{over.value:g} {over.unit} of {over.high:g}".replace("  ", " ")
    name = over.name[:1].upper() + over.name[1:]
    return (
        f"{name} {read}: stop it.",
        f"The pump stays out of AUTO: {over.name} {read}, the nameplate; nobody accepts more. Stop it and set the selector to "
        "OFF. Then start it and read once more, or give it up as failed.",
    )


def _done(acts: Iterable[CourseAct]) -> int:
    return sum(one.stand is Stand.DONE for one in acts)


def _small(said: str) -> str:
    return said[:1].lower() + said[1:] if said[1:2].islower() else said


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
            said.append(f"{count_words(len(points), 'point', 'points').lower()} not locked and tagged")
        else:
            said.append(_LACKS.get(one.code) or against_words(one, offset_minutes).rstrip(". "))
    return f"Not yet: {', '.join(said)}."


_LACKS: Mapping[Against, str] = {
    Against.NO_PERMIT: "no permit",
    Against.NOT_RINSED: "not rinsed and drained",
    Against.START_NOT_TRIED: "start not tried",
    Against.VOLTAGE_NOT_READ: "voltage not read",
    Against.VACUUM_NOT_OUT: "gauge not seen at zero",
    Against.NO_GAS_CHECK: "gas not read at the cover",
    Against.NOT_AT_COVER: "gas not read at the cover",
    Against.NO_PERSONAL_LOCK: "your lock not on the box",
    Against.NO_METER: "gas meter not named",
    Against.NO_BUMP_TEST: "gas meter not bump tested",
}


def undo_words(step: AnyStep) -> str:
    """What taking an entry back leaves behind: never what the plant is."""
    match step:
        case TagPlaced() | TagRemoved() | TagTakenOver():
            return f"Undone, {step.point} stands as not known: go and look."
        case PersonalLockOn() | PersonalLockOff():
            return f"Undone, it is not known whether a lock of {step.by} hangs: go and look."
        case Opened():
            return "Undone, it is not known whether the pump is open: go and look."
        case Tested():
            return "Undone, the pump stands as returned, not proved."
        case Returned():
            return "Undone, the pump counts for nothing until it is told anew."
        case _:
            return "Undone, the act is asked again."
