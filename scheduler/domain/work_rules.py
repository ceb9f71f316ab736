"""What stands against a step of the work: asked first, it is refused in these words; told as a fact, it is kept with them.

Unrecorded work is worse than unapproved work, so a fact is always taken. Only what cannot have happened (a tag off a
point where none hangs) is refused even then. Source: common practice; tags by the model of 29 CFR 1910.147(e), whose
scope leaves maritime employment out. The ship's own procedures come first and are a setting.
"""

from dataclasses import dataclass
from typing import NamedTuple

from scheduler.domain.gas import gas_faults
from scheduler.domain.words import Test
from scheduler.domain.work import (
    AnyStep,
    GasChecked,
    Noted,
    Opened,
    OtherHand,
    PeopleClear,
    PeopleTold,
    PermitClosed,
    PermitIssued,
    Reported,
    Returned,
    Tag,
    TagPlaced,
    TagRemoved,
    Tested,
    TestedDead,
    Work,
)


class Objection(NamedTuple):
    """Why a step does not go. impossible: it cannot have happened, not even as a fact."""

    code: str
    says: str
    impossible: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """How the ship does it. own_tag_only: a tag comes off by the hand that placed it, else by the documented exception."""

    own_tag_only: bool = True
    permit_needed: bool = True
    h2s_limit_ppm: float | None = None


def objections(work: Work, step: AnyStep, procedure: Procedure, *, below_minimum: str = "") -> list[Objection]:
    """All that stands against a step in this state; empty when nothing does.

    Args:
        below_minimum: words when taking the pump out now would break the minimum capacity; empty when it holds.
    """
    if not step.by.strip():
        return [Objection("nobody", "Say who did it; by is empty.", impossible=True)]
    match step:
        case PermitIssued():
            return _permit(work, step)
        case PermitClosed():
            return _permit_closed(work, step)
        case TagPlaced():
            return _tag(work, step, procedure, below_minimum)
        case TestedDead():
            return (
                [] if work.hanging else [Objection("no tag", "No tag hangs yet: lock and tag first, then test dead.")]
            )
        case GasChecked():
            words = gas_faults(step.oxygen_percent, step.lel_percent, step.h2s_ppm, procedure.h2s_limit_ppm)
            return [Objection("gas", one) for one in words]
        case Opened():
            return _opened(work, step, procedure, below_minimum)
        case TagRemoved():
            return _tag_off(work, step, procedure)
        case PeopleTold():
            return _hanging(work, "tell people that it is free")
        case Returned():
            return _returned(work)
        case Tested():
            if work.hanging:
                return _hanging(work, "test")
            if work.out_at is not None and work.returned_at is None and step.result is Test.PASSED:
                return [Objection("not returned", "The pump is not returned to use yet: return it, then test it.")]
            return []
        case PeopleClear() | Reported() | Noted():
            return []


def close_objections(work: Work) -> list[Objection]:
    """What stands against closing the job: a tag that hangs, a permit that is open, a pump that was not brought back."""
    found = _hanging(work, "close the job")
    found += [
        Objection("permit open", f"Permit {permit.number} is still open: close it first.")
        for permit in work.permits
        if permit.closed_at is None
    ]
    if work.test is Test.FAILED:
        found.append(Objection("test failed", "The last test failed: the pump counts nothing, and the job stays open."))
    elif work.out_at is not None and work.returned_at is None and not work.hanging:
        found.append(Objection("not returned", "The pump was taken out and not returned: record its return first."))
    return found


def _permit(work: Work, step: PermitIssued) -> list[Objection]:
    if not step.number.strip():
        return [Objection("no number", "A permit has a number of the ship's own system; give it.", impossible=True)]
    found = []
    if any(one.number == step.number and one.closed_at is None for one in work.permits):
        found.append(Objection("open already", f"Permit {step.number} is open already.", impossible=True))
    if step.valid_to is not None and step.valid_to <= step.at:
        found.append(Objection("not valid", f"Permit {step.number} ends before it begins; check its times."))
    return found


