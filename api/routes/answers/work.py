"""Answers about work: jobs, their steps, parts, photos, points, clogs, handover, review, non-conformities."""

from typing import Annotated, Self

from pydantic import ConfigDict, Field

from api.pages.work.sheet import job_sheet_json
from api.routes.answers.due import DueAt, DueJobAnswer, due_members
from api.routes.shared import shapes
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.due.jobs import DueJob

Point = Annotated[str, Field(description="name of the isolation point")]


class SheetStepShown(shapes.AnswerModel):
    """A step of the job's sheet. act: the kind of step that ticks it; may be empty."""

    text: str
    when: str | None
    act: str


class MeasureInSheet(shapes.AnswerModel):
    """A measure that the sheet asks for, with its limits."""

    name: str
    unit: str
    low: shapes.Quantity | None
    high: shapes.Quantity | None
    nameplate: Annotated[bool, Field(description="the limit is the one on the nameplate")]


class PartInSheet(shapes.AnswerModel):
    """A part that the job takes."""

    name: str
    quantity: int


class AlsoDue(shapes.AnswerModel):
    """What else falls due on the job's isolation."""

    job: shapes.JobKey
    name: str
    state: str
    due_at: DueAt


class OpenJobAnswer(DueJobAnswer):
    """An open or coming job as in the due list, with what its sheet asks for and what else falls due on its isolation."""

    steps: list[str]
    sheet: list[SheetStepShown]
    measures: list[MeasureInSheet]
    parts: list[PartInSheet]
    tools: list[str]
    isolation_points: list[Point]
    also_due: list[AlsoDue]

    @classmethod
    def of(cls, now: PlantState, job: DueJob) -> Self:
        """From the due job and the plant's state."""
        return cls.model_validate({**due_members(now, job), **job_sheet_json(now, job)})


class ClosedJobAnswer(shapes.AnswerModel):
    """A job as it was closed, or withdrawn."""

    job: shapes.JobKey
    kind: shapes.KindCode
    subject: str
    sequence: int
    state: str
    closed_at: shapes.At
    version: int
    done_by: shapes.PersonName = ""
    checked_by: shapes.PersonName | None = None
    check: str = ""
    check_asked_of: shapes.PersonName | None = None
    company: str = ""
    answers_for: str = ""
    from_paper: bool = False
    flags: Annotated[list[str], Field(default_factory=list)]
    test: str = ""
    findings: str = ""
    permit_no: str | None = None
    running_seconds: Annotated[int | None, Field(description="running hours of its subject, in seconds")] = None
    record: shapes.RecordNumber | None = None
    verdict: str | None = None
    renewed_by: shapes.JobKey | None = None
    recorded_by: shapes.PersonName = ""
    recorded_by_id: str = ""
    recorded_s: Annotated[int, Field(description="seconds since 1970")] = 0
    checked_s: Annotated[int | None, Field(description="seconds since 1970")] = None


class JobClosedAnswer(shapes.AnswerModel):
    """A job was closed, or its failed test is recorded (closed: false)."""

    job: shapes.JobKey
    closed: bool
    verdict: str | None
    pump: shapes.PumpId | None
    pump_state: str | None
    renewed: Annotated[list[shapes.JobKey], Field(description="jobs that it renewed")]
    running_hours: Annotated[shapes.HoursRun | None, Field(description="running hours of its subject when it was done")]
    hours_source: str | None
    remark: shapes.Sentence | None
    flags: list[str]
    check: str
    record: shapes.RecordNumber
    stamp: shapes.RecordStamp


class JobCheckedAnswer(shapes.AnswerModel):
    """A closed job is signed as checked."""

    job: shapes.JobKey
    checked_by: shapes.PersonName
    record: shapes.RecordNumber
    stamp: shapes.RecordStamp


class CloseStruckAnswer(shapes.AnswerModel):
    """A close entered by mistake is struck."""

    job: shapes.JobKey
    record: shapes.RecordNumber
    stamp: shapes.RecordStamp
    says: shapes.Sentence


class TagHanging(shapes.AnswerModel):
    """A lock and tag that hang on an isolation point."""

    point: Point
    lock_no: str
    tag_no: str
    placed_by: shapes.PersonName


class PersonalLockHanging(shapes.AnswerModel):
    """A personal lock on the lock box."""

    person: shapes.PersonName
    lock_no: str
    company: str


