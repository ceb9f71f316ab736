"""Answers about work: jobs, their steps, parts, photos, points, clogs, handover, review, non-conformities."""

from typing import Annotated, Self

from pydantic import ConfigDict, Field

from api.pages.work.sheet import job_sheet_json
from api.routes.answers.due import DueAt, DueJobAnswer, due_members
from api.routes.shared.shapes import (
    AnswerModel,
    At,
    HoursRun,
    JobKey,
    KindCode,
    PersonName,
    PlantId,
    PumpId,
    Quantity,
    RecordNumber,
    RecordStamp,
    Sentence,
    VersionNumber,
    VesselId,
)
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.due.jobs import DueJob

Point = Annotated[str, Field(description="name of the isolation point")]


class SheetStepShown(AnswerModel):
    """A step of the job's sheet. act: the kind of step that ticks it; may be empty."""

    text: str
    when: str | None
    act: str


class MeasureInSheet(AnswerModel):
    """A measure that the sheet asks for, with its limits."""

    name: str
    unit: str
    low: Quantity | None
    high: Quantity | None
    nameplate: Annotated[bool, Field(description="the limit is the one on the nameplate")]


class PartInSheet(AnswerModel):
    """A part that the job takes."""

    name: str
    quantity: int


class AlsoDue(AnswerModel):
    """What else falls due on the job's isolation."""

    job: JobKey
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


class ClosedJobAnswer(AnswerModel):
    """A job as it was closed, or withdrawn."""

    job: JobKey
    kind: KindCode
    subject: str
    sequence: int
    state: str
    closed_at: At
    version: int
    done_by: PersonName = ""
    checked_by: PersonName | None = None
    check: str = ""
    check_asked_of: PersonName | None = None
    company: str = ""
    answers_for: str = ""
    from_paper: bool = False
    flags: Annotated[list[str], Field(default_factory=list)]
    test: str = ""
    findings: str = ""
    permit_no: str | None = None
    running_seconds: Annotated[int | None, Field(description="running hours of its subject, in seconds")] = None
    record: RecordNumber | None = None
    verdict: str | None = None
    renewed_by: JobKey | None = None
    recorded_by: PersonName = ""
    recorded_by_id: str = ""
    recorded_s: Annotated[int, Field(description="seconds since 1970")] = 0
    checked_s: Annotated[int | None, Field(description="seconds since 1970")] = None


class JobClosedAnswer(AnswerModel):
    """A job was closed, or its failed test is recorded (closed: false)."""

    job: JobKey
    closed: bool
    verdict: str | None
    pump: PumpId | None
    pump_state: str | None
    renewed: Annotated[list[JobKey], Field(description="jobs that it renewed")]
    running_hours: Annotated[HoursRun | None, Field(description="running hours of its subject when it was done")]
    hours_source: str | None
    remark: Sentence | None
    flags: list[str]
    check: str
    record: RecordNumber
    stamp: RecordStamp


class JobCheckedAnswer(AnswerModel):
    """A closed job is signed as checked."""

    job: JobKey
    checked_by: PersonName
    record: RecordNumber
    stamp: RecordStamp


class CloseStruckAnswer(AnswerModel):
    """A close entered by mistake is struck."""

    job: JobKey
    record: RecordNumber
    stamp: RecordStamp
    says: Sentence


class TagHanging(AnswerModel):
    """A lock and tag that hang on an isolation point."""

    point: Point
    lock_no: str
    tag_no: str
    placed_by: PersonName


class PersonalLockHanging(AnswerModel):
    """A personal lock on the lock box."""

    person: PersonName
    lock_no: str
    company: str


class StepShown(AnswerModel):
    """A step as stored. Beside these it has the members of its kind, as in the body of a step that is posted."""

    model_config = ConfigDict(json_schema_extra={"additionalProperties": True})

    number: Annotated[int | str, Field(description="its number in the work; of a permit: the permit's")]
    kind: str
    at: At
    by: PersonName
    flags: list[str]
    struck: bool
    recorded_by: PersonName
    recorded_at: At
    record: RecordNumber


