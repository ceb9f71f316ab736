"""Answers about handover notes and the month's review."""

from typing import Annotated

from pydantic import Field

from api.routes.answers.work import Point
from api.routes.shared import shapes


class HandoverShown(shapes.AnswerModel):
    """A handover note."""

    handover: Annotated[int, Field(description="number of the note")]
    text: str
    written_by: shapes.PersonName
    written_at: shapes.At
    signed_by: shapes.PersonName | None
    signed_at: shapes.At | None


class HandoversAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    handovers: list[HandoverShown]


class HandoverSignedAnswer(shapes.AnswerModel):
    """A handover note is signed."""

    handover: Annotated[int, Field(description="number of the note")]
    record: shapes.RecordNumber
    says: shapes.Sentence


class PermitOpen(shapes.AnswerModel):
    """A permit that is not closed."""

    job: shapes.JobKey
    position: shapes.PositionName
    permit: str


class TagCarried(shapes.AnswerModel):
    """A tag that hangs."""

    job: shapes.JobKey
    position: shapes.PositionName
    point: Point
    tag_no: str
    placed_by: shapes.PersonName


class PersonalLockCarried(shapes.AnswerModel):
    """A personal lock that hangs."""

    job: shapes.JobKey
    position: shapes.PositionName
    person: shapes.PersonName


class LowerMinimumCarried(shapes.AnswerModel):
    """A lower minimum that holds or will."""

    plant: shapes.PlantId
    to_at: shapes.At
    minimum_swept_m3_per_h: shapes.SweptFlow


class PostponementCarried(shapes.AnswerModel):
    """A postponement that nobody has decided."""

    postponement: int
    job: shapes.JobKey
    to_at: shapes.At
    asked_by: shapes.PersonName


class ReadingCarried(shapes.AnswerModel):
    """Something odd about a counter."""

    what: str
    at: shapes.At


class PartShort(shapes.AnswerModel):
    """Fewer aboard than open jobs take."""

    part: str
    need: int
    aboard: int


class PumpCarried(shapes.AnswerModel):
    """A pump that is out, or back and not proved."""

    position: shapes.PositionName
    since: shapes.At
    expected: shapes.At | None


class LeadOrderCarried(shapes.AnswerModel):
    """The lead order as set last."""

    plant: shapes.PlantId
    order: list[shapes.PositionName]
    at: shapes.At
    by: shapes.PersonName


class CarriedOver(shapes.AnswerModel):
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


class ReviewShown(shapes.AnswerModel):
    """The review of a month."""

    month: Annotated[str, Field(examples=["2026-10"])]
    text: str
    by: shapes.PersonName
    record: shapes.RecordNumber
    at: shapes.At


class ReviewsAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    reviews: list[ReviewShown]


class ReviewSignedAnswer(shapes.AnswerModel):
    """The review of a month is signed."""

    month: Annotated[str, Field(examples=["2026-10"])]
    record: shapes.RecordNumber
    says: shapes.Sentence
