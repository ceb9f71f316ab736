"""Capacity over minimum as depth over the bed."""

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup

from api.pages.drawing.depths import leads, soundings
from api.pages.drawing.field import ROW, Plumb, Scales, place_flags
from api.pages.drawing.ground import axes, bed_words, below, water
from api.pages.shared.margin import MarginStretch
from api.pages.shared.svg import join, tag, text
from scheduler.language import gettext as _

BED = 46
AXIS = 26


def margin_chart(
    margins: Sequence[MarginStretch],
    plumbs: Sequence[Plumb],
    *,
    from_at: datetime,
    to_at: datetime,
    now_at: datetime,
    utc_offset_minutes: int,
    width: int,
    depth: int,
    name: str,
    rows: int = 4,
    scale: tuple[float, float] | None = None,
    bed_depth: int = BED,
) -> Markup:
    """Capacity over minimum between two instants, `width` px wide, the water `depth` px deep at most.

    Args:
        margins: touching stretches; only those inside from_at..to_at are drawn. Empty: a bed without water and words.
        plumbs: the jobs to let down, merged where pump and start are the same.
        scale: lowest and highest capacity in m3/h, to give two strips one scale; none: from the stretches.
        bed_depth: px of bed under the lowest capacity; 0 where the scale begins at 0.
        name: what the picture says in words, for those who do not see it.
    """
    inside = [r for r in margins if r.from_at < to_at and r.to_at > from_at]
    low, high = scale or scale_of(inside)
    left, right = 1.0, width - 44.0
    labels_at = [(p, span_x(p, from_at, to_at, left, right)) for p in plumbs if p.from_at < to_at and p.to_at > from_at]
    flags = place_flags([(x, p.flag) for p, x in labels_at], right + 40, rows)
    used = max((f.row + 1 for f in flags if f.row is not None), default=0)
    top = 8.0 + used * ROW + (6 if used else 12)
    field = Scales(from_at, to_at, left, right, top, top + depth, low, high)
    bottom = field.floor + bed_depth
    parts = [*water(inside, field, bottom), *below(inside, field)]
    parts += axes(field, bottom, now_at, utc_offset_minutes, figures=bool(inside))
    parts += bed_words(inside, field)
    parts += soundings(inside, labels_at, field)
    parts += leads(inside, labels_at, flags, field)
    if not inside:
        parts.append(
            text((left + right) / 2, field.floor - depth / 2, _("Capacity not worked out yet"), "t2", "middle")
        )
    height = int(bottom + AXIS)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def scale_of(margins: Sequence[MarginStretch]) -> tuple[float, float]:
    """Lowest and highest capacity to be drawn, m3/h; never equal."""
    if not margins:
        return 0.0, 1.0
    low = min(min(r.minimum_m3_per_h, r.available_m3_per_h) for r in margins)
    high = max(max(r.minimum_m3_per_h, r.available_m3_per_h) for r in margins)
    return low, high if high > low else low + 1.0


def span_x(plumb: Plumb, from_at: datetime, to_at: datetime, left: float, right: float) -> float:
    """Where the middle of a lead line's span stands, as far as it is drawn."""
    start, end = max(plumb.from_at, from_at), min(plumb.to_at, to_at)
    share = (start + (end - start) / 2 - from_at) / (to_at - from_at)
    return left + share * (right - left)
