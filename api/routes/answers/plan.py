"""Answers about plans: taken and proposed, an outlook, why a job stands where it stands, moves by hand, lead order."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.shapes import (
    AnswerModel,
    At,
    HoursPerDay,
    HoursRun,
    JobKey,
    PersonName,
    PlanDigest,
    PlantId,
    PositionName,
    PumpId,
    Quantity,
    RecordNumber,
    Sentence,
    SweptFlow,
    VersionNumber,
    WholeHours,
)


class Period(AnswerModel):
    """From when to when."""

    from_at: Annotated[At, Field(alias="from")]
    to_at: Annotated[At, Field(alias="to")]


class SlotShown(Period):
    """When a job is done by a plan. pump: null where no pump is out for it."""

    job: JobKey
    job_name: str | None
    name: Annotated[str, Field(description="the job as people say it")]
    pump: PumpId | None
    least_margin_swept_m3_per_h: SweptFlow
    isolation_of: Annotated[JobKey | None, Field(description="the job on whose isolation it is done")]
    set_by_hand_by: PersonName | None
    plus_minus_days: Annotated[int, Field(description="days either way, while its date rests on a forecast")]


class OneMoreFailure(AnswerModel):
    """How long the minimum would hold with one more pump down."""

    hours: WholeHours
    hours_at_minimum: WholeHours
    hours_covered: WholeHours
    hours_the_plan_uncovers: WholeHours
    hours_no_date_can_help: WholeHours
    when_the_plan_uncovers: list[Period]
    when_no_date_can_help: list[Period]


class ShortfallShown(AnswerModel):
    """A job without a place, or a time at which the minimum does not hold."""

    job: JobKey | None
    name: str | None
    pump: PumpId | None
    when: list[Period]
    lacking_swept_m3_per_h: SweptFlow
    code: Annotated[str, Field(description="what it is, as a word for machines")]
    says: Sentence


class PlanFactShown(AnswerModel):
    """Something that the plan rests on."""

    code: str
    job: JobKey | None
    pump: PumpId | None
    from_at: Annotated[At | None, Field(alias="from")]
    to_at: Annotated[At | None, Field(alias="to")]
    because: str | None
    hours: WholeHours | None
    jobs: list[JobKey]
    assumed: bool
    says: Sentence


class TierShown(AnswerModel):
    """A tier of the plan: what was reached, and what can be reached at best."""

    tier: int
    name: str
    value: int
    bound: Quantity
    proven: bool


class CertificateShown(AnswerModel):
    """By what a plan was made, and what is proven of it."""

    by: str
    solver: str
    proven: bool
    tiers: list[TierShown]
    remarks: list[Sentence]


class PlanShown(Period):
    """A plan: slots, shortfalls, least margin and certificate."""

    digest: PlanDigest
    problem_digest: Annotated[str, Field(description="SHA-256 of the problem that it answers, 64 hex digits")]
    made_at: At
    taken_at: At | None
    version: VersionNumber
    lawful: bool
    least_margin_swept_m3_per_h: SweptFlow | None
    least_at: At | None
    slots: list[SlotShown]
    one_more_failure: OneMoreFailure
    shortfalls: list[ShortfallShown]
    facts: list[PlanFactShown]
    certificate: CertificateShown


class SlotDifferenceShown(AnswerModel):
    """What taking the proposed plan changes of a job. null: it has no place there."""

    job: JobKey
    from_at: Annotated[At | None, Field(alias="from")]
    to_at: Annotated[At | None, Field(alias="to")]


class PlansAnswer(AnswerModel):
    """The taken and the proposed plan; null where there is none."""

    plant: PlantId
    planning_since: Annotated[
        At | None, Field(description="since when a newer plan is asked for and not made yet; null: none is")
    ]
    taken: PlanShown | None
    proposed: PlanShown | None
    differences: list[SlotDifferenceShown]


class PlanTakenAnswer(AnswerModel):
    """The proposed plan is taken."""

    plant: PlantId
    digest: PlanDigest
    slots: Annotated[int, Field(description="how many jobs have a slot")]
    record: RecordNumber


class OutlookAnswer(AnswerModel):
    """A plan far ahead, worked out now and not stored."""

    plant: PlantId
    days: Annotated[int, Field(description="days ahead")]
    outlook: bool
    says: Sentence
    plan: PlanShown


class ForbiddenStarts(Period):
    """Starts that are not possible, and what forbids them."""

    starts: Annotated[int, Field(description="how many starts, whole hours")]
    code: Annotated[str, Field(description="what forbids them, as a word for machines")]
    reason: Sentence
    lacking_swept_m3_per_h: SweptFlow


class ReliefShown(AnswerModel):
    """What would help, tried by planning again, with its price."""

    kind: str
    says: Sentence
    price: Sentence


class PlaceReasonAnswer(AnswerModel):
    """Why a job stands where it stands in a plan."""

    plant: PlantId
    plan: PlanDigest
    job: JobKey
    name: str
    days_late: Annotated[int | None, Field(description="days; null: it has no place")]
    placed: bool
    reasons: list[Sentence]
    forbidden: list[ForbiddenStarts]
    blocked: Annotated[list[Sentence], Field(description="what forbids other starts, each thing once")]
    reliefs: list[ReliefShown]


class OfferedStart(AnswerModel):
    """A start that holds. as_planned: it stands there now."""

    start_at: At
    ends_at: At
    least_margin_swept_m3_per_h: SweptFlow | None
    as_planned: bool


class SlotTimesAnswer(AnswerModel):
    """Whether a slot would hold at another time."""

    plant: PlantId
    plan: PlanDigest
    version: VersionNumber
    job: JobKey
    name: str
    along: Annotated[list[JobKey], Field(description="jobs on the same isolation, which go along")]
    from_at: Annotated[At | None, Field(alias="from", description="where it starts now")]
    start_at: At
    ends_at: At
    holds: bool
    against: list[Sentence]
    cautions: list[Sentence]
    least_margin_swept_m3_per_h: SweptFlow | None
    times: list[OfferedStart]


MoveNumber = Annotated[int, Field(description="number of the move")]


class SlotMovedAnswer(AnswerModel):
    """A slot is moved or put back. undoes_record: only of an undo."""

    move: MoveNumber
    record: RecordNumber
    undoes_record: RecordNumber = 0
    plan: PlanDigest
    version: VersionNumber
    says: Sentence
    cautions: list[Sentence]


class MoveShown(AnswerModel):
    """A move by hand."""

    move: MoveNumber
    job: JobKey
    along: Annotated[list[JobKey], Field(description="jobs on the same isolation, which went along")]
    from_at: At
    to_at: At
    by: PersonName
    at: At
    reason: str
    record: RecordNumber
    undone_by: PersonName | None
    undone_at: At | None
    can_undo: bool


class MovesAnswer(AnswerModel):
    """Newest first."""

    plant: PlantId
    moves: list[MoveShown]


class LadderRung(AnswerModel):
    """A pump on the ladder of hours left to the next overhaul."""

    position: PositionName
    pump: PumpId
    left_hours: HoursRun
    rung_hours: Annotated[HoursRun, Field(description="running hours it should have left")]
    above_hours: Annotated[HoursRun, Field(description="running hours left above its rung")]
    h_per_day: Annotated[HoursPerDay, Field(description="running hours a day that are advised")]
    now_h_per_day: Annotated[HoursPerDay, Field(description="running hours a day at present")]


class PositionNotAdvised(AnswerModel):
    """A pump that no advice is given for, and why."""

    position: PositionName
    because: Sentence


class PlanDiffers(AnswerModel):
    """Two pumps that the taken plan opens in another order than their hours left."""

    first: PositionName
    before: PositionName


class LeadOrderAnswer(AnswerModel):
    """Advice on which pump should lead next."""

    plant: PlantId
    by: Annotated[str, Field(description="job kind whose interval the ladder goes by")]
    interval_running_hours: HoursRun
    ladder: list[LadderRung]
    near: Annotated[bool, Field(description="the pumps stand on their rungs")]
    gap_days: Annotated[int | None, Field(description="days from one overhaul to the next, as expected")]
    bunched: Annotated[list[PositionName], Field(description="pumps that fall due within 30 days of each other")]
    pump_hours_per_day: Annotated[Quantity | None, Field(description="running hours a day of all pumps")]
    pump_hours_per_day_before: Annotated[
        Quantity | None, Field(description="running hours a day of all pumps, in the period before")
    ]
    change_percent: Annotated[Quantity | None, Field(description="%")]
    not_advised: list[PositionNotAdvised]
    plan_differs: list[PlanDiffers]
    says: Sentence


class LeadOrderSetAnswer(AnswerModel):
    """A change of lead order is recorded."""

    plant: PlantId
    order: Annotated[list[PositionName], Field(description="the one that leads first")]
    at: At
    by: PersonName
    record: RecordNumber
