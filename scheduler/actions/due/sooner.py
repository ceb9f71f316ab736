"""How much sooner the next job by running hours comes, since the plant or a pump runs longer than usual. It moves no date."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.actions.base.context import Context
from scheduler.actions.hours.ledger import daily_of
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.voyage.days import voyage_days_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.meters import Meters
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.hours.sign_facts import SignFacts
from scheduler.storage.hours.counters import counter_rows

LEAST_DAYS = 3


@dataclass(frozen=True, slots=True)
class Sooner:
    """A job that comes so many days sooner than at the usual hours."""

    job: DueJob
    days: int


def days_sooner(context: Context, now: PlantState, sign: SignFacts) -> Sooner | None:
    """The first job due by hours, its likely date now against that at the usual hours; none under three days, or without one."""
    jobs = [
        job
        for job in now.jobs
        if job.first
        and job.forecast is not None
        and not job.forecast.idle
        and job.due_running_seconds is not None
        and (job.running_seconds_left or 0) > 0
        and sign.position in (None, job.position)
    ]
    if not jobs or not sign.up or sign.end is not None:
        return None
    with context.db.read() as session:
        rows = [row for row in counter_rows(session, now.vessel.id) if row.plant_id == now.plant.id]
        daily = daily_of(session, now.plant, rows, now.at)
        calendar = voyage_days_of(session, now.vessel.id)[0].calendar()

    def hours(subject: Subject, subject_id: str) -> RunningHours:
        return now.hours[subject, subject_id]

    def meters(days: Mapping[str, Sequence[int]]) -> Meters:
        return Meters(plant=now.plant, hours=hours, daily=days, at=now.at, calendar=calendar)

    since = (now.at.date() - sign.began_on).days
    usual = {
        pump: _usual(days, since, sign.rise)
        if sign.position is None or now.plant.position_of(pump, now.at) == sign.position
        else days
        for pump, days in daily.items()
    }
    first = min(jobs, key=lambda job: job.forecast.likely_at if job.forecast else now.at)
    subject = now.plant.kind(first.job_id.kind).subject, first.job_id.subject
    dates = []
    for each in (daily, usual):
        meter = meters(each).of(*subject)
        found = None if meter is None else meter.reach(first.due_running_seconds or 0, now.at)
        if found is None:
            return None
        dates.append(found.likely_at)
    days = (dates[1] - dates[0]).days
    return Sooner(first, days) if days >= LEAST_DAYS else None


def _usual(days: Sequence[int], since: int, rise: float) -> Sequence[int]:
    """The days with the last ones as they would have been."""
    first = max(0, len(days) - since)
    return [*days[:first], *(round(seconds * math.exp(-rise)) for seconds in days[first:])]
