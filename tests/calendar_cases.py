"""An invented ship, its due jobs and calendar entries, for the tests of agenda, feed and clients."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from scheduler.domain.base.enums import JobState, Subject, Trigger
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.publishing import Basis, Posted, Published, figure_of, published_dates
from scheduler.domain.feed.entries import calendar_content
from scheduler.domain.feed.revision import CalendarEntry
from scheduler.domain.feed.stability import PlannedSlot, ShownFigures
from scheduler.domain.feed.words import DoneJob, WithdrawnJob
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.document import Plant, Position, Pump, Stay, Vessel
from scheduler.domain.vessel.job_kinds import JobKind

AT = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
DAY = timedelta(days=1)
KNIVES = JobKind(
    code="knives", name="knife inspection", subject=Subject.PUMP, takes_hours=3, interval_running_hours=1500
)
ALARM = JobKind(
    code="alarm",
    name="alarm test",
    subject=Subject.PLANT,
    takes_hours=1,
    interval_months=1,
    takes_pump_out=False,
)
PLANT = Plant(
    id="vac1",
    name="Vacuum plant 1",
    receiver_m3=6.0,
    start_vacuum_kpa=40.0,
    stop_vacuum_kpa=55.0,
    minimum_swept_m3_per_h=160.0,
    positions=tuple(Position(id=f"VP{n}", name=f"VP{n}") for n in range(1, 9)),
    pumps=tuple(Pump(id=f"P{n}", serial=f"DP-{n:03}", rated_swept_m3_per_h=80.0) for n in range(1, 9)),
    stays=tuple(Stay(pump=f"P{n}", position=f"VP{n}", from_at=datetime(2025, 1, 1, tzinfo=UTC)) for n in range(1, 9)),
    counters=(),
    job_kinds=(KNIVES, ALARM),
)
VESSEL = Vessel(id="plover", name="Demo Plover", imo="0123450", plants=(PLANT,), utc_offset_minutes=60)


def knife_job(
    pump: int = 1,
    *,
    sequence: int = 4,
    due_in_days: float = 40,
    state: JobState = JobState.AHEAD,
    ran_hours: int = 1080,
    as_of: datetime = AT,
    h_per_day: float = 10.5,
    first: bool = True,
) -> DueJob:
    """A knife inspection due by running hours."""
    due_at = AT + due_in_days * DAY
    due_seconds = 1500 * 3600
    return DueJob(
        job_id=JobId(kind="knives", subject=f"P{pump}", sequence=sequence),
        kind_name=KNIVES.name,
        pump=f"P{pump}",
        position=f"VP{pump}",
        takes_hours=3,
        hands=2,
        takes_pump_out=True,
        due_at=due_at,
        window_opens_at=due_at - 10 * DAY,
        limit_at=due_at + 5 * DAY,
        trigger=Trigger.RUNNING_HOURS,
        state=state,
        first=first,
        due_running_seconds=due_seconds,
        limit_running_seconds=due_seconds + 50 * 3600,
        running_seconds_left=due_seconds - ran_hours * 3600,
        forecast=Forecast(
            early_at=due_at - 4 * DAY,
            likely_at=due_at,
            late_at=due_at + 9 * DAY,
            h_per_day=h_per_day,
            look_back_days=28,
            runs=60,
        ),
        hours_as_of=as_of,
    )


def alarm_job(*, due_at: datetime = AT + 12 * DAY, state: JobState = JobState.AHEAD) -> DueJob:
    """The plant's monthly alarm test, due by calendar."""
    return DueJob(
        job_id=JobId(kind="alarm", subject="vac1", sequence=9),
        kind_name=ALARM.name,
        pump=None,
        position=None,
        takes_hours=1,
        hands=1,
        takes_pump_out=False,
        due_at=due_at,
        window_opens_at=due_at - 3 * DAY,
        limit_at=due_at + 2 * DAY,
        trigger=Trigger.CALENDAR,
        state=state,
        first=True,
        calendar_due_at=due_at,
    )


def slot(days: float = 30, hours: float = 3, margin: float | None = 12.4) -> PlannedSlot:
    """A planned slot that many days ahead."""
    start_at = AT + days * DAY
    return PlannedSlot(start_at=start_at, end_at=start_at + timedelta(hours=hours), least_margin_swept_m3_per_h=margin)


def done_job(days_ago: float = 2, pump: int = 2) -> DoneJob:
    """A closed knife inspection."""
    return DoneJob(
        job_id=JobId(kind="knives", subject=f"P{pump}", sequence=3),
        kind_name=KNIVES.name,
        position=f"VP{pump}",
        takes_pump_out=True,
        done_at=AT - days_ago * DAY,
        utc_offset_minutes=60,
        verdict=Verdict.IN_WINDOW,
        running_seconds=1490 * 3600,
        record_number=17,
    )


def withdrawn_job(days_ago: float = 2, pump: int = 3) -> WithdrawnJob:
    """A withdrawn knife inspection."""
    return WithdrawnJob(
        job_id=JobId(kind="knives", subject=f"P{pump}", sequence=3),
        kind_name=KNIVES.name,
        position=f"VP{pump}",
        takes_pump_out=True,
        withdrawn_at=AT - days_ago * DAY,
        shown_on=date(2026, 12, 10),
        reason="pump landed",
    )


def shown(
    jobs: Sequence[DueJob],
    *,
    slots: dict[str, PlannedSlot] | None = None,
    done: Sequence[DoneJob] = (),
    withdrawn: Sequence[WithdrawnJob] = (),
    at: datetime = AT,
    offset_minutes: int = 60,
    published: dict[str, ShownFigures] | None = None,
) -> dict[str, CalendarEntry]:
    """The entries of the invented plant by occurrence key."""
    content = calendar_content(
        vessel=VESSEL,
        plants=[(PLANT, jobs)],
        slots=slots or {},
        done=done,
        withdrawn=withdrawn,
        offset_minutes=offset_minutes,
        at=at,
        plan_at=None,
        hours_as_of=None,
        published=published,
    )
    return {entry.key: entry for entry in content.entries[1:]}


WINDOW = 180 * DAY
"""Planning window of the invented ship."""
BASIS = Basis(figure="", document=1, daybook=0, events=0, replacements=0)


def posted(
    job: DueJob,
    old: Published | None = None,
    *,
    at: datetime = AT,
    corrected_hours: float = 0,
    planning_window: timedelta = WINDOW,
    **basis: int,
) -> Posted:
    """What is published of a job. corrected_hours: by which the hours of then are more by now. basis: what changed."""
    return published_dates(
        job,
        old,
        replace(BASIS, figure=figure_of(job), **basis),  # type: ignore[arg-type]
        at=at,
        planning_window=planning_window,
        correction=lambda _: round(corrected_hours * 3600),
    )


def with_words(entry: CalendarEntry, words: str) -> CalendarEntry:
    """The entry with `words` wherever a person's text can stand."""
    return replace(entry, summary=words, description=words, location=words, categories=(words, "maintenance"))
