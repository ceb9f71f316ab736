"""Answers about due jobs: their dates and why, dates that moved, postponements, first dates, part dates, dry dock."""

from datetime import timedelta
from typing import Annotated, Self

from pydantic import Field

from api.routes.shared import shapes
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.published import MovedDate
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.wording.due import date_words, to_go_words
from scheduler.wording.hours import counter_line

TriggerWord = Annotated[str, Field(description="which of running hours and calendar comes first")]
DueAt = Annotated[
    shapes.At, Field(description="due point: the earlier of the calendar's and the likely date of the hours")
]
LimitAt = Annotated[shapes.At | None, Field(description="when it must be done at the latest; null: there is no limit")]
EarlyAt = Annotated[
    shapes.At | None, Field(description="no earlier than this are the hours reached, as the forecast goes")
]
LikelyAt = Annotated[shapes.At | None, Field(description="when the hours are likely reached")]
LateAt = Annotated[
    shapes.At | None, Field(description="no later than this are the hours reached, as the forecast goes")
]
WindowAt = Annotated[shapes.At, Field(description="from when it may be done")]


class ForecastDates(shapes.AnswerModel):
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

    since: shapes.At | None


class DateReason(shapes.AnswerModel):
    """What a due date rests on, and the sentence that says it."""

    sentence: shapes.Sentence
    to_go: shapes.Sentence
    first_reached_by: TriggerWord
    other_at: Annotated[shapes.At | None, Field(description="the point of the one that comes second")]
    days_left: shapes.Days
    running_hours_left: Annotated[shapes.HoursRun | None, Field(description="running hours; negative beyond the point")]
    h_per_day: shapes.HoursPerDay | None
    h_per_sea_day: Annotated[shapes.HoursPerDay | None, Field(description="running hours a day at sea")]
    look_back_days: Annotated[int | None, Field(description="days that the forecast looks back over")]
    past_runs: Annotated[int | None, Field(description="days of which the forecast knows")]
    calendar_used: Annotated[bool | None, Field(description="the forecast goes by the operating calendar")]
    standing: Annotated[bool | None, Field(description="the pump does not run at present")]
    hours_as_of: shapes.At | None
    estimated: bool
    may_miss_running_hours: Annotated[
        shapes.HoursRun, Field(description="running hours that no counter told of, at most")
    ]
    projected: Annotated[bool, Field(description="the hours were carried on from `hours_as_of` at the usual rate")]


class DueJobAnswer(shapes.AnswerModel):
    """A due job in full. Its dates are those published, as page and calendar show them; `reckoned` has those of now."""

    job: shapes.JobKey
    kind: shapes.KindCode
    name: str
    subject: Annotated[str, Field(description="id of the plant, position, pump or part that it is of")]
    sequence: Annotated[int, Field(description="1 for the first time this job falls due, and so on")]
    position: shapes.PositionId | None
    position_name: Annotated[shapes.PositionName, Field(description="name of the position, or of the plant")]
    pump: shapes.PumpId | None
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
    days_left: shapes.Days
    calendar_due_at: Annotated[shapes.At | None, Field(description="due point of the calendar interval")]
    due_running_hours: Annotated[
        shapes.HoursRun | None, Field(description="running hours of its subject when it falls due")
    ]
    limit_running_hours: Annotated[shapes.HoursRun | None, Field(description="running hours at which it must be done")]
    running_hours_left: Annotated[shapes.HoursRun | None, Field(description="running hours; negative beyond the point")]
    projected_running_hours_left: Annotated[
        shapes.HoursRun | None, Field(description="running hours likely left now, while the counter is silent")
    ]
    counter_shows: Annotated[
        float | None, Field(description="newest counted value of the counter it goes by, in its own counts")
    ]
    due_at_counter: Annotated[
        float | None, Field(description="what that counter shows when it falls due, rounded down")
    ]
    counter_line: Annotated[
        shapes.Sentence, Field(description="the same in words, with hours since; empty without hours")
    ]
    h_per_day: shapes.HoursPerDay | None
    hours_as_of: shapes.At | None
    estimated: bool
    postponed_to: shapes.At | None
    renewed_by: Annotated[
        shapes.JobKey | None, Field(description="key of the job that is due first and renews this one")
    ]
    takes_hours: shapes.WholeHours
    hands: Annotated[int, Field(description="people it takes")]
    takes_pump_out: bool
    caution: shapes.Sentence
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
        "published": {**shown, "since": None if posted is None else shapes.z(posted.new.since_at)},
        "reckoned": _dates(job),
        "days_left": round((seen.due_at - now.at) / timedelta(days=1), 1),
        "calendar_due_at": shapes.z(job.calendar_due_at),
        "due_running_hours": shapes.hours_of(job.due_running_seconds),
        "limit_running_hours": shapes.hours_of(job.limit_running_seconds),
        "running_hours_left": shapes.hours_of(job.running_seconds_left),
        "projected_running_hours_left": shapes.hours_of(job.projected_seconds_left),
        "counter_shows": None if figure is None else figure.value_milli / 1000,
        "due_at_counter": None if due_milli is None else due_milli / 1000,
        "counter_line": counter_line(figure, job),
        "h_per_day": round(job.forecast.h_per_day, 2) if job.forecast else None,
        "hours_as_of": shapes.z(job.hours_as_of),
        "estimated": job.estimated,
        "postponed_to": shapes.z(job.postponed_to),
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
        other_at=shapes.z(why.other_at),
        days_left=round(why.days_left, 1),
        running_hours_left=shapes.hours_of(job.running_seconds_left),
        h_per_day=round(seen.h_per_day, 2) if seen else None,
        h_per_sea_day=round(seen.h_per_sea_day, 2) if seen and seen.h_per_sea_day is not None else None,
        look_back_days=seen.look_back_days if seen else None,
        past_runs=seen.runs if seen else None,
        calendar_used=seen.h_per_sea_day is not None if seen else None,
        standing=seen.idle if seen else None,
        hours_as_of=shapes.z(job.hours_as_of),
        estimated=job.estimated,
        may_miss_running_hours=round(job.may_miss_seconds / 3600, 2),
        projected=why.projected,
    )


