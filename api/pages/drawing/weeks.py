"""Twelve weeks of days: the bed is the minimum with the crest of its busy hours, bars are stays, dotted lines changes of the clock."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages.drawing.days import kind_label
from api.pages.drawing.field import Scales
from api.pages.drawing.ground import axis_day
from api.pages.drawing.season import DayMinimum, day_line
from api.pages.shared.svg import join, tag, text, width_of
from scheduler.wording.figures import number

TOP, DEPTH, BARS = 20.0, 64.0, 26.0


def weeks_strip(
    days: Sequence[DayMinimum],
    stays: Sequence[tuple[datetime, datetime, str]],
    clocks: Sequence[tuple[datetime, str]],
    *,
    from_at: datetime,
    to_at: datetime,
    utc_offset_minutes: int,
    width: int,
    name: str,
) -> Markup:
    """The strip, `width` px wide.

    Args:
        days: touching, in time order. stays: (from, to, kind), by time. clocks: (instant, what it does). name: the picture in words.
    """
    inside = [one for one in days if one.from_at < to_at and one.to_at > from_at]
    high = max((one.crest for one in inside), default=0.0) or 1.0
    field = Scales(from_at, to_at, 1.0, width - 1.0, TOP, TOP + DEPTH, 0.0, high * 1.1)
    parts: list[Markup] = []
    if inside:
        crest, bed = (day_line(inside, field, member) for member in ("crest", "usual"))
        close = f"V{field.floor:.1f}H{field.x(inside[0].from_at):.1f}z"
        parts += [
            tag("path", d=crest + close, class_="s-crest"),
            tag("path", d=bed + close, class_="s-bed"),
            tag("path", d=bed + close, fill="url(#p-bed)"),
            tag("path", d=crest, class_="s-crestl"),
            tag("path", d=bed, class_="s-min"),
        ]
    parts += _bed_words(inside, field)
    for at, words in clocks:
        if from_at <= at < to_at:
            x = field.x(at)
            parts.append(tag("path", d=f"M{x:.1f} 2V{field.floor:.1f}", class_="s-now"))
            flip = x + width_of(words, 11.5) + 6 > field.right
            parts.append(text(x - 4 if flip else x + 4, 12, words, "tiny halo", "end" if flip else None))
    clear = 0.0
    for start, end, kind in stays:
        if start >= to_at or end <= from_at:
            continue
        a, b = field.x(max(start, from_at)), field.x(min(end, to_at))
        parts.append(tag("path", d=f"M{a:.1f} {field.floor + 7}H{max(b, a + 3):.1f}", class_="s-stay"))
        words = kind_label(kind)
        if a >= clear and a + width_of(words, 11.5) < field.right:
            parts.append(text(a, field.floor + 22, words, "tiny"))
            clear = a + width_of(words, 11.5) + 6
    parts += axis_day(field, field.floor + BARS, utc_offset_minutes)
    height = int(field.floor + BARS + 26)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def _bed_words(days: Sequence[DayMinimum], field: Scales) -> list[Markup]:
    """The minimum written in each stretch that has room for it."""
    parts = []
    for one in days:
        label = "" if one.usual_label == "minimum" else f"{one.usual_label} "
        room = field.x(min(one.to_at, field.to_at)) - field.x(max(one.from_at, field.from_at))
        for words in (f"{label}{number(one.usual)}", number(one.usual)):
            if width_of(words, 12.5) + 8 < room and one.to_at - one.from_at >= timedelta(days=1):
                y = min(field.y(one.usual) + 18, field.floor - 5)
                parts.append(text(field.x(max(one.from_at, field.from_at)) + 6, y, words, "b in-bed"))
                break
    return parts
