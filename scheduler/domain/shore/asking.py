"""What the office may ask of a ship, and when it takes effect: one table, for the office's door, for the ship, and for the manual."""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Any


class RequestKind(StrEnum):
    """What is asked."""

    DECIDE_POSTPONEMENT = "decide postponement"
    CLOSE_NON_CONFORMITY = "close non-conformity"
    CONFIRM_HOURS = "confirm hours taken away"
    SET_PART_DATE = "set part date"
    APPROVE_VERSION = "approve document version"
    CHANGE_DOCUMENT = "change document"
    TAKE_STEP = "take work step"
    CLOSE_JOB = "close job"
    RECORD_TEST = "record pump test"
    GIVE_READINGS = "give readings"
    SIGN_ABOARD = "sign as chief or hotel"


class Effect(StrEnum):
    """When what the office asks takes effect."""

    AT_ONCE = "at once"
    """When it is read aboard, if its conditions hold there."""
    AFTER_CHIEF = "after the chief engineer"
    """When the chief engineer has accepted it aboard."""
    NEVER = "never"
    """It is done aboard, by who does it."""


EFFECTS: Mapping[RequestKind, Effect] = {
    RequestKind.DECIDE_POSTPONEMENT: Effect.AT_ONCE,
    RequestKind.CLOSE_NON_CONFORMITY: Effect.AT_ONCE,
    RequestKind.CONFIRM_HOURS: Effect.AT_ONCE,
    RequestKind.SET_PART_DATE: Effect.AT_ONCE,
    RequestKind.APPROVE_VERSION: Effect.AT_ONCE,
    RequestKind.CHANGE_DOCUMENT: Effect.AFTER_CHIEF,
    RequestKind.TAKE_STEP: Effect.NEVER,
    RequestKind.CLOSE_JOB: Effect.NEVER,
    RequestKind.RECORD_TEST: Effect.NEVER,
    RequestKind.GIVE_READINGS: Effect.NEVER,
    RequestKind.SIGN_ABOARD: Effect.NEVER,
}
"""Each thing that could be asked, and when it takes effect."""

OFFICE_MEMBERS = frozenset(
    {"job_kinds", "minimum_swept_m3_per_h", "minimum_label", "minimum_pumps", "minimum_blocks", "crew"}
)
"""Members of a plant in the document that the office may ask to change; intervals, windows and tolerances stand in job kinds."""


def foreign_members(differences: Iterable[Mapping[str, Any]]) -> list[str]:
    """Where a changed document differs in what the office does not ask for, as paths; empty when it may be asked.

    Args:
        differences: of `domain.vessel.differing.document_differences`.
    """
    return [str(one["at"]) for one in differences if not _of_office(str(one["at"]).split("/"))]


def _of_office(steps: list[str]) -> bool:
    return len(steps) >= 3 and steps[0] == "plants" and steps[2] in OFFICE_MEMBERS


class RequestState(StrEnum):
    """How a request stands aboard."""

    TAKEN = "taken"
    """Stored, to be applied now."""
    WAITING = "waiting"
    """For the chief engineer."""
    DONE = "done"
    REFUSED = "refused"
    """The action refused it, in words."""
    LAPSED = "lapsed"
    """It ran out, or what it rested on was so no more."""
    DECLINED = "declined"
    """The chief engineer did not accept it, and said why."""


OPEN_STATES = frozenset({RequestState.TAKEN, RequestState.WAITING})
"""Those without an outcome yet."""


class Lapse(StrEnum):
    """Why a request lapsed."""

    RAN_OUT = "ran out"
    PUMP_STOPPED = "pump stopped"
    """Another pump is out than the office knew of."""
    ANSWER_CHANGED = "answer changed"
    """The non-conformity was answered anew since the office read it."""


class RequestStage(StrEnum):
    """How far a request is, as the office knows it."""

    SENT = "sent"
    FETCHED = "fetched"
    WAITING = "waits for the chief engineer"
    DONE = "done"
    REFUSED = "refused"
    LAPSED = "lapsed"
    DECLINED = "declined"
    WITHDRAWN = "withdrawn"
    ASKER_WITHDRAWN = "asker withdrawn"
    """Who asked left before it was handed over."""
    NUMBER_TAKEN = "number taken"
    """Aboard that number is another request's: the office was put back from a backup."""


ABOARD_STAGES: Mapping[RequestState, RequestStage] = {
    RequestState.TAKEN: RequestStage.FETCHED,
    RequestState.WAITING: RequestStage.WAITING,
    RequestState.DONE: RequestStage.DONE,
    RequestState.REFUSED: RequestStage.REFUSED,
    RequestState.LAPSED: RequestStage.LAPSED,
    RequestState.DECLINED: RequestStage.DECLINED,
}
"""What the office says of a request by how it stands aboard."""
