"""What the page of the fleet is given: each plant in counts, from what is stored."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

from markupsafe import Markup

from api.pages.drawing.season import season_strip
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import tone_of
from api.pages.shared.margin import MarginStretch
from api.pages.shared.waits import WaitLine, wait_lines
from scheduler.actions.feed.summary import ShipLine
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.summary import SHOWN, STATES_COUNTED, MarginPiece, PlantSummary, Trouble
from scheduler.language import gettext as _
from scheduler.shiptime import ShipOffset
from scheduler.wording.due import STATE_ORDER, brief_words, job_name
from scheduler.wording.figures import margin_number, moment, number, short_date


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselLine:
    """A plant of the fleet in counts. below_at: first instant below the minimum as planned, or none; below_by: by how much, m3/h,
    where that is the least."""

    name: str
    imo: str
    href: str
    past_limit: int = 0
    past_due: int = 0
    window_open: int = 0
    postponed: int = 0
    not_known: int = 0
    below_at: datetime | None = None
    next_due_at: datetime | None = None
    silent_counters: int = 0
    no_plan: bool = False
    least: str = ""
    """The least margin of 28 days as planned, and when; empty where nothing is planned or worked out."""
    least_when: str = ""
    worst_words: str = ""
    """The job that presses most, by name, with its state."""
    worst_tone: str = ""
    age: str = ""
    """How old the oldest of its newest hours are."""
    strip: Markup = Markup("")  # noqa: RUF009 - frozen
    waits_count: int = 0

    below_by: str = ""
    trouble: Trouble = Trouble.NONE
    behind_since: str = ""
    """When it was worked out, where something changed since; empty where nothing did."""
    utc_offset_minutes: int = 0

    @property
    def worst(self) -> JobState:
        """The worst state among its jobs."""
        states = (state for state, name in STATES_COUNTED.items() if getattr(self, name))
        return min(states, key=lambda one: STATE_ORDER[one], default=JobState.AHEAD)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetView:
    """A page of the vessels this person may see, worst first. total, troubled: of all pages, how many there are and how many need a
    look. page, pages: which this is, and of how many; first: number of the first vessel on it. may_export: histories of all."""

    frame: Frame
    now_at: datetime
    vessels: tuple[VesselLine, ...]
    total: int
    troubled: int = 0
    waits: tuple[WaitLine, ...] = ()
    page: int = 1
    pages: int = 1
    first: int = 1
    may_export: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EmptyView:
    """First run: no vessel yet. may_set_up: this person may set one up."""

    frame: Frame
    may_set_up: bool = False


def vessel_line(line: ShipLine, now_at: datetime) -> tuple[VesselLine, tuple[WaitLine, ...]]:
    """A plant as listed, and what waits on it for whoever asked."""
    found = line.summary
    href = f"/plants/{line.plant_id}"
    there = VesselLine(name=line.name, imo=line.imo, href=href, trouble=Trouble.NOT_WORKED_OUT)
    if found is None:
        return there, ()
    offset = found.clock(now_at)
    worst, least_at = found.worst, found.least_at
    name = _("{ship}: margin of the next 28 days", ship=line.name)
    seen = replace(
        there,
        **{member: getattr(found, member) for member in STATES_COUNTED.values()},
        trouble=found.trouble,
        utc_offset_minutes=offset,
        below_at=found.below_at,
        below_by="" if found.below_at is None or found.below_at != least_at else _short_by(found.least_litres_per_h),
        next_due_at=found.next_due_at,
        silent_counters=found.silent_counters,
        no_plan=found.no_plan,
        least="" if found.least_litres_per_h is None else margin_number(found.least_litres_per_h / 1000),
        least_when="" if least_at is None else short_date(max(least_at, now_at), offset),
        worst_words="" if worst is None else f"{job_name(worst)}, {brief_words(worst, now_at, offset)}",
        worst_tone="" if worst is None else tone_of(worst.state),
        age=_age_words(found, now_at),
        strip=_strip(name, found.margins, found.from_at, found.clock_first, found.clock_changes),
        waits_count=len(line.waits),
        behind_since=moment(line.worked_at, offset, now_at) if line.behind else "",
    )
    return seen, wait_lines(line.waits, now_at, offset, line.name)


@lru_cache(2048)
def _strip(
    name: str,
    margins: tuple[MarginPiece, ...],
    from_at: datetime,
    clock_first: int,
    clock_changes: tuple[tuple[datetime, int], ...],
) -> Markup:
    """Drawn once for what is alike: 8 ms of CPU each are a page's whole time where it lists a hundred. Empty without margins."""
    stretches = [
        MarginStretch(
            from_at=one.from_at,
            to_at=one.to_at,
            available_m3_per_h=one.available_litres_per_h / 1000,
            minimum_m3_per_h=one.minimum_litres_per_h / 1000,
        )
        for one in margins
    ]
    clock = ShipOffset(clock_first, clock_changes)
    strip = season_strip(stretches, from_at=from_at, to_at=from_at + SHOWN, utc_offset_minutes=clock, name=name)
    return strip if stretches else Markup("")


def _short_by(litres_per_h: int | None) -> str:
    return "" if litres_per_h is None else number(-litres_per_h / 1000, 1)


def _age_words(found: PlantSummary, now_at: datetime) -> str:
    """ "4 min", "31 h", "VP5 silent 11 days"; of the oldest."""
    if found.silent_position:
        since = found.silent_since_at
        name = found.silent_position
        if since is None:
            return _("{name} never read", name=name)
        return _("{name} silent {long}", name=name, long=_long(now_at - since))
    if found.hours_as_of is None:
        return _("no hours read yet")
    return _("{long} old", long=_long(now_at - found.hours_as_of))


def _long(ago: timedelta) -> str:
    minutes = int(ago / timedelta(minutes=1))
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else _("{minutes} days", minutes=minutes // 1440)
