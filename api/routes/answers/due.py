"""Answers about due jobs: their dates and why, dates that moved, postponements, first dates, part dates, dry dock."""

from datetime import timedelta
from typing import Annotated, Self

from pydantic import Field

from api.routes.shared.shapes import (
    AnswerModel,
    At,
    Day,
    Days,
    HoursPerDay,
    HoursRun,
    JobKey,
    KindCode,
    PersonName,
    PlantId,
    PositionId,
    PositionName,
    PumpId,
    RecordNumber,
    Sentence,
    VesselId,
    WholeHours,
    hours_of,
    offset_text,
    z,
)
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.published import MovedDate
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.wording.due import date_words, to_go_words
from scheduler.wording.hours import counter_line

TriggerWord = Annotated[str, Field(description="which of running hours and calendar comes first")]
DueAt = Annotated[At, Field(description="due point: the earlier of the calendar's and the likely date of the hours")]
LimitAt = Annotated[At | None, Field(description="when it must be done at the latest; null: there is no limit")]
EarlyAt = Annotated[At | None, Field(description="no earlier than this are the hours reached, as the forecast goes")]
LikelyAt = Annotated[At | None, Field(description="when the hours are likely reached")]
LateAt = Annotated[At | None, Field(description="no later than this are the hours reached, as the forecast goes")]
WindowAt = Annotated[At, Field(description="from when it may be done")]


class ForecastDates(AnswerModel):
    """The dates of a job. early, likely, late: null without an interval in running hours."""

    trigger: TriggerWord
    due_at: DueAt
    window_opens_at: WindowAt
    limit_at: LimitAt
    early_at: EarlyAt
    likely_at: LikelyAt
    late_at: LateAt


class PublishedForecast(ForecastDates):
    """The dates as page and calendar show them. since: published then; null: not yet."""

    since: At | None


class DateReason(AnswerModel):
    """What a due date rests on, and the sentence that says it."""

    sentence: Sentence
    to_go: Sentence
    first_reached_by: TriggerWord
    other_at: Annotated[At | None, Field(description="the point of the one that comes second")]
    days_left: Days
    running_hours_left: Annotated[HoursRun | None, Field(description="running hours; negative beyond the point")]
    h_per_day: HoursPerDay | None
    h_per_sea_day: Annotated[HoursPerDay | None, Field(description="running hours a day at sea")]
    look_back_days: Annotated[int | None, Field(description="days that the forecast looks back over")]
    past_runs: Annotated[int | None, Field(description="days of which the forecast knows")]
    calendar_used: Annotated[bool | None, Field(description="the forecast goes by the operating calendar")]
    standing: Annotated[bool | None, Field(description="the pump does not run at present")]
    hours_as_of: At | None
    estimated: bool
    may_miss_running_hours: Annotated[HoursRun, Field(description="running hours that no counter told of, at most")]
    projected: Annotated[bool, Field(description="the hours were carried on from `hours_as_of` at the usual rate")]


class DueJobAnswer(AnswerModel):
    """A due job in full. Its dates are those published, as page and calendar show them; `reckoned` has those of now."""

    job: JobKey
    kind: KindCode
    name: str
    subject: Annotated[str, Field(description="id of the plant, position, pump or part that it is of")]
    sequence: Annotated[int, Field(description="1 for the first time this job falls due, and so on")]
    position: PositionId | None
    position_name: Annotated[PositionName, Field(description="name of the position, or of the plant")]
    pump: PumpId | None
    state: str
    open: Annotated[bool, Field(description="false: a turn after the open one, resting on that being done as due")]
    trigger: TriggerWord
    due_at: DueAt
    window_opens_at: WindowAt
    limit_at: LimitAt
    early_at: EarlyAt
    likely_at: LikelyAt
    late_at: LateAt
    published: PublishedForecast
    reckoned: ForecastDates
    days_left: Days
    calendar_due_at: Annotated[At | None, Field(description="due point of the calendar interval")]
    due_running_hours: Annotated[HoursRun | None, Field(description="running hours of its subject when it falls due")]
    limit_running_hours: Annotated[HoursRun | None, Field(description="running hours at which it must be done")]
    running_hours_left: Annotated[HoursRun | None, Field(description="running hours; negative beyond the point")]
    projected_running_hours_left: Annotated[
        HoursRun | None, Field(description="running hours likely left now, while the counter is silent")
    ]
    counter_shows: Annotated[
        float | None, Field(description="newest counted value of the counter it goes by, in its own counts")
    ]
    due_at_counter: Annotated[
        float | None, Field(description="what that counter shows when it falls due, rounded down")
    ]
    counter_line: Annotated[Sentence, Field(description="the same in words, with hours since; empty without hours")]
    h_per_day: HoursPerDay | None
    hours_as_of: At | None
    estimated: bool
    postponed_to: At | None
    renewed_by: Annotated[JobKey | None, Field(description="key of the job that is due first and renews this one")]
    takes_hours: WholeHours
    hands: Annotated[int, Field(description="people it takes")]
    takes_pump_out: bool
    caution: Sentence
    why: DateReason

    @classmethod
    def of(cls, now: PlantState, job: DueJob) -> Self:
        """From the due job and the plant's state."""
        return cls.model_validate(due_members(now, job))


