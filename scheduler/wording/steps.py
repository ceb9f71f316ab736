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


def step_words(step: AnyStep) -> str:
    """What was done, in a line; who and when stand beside it."""
    match step:
        case PermitIssued():
            return _joined(
                f"Permit {step.number} issued",
                step.permit_kind,
                step.issued_by and f"by {step.issued_by}",
                step.company and f"to {step.company}",
                "passing: " + ", ".join(step.passing) if step.passing else "",
            )
        case PermitClosed():
            return f"Permit {step.number} closed"
        case TagPlaced():
            lock = step.lock_no and f"lock {step.lock_no}"
            tag = step.tag_no and f"tag {step.tag_no}"
            box = step.box_no and f"box {step.box_no}"
            over = step.override and f"minimum overridden: {step.override}"
            return _joined(f"Locked and tagged: {step.point}", lock, tag, box, over)
        case TagTakenOver():
            return _joined(f"Relief locked and tagged: {step.point}", step.lock_no and f"lock {step.lock_no}")
        case PointPasses():
            return _joined(f"{step.point} passes", step.instead and f"instead: {step.instead}")
        case MadeReady():
            seen = "Stand-by seen running" if step.standby_seen else "Stand-by not seen"
            return _joined(seen, step.told and f"told: {step.told}")
        case Rinsed():
            return _joined("Rinsed", step.drained_to and f"drained to {step.drained_to}")
        case StartTried():
            return _joined("Start tried", "control alive" if step.control_alive else "control off", step.text)
        case NoVoltage():
            proved = "proved before and after" if step.meter_proved_before and step.meter_proved_after else ""
            return _joined("No voltage" + (", all phases" if step.all_phases else ""), step.meter, proved)
        case VacuumLetOut():
            zero = "gauge stays at zero" if step.gauge_stays_at_zero else ""
            return _joined("Stored vacuum let out", zero, "drained" if step.drained else "")
        case PersonalLockOn():
            return _joined("Personal lock on", step.lock_no and f"lock {step.lock_no}", step.company)
        case PersonalLockOff():
            return "Personal lock off"
        case StartedLocally():
            current = " / ".join(f"{one:g}" for one in step.phase_ampere)
            leak = "no leak" if step.no_leak else ""
            return _joined(
                "Started locally", leak, "turns right" if step.turns_right else "", current and f"{current} A"
            )
        case MeasureAccepted():
            return _joined(f"Accepted: {step.name}", step.reason)
        case Struck():
            return _joined(f"Entry {step.number} struck", step.reason)
        case TestedDead():
            return _joined("Tested dead", step.text)
        case GasChecked():
            figures = (
                ("O2", step.oxygen_percent, "%"),
                ("LEL", step.lel_percent, "%"),
                ("H2S", step.h2s_ppm, "ppm"),
            )
            read = [f"{name} {value:g} {unit}" for name, value, unit in figures if value is not None]
            meter = step.meter and f"meter {step.meter}"
            return _joined("Gas read", step.place.value, *read, meter, "bump tested" if step.bump_tested else "")
        case Opened():
            return _joined(
                "Opened", "rinsed first" if step.rinsed else "", step.drained_to and f"drained to {step.drained_to}"
            )
        case Noted():
            value = "" if step.value is None else f"{step.value:g} {step.unit}".strip()
            out = "out of limit" if step.out_of_limit else ""
            return _joined(f"{step.about.value.capitalize()}: {step.name}", value, out, step.text)
        case PeopleClear():
            return "People and tools clear, covers on"
        case TagRemoved():
            other = (
                step.other_hand
                and f"by another hand: {step.other_hand.reason}, approved by {step.other_hand.approved_by}"
            )
            return _joined(f"Tag off: {step.point}", other or "")
        case PeopleWarned():
            return f"Told that it is free: {step.names}"
        case Returned():
            current = "" if step.current_ampere is None else f"{step.current_ampere:g} A"
            return _joined("Back in use, not proved", current, step.text)
        case Tested():
            seconds = "" if step.pull_down_seconds is None else f"pull-down {step.pull_down_seconds:g} s"
            slower = "slower than its limit" if step.slower_than_limit else ""
            return _joined(f"Test {step.result.value}", seconds, slower, step.text)
        case Reported():
            lowest = "" if step.lowest_vacuum_kpa is None else f"lowest vacuum {step.lowest_vacuum_kpa:g} kPa"
            return _joined("Work reported", lowest, step.text)


def work_words(work: WorkState) -> str:
    """How far the work is, in a sentence."""
    hang = ", ".join(f"{tag.point} ({tag.placed_by})" for tag in work.hanging)
    counts = {
        Counts.FULL: "The pump counts in full.",
        Counts.PROVISIONAL: "The pump is back, not proved: it counts provisionally.",
        Counts.NOTHING: "The pump counts for nothing.",
    }[work.counts]
    said = f"{counts} Tags hang at {hang}." if hang else f"{counts} No tag hangs."
    if work.not_known or work.people_not_known or work.open_not_known:
        said += " Something is not known after an entry was struck: go and look."
    return said


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
