"""Running hours of a position, a pump and a part at any instant (rule R21)."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningHours:
    """Running hours of one subject at an instant.

    seconds: whole seconds run, opening balance included. as_of: instant of the last credited reading that this rests
    on, none when there is none. estimated: some of it is pro-rated, projected, or rests on something held or missing.
    """

    seconds: int
    as_of: datetime | None
    estimated: bool = False

    @property
    def hours(self) -> float:
        """Running hours."""
        return self.seconds / 3600