def due_members(now: PlantState, job: DueJob) -> dict[str, object]:
    """What is told of a due job wherever it stands."""
    seen, posted = now.as_shown(job), now.posted.get(job.job_id.key)
    shown = _dates(seen)
    left = job.running_seconds_left
    figure = None if left is None else now.counter_figure(job.position)
    due_milli = None if left is None or figure is None else figure.after(left)
    return {
        "job": job.job_id.key,
        "kind": job.job_id.kind,
        "name": job.kind_name,
        "subject": job.job_id.subject,
        "sequence": job.job_id.sequence,
        "position": job.position,
        "position_name": now.position_name(job.position),
        "pump": job.pump,
        "state": job.state.value,
        "open": job.first,
        **shown,
        "published": {**shown, "since": None if posted is None else z(posted.new.since_at)},
        "reckoned": _dates(job),
        "days_left": round((seen.due_at - now.at) / timedelta(days=1), 1),
        "calendar_due_at": z(job.calendar_due_at),
        "due_running_hours": hours_of(job.due_running_seconds),
        "limit_running_hours": hours_of(job.limit_running_seconds),
        "running_hours_left": hours_of(job.running_seconds_left),
        "projected_running_hours_left": hours_of(job.projected_seconds_left),
        "counter_shows": None if figure is None else figure.value_milli / 1000,
        "due_at_counter": None if due_milli is None else due_milli / 1000,
        "counter_line": counter_line(figure, job),
        "h_per_day": round(job.forecast.h_per_day, 2) if job.forecast else None,
        "hours_as_of": z(job.hours_as_of),
        "estimated": job.estimated,
        "postponed_to": z(job.postponed_to),
        "renewed_by": job.renewed_by,
        "takes_hours": job.takes_hours,
        "hands": job.hands,
        "takes_pump_out": job.takes_pump_out,
        "caution": caution_line(now.plant.kind(job.job_id.kind)),
        "why": _why(now, seen),
    }


def _why(now: PlantState, shown: DueJob) -> DateReason:
    why = explain_date(shown, now.at)
    job, seen = why.job, why.job.forecast
    return DateReason(
        sentence=date_words(why, now.offset_minutes),
        to_go=to_go_words(why, now.offset_minutes),
        first_reached_by=job.trigger.value,
        other_at=z(why.other_at),
        days_left=round(why.days_left, 1),
        running_hours_left=hours_of(job.running_seconds_left),
        h_per_day=round(seen.h_per_day, 2) if seen else None,
        h_per_sea_day=round(seen.h_per_sea_day, 2) if seen and seen.h_per_sea_day is not None else None,
        look_back_days=seen.look_back_days if seen else None,
        past_runs=seen.runs if seen else None,
        calendar_used=seen.h_per_sea_day is not None if seen else None,
        standing=seen.idle if seen else None,
        hours_as_of=z(job.hours_as_of),
        estimated=job.estimated,
        may_miss_running_hours=round(job.may_miss_seconds / 3600, 2),
        projected=why.projected,
    )


def _dates(job: DueJob) -> dict[str, object]:
    forecast = job.forecast
    return {
        "trigger": job.trigger.value,
        "due_at": z(job.due_at),
        "window_opens_at": z(job.window_opens_at),
        "limit_at": z(job.limit_at),
        "early_at": z(forecast.early_at) if forecast else None,
        "likely_at": z(forecast.likely_at) if forecast else None,
        "late_at": z(forecast.late_at) if forecast else None,
    }


