"""Due jobs: which occurrence falls due when, by hours or calendar, and what state it is in.

For each job kind and subject there is one open turn (the first) and, inside the horizon, the turns after it (the
outlook), each resting on the one before being done as due, or now when that is past. The rules, in short:

- Due at the earlier of the calendar point and the likely date of the running hours. The original due point never moves
  with a postponement; only the limit and the state do.
- Hours are judged on hours and the calendar on time. When a counter is silent the hours go on at the usual rate, so a
  job falls due without it; it is marked estimated.
- A job that renews others takes their open turn with it: a turn that such a job is due to reach first is listed with
  `renewed_by`, and the next turn counts from there. Sequences therefore have no gaps. A test that falls due in the window
  of a job that opens the pump and ends with it is done by that job if the job is due by the test's limit.
- Of a job that nobody said when it was last done, on a subject that was not new when it was put to use, the first turn
  stands as `State.NOT_KNOWN`: due now, without limit and without hours left, until a first date is set (`FirstDate`).
- A pump in no position, and a part in no pump, are left out: their intervals go on counting from when they were last
  done, and the job is shown again once they are back.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.intervals import calendar_due, hours_due, interval_seconds
from scheduler.domain.due.last_done import Done, FirstDate, JobId
from scheduler.domain.due.meters import Meter, Meters
from scheduler.domain.due.subjects import Key, renewals, subjects_of, where
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind


@dataclass(frozen=True, slots=True, kw_only=True)
class DueJob:
    """An occurrence with its original due point, kept apart from its limit.

    due_running_seconds / limit_running_seconds: reading of the subject's hours at which it falls due / must be done
    (before any postponement, which is a date); none when the kind has no running-hour interval. calendar_due_at: due
    point of the calendar interval, or none.
    due_at: the earlier of the calendar point and the likely date of the hours. window_opens_at and limit_at go with it.
    While the last time is not known, it is the present, and there is no limit.
    first: this is the open occurrence of its subject and kind; later ones (the outlook) rest on it being done as due.
    forecast: of the running hours, none for a calendar-only kind. running_seconds_left may be negative.
    pump and position: where the subject is now (both none for a plant's job, or a part ashore).
    """

    job_id: JobId
    kind_name: str
    pump: str | None
    position: str | None
    takes_hours: int
    hands: int
    takes_pump_out: bool
    due_at: datetime
    window_opens_at: datetime
    limit_at: datetime | None
    trigger: Trigger
    state: JobState
    first: bool
    due_running_seconds: int | None = None
    limit_running_seconds: int | None = None
    running_seconds_left: int | None = None
    projected_seconds_left: int | None = None
    """While the subject's counter is silent: what is likely left now, hours carried on at the usual rate; else none."""
    since_seconds: int | None = None
    """Running seconds of the subject since it was last done."""
    interval_seconds: int | None = None
    calendar_due_at: datetime | None = None
    calendar_start_at: datetime | None = None
    """Where the calendar interval started (last done)."""
    forecast: Forecast | None = None
    hours_as_of: datetime | None = None
    estimated: bool = False
    may_miss_seconds: int = 0
    """Running seconds since it was last done that no counter told of, at most; the early date allows for them."""
    postponed_to: datetime | None = None
    renewed_by: str | None = None
    """Key of the turn that is due first and takes this one with it (an overhaul renews the knife inspection)."""
    first_set_at: datetime | None = None
    """When the chief engineer set the date of this turn, because nobody knew when the job was last done."""

    @property
    def limit_left_seconds(self) -> int | None:
        """Running seconds to the limit, negative beyond it; none when the kind has no running-hour limit."""
        if self.limit_running_seconds is None or self.due_running_seconds is None or self.running_seconds_left is None:
            return None
        return self.limit_running_seconds - self.due_running_seconds + self.running_seconds_left

    def likely_seconds_by(self, at: datetime, now_at: datetime) -> int | None:
        """Running seconds that are likely by an instant since its hours were read; none without a forecast."""
        if self.forecast is None:
            return None
        days = max(timedelta(0), at - (self.hours_as_of or now_at)) / timedelta(days=1)
        return round(days * self.forecast.h_per_day * 3600)


def jobs_due(
    meters: Meters,
    done: Mapping[Key, Done],
    *,
    horizon_days: int,
    postponed: Mapping[str, datetime] = MappingProxyType({}),
    first_dates: Mapping[Key, FirstDate] = MappingProxyType({}),
) -> tuple[DueJob, ...]:
    """Every open turn, whenever it is due, and the outlook up to the horizon; sorted by due point, then occurrence.

    Args:
        done: the last turn done of each (kind, subject); without one the last time is not known. horizon_days: length of the outlook.
        postponed: new limit by occurrence key. first_dates: what was set for turns whose last time is not known.
    """
    plant, at = meters.plant, meters.at
    to_come: dict[Key, list[_Coming]] = {}
    jobs: list[DueJob] = []
    for kind in _renewing_first(plant):
        for subject in subjects_of(plant, kind, at):
            chain = _Chain(
                plant=plant,
                kind=kind,
                subject=subject,
                meter=meters.of(kind.subject, subject),
                at=at,
                first_date=first_dates.get((kind.code, subject)),
            )
            coming = sorted(to_come.get((kind.code, subject), ()), key=lambda one: (one.point, one.key))
            turns = list(
                chain.turns(done.get((kind.code, subject)), coming, at + timedelta(days=horizon_days), postponed)
            )
            jobs += turns
            for pair in renewals(plant, kind, subject, at):
                to_come.setdefault(pair, []).extend(_Coming.of(turn, at) for turn in turns if not turn.renewed_by)
    return tuple(sorted(jobs, key=lambda job: (job.due_at, job.job_id)))


def _renewing_first(plant: Plant) -> list[JobKind]:
    """The job kinds, each after those that renew it; in the plant's order otherwise, and where they renew in a ring."""
    left, ordered = list(plant.job_kinds), []
    while left:
        free = [kind for kind in left if not any(kind.code in k.renews for k in left if k is not kind)]
        ordered.append(free[0] if free else left[0])
        left.remove(ordered[-1])
    return ordered


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coming:
    """A turn that renews others: when, its key, and for one that opens the pump when its window opens."""

    point: datetime
    key: str
    opens_from: datetime | None

    @classmethod
    def of(cls, turn: "DueJob", at: datetime) -> "_Coming":
        """As it counts at `at`."""
        opens_from = turn.window_opens_at if turn.takes_pump_out else None
        return cls(point=max(turn.postponed_to or turn.due_at, at), key=turn.job_id.key, opens_from=opens_from)

    def renews(self, turn: "DueJob", since: datetime) -> bool:
        """Whether that turn, whose interval began at `since`, is done with it."""
        ends_with_it = not turn.takes_pump_out and self.opens_from is not None and self.opens_from <= turn.due_at
        latest = turn.due_at if turn.limit_at is None or not ends_with_it else max(turn.due_at, turn.limit_at)
        return since < self.point <= latest


@dataclass(frozen=True, slots=True, kw_only=True)
class _Start:
    """Where an interval starts. The calendar is stepped `times` from `calendar_at`, so that month ends do not drift."""

    at: datetime
    seconds: int
    calendar_at: datetime
    times: int = 1
    estimated: bool = False
    first_date: FirstDate | None = None
    """The interval is not known: the turn falls due as this says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chain:
    """The turns of one kind on one subject."""

    plant: Plant
    kind: JobKind
    subject: str
    meter: Meter | None
    at: datetime
    first_date: FirstDate | None = None

    def turns(
        self,
        last: Done | None,
        coming: Sequence[_Coming],
        until: datetime,
        postponed: Mapping[str, datetime],
    ) -> Iterator[DueJob]:
        """The open turn, then the outlook up to `until`; `coming` are the points at which other jobs renew it."""
        start = self._start(last)
        sequence = last.job_id.sequence + 1 if last else 1
        first = True
        while turn := self._not_known() if start is None else self._turn(start, sequence, first, postponed):
            if not first and turn.due_at > until:
                return
            begun = datetime.min.replace(tzinfo=UTC) if start is None else start.at
            taken = next((one for one in coming if one.renews(turn, begun)), None)
            yield replace(turn, renewed_by=taken.key) if taken else turn
            start = self._next(start, turn, taken.point if taken else None)
            sequence += 1
            first = False

    def _start(self, last: Done | None) -> _Start | None:
        """Where the open turn's interval starts; none while that is not known."""
        if last is not None:
            return _Start(
                at=last.done_at,
                seconds=last.running_seconds,
                calendar_at=last.done_at,
                estimated=last.estimated,
            )
        given = self.first_date
        if given is None:
            return None
        return _Start(at=given.set_at, seconds=given.running_seconds or 0, calendar_at=given.set_at, first_date=given)

    def _not_known(self) -> DueJob | None:
        """The open turn while nobody has said when the job was last done: due now, and judged by nothing."""
        kind, interval = self.kind, interval_seconds(self.kind)
        if interval is None and calendar_due(kind, self.at, 1) is None:
            return None
        pump, position = where(self.plant, kind.subject, self.subject, self.at)
        return DueJob(
            job_id=JobId(kind=kind.code, subject=self.subject, sequence=1),
            kind_name=kind.name,
            pump=pump,
            position=position,
            takes_hours=kind.takes_hours,
            hands=kind.hands,
            takes_pump_out=kind.takes_pump_out,
            due_at=self.at,
            window_opens_at=self.at,
            limit_at=None,
            trigger=Trigger.CALENDAR if interval is None else Trigger.RUNNING_HOURS,
            state=JobState.NOT_KNOWN,
            first=True,
            interval_seconds=interval,
        )

    def _reach(self, seconds: int, start: _Start) -> Forecast | None:
        return self.meter.reach(seconds, self.at, start.at) if self.meter else None

    def _turn(self, start: _Start, sequence: int, first: bool, postponed: Mapping[str, datetime]) -> DueJob | None:
        kind, meter = self.kind, self.meter
        job_id = JobId(kind=kind.code, subject=self.subject, sequence=sequence)
        given = start.first_date
        calendar_at = calendar_due(kind, start.calendar_at, start.times) if given is None else given.due_at
        due_seconds = hours_due(kind, start.seconds)
        figures = self._reach(due_seconds, start) if due_seconds is not None else None
        points = [(figures.likely_at, Trigger.RUNNING_HOURS)] if figures else []
        if calendar_at is not None:
            points.append((calendar_at, Trigger.CALENDAR))
        if not points:
            return None
        due_at, trigger = min(points, key=lambda point: point[0])

        opens = [due_at - timedelta(days=kind.window_days)]
        limits = [] if calendar_at is None else [calendar_at + timedelta(days=kind.tolerance_days)]
        limit_seconds = None if due_seconds is None else due_seconds + kind.tolerance_running_hours * 3600
        if meter is not None and due_seconds is not None and limit_seconds is not None:
            opened_at = meter.likely_at(due_seconds - kind.window_running_hours * 3600, self.at)
            ended_at = meter.likely_at(limit_seconds, self.at)
            opens += [opened_at] if opened_at else []
            limits += [ended_at] if ended_at else []
        missing = meter.may_miss(start.at) if meter and due_seconds is not None else 0
        new_limit = postponed.get(job_id.key)
        pump, position = where(self.plant, kind.subject, self.subject, self.at)
        job = DueJob(
            job_id=job_id,
            kind_name=kind.name,
            pump=pump,
            position=position,
            takes_hours=kind.takes_hours,
            hands=kind.hands,
            takes_pump_out=kind.takes_pump_out,
            due_at=due_at,
            window_opens_at=min(opens),
            limit_at=new_limit or min(limits, default=due_at),
            trigger=trigger,
            state=JobState.AHEAD,
            first=first,
            due_running_seconds=due_seconds,
            limit_running_seconds=limit_seconds,
            running_seconds_left=None if due_seconds is None or meter is None else due_seconds - meter.seconds,
            projected_seconds_left=None
            if due_seconds is None or meter is None or not meter.silent
            else due_seconds - meter.seconds_by(self.at),
            since_seconds=meter.seconds - start.seconds
            if first and meter and due_seconds is not None and given is None
            else None,
            interval_seconds=interval_seconds(kind),
            calendar_due_at=calendar_at,
            calendar_start_at=start.at if calendar_at is not None and given is None else None,
            forecast=figures,
            hours_as_of=meter.as_of if meter and due_seconds is not None else None,
            estimated=start.estimated or bool(meter and due_seconds is not None and meter.estimated) or missing > 0,
            may_miss_seconds=missing,
            postponed_to=new_limit,
            first_set_at=None if given is None else given.set_at,
        )
        return replace(job, state=self._state(job)) if first else job

    def _state(self, job: DueJob) -> JobState:
        if job.postponed_to is not None:
            return JobState.PAST_LIMIT if self.at > job.postponed_to else JobState.POSTPONED
        kind = self.kind
        tolerance = timedelta(days=kind.tolerance_days)
        if self._ran(job.limit_running_seconds, beyond=True) or (
            job.calendar_due_at is not None and self.at > job.calendar_due_at + tolerance
        ):
            return JobState.PAST_LIMIT
        if self._ran(job.due_running_seconds) or (job.calendar_due_at is not None and self.at >= job.calendar_due_at):
            return JobState.PAST_DUE
        return JobState.WINDOW_OPEN if self.at >= job.window_opens_at else JobState.AHEAD

    def _ran(self, seconds: int | None, *, beyond: bool = False) -> bool:
        """Whether the subject's hours are at (or beyond) a reading; while its counter is silent, by the usual rate."""
        if seconds is None or self.meter is None:
            return False
        if self.meter.silent:
            reached_at = self.meter.likely_at(seconds, self.at)
            return reached_at is not None and (self.at > reached_at if beyond else self.at >= reached_at)
        return self.meter.seconds > seconds if beyond else self.meter.seconds >= seconds

    def _next(self, start: _Start | None, turn: DueJob, renewed_at: datetime | None) -> _Start:
        """Where the turn after `turn` starts: when that is renewed, or done as due, or done now when that is past."""
        as_due = renewed_at is None and turn.due_at > self.at
        at = renewed_at or max(turn.due_at, self.at)
        seconds = self.meter.seconds_by(at) if self.meter else 0
        stepped = start is not None and start.first_date is None
        if start is not None and stepped and as_due and turn.trigger is Trigger.CALENDAR:
            return replace(start, at=at, seconds=seconds, times=start.times + 1)
        if as_due and turn.due_running_seconds is not None and turn.trigger is Trigger.RUNNING_HOURS:
            seconds = turn.due_running_seconds
        return _Start(at=at, seconds=seconds, calendar_at=at, estimated=start is not None and start.estimated)
