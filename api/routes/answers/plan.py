"""Answers about plans: taken and proposed, an outlook, why a job stands where it stands, moves by hand, lead order."""

from typing import Annotated

from pydantic import Field

from api.routes.shared import shapes


class Period(shapes.AnswerModel):
    """From when to when."""

    from_at: Annotated[shapes.At, Field(alias="from")]
    to_at: Annotated[shapes.At, Field(alias="to")]


class SlotShown(Period):
    """When a job is done by a plan. pump: null where no pump is out for it."""

    job: shapes.JobKey
    job_name: str | None
    name: Annotated[str, Field(description="the job as people say it")]
    pump: shapes.PumpId | None
    least_margin_swept_m3_per_h: shapes.SweptFlow
    isolation_of: Annotated[shapes.JobKey | None, Field(description="the job on whose isolation it is done")]
    set_by_hand_by: shapes.PersonName | None
    plus_minus_days: Annotated[int, Field(description="days either way, while its date rests on a forecast")]


class OneMoreFailure(shapes.AnswerModel):
    """How long the minimum would hold with one more pump down."""

    hours: shapes.WholeHours
    hours_at_minimum: shapes.WholeHours
    hours_covered: shapes.WholeHours
    hours_the_plan_uncovers: shapes.WholeHours
    hours_no_date_can_help: shapes.WholeHours
    when_the_plan_uncovers: list[Period]
    when_no_date_can_help: list[Period]


class ShortfallShown(shapes.AnswerModel):
    """A job without a place, or a time at which the minimum does not hold."""

    job: shapes.JobKey | None
    name: str | None
    pump: shapes.PumpId | None
    when: list[Period]
    lacking_swept_m3_per_h: shapes.SweptFlow
    code: Annotated[str, Field(description="what it is, as a word for machines")]
    says: shapes.Sentence


class PlanFactShown(shapes.AnswerModel):
    """Something that the plan rests on."""

    code: str
    job: shapes.JobKey | None
    pump: shapes.PumpId | None
    from_at: Annotated[shapes.At | None, Field(alias="from")]
    to_at: Annotated[shapes.At | None, Field(alias="to")]
    because: str | None
    hours: shapes.WholeHours | None
    jobs: list[shapes.JobKey]
    assumed: bool
    says: shapes.Sentence


class TierShown(shapes.AnswerModel):
    """A tier of the plan: what was reached, and what can be reached at best."""

    tier: int
    name: str
    value: int
    bound: shapes.Quantity
    proven: bool


class CertificateShown(shapes.AnswerModel):
    """By what a plan was made, and what is proven of it."""

    by: str
    solver: str
    proven: bool
    tiers: list[TierShown]
    remarks: list[shapes.Sentence]


class PlanShown(Period):
    """A plan: slots, shortfalls, least margin and certificate."""

    digest: shapes.PlanDigest
    problem_digest: Annotated[str, Field(description="SHA-256 of the problem that it answers, 64 hex digits")]
    made_at: shapes.At
    taken_at: shapes.At | None
    version: shapes.VersionNumber
    lawful: bool
    least_margin_swept_m3_per_h: shapes.SweptFlow | None
    least_at: shapes.At | None
    slots: list[SlotShown]
    one_more_failure: OneMoreFailure
    shortfalls: list[ShortfallShown]
    facts: list[PlanFactShown]
    certificate: CertificateShown


class SlotDifferenceShown(shapes.AnswerModel):
    """What taking the proposed plan changes of a job. null: it has no place there."""

    job: shapes.JobKey
    from_at: Annotated[shapes.At | None, Field(alias="from")]
    to_at: Annotated[shapes.At | None, Field(alias="to")]


class PlansAnswer(shapes.AnswerModel):
    """The taken and the proposed plan; null where there is none."""

    plant: shapes.PlantId
    planning_since: Annotated[
        shapes.At | None, Field(description="since when a newer plan is asked for and not made yet; null: none is")
    ]
    taken: PlanShown | None
    proposed: PlanShown | None
    differences: list[SlotDifferenceShown]


class PlanTakenAnswer(shapes.AnswerModel):
    """The proposed plan is taken."""

    plant: shapes.PlantId
    digest: shapes.PlanDigest
    slots: Annotated[int, Field(description="how many jobs have a slot")]
    record: shapes.RecordNumber


class OutlookAnswer(shapes.AnswerModel):
    """A plan far ahead, worked out now and not stored."""

    plant: shapes.PlantId
    days: Annotated[int, Field(description="days ahead")]
    outlook: bool
    says: shapes.Sentence
    plan: PlanShown


class ForbiddenStarts(Period):
    """Starts that are not possible, and what forbids them."""

    starts: Annotated[int, Field(description="how many starts, whole hours")]
    code: Annotated[str, Field(description="what forbids them, as a word for machines")]
    reason: shapes.Sentence
    lacking_swept_m3_per_h: shapes.SweptFlow