class WorkAnswer(AnswerModel):
    """How far the work on a job is."""

    job: JobKey
    job_kind: str
    version: VersionNumber
    pump_counts: Annotated[str, Field(description="what its pump counts for")]
    test: str
    permits_open: list[str]
    tags_hanging: list[TagHanging]
    personal_locks_hanging: list[PersonalLockHanging]
    not_known: list[str]
    stop_work: list[Sentence]
    isolation_points: list[Point]
    points_not_fitted: list[Point]
    steps: list[StepShown]


class ObjectionShown(AnswerModel):
    """What stood against a step that was recorded as a fact."""

    model_config = ConfigDict(json_schema_extra={"additionalProperties": True})


class StepTakenAnswer(WorkAnswer):
    """How far the work is after a step, what stood against it, and what to mind."""

    flags: list[str]
    against: list[ObjectionShown]
    warnings: list[Sentence]
    record: RecordNumber
    stamp: RecordStamp


class PartAboard(AnswerModel):
    """How many of a part are aboard; null: nobody has counted yet."""

    part: str
    aboard: int | None
    by: PersonName | None
    at: At | None


class PartsAnswer(AnswerModel):
    """Every part that a job sheet names."""

    plant: PlantId
    parts: list[PartAboard]


class PartCountedAnswer(AnswerModel):
    """A part is counted."""

    part: str
    aboard: int
    before: Annotated[int | None, Field(description="how many there were by the count before")]
    record: RecordNumber


class PhotoAnswer(AnswerModel):
    """A photo of the work on a job."""

    job_no: JobKey
    sha256: Annotated[str, Field(description="SHA-256 of the picture, 64 hex digits")]
    media_type: str
    bytes: int
    text: str
    by: PersonName
    record: RecordNumber


class PhotosAnswer(AnswerModel):
    """The photos of a job."""

    job: JobKey
    photos: list[PhotoAnswer]


class PointNotFitted(AnswerModel):
    """An isolation point that a pump is said not to have."""

    not_fitted: Annotated[int, Field(description="number of what was said")]
    pump: PumpId
    point: Point
    reason: str
    state: str
    said_by: PersonName
    said_at: At
    signed_as: str | None
    signed_by: PersonName | None
    signed_at: At | None
    withdrawn_by: PersonName | None
    withdrawn_at: At | None


class PointNotFittedAnswer(PointNotFitted):
    """As said, signed or taken back."""

    record: RecordNumber


class PointsNotFittedAnswer(AnswerModel):
    """Newest first."""

    pump: PumpId
    not_fitted: list[PointNotFitted]


class ClogShown(AnswerModel):
    """A clog that was cleared: what it was, on which riser or deck."""

    record: RecordNumber
    at: At
    object: str
    riser: str | None
    deck: str | None
    text: str | None
    by: PersonName


class ClogsAnswer(AnswerModel):
    """Newest first."""

    vessel: VesselId
    clogs: list[ClogShown]


class NotedAnswer(AnswerModel):
    """It is on record."""

    record: RecordNumber
    says: Sentence


NonConformityNumber = Annotated[int, Field(description="number of the non-conformity")]


class NonConformityShown(AnswerModel):
    """A non-conformity: what it is, its cause, the corrective action, who closed it."""

    non_conformity: NonConformityNumber
    job: JobKey
    about: str
    what: Sentence
    limit_at: Annotated[At | None, Field(description="the limit that was passed, where that is what it is about")]
    opened_at: At
    state: Annotated[str, Field(description="open, answered or closed")]
    cause: str
    corrective_action: str
    answered_by: PersonName | None
    closed_by: PersonName | None
    closed_at: At | None


class NonConformitiesAnswer(AnswerModel):
    """Newest first."""

    vessel: VesselId
    non_conformities: list[NonConformityShown]


class NonConformityAnswer(AnswerModel):
    """A non-conformity is answered or closed."""

    non_conformity: NonConformityNumber
    state: str
    record: RecordNumber
