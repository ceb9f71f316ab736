"""Answers about handover notes and the month's review."""

from typing import Annotated

from pydantic import Field

from api.routes.answers.work import Point
from api.routes.shared.shapes import (
    AnswerModel,
    At,
    JobKey,
    PersonName,
    PlantId,
    PositionName,
    RecordNumber,
    Sentence,
    SweptFlow,
    VesselId,
)


class HandoverShown(AnswerModel):
    """A handover note."""

    handover: Annotated[int, Field(description="number of the note")]
    text: str
    written_by: PersonName
    written_at: At
    signed_by: PersonName | None
    signed_at: At | None


class HandoversAnswer(AnswerModel):
    """Newest first."""

    vessel: VesselId
    handovers: list[HandoverShown]


class HandoverSignedAnswer(AnswerModel):
    """A handover note is signed."""

    handover: Annotated[int, Field(description="number of the note")]
    record: RecordNumber
    says: Sentence


class PermitOpen(AnswerModel):
    """A permit that is not closed."""

    job: JobKey
    position: PositionName
    permit: str


class TagCarried(AnswerModel):
    """A tag that hangs."""

    job: JobKey
    position: PositionName
    point: Point
    tag_no: str
    placed_by: PersonName


class PersonalLockCarried(AnswerModel):
    """A personal lock that hangs."""

    job: JobKey
    position: PositionName
    person: PersonName


class LowerMinimumCarried(AnswerModel):
    """A lower minimum that holds or will."""

    plant: PlantId
    to_at: At
    minimum_swept_m3_per_h: SweptFlow


class PostponementCarried(AnswerModel):
    """A postponement that nobody has decided."""

    postponement: int
    job: JobKey
    to_at: At
    asked_by: PersonName


class ReadingCarried(AnswerModel):
    """Something odd about a counter."""

    what: str
    at: At


class PartShort(AnswerModel):
    """Fewer aboard than open jobs take."""

    part: str
    need: int
    aboard: int


class PumpCarried(AnswerModel):
    """A pump that is out, or back and not proved."""

    position: PositionName
    since: At
    expected: At | None


class LeadOrderCarried(AnswerModel):
    """The lead order as set last."""

    plant: PlantId
    order: list[PositionName]
    at: At
    by: PersonName


class CarriedOver(AnswerModel):
    """All that is open on the vessel; a list is empty where nothing is."""

    permits_open: list[PermitOpen]
    tags_hanging: list[TagCarried]
    personal_locks: list[PersonalLockCarried]
    lower_minima: list[LowerMinimumCarried]
    postponements_asked: list[PostponementCarried]
    readings_held: list[ReadingCarried]
    parts_short: list[PartShort]
    pumps_out: list[PumpCarried]
    pumps_not_proved: list[PumpCarried]
    lead_order: list[LeadOrderCarried]


class HandoverWrittenAnswer(HandoverSignedAnswer):
    """A handover note is written, with what was open then."""

    carries: CarriedOver


class ReviewShown(AnswerModel):
    """The review of a month."""

    month: Annotated[str, Field(examples=["2026-10"])]
    text: str
    by: PersonName
    record: RecordNumber
    at: At


class ReviewsAnswer(AnswerModel):
    """Newest first."""

    vessel: VesselId
    reviews: list[ReviewShown]


class ReviewSignedAnswer(AnswerModel):
    """The review of a month is signed."""

    month: Annotated[str, Field(examples=["2026-10"])]
    record: RecordNumber
    says: Sentence
