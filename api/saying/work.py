"""The steps of the work on a job in words."""

from scheduler.domain.work import (
    AnyStep,
    Counts,
    GasChecked,
    Noted,
    Opened,
    PeopleClear,
    PeopleTold,
    PermitClosed,
    PermitIssued,
    Reported,
    Returned,
    TagPlaced,
    TagRemoved,
    Tested,
    TestedDead,
    Work,
)


def step_words(step: AnyStep) -> str:
    """What was done, in a line; who and when stand beside it."""
    match step:
        case PermitIssued():
            return _joined(f"Permit {step.number} issued", step.permit_kind, step.issued_by and f"by {step.issued_by}")
        case PermitClosed():
            return f"Permit {step.number} closed"
        case TagPlaced():
            lock = step.lock_no and f"lock {step.lock_no}"
            tag = step.tag_no and f"tag {step.tag_no}"
            return _joined(
                f"Locked and tagged: {step.point}", lock, tag, step.override and f"minimum overridden: {step.override}"
            )
        case TestedDead():
            return _joined("Tested dead", step.text)
        case GasChecked():
            figures = (
                ("O2", step.oxygen_percent, "%"),
                ("LEL", step.lel_percent, "%"),
                ("H2S", step.h2s_ppm, "ppm"),
            )
            read = [f"{name} {value:g} {unit}" for name, value, unit in figures if value is not None]
            return _joined("Gas checked", *read, step.meter and f"meter {step.meter}")
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
        case PeopleTold():
            return f"Told that it is free: {step.names}"
        case Returned():
            current = "" if step.current_ampere is None else f"{step.current_ampere:g} A"
            return _joined("Back in use, not proved", current, step.text)
        case Tested():
            return _joined(f"Test {step.result.value}", step.text)
        case Reported():
            lowest = "" if step.lowest_vacuum_kpa is None else f"lowest vacuum {step.lowest_vacuum_kpa:g} kPa"
            return _joined("Work reported", lowest, step.text)


def work_words(work: Work) -> str:
    """How far the work is, in a sentence."""
    hang = ", ".join(f"{tag.point} ({tag.placed_by})" for tag in work.hanging)
    counts = {
        Counts.FULL: "The pump counts in full.",
        Counts.PROVISIONAL: "The pump is back, not proved: it counts provisionally.",
        Counts.NOTHING: "The pump counts for nothing.",
    }[work.counts]
    return f"{counts} Tags hang at {hang}." if hang else f"{counts} No tag hangs."


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
