"""What is said and drawn beside the work while the pump is out: how long it may stay open depends on it."""

from collections.abc import Iterator
from datetime import timedelta

from markupsafe import Markup

from api.pages import drawing
from scheduler.actions.capacity.stopped import AHEAD_SHOWN, stopped_pump
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.capacity.minimum import margins_hourly
from scheduler.domain.work.state import Counts, WorkState
from scheduler.language import gettext as _
from scheduler.wording.capacity import capacity_left_words
from scheduler.wording.figures import clock, margin_number

_HOURS_AHEAD = 12
"""So far ahead the margin is told while a pump is out."""


def while_out_chart(now: PlantState, work: WorkState, pump: str | None) -> Markup:
    """The margin of the next 24 hours while the pump counts for nothing; empty while it counts."""
    if work.counts is not Counts.NOTHING or pump is None:
        return Markup("")
    left, offset = stopped_pump(now, pump).left, now.offset_minutes
    return drawing.open_hours_chart(
        left,
        from_at=now.at,
        to_at=now.at + AHEAD_SHOWN,
        now_at=now.at,
        utc_offset_minutes=offset,
        width=358,
        depth=70,
        name=_("Margin of the next 24 hours while it is open: {left}.", left=capacity_left_words(left, offset)),
    )


def while_out_lines(now: PlantState, work: WorkState, pump: str | None, gas_minutes: int) -> Iterator[str]:
    """What is told while the pump counts for nothing: the margin now and later, one more trip, the permit, the gas."""
    if work.counts is not Counts.NOTHING:
        return
    offset = now.offset_minutes
    hourly = margins_hourly(now.plant, now.outages, now.at, _HOURS_AHEAD, offset, now.capacities, now.concessions)
    first = hourly[0][0] / 1000
    lower = next((n for n, (margin, _) in enumerate(hourly) if margin / 1000 < first - 1e-9), None)
    said = (
        _("Margin {margin_number} now", margin_number=margin_number(first))
        if first >= 0
        else _("Short by {short} now", short=_short(first))
    )
    if lower is not None:
        at = (now.at + timedelta(hours=lower)).replace(minute=0)
        later = hourly[lower][0] / 1000
        said += _(
            ", {margin_number} from {clock}",
            margin_number=margin_number(later) if later >= 0 else _("short by {short}", short=_short(later)),
            clock=clock(at, offset),
        )
    yield f"{said}."
    largest = max((swept.m3_per_h for other, swept in now.counts_for().items() if other != pump), default=0.0)
    trip = first - largest
    yield _(
        "If one more pump trips: {margin}.",
        margin=_("short by {short}", short=_short(trip))
        if trip < 0
        else _("{margin} left", margin=margin_number(trip)),
    )
    permit = work.permit_at(now.at)
    if permit is not None and permit.valid_to is not None:
        yield _("Permit ends {clock}.", clock=clock(permit.valid_to, offset))
    if work.is_open and work.gas is not None:
        by = work.gas.at + timedelta(minutes=gas_minutes)
        yield _(
            "Gas read {clock}: again after every break, or by {clock_2}.",
            clock=clock(work.gas.at, offset),
            clock_2=clock(by, offset),
        )


def _short(margin_m3_per_h: float) -> str:
    """What lacks, rounded up, without a sign."""
    return margin_number(margin_m3_per_h).lstrip("\u2212")