def _dates(job: DueJob) -> dict[str, object]:
    forecast = job.forecast
    return {
        "trigger": job.trigger.value,
        "due_at": shapes.z(job.due_at),
        "window_opens_at": shapes.z(job.window_opens_at),
        "limit_at": shapes.z(job.limit_at),
        "early_at": shapes.z(forecast.early_at) if forecast else None,
        "likely_at": shapes.z(forecast.likely_at) if forecast else None,
        "late_at": shapes.z(forecast.late_at) if forecast else None,
    }


class DueAnswer(shapes.AnswerModel):
    """The due jobs of a plant."""

    plant: shapes.PlantId
    at: shapes.At
    ship_offset: Annotated[str, Field(description="the ship's clock ahead of UTC", examples=["+01:00"])]
    hours_as_of: shapes.At | None
    jobs: list[DueJobAnswer]

    @classmethod
    def of(cls, now: PlantState, *, outlook: bool) -> Self:
        """outlook: also the turns after the open ones."""
        return cls(
            plant=now.plant.id,
            at=shapes.z(now.at),
            ship_offset=shapes.offset_text(now.offset_minutes),
            hours_as_of=shapes.z(now.hours_as_of()),
            jobs=[DueJobAnswer.of(now, job) for job in now.jobs if job.first or outlook],
        )


class MovedPoint(shapes.AnswerModel):
    """The dates on one side of a move."""

    due_at: DueAt
    early_at: EarlyAt
    late_at: LateAt


class MovedDateShown(shapes.AnswerModel):
    """Published dates that moved: from which to which, when, and why."""

    number: Annotated[int, Field(description="in the order in which they moved")]
    job: shapes.JobKey
    open: bool
    cause: str
    at: shapes.At
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
                "at": shapes.z(moved.at),
                "from": MovedPoint(
                    due_at=shapes.z(moved.from_due_at),
                    early_at=shapes.z(moved.from_early_at),
                    late_at=shapes.z(moved.from_late_at),
                ),
                "to": MovedPoint(
                    due_at=shapes.z(moved.to_due_at),
                    early_at=shapes.z(moved.to_early_at),
                    late_at=shapes.z(moved.to_late_at),
                ),
            }
        )


class MovedDatesAnswer(shapes.AnswerModel):
    """In the order in which they moved."""

    plant: shapes.PlantId
    moved: list[MovedDateShown]
    next: Annotated[int, Field(description="send it as `since` next time")]


PostponementNumber = Annotated[int, Field(description="number of the postponement")]


class PostponementShown(shapes.AnswerModel):
    """A postponement asked for, and what was decided."""

    postponement: PostponementNumber
    job: shapes.JobKey
    limit_at: Annotated[shapes.At, Field(description="the limit without it")]
    to_at: Annotated[shapes.At, Field(description="the limit with it")]
    reason: str
    risk: str
    mitigation: str
    asked_by: shapes.PersonName
    asked_at: shapes.At
    state: Annotated[str, Field(description="asked, granted or refused")]
    decided_by: shapes.PersonName | None
    decided_as: str
    entered_by: str
    decided_at: shapes.At | None
    note: str
    class_agreed: Annotated[str, Field(description="the class's agreement, for a class item")]


class PostponementsAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    postponements: list[PostponementShown]


class PostponementAskedAnswer(shapes.AnswerModel):
    """A postponement is asked for; another person decides."""

    postponement: PostponementNumber
    job: shapes.JobKey
    record: shapes.RecordNumber
    says: shapes.Sentence


class PostponementDecidedAnswer(shapes.AnswerModel):
    """A postponement is granted or refused."""

    postponement: PostponementNumber
    job: shapes.JobKey
    granted: bool
    record: shapes.RecordNumber


class FirstDateAnswer(shapes.AnswerModel):
    """The first date of a job is set, or, of a critical kind, asked for."""

    job: shapes.JobKey
    first_due_on: shapes.Day
    record: shapes.RecordNumber
    says: Annotated[str | None, Field(description="what it still takes")] = None


class PartDateAnswer(shapes.AnswerModel):
    """From when the parts of a job are aboard. null: no date is given."""

    job: shapes.JobKey
    parts_from: shapes.Day | None
    before: Annotated[shapes.Day | None, Field(description="the date given before")]
    record: shapes.RecordNumber


class DockJob(shapes.AnswerModel):
    """A job that is better done in dock."""

    job: shapes.JobKey
    name: str
    due_at: DueAt
    takes_hours: shapes.WholeHours


class DockBatch(shapes.AnswerModel):
    """Jobs chosen for a stay in dock."""

    batch: Annotated[int, Field(description="number of the batch")]
    from_at: shapes.At
    to_at: shapes.At
    jobs: list[shapes.JobKey]
    chosen_by: shapes.PersonName
    withdrawn_by: shapes.PersonName | None
    withdrawn_at: shapes.At | None


class DockBatchAnswer(DockBatch):
    """A batch as chosen or taken back."""

    record: shapes.RecordNumber


class DockChoicesAnswer(shapes.AnswerModel):
    """What is better done in dock, and the batches chosen."""

    plant: shapes.PlantId
    from_at: shapes.At
    to_at: shapes.At
    without_minimum: Annotated[bool, Field(description="no minimum above 0 holds in these days")]
    jobs: list[DockJob]
    batches: list[DockBatch]
