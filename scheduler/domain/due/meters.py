"""A subject's running hours now, and the pace at which they go on."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from scheduler.domain.base.enums import Subject
from scheduler.domain.due.forecast import (
    Forecast,
    Pace,
    days_unknown,
    pace_of,
    plant_grounds,
    reach,
    reached_at,
    seconds_run_by,
)
from scheduler.domain.due.past_forecasts import Misses
from scheduler.domain.due.subjects import where
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.document import Plant
from scheduler.domain.voyage.days import Calendar, Operating

QUIET_AFTER_HOURS = 36
"""A position without a counter of its own is called silent after this many hours without a reading."""

Hours = Callable[[Subject, str], RunningHours]
Loss = tuple[datetime, int]
"""When a counter started again, and the seconds that may be missing there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """Running seconds of a subject at its last reading, and how they go on from there.

    read_at: the last credited reading, without one when its pump was put in. silent: no reading for longer than the
    counter may be quiet. pace: none where nothing runs (an empty position, a pump ashore).
    """

    seconds: int
    read_at: datetime
    as_of: datetime | None
    estimated: bool
    silent: bool
    pace: Pace | None
    own_daily: Sequence[int]
    losses: Sequence[Loss] = ()

    def may_miss(self, since: datetime) -> int:
        """Seconds that the subject may have run since an instant and that no counter told."""
        return sum(seconds for at, seconds in self.losses if at > since)

    def reach(self, seconds: int, at: datetime, since: datetime | None = None) -> Forecast | None:
        """When the hours reach a figure; none when nothing runs and they are not there yet.

        Args:
            since: where the interval started; hours that may be missing since then bring the early date forward.
        """
        if self.pace is not None:
            left = seconds - self.seconds
            unseen = 0 if since is None else self.may_miss(since)
            return reach(
                self.pace, left, as_of=self.read_at, at=at, own_daily_seconds=self.own_daily, unseen_seconds=unseen
            )
        if seconds > self.seconds:
            return None
        read_at = self.read_at
        return Forecast(
            early_at=read_at, likely_at=read_at, late_at=read_at, h_per_day=0.0, look_back_days=0, runs=0, idle=True
        )

    def likely_at(self, seconds: int, at: datetime) -> datetime | None:
        """The likely date of `reach` alone."""
        if self.pace is None:
            return None if seconds > self.seconds else self.read_at
        left, as_of = seconds - self.seconds, min(self.read_at, at)
        return reached_at(self.pace, left, as_of=as_of, own_daily_seconds=self.own_daily)

    def seconds_by(self, then: datetime) -> int:
        """Running seconds likely at `then`; what was read when that is not later."""
        return self.seconds + (seconds_run_by(self.pace, self.read_at, then) if self.pace else 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meters:
    """The meters of a plant at `at`; its past is replayed once for each length of silence."""

    plant: Plant
    hours: Hours
    daily: Mapping[str, Sequence[int]]
    at: datetime
    calendar: Calendar | None = None
    losses: Mapping[str, Sequence[Loss]] = field(default_factory=dict)
    """By position."""
    _paces: dict[tuple[str, int], tuple[Pace, Sequence[int]]] = field(default_factory=dict)
    _misses: dict[int, tuple[Sequence[Misses], Operating | None]] = field(default_factory=dict)

    def of(self, subject: Subject, subject_id: str) -> Meter | None:
        """The meter of a subject; none for a plant, which has no hours."""
        if subject is Subject.PLANT:
            return None
        now = self.hours(subject, subject_id)
        pump, position = where(self.plant, subject, subject_id, self.at)
        read_at = min(now.as_of or self._put_in(pump, position), self.at)
        pace, own = self._pace(pump, read_at) if pump and position else (None, ())
        quiet = [c.quiet_after_hours for c in self.plant.counters if c.position == position] or [QUIET_AFTER_HOURS]
        silent = pace is not None and self.at - read_at > timedelta(hours=min(quiet))
        return Meter(
            seconds=now.seconds,
            read_at=read_at,
            as_of=now.as_of,
            estimated=now.estimated or silent or now.as_of is None,
            silent=silent,
            pace=pace,
            own_daily=own,
            losses=self._losses(subject, pump, position),
        )

    def _losses(self, subject: Subject, pump: str | None, position: str | None) -> Sequence[Loss]:
        """Those of its position, for a pump or part since the pump was put in."""
        found = self.losses.get(position, ()) if position else ()
        from_at = self._put_in(pump, position)
        return [loss for loss in found if subject is Subject.POSITION or loss[0] >= from_at]

    def _put_in(self, pump: str | None, position: str | None) -> datetime:
        stays = (s.from_at for s in self.plant.stays if s.pump == pump and s.position == position)
        return max((from_at for from_at in stays if from_at <= self.at), default=self.at)

    def _pace(self, pump: str, read_at: datetime) -> tuple[Pace, Sequence[int]]:
        """A pump's pace from what was known at its last reading, beside the pumps that stand in a position now."""
        unknown = days_unknown(read_at, self.at)
        if (pump, unknown) not in self._paces:
            pumps = sorted(p.id for p in self.plant.pumps if self.plant.position_of(p.id, self.at))
            now = {other: self.daily.get(other, ()) for other in pumps}
            then = {other: days[: max(0, len(days) - unknown)] for other, days in now.items()}
            if unknown not in self._misses:
                self._misses[unknown] = plant_grounds(list(then.values()), read_at, self.calendar)
            misses, operating = self._misses[unknown]
            own = then.pop(pump)
            now.pop(pump)
            pace = pace_of(own, list(then.values()), misses, sisters_now=list(now.values()), operating=operating)
            self._paces[pump, unknown] = pace, own
        return self._paces[pump, unknown]