class StepShown(shapes.AnswerModel):
    """A step as stored. Beside these it has the members of its kind, as in the body of a step that is posted."""

    model_config = ConfigDict(json_schema_extra={"additionalProperties": True})

    number: Annotated[int | str, Field(description="its number in the work; of a permit: the permit's")]
    kind: str
    at: shapes.At
    by: shapes.PersonName
    flags: list[str]
    struck: bool
    recorded_by: shapes.PersonName
    recorded_at: shapes.At
    record: shapes.RecordNumber


class WorkAnswer(shapes.AnswerModel):
    """How far the work on a job is."""

    job: shapes.JobKey
    job_kind: str
    version: shapes.VersionNumber
    pump_counts: Annotated[str, Field(description="what its pump counts for")]
    test: str
    permits_open: list[str]
    tags_hanging: list[TagHanging]
    personal_locks_hanging: list[PersonalLockHanging]
    not_known: list[str]
    stop_work: list[shapes.Sentence]
    isolation_points: list[Point]
    points_not_fitted: list[Point]
    steps: list[StepShown]


class ObjectionShown(shapes.AnswerModel):
    """What stood against a step that was recorded as a fact."""

    model_config = ConfigDict(json_schema_extra={"additionalProperties": True})


class StepTakenAnswer(WorkAnswer):
    """How far the work is after a step, what stood against it, and what to mind."""

    flags: list[str]
    against: list[ObjectionShown]
    warnings: list[shapes.Sentence]
    record: shapes.RecordNumber
    stamp: shapes.RecordStamp


class PartAboard(shapes.AnswerModel):
    """How many of a part are aboard; null: nobody has counted yet."""

    part: str
    aboard: int | None
    by: shapes.PersonName | None
    at: shapes.At | None


class PartsAnswer(shapes.AnswerModel):
    """Every part that a job sheet names."""

    plant: shapes.PlantId
    parts: list[PartAboard]


class PartCountedAnswer(shapes.AnswerModel):
    """A part is counted."""

    part: str
    aboard: int
    before: Annotated[int | None, Field(description="how many there were by the count before")]
    record: shapes.RecordNumber


class PhotoAnswer(shapes.AnswerModel):
    """A photo of the work on a job."""

    job_no: shapes.JobKey
    sha256: Annotated[str, Field(description="SHA-256 of the picture, 64 hex digits")]
    media_type: str
    bytes: int
    text: str
    by: shapes.PersonName
    record: shapes.RecordNumber


class PhotosAnswer(shapes.AnswerModel):
    """The photos of a job."""

    job: shapes.JobKey
    photos: list[PhotoAnswer]


class PointNotFitted(shapes.AnswerModel):
    """An isolation point that a pump is said not to have."""

    not_fitted: Annotated[int, Field(description="number of what was said")]
    pump: shapes.PumpId
    point: Point
    reason: str
    state: str
    said_by: shapes.PersonName
    said_at: shapes.At
    signed_as: str | None
    signed_by: shapes.PersonName | None
    signed_at: shapes.At | None
    withdrawn_by: shapes.PersonName | None
    withdrawn_at: shapes.At | None


class PointNotFittedAnswer(PointNotFitted):
    """As said, signed or taken back."""

    record: shapes.RecordNumber


class PointsNotFittedAnswer(shapes.AnswerModel):
    """Newest first."""

    pump: shapes.PumpId
    not_fitted: list[PointNotFitted]


class ClogShown(shapes.AnswerModel):
    """A clog that was cleared: what it was, on which riser or deck."""

    record: shapes.RecordNumber
    at: shapes.At
    object: str
    riser: str | None
    deck: str | None
    text: str | None
    by: shapes.PersonName


class ClogsAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    clogs: list[ClogShown]


class NotedAnswer(shapes.AnswerModel):
    """It is on record."""

    record: shapes.RecordNumber
    says: shapes.Sentence


NonConformityNumber = Annotated[int, Field(description="number of the non-conformity")]


class NonConformityShown(shapes.AnswerModel):
    """A non-conformity: what it is, its cause, the corrective action, who closed it."""

    non_conformity: NonConformityNumber
    job: shapes.JobKey
    about: str
    what: shapes.Sentence
    limit_at: Annotated[
        shapes.At | None, Field(description="the limit that was passed, where that is what it is about")
    ]
    opened_at: shapes.At
    state: Annotated[str, Field(description="open, answered or closed")]
    cause: str
    corrective_action: str
    answered_by: shapes.PersonName | None
    closed_by: shapes.PersonName | None
    closed_at: shapes.At | None


class NonConformitiesAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    non_conformities: list[NonConformityShown]


class NonConformityAnswer(shapes.AnswerModel):
    """A non-conformity is answered or closed."""

    non_conformity: NonConformityNumber
    state: str
    record: shapes.RecordNumber
