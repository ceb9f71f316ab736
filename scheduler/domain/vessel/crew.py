"""Who works when aboard: hands, blocks, stretches without work, quiet hours, visits, stays, branches; and the minimum by the hour."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

STRICT: dict[str, str] = {"extra": "forbid"}
"""Of every value of the document: a member that nobody knows is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumBlock:
    """A stretch with its own minimum capacity: full ship, busy hours, port, lay-up (0).

    Matches the ship's calendar dates `from_on`..`to_on` (both included; none: every date) and, within them, the ship's
    hours `from_hour`..`to_hour` (0 to 24, end excluded; from > to runs over midnight). The last block that matches counts.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    minimum_swept_m3_per_h: float
    label: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24
    minimum_pumps: int = 0
    """So many pumps must be there as well (n of m), whatever they give; 0: no such rule."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWork:
    """A stretch in which nobody opens a pump: port arrival, quiet period, pilotage."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    from_at: datetime
    to_at: datetime
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewBlock:
    """Hands that differ from the rule: one more on some dates, night work, nobody on a holiday (0).

    Matches dates and hours as a MinimumBlock does; the last block that matches counts.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    hands: int
    label: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """One maintenance crew: hands, the ship's working hours (end excluded), the hours at which a job may start.

    hours_a_person: what one person works in a day at most. rest_periods, rest_week_hours: in how many periods the 10 hours of
    rest of any 24 lie at most, and the least hours in 7 days; other than 2 and 77 only by an exception of the flag.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    hands: int = 2
    work_from_hour: int = 8
    work_to_hour: int = 17
    start_hours: tuple[int, ...] = (8, 13)
    no_work: tuple[NoWork, ...] = ()
    blocks: tuple[CrewBlock, ...] = ()
    hours_a_person: int = 8
    rest_periods: int = 2
    rest_week_hours: int = 77
    close_overnight: bool = True
    """A pump is better not left open overnight, where a date as good otherwise closes it the same day; the ship says."""

    @property
    def most_hands(self) -> int:
        """The most hands there ever are, 0 or more."""
        return max(self.hands, *(block.hands for block in self.blocks), 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietHours:
    """Ship's hours in which pumps may be stopped for a short test, `most_stop_minutes` at a time.

    consent: who agreed, and when; without it no test is planned. Matches dates and hours as a MinimumBlock does.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    most_stop_minutes: int
    consent: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineerVisit:
    """A stretch in which a service engineer is aboard."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    from_at: datetime
    to_at: datetime
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PortStay:
    """A stay in port by the hour, as a ferry has several a day; where a plant has any, "port" is these and not whole days."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    from_at: datetime
    to_at: datetime
    port: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """Positions that share a valve or a starter panel: no more than `most_open` of their pumps are open at once."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    positions: tuple[str, ...]
    most_open: int
    label: str
