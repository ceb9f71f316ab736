"""Each step of a job in words: the names of what was done, made last, for pages and the record."""

from scheduler.domain.work.acts import (
    AnyStep,
    GasChecked,
    MadeReady,
    MeasureAccepted,
    Noted,
    NoVoltage,
    Opened,
    PeopleClear,
    PeopleWarned,
    PermitClosed,
    PermitIssued,
    PersonalLockOff,
    PersonalLockOn,
    PointPasses,
    Reported,
    Returned,
    Rinsed,
    StartedLocally,
    StartTried,
    Struck,
    TagPlaced,
    TagRemoved,
    TagTakenOver,
    Tested,
    TestedDead,
    VacuumLetOut,
)
from scheduler.domain.work.state import Counts, WorkState
from scheduler.language import gettext as _


def step_words(step: AnyStep) -> str:
    """What was done, in a line; who and when stand beside it."""
    match step:
        case PermitIssued():
            return _joined(
                _("Permit {number} issued", number=step.number),
                step.permit_kind,
                step.issued_by and _("by {issued_by}", issued_by=step.issued_by),
                step.company and _("to {company}", company=step.company),
                _("passing: {points}", points=", ".join(step.passing)) if step.passing else "",
            )
        case PermitClosed():
            return _("Permit {number} closed", number=step.number)
        case TagPlaced():
            lock = step.lock_no and _("lock {lock_no}", lock_no=step.lock_no)
            tag = step.tag_no and _("tag {tag_no}", tag_no=step.tag_no)
            box = step.box_no and _("box {box_no}", box_no=step.box_no)
            over = step.override and _("minimum overridden: {override}", override=step.override)
            return _joined(_("Locked and tagged: {point}", point=step.point), lock, tag, box, over)
        case TagTakenOver():
            return _joined(
                _("Relief locked and tagged: {point}", point=step.point),
                step.lock_no and _("lock {lock_no}", lock_no=step.lock_no),
            )
        case PointPasses():
            return _joined(
                _("{point} passes", point=step.point), step.instead and _("instead: {instead}", instead=step.instead)
            )
        case MadeReady():
            seen = _("Stand-by seen running") if step.standby_seen else _("Stand-by not seen")
            return _joined(seen, step.told and _("told: {told}", told=step.told))
        case Rinsed():
            return _joined(_("Rinsed"), step.drained_to and _("drained to {drained_to}", drained_to=step.drained_to))
        case StartTried():
            return _joined(_("Start tried"), _("control alive") if step.control_alive else _("control off"), step.text)
        case NoVoltage():
            proved = _("proved before and after") if step.meter_proved_before and step.meter_proved_after else ""
            return _joined(_("No voltage") + (_(", all phases") if step.all_phases else ""), step.meter, proved)
        case VacuumLetOut():
            zero = _("gauge stays at zero") if step.gauge_stays_at_zero else ""
            return _joined(_("Stored vacuum let out"), zero, _("drained") if step.drained else "")
        case PersonalLockOn():
            return _joined(
                _("Personal lock on"), step.lock_no and _("lock {lock_no}", lock_no=step.lock_no), step.company
            )
        case PersonalLockOff():
            return _("Personal lock off")
        case StartedLocally():
            current = " / ".join(f"{one:g}" for one in step.phase_ampere)
            leak = _("no leak") if step.no_leak else ""
            return _joined(
                _("Started locally"), leak, _("turns right") if step.turns_right else "", current and f"{current} A"
            )
        case MeasureAccepted():
            return _joined(_("Accepted: {name}", name=step.name), step.reason)
        case Struck():
            return _joined(_("Entry {number} struck", number=step.number), step.reason)
        case TestedDead():
            return _joined(_("Tested dead"), step.text)
        case GasChecked():
            figures = (
                ("O2", step.oxygen_percent, "%"),
                (_("LEL"), step.lel_percent, "%"),
                ("H2S", step.h2s_ppm, "ppm"),
            )
            read = [f"{name} {value:g} {unit}" for name, value, unit in figures if value is not None]
            meter = step.meter and _("meter {meter}", meter=step.meter)
            return _joined(
                _("Gas read"), _(step.place.value), *read, meter, _("bump tested") if step.bump_tested else ""
            )
        case Opened():
            return _joined(
                _("Opened"),
                _("rinsed first") if step.rinsed else "",
                step.drained_to and _("drained to {drained_to}", drained_to=step.drained_to),
            )
        case Noted():
            value = "" if step.value is None else f"{step.value:g} {step.unit}".strip()
            out = _("out of limit") if step.out_of_limit else ""
            return _joined(f"{_(step.about.value.capitalize())}: {step.name}", value, out, step.text)
        case PeopleClear():
            return _("People and tools clear, covers on")
        case TagRemoved():
            other = step.other_hand and _(
                "by another hand: {reason}, approved by {approved_by}",
                reason=step.other_hand.reason,
                approved_by=step.other_hand.approved_by,
            )
            return _joined(_("Tag off: {point}", point=step.point), other or "")
        case PeopleWarned():
            return _("Told that it is free: {names}", names=step.names)
        case Returned():
            current = "" if step.current_ampere is None else f"{step.current_ampere:g} A"
            return _joined(_("Back in use, not proved"), current, step.text)
        case Tested():
            seconds = (
                ""
                if step.pull_down_seconds is None
                else _("pull-down {seconds} s", seconds=f"{step.pull_down_seconds:g}")
            )
            slower = _("slower than its limit") if step.slower_than_limit else ""
            return _joined(_("Test {result}", result=_(step.result.value)), seconds, slower, step.text)
        case Reported():
            lowest = (
                ""
                if step.lowest_vacuum_kpa is None
                else _("lowest vacuum {kpa} kPa", kpa=f"{step.lowest_vacuum_kpa:g}")
            )
            return _joined(_("Work reported"), lowest, step.text)


def work_words(work: WorkState) -> str:
    """How far the work is, in a sentence."""
    hang = ", ".join(f"{tag.point} ({tag.placed_by})" for tag in work.hanging)
    counts = {
        Counts.FULL: _("The pump counts in full."),
        Counts.PROVISIONAL: _("The pump is back, not proved: it counts provisionally."),
        Counts.NOTHING: _("The pump counts for nothing."),
    }[work.counts]
    said = (
        _("{counts} Tags hang at {hang}.", counts=counts, hang=hang)
        if hang
        else _("{counts} No tag hangs.", counts=counts)
    )
    if work.not_known or work.people_not_known or work.open_not_known:
        said += _(" Something is not known after an entry was struck: go and look.")
    return said


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
