"""What falls due on a plant at an instant, and the dates people are shown: all of it from what is known, in one place."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduler.domain.base.enums import Subject
from scheduler.domain.due.jobs import DueJob, jobs_due
from scheduler.domain.due.last_done import Done, FirstDate, known_from
from scheduler.domain.due.meters import Loss, Meters
from scheduler.domain.due.publishing import Basis, Posted, Published, figure_of, published_dates, slack_days
from scheduler.domain.due.subjects import Key, where
from scheduler.domain.hours.running import Point, RunningHours, Totals, daily_by_pump, running_hours
from scheduler.domain.hours.sources import Changes
from scheduler.domain.vessel.document import Plant
from scheduler.domain.voyage.days import Calendar


@dataclass(frozen=True, slots=True, kw_only=True)
class DueFacts:
    """What is known of a plant.

    Args:
        recorded: the newest done turn of each kind and subject on record here; kinds_since: see `reckon_first`.
        day_ends: (instant, total) of each counter's days by its id, in order; changes: see `sources`.
        silent: positions whose counting counter is silent. losses: by position, hours that may be missing.
        published: by job key, what is published. basis: what dates rest on besides hours, `figure` left empty.
        horizon_days: so far ahead turns are shown. planned_days: so far ahead they are given slots.
    """

    plant: Plant
    at: datetime
    totals: Totals
    recorded: Mapping[Key, Done]
    kinds_since: Mapping[str, datetime]
    day_ends: Mapping[str, Sequence[Point]]
    changes: Changes
    calendar: Calendar | None
    silent: Collection[str]
    losses: Mapping[str, Sequence[Loss]]
    postponed: Mapping[str, datetime]
    first_dates: Mapping[Key, FirstDate]
    published: Mapping[str, str]
    basis: Basis
    horizon_days: int
    planned_days: int

    def hours_at(self, subject: Subject, subject_id: str, when: datetime) -> RunningHours:
        """As `running_hours`."""
        return running_hours(self.plant, self.totals, subject, subject_id, when)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueReckoned:
    """What follows from it; see `PlantState` for each."""

    hours: Mapping[tuple[Subject, str], RunningHours]
    projected: Mapping[tuple[Subject, str], int]
    done: Mapping[Key, Done]
    jobs: tuple[DueJob, ...]
    posted: Mapping[str, Posted]


def reckon_due(facts: DueFacts) -> DueReckoned:
    """Hours, where intervals start, turns that are due or to come, and their published dates. Nothing is kept."""
    plant, at = facts.plant, facts.at
    hours = {key: _hours_now(facts, *key) for key in _subjects(plant)}
    done = known_from(plant, facts.hours_at, facts.kinds_since, facts.recorded)
    meters = Meters(
        plant=plant,
        hours=lambda subject, subject_id: hours[subject, subject_id],
        daily=daily_by_pump(plant, facts.day_ends, facts.changes, at),
        at=at,
        calendar=facts.calendar,
        losses=facts.losses,
    )
    found = jobs_due(
        meters,
        done,
        horizon_days=facts.horizon_days + slack_days(facts.horizon_days),
        postponed=facts.postponed,
        first_dates=facts.first_dates,
    )
    until = at + timedelta(days=facts.horizon_days)
    posted = {job.job_id.key: one for job in found if (one := _posted(facts, job)).stays_within(until)}
    silent = {key: meter for key in hours if (meter := meters.of(*key)) is not None and meter.silent}
    return DueReckoned(
        hours=hours,
        projected={key: meter.seconds_by(at) for key, meter in silent.items()},
        done=done,
        jobs=tuple(job for job in found if job.job_id.key in posted),
        posted=posted,
    )


def _hours_now(facts: DueFacts, subject: Subject, subject_id: str) -> RunningHours:
    """The hours of a silent counter stand where it left them, and are no more than an estimate of today's (rule R23)."""
    hours = facts.hours_at(subject, subject_id, facts.at)
    silent = where(facts.plant, subject, subject_id, facts.at)[1] in facts.silent
    return replace(hours, estimated=True) if silent else hours


def _posted(facts: DueFacts, job: DueJob) -> Posted:
    text = facts.published.get(job.job_id.key)
    subject = facts.plant.kind(job.job_id.kind).subject

    def correction(old: Published) -> int:
        if old.hours_as_of is None or old.running_seconds is None or subject is Subject.PLANT:
            return 0
        return facts.hours_at(subject, job.job_id.subject, old.hours_as_of).seconds - old.running_seconds

    return published_dates(
        job,
        None if text is None else Published.read(text),
        replace(facts.basis, figure=figure_of(job)),
        at=facts.at,
        planning_window=timedelta(days=facts.planned_days),
        correction=correction,
    )


def _subjects(plant: Plant) -> Sequence[tuple[Subject, str]]:
    return [
        *((Subject.POSITION, p.id) for p in plant.positions),
        *((Subject.PUMP, p.id) for p in plant.pumps),
        *((Subject.PART, p.id) for p in plant.parts),
    ]
