"""Answers about requests of the office: what was asked of a ship and how far it is, and what the ship says of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Self

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At, PersonName, RecordNumber, Sentence, VesselId, z
from scheduler.actions.shore.accepting import RequestAboard
from scheduler.actions.shore.requests import RequestSeen, request_words
from scheduler.domain.shore.asking import RequestStage, RequestState

RequestNumber = Annotated[int, Field(description="number of the request, counted by the office for each ship")]
What = Annotated[str, Field(description="what is asked", examples=["decide postponement"])]
Stage = Annotated[RequestStage, Field(description="how far it is, as the office knows it")]
State = Annotated[RequestState, Field(description="how it stands aboard")]
Said = Annotated[Mapping[str, Any], Field(description="what exactly, by its kind")]
Until = Annotated[At, Field(description="it lapses where it is not done by then")]


class RequestAskedAnswer(AnswerModel):
    """A request is on its way; it is done when the ship says so. record: of the office's own history."""

    vessel: VesselId
    request: RequestNumber
    stage: Stage
    record: RecordNumber


class RequestOfOffice(AnswerModel):
    """A request as the office knows it. handed_at: when it was first given to the ship's server, which may not have got it."""

    request: RequestNumber
    what: What
    arguments: Said
    asked_by: PersonName
    asked_at: At
    until: Until
    stage: Stage
    says: Sentence
    handed_at: At | None
    fetched_at: At | None
    record: Annotated[int | None, Field(description="number of the ship's record that tells of it; null: none")]
    may_withdraw: Annotated[bool, Field(description="whether nobody aboard can have it yet")]

    @classmethod
    def of(cls, seen: RequestSeen, now: datetime) -> Self:
        """Of a request."""
        row, aboard = seen.row, seen.aboard
        return cls(
            request=row.number,
            what=row.what,
            arguments=row.arguments,
            asked_by=row.by,
            asked_at=z(row.asked_at),
            until=z(row.until_at),
            stage=seen.stage,
            says=request_words(seen, now),
            handed_at=z(row.handed_at),
            fetched_at=z(row.fetched_at or (None if aboard is None else aboard.taken_at)),
            record=(aboard.record or None)
            if aboard is not None and seen.stage is not RequestStage.NUMBER_TAKEN
            else None,
            may_withdraw=seen.may_withdraw,
        )


class RequestTaken(AnswerModel):
    """A request as it stands aboard. differences: what of the document would change, while it waits for the chief engineer; against:
    why it would be refused now."""

    request: RequestNumber
    what: What
    arguments: Said
    asked_by: PersonName
    asked_at: At
    until: Until
    taken_at: At
    state: State
    says: Sentence
    record: Annotated[int | None, Field(description="number of the record that tells of it; null: none")]
    answered_by: PersonName
    differences: list[dict[str, Any]]
    against: Sentence

    @classmethod
    def of(cls, one: RequestAboard) -> Self:
        """Of a request."""
        row = one.row
        return cls(
            request=row.number,
            what=row.what,
            arguments=row.arguments,
            asked_by=row.by,
            asked_at=z(row.asked_at),
            until=z(row.until_at),
            taken_at=z(row.taken_at),
            state=row.state,
            says=row.says,
            record=row.record or None,
            answered_by=row.answered_by,
            differences=[dict(found) for found in one.differences],
            against=one.against,
        )


class RequestsAnswer(AnswerModel):
    """Newest first. asked: at the office, of a ship that keeps her own records. taken: aboard, by this ship's server."""

    vessel: VesselId
    asked: list[RequestOfOffice]
    taken: list[RequestTaken]


class RequestWithdrawnAnswer(AnswerModel):
    """A request is taken back. record: of the office's own history."""

    vessel: VesselId
    request: RequestNumber
    stage: Stage
    record: RecordNumber


class RequestAnsweredAnswer(AnswerModel):
    """What came of a request that the chief engineer answered; accepted, and then refused by the action itself, it is refused."""

    vessel: VesselId
    request: RequestNumber
    state: State
    says: Sentence
    record: Annotated[int | None, Field(description="number of the record that tells of it")] = None
