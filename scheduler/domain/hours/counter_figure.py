"""What a counter shows, as the one figure of hours: how it goes on from there, in its own counts."""

from dataclasses import dataclass
from datetime import datetime


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
