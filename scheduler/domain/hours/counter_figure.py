"""How a counter stands, and what it shows as the one figure of hours: how it goes on from there, in its own counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from scheduler.domain.hours.ledger import setup_at
from scheduler.domain.hours.ledger_values import Setup
from scheduler.domain.hours.running import Point
from scheduler.domain.hours.sources import Change, retired, source_at
from scheduler.domain.vessel.document import Plant


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterFigure:
    """The value that the hours rest on. value_milli: thousandths of a count. modulus: counts at which it starts again, or none."""

    at: datetime
    value_milli: int
    seconds_per_count: int
    modulus: int | None = None

    def after(self, running_seconds: int) -> int | None:
        """What it shows after so many running seconds more, thousandths, rounded down to a whole count; none before its start.

        >>> CounterFigure(at=datetime.min, value_milli=24_800_000, seconds_per_count=3600).after(-39 * 3600)
        24761000
        """
        whole = (self.value_milli + running_seconds * 1000 // self.seconds_per_count) // 1000
        if whole < 0:
            return None
        return (whole if self.modulus is None else whole % self.modulus) * 1000

    def run_until(self, value_milli: int) -> int:
        """Running seconds from here to where it shows a value, thousandths; less than 0 for one it showed before.

        One that starts again goes the shorter way round.

        >>> CounterFigure(at=datetime.min, value_milli=24_800_000, seconds_per_count=3600).run_until(24_761_000) // 3600
        -39
        """
        counts_milli = value_milli - self.value_milli
        if self.modulus is not None:
            half = self.modulus * 500
            counts_milli = (counts_milli + half) % (2 * half) - half
        return counts_milli * self.seconds_per_count // 1000


@dataclass(frozen=True, slots=True)
class CounterState:
    """A counter: where it is, its newest reading, whether it counts for its position now or only checks it.

    silent: it has not posted for too long. One that another took over from is never silent.
    """

    id: str
    position: str
    newest_at: datetime | None
    silent: bool
    quiet_after_hours: int
    primary: bool = True
    figure: CounterFigure | None = None
    """The newest value that is counted; none: nothing is."""

    def silent_when(self, heard_at: datetime | None) -> bool:
        """Whether it is silent; of a ship that writes aboard, whether it was when she was last heard (none: she is written here)."""
        if heard_at is None or self.newest_at is None:
            return self.silent
        return self.silent and heard_at - self.newest_at > timedelta(hours=self.quiet_after_hours)


def counter_state(
    plant: Plant,
    counter_id: str,
    position: str,
    at: datetime,
    *,
    newest_s: int | None,
    quiet_after_hours: int,
    changes: Sequence[Change],
    counted: Point | None,
    setups: Sequence[tuple[int, Setup]],
) -> CounterState:
    """How a counter stands at an instant.

    Args:
        newest_s: of its newest reading. changes: of its position. counted: instant and value (thousandths) that its hours rest on.
        setups: how it counted when.
    """
    at_s = int(at.timestamp() // 1)
    newest = None if newest_s is None else datetime.fromtimestamp(newest_s, UTC)
    silent = newest is None or at - newest > timedelta(hours=quiet_after_hours)
    counter = next((c for c in plant.counters if c.id == counter_id), None)
    gone = counter is not None and retired(plant, counter, at_s, changes)
    counts = source_at(plant, position, at_s, changes) == counter_id
    figure = None
    if counted is not None:
        scale = setup_at(setups, counted[0])
        figure = CounterFigure(
            at=datetime.fromtimestamp(counted[0], UTC),
            value_milli=counted[1],
            seconds_per_count=scale.seconds_per_count,
            modulus=scale.modulus,
        )
    return CounterState(counter_id, position, newest, silent and not gone, quiet_after_hours, counts, figure)