class DueAnswer(AnswerModel):
    """The due jobs of a plant."""

    plant: PlantId
    at: At
    ship_offset: Annotated[str, Field(description="the ship's clock ahead of UTC", examples=["+01:00"])]
    hours_as_of: At | None
    jobs: list[DueJobAnswer]

    @classmethod
    def of(cls, now: PlantState, *, outlook: bool) -> Self:
        """outlook: also the turns after the open ones."""
        return cls(
            plant=now.plant.id,
            at=z(now.at),
            ship_offset=offset_text(now.offset_minutes),
            hours_as_of=z(now.hours_as_of()),
            jobs=[DueJobAnswer.of(now, job) for job in now.jobs if job.first or outlook],
        )


class MovedPoint(AnswerModel):
    """The dates on one side of a move."""

    due_at: DueAt
    early_at: EarlyAt
    late_at: LateAt


class MovedDateShown(AnswerModel):
    """Published dates that moved: from which to which, when, and why."""

    number: Annotated[int, Field(description="in the order in which they moved")]
    job: JobKey
    open: bool
    cause: str
    at: At
    from_dates: Annotated[MovedPoint, Field(alias="from")]
    to_dates: Annotated[MovedPoint, Field(alias="to")]

    @classmethod
    def of(cls, moved: MovedDate) -> Self:
        """From the move as stored."""
        return cls.model_validate(
            {
                "number": moved.number,
                "job": moved.job,
                "open": moved.open,
                "cause": moved.cause.value,
                "at": z(moved.at),
                "from": MovedPoint(
                    due_at=z(moved.from_due_at), early_at=z(moved.from_early_at), late_at=z(moved.from_late_at)
                ),
                "to": MovedPoint(due_at=z(moved.to_due_at), early_at=z(moved.to_early_at), late_at=z(moved.to_late_at)),
            }
        )


class MovedDatesAnswer(AnswerModel):
    """In the order in which they moved."""

    plant: PlantId
    moved: list[MovedDateShown]
    next: Annotated[int, Field(description="send it as `since` next time")]


PostponementNumber = Annotated[int, Field(description="number of the postponement")]


class PostponementShown(AnswerModel):
    """A postponement asked for, and what was decided."""

    postponement: PostponementNumber
    job: JobKey
    limit_at: Annotated[At, Field(description="the limit without it")]
    to_at: Annotated[At, Field(description="the limit with it")]
    reason: str
    risk: str
    mitigation: str
    asked_by: PersonName
    asked_at: At
    state: Annotated[str, Field(description="asked, granted or refused")]
    decided_by: PersonName | None
    decided_as: str
    entered_by: str
    decided_at: At | None
    note: str
    class_agreed: Annotated[str, Field(description="the class's agreement, for a class item")]


class PostponementsAnswer(AnswerModel):
    """Newest first."""

    vessel: VesselId
    postponements: list[PostponementShown]


class PostponementAskedAnswer(AnswerModel):
    """A postponement is asked for; another person decides."""

    postponement: PostponementNumber
    job: JobKey
    record: RecordNumber
    says: Sentence


class PostponementDecidedAnswer(AnswerModel):
    """A postponement is granted or refused."""

    postponement: PostponementNumber
    job: JobKey
    granted: bool
    record: RecordNumber


class FirstDateAnswer(AnswerModel):
    """The first date of a job is set, or, of a critical kind, asked for."""

    job: JobKey
    first_due_on: Day
    record: RecordNumber
    says: Annotated[str | None, Field(description="what it still takes")] = None


class PartDateAnswer(AnswerModel):
    """From when the parts of a job are aboard. null: no date is given."""

    job: JobKey
    parts_from: Day | None
    before: Annotated[Day | None, Field(description="the date given before")]
    record: RecordNumber


class DockJob(AnswerModel):
    """A job that is better done in dock."""

    job: JobKey
    name: str
    due_at: DueAt
    takes_hours: WholeHours


class DockBatch(AnswerModel):
    """Jobs chosen for a stay in dock."""

    batch: Annotated[int, Field(description="number of the batch")]
    from_at: At
    to_at: At
    jobs: list[JobKey]
    chosen_by: PersonName
    withdrawn_by: PersonName | None
    withdrawn_at: At | None


class DockBatchAnswer(DockBatch):
    """A batch as chosen or taken back."""

    record: RecordNumber


class DockChoicesAnswer(AnswerModel):
    """What is better done in dock, and the batches chosen."""

    plant: PlantId
    from_at: At
    to_at: At
    without_minimum: Annotated[bool, Field(description="no minimum above 0 holds in these days")]
    jobs: list[DockJob]
    batches: list[DockBatch]