def _permit_closed(work: Work, step: PermitClosed) -> list[Objection]:
    if not any(one.number == step.number and one.closed_at is None for one in work.permits):
        known = ", ".join(one.number for one in work.permits if one.closed_at is None) or "none"
        return [Objection("no permit", f"No permit {step.number} is open here; open: {known}.", impossible=True)]
    return _hanging(work, "close the permit")


def _tag(work: Work, step: TagPlaced, procedure: Procedure, below_minimum: str) -> list[Objection]:
    if not step.point.strip():
        return [Objection("no point", "Say which isolation point; point is empty.", impossible=True)]
    found = []
    if any(tag.point == step.point for tag in work.hanging):
        found.append(Objection("hangs already", f"A tag hangs at {step.point} already.", impossible=True))
    if procedure.permit_needed and work.permit_at(step.at) is None:
        found.append(
            Objection("no permit", "No permit holds at that time: have one issued, or its time renewed, first.")
        )
    if below_minimum and not work.hanging and not step.override.strip():
        found.append(Objection("below minimum", below_minimum))
    return found


def _opened(work: Work, step: Opened, procedure: Procedure, below_minimum: str) -> list[Objection]:
    found = []
    if not work.hanging:
        found.append(Objection("no tag", "No tag hangs: isolate, lock and tag before opening."))
        if below_minimum and work.out_at is None:
            found.append(Objection("below minimum", below_minimum))
    if work.dead_at is None:
        found.append(
            Objection("not dead", "Not tested dead: try the start and break the stored vacuum before opening.")
        )
    if work.gas is None:
        found.append(Objection("no gas check", "No gas check: O2, LEL and H2S are read before opening."))
    else:
        gas = work.gas
        words = gas_faults(gas.oxygen_percent, gas.lel_percent, gas.h2s_ppm, procedure.h2s_limit_ppm)
        found += [Objection("gas", one) for one in words]
    if procedure.permit_needed and work.permit_at(step.at) is None:
        found.append(Objection("no permit", "No permit holds at that time."))
    if "bilge" in step.drained_to.casefold():
        found.append(
            Objection("bilge", "Sewage never goes to the bilge: drain to the sewage tank or a closed container.")
        )
    return found


def _tag_off(work: Work, step: TagRemoved, procedure: Procedure) -> list[Objection]:
    tag = next((one for one in work.hanging if one.point == step.point), None)
    if tag is None:
        known = ", ".join(one.point for one in work.hanging) or "none"
        return [Objection("no tag", f"No tag hangs at {step.point}; hanging: {known}.", impossible=True)]
    found = []
    if work.opened_at is not None and work.clear_at is None:
        found.append(Objection("not clear", "Say first that people and tools are clear and the covers are on."))
    if procedure.own_tag_only and not _same(tag.placed_by, step.by):
        found += _other_hand(tag, step.other_hand)
    return found


def _other_hand(tag: Tag, told: OtherHand | None) -> list[Objection]:
    if told is None:
        return [
            Objection(
                "other hand",
                f"The tag at {tag.point} was placed by {tag.placed_by}, who takes it off. Another hand only by the documented "
                "exception: reason, approver, absence checked, contact tried.",
            )
        ]
    lacking = [
        words
        for words, there in (
            ("the reason", told.reason.strip()),
            ("who approved it", told.approved_by.strip()),
            (f"that {tag.placed_by} is not aboard or not on duty was checked", told.absence_checked),
            ("contact was tried", told.contact_tried),
        )
        if not there
    ]
    return (
        [Objection("exception lacks", f"The exception for the tag at {tag.point} lacks: {', '.join(lacking)}.")]
        if lacking
        else []
    )


def _returned(work: Work) -> list[Objection]:
    if work.hanging:
        return _hanging(work, "run it")
    others = [tag.placed_by for tag in work.tags if tag.other_hand is not None]
    if work.tags and work.told_at is None:
        whom = f", {', '.join(others)} among them" if others else ""
        return [Objection("nobody told", f"Tell those concerned that the tags are off{whom}, before the start.")]
    return []


def _hanging(work: Work, what: str) -> list[Objection]:
    if not work.hanging:
        return []
    hang = ", ".join(f"{tag.point} ({tag.placed_by})" for tag in work.hanging)
    return [Objection("tag hangs", f"A tag hangs at {hang}: take it off before you {what}.")]


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()