class ReliefShown(shapes.AnswerModel):
    """What would help, tried by planning again, with its price."""

    kind: str
    says: shapes.Sentence
    price: shapes.Sentence


class PlaceReasonAnswer(shapes.AnswerModel):
    """Why a job stands where it stands in a plan."""

    plant: shapes.PlantId
    plan: shapes.PlanDigest
    job: shapes.JobKey
    name: str
    days_late: Annotated[int | None, Field(description="days; null: it has no place")]
    placed: bool
    reasons: list[shapes.Sentence]
    forbidden: list[ForbiddenStarts]
    blocked: Annotated[list[shapes.Sentence], Field(description="what forbids other starts, each thing once")]
    reliefs: list[ReliefShown]


class OfferedStart(shapes.AnswerModel):
    """A start that holds. as_planned: it stands there now."""

    start_at: shapes.At
    ends_at: shapes.At
    least_margin_swept_m3_per_h: shapes.SweptFlow | None
    as_planned: bool


class SlotTimesAnswer(shapes.AnswerModel):
    """Whether a slot would hold at another time."""

    plant: shapes.PlantId
    plan: shapes.PlanDigest
    version: shapes.VersionNumber
    job: shapes.JobKey
    name: str
    along: Annotated[list[shapes.JobKey], Field(description="jobs on the same isolation, which go along")]
    from_at: Annotated[shapes.At | None, Field(alias="from", description="where it starts now")]
    start_at: shapes.At
    ends_at: shapes.At
    holds: bool
    against: list[shapes.Sentence]
    cautions: list[shapes.Sentence]
    least_margin_swept_m3_per_h: shapes.SweptFlow | None
    times: list[OfferedStart]


MoveNumber = Annotated[int, Field(description="number of the move")]


class SlotMovedAnswer(shapes.AnswerModel):
    """A slot is moved or put back. undoes_record: only of an undo."""

    move: MoveNumber
    record: shapes.RecordNumber
    undoes_record: shapes.RecordNumber = 0
    plan: shapes.PlanDigest
    version: shapes.VersionNumber
    says: shapes.Sentence
    cautions: list[shapes.Sentence]


class MoveShown(shapes.AnswerModel):
    """A move by hand."""

    move: MoveNumber
    job: shapes.JobKey
    along: Annotated[list[shapes.JobKey], Field(description="jobs on the same isolation, which went along")]
    from_at: shapes.At
    to_at: shapes.At
    by: shapes.PersonName
    at: shapes.At
    reason: str
    record: shapes.RecordNumber
    undone_by: shapes.PersonName | None
    undone_at: shapes.At | None
    can_undo: bool


class MovesAnswer(shapes.AnswerModel):
    """Newest first."""

    plant: shapes.PlantId
    moves: list[MoveShown]


class LadderRung(shapes.AnswerModel):
    """A pump on the ladder of hours left to the next overhaul."""

    position: shapes.PositionName
    pump: shapes.PumpId
    left_hours: shapes.HoursRun
    rung_hours: Annotated[shapes.HoursRun, Field(description="running hours it should have left")]
    above_hours: Annotated[shapes.HoursRun, Field(description="running hours left above its rung")]
    h_per_day: Annotated[shapes.HoursPerDay, Field(description="running hours a day that are advised")]
    now_h_per_day: Annotated[shapes.HoursPerDay, Field(description="running hours a day at present")]


class PositionNotAdvised(shapes.AnswerModel):
    """A pump that no advice is given for, and why."""

    position: shapes.PositionName
    because: shapes.Sentence


class PlanDiffers(shapes.AnswerModel):
    """Two pumps that the taken plan opens in another order than their hours left."""

    first: shapes.PositionName
    before: shapes.PositionName


class LeadOrderAnswer(shapes.AnswerModel):
    """Advice on which pump should lead next."""

    plant: shapes.PlantId
    by: Annotated[str, Field(description="job kind whose interval the ladder goes by")]
    interval_running_hours: shapes.HoursRun
    ladder: list[LadderRung]
    near: Annotated[bool, Field(description="the pumps stand on their rungs")]
    gap_days: Annotated[int | None, Field(description="days from one overhaul to the next, as expected")]
    bunched: Annotated[list[shapes.PositionName], Field(description="pumps that fall due within 30 days of each other")]
    pump_hours_per_day: Annotated[shapes.Quantity | None, Field(description="running hours a day of all pumps")]
    pump_hours_per_day_before: Annotated[
        shapes.Quantity | None, Field(description="running hours a day of all pumps, in the period before")
    ]
    change_percent: Annotated[shapes.Quantity | None, Field(description="%")]
    not_advised: list[PositionNotAdvised]
    plan_differs: list[PlanDiffers]
    says: shapes.Sentence


class LeadOrderSetAnswer(shapes.AnswerModel):
    """A change of lead order is recorded."""

    plant: shapes.PlantId
    order: Annotated[list[shapes.PositionName], Field(description="the one that leads first")]
    at: shapes.At
    by: shapes.PersonName
    record: shapes.RecordNumber
