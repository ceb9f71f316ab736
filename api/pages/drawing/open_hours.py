"""The hours with one pump open or stopped: what capacity leaves over the minimum, from nothing up."""

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup

from api.pages.drawing.margin import margin_chart
from api.pages.shared.margin import MarginStretch
from scheduler.domain.capacity.may_open import OpenStretch


def open_hours_chart(
    stretches: Sequence[OpenStretch],
    *,
    from_at: datetime,
    to_at: datetime,
    now_at: datetime,
    utc_offset_minutes: int,
    width: int,
    depth: int,
    name: str,
) -> Markup:
    """The stretches up to `to_at`, of which there is one at least, drawn as `margin_chart` does; arguments as there."""
    margins = [
        MarginStretch(
            from_at=one.from_at,
            to_at=min(one.to_at, to_at),
            available_m3_per_h=(one.margin_litres_per_h + one.minimum_litres_per_h) / 1000,
            minimum_m3_per_h=one.minimum_litres_per_h / 1000,
            minimum_label=one.label,
            largest_m3_per_h=(one.margin_litres_per_h - one.after_trip_litres_per_h) / 1000,
            open_positions=(),
            down_positions=(),
        )
        for one in stretches
        if one.from_at < to_at
    ]
    high = max(max(r.minimum_m3_per_h, r.available_m3_per_h) for r in margins) or 1.0
    return margin_chart(
        margins,
        (),
        from_at=from_at,
        to_at=to_at,
        now_at=now_at,
        utc_offset_minutes=utc_offset_minutes,
        width=width,
        depth=depth,
        name=name,
        scale=(0.0, high),
        bed_depth=0,
    )
