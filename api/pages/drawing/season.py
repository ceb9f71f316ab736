"""Weeks of margin on one picture: the bed smooth, a figure a day, with the crest of its busy hours; dips as they are."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import groupby

from markupsafe import Markup

from api.pages.drawing.depths import leads, soundings
from api.pages.drawing.field import ROW, Plumb, Scales, place_flags, stairs
from api.pages.drawing.ground import axes, below
from api.pages.drawing.margin import AXIS, span_x
from api.pages.shared.margin import MarginStretch
from api.pages.shared.svg import join, tag, text, width_of
from scheduler.language import gettext as _
from scheduler.shiptime import instant_of
from scheduler.wording.figures import number, ship


@dataclass(frozen=True, slots=True, kw_only=True)
class DayMinimum:
    """The minimum over touching days that are alike: what holds longest in a day, and the highest, each with its label, m3/h."""

    from_at: datetime
    to_at: datetime
    usual: float
    usual_label: str
    crest: float
    crest_label: str


def day_minima(margins: Sequence[MarginStretch], utc_offset_minutes: int) -> tuple[DayMinimum, ...]:
    """The minimum by the ship's days, days that are alike taken together; what is lower than it usually is, as at night, is left
    out."""
    days = []
    for _date, pieces in groupby(
        _by_day(margins, utc_offset_minutes), key=lambda one: ship(one.from_at, utc_offset_minutes).date()
    ):
        inside = list(pieces)
        lasting: dict[tuple[float, str], timedelta] = {}
        for one in inside:
            key = (one.minimum_m3_per_h, one.minimum_label)
            lasting[key] = lasting.get(key, timedelta()) + (one.to_at - one.from_at)
        usual = max(lasting, key=lambda key: (lasting[key], key))
        crest = max(lasting)
        days.append(
            DayMinimum(
                from_at=inside[0].from_at,
                to_at=inside[-1].to_at,
                usual=usual[0],
                usual_label=usual[1],
                crest=crest[0],
                crest_label=crest[1],
            )
        )
    if len(days) > 2:  # the first and the last day are cut: what lasts longest in what is left of them says little
        days[0] = _as_neighbour(days[0], days[1])
        days[-1] = _as_neighbour(days[-1], days[-2])
    found: list[DayMinimum] = []
    for day in days:
        if found and replace(found[-1], to_at=day.to_at) == replace(day, from_at=found[-1].from_at):
            day = replace(day, from_at=found.pop().from_at)
        found.append(day)
    return tuple(found)


def _as_neighbour(day: DayMinimum, other: DayMinimum) -> DayMinimum:
    """The day as the one beside it where nothing in it is higher than there."""
    return replace(other, from_at=day.from_at, to_at=day.to_at) if day.crest <= other.crest else day


def _by_day(margins: Sequence[MarginStretch], offset: int) -> Iterator[MarginStretch]:
    """The stretches cut at the ship's midnights."""
    for one in margins:
        start = one.from_at
        while start < one.to_at:
            wall = ship(start, offset).replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
            ends = min(one.to_at, instant_of(wall, offset))
            if ends <= start:  # a clock that is set back over midnight
                ends = one.to_at
            whole = start == one.from_at and ends == one.to_at
            yield one if whole else replace(one, from_at=start, to_at=ends)
            start = ends


def season_chart(
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
) -> Markup:
    """Capacity over minimum for weeks, from 0 up. Arguments as in `margin_chart`."""
    inside = [r for r in margins if r.from_at < to_at and r.to_at > from_at]
    left, right = 1.0, width - 44.0
    labels_at = [(p, span_x(p, from_at, to_at, left, right)) for p in plumbs if p.from_at < to_at and p.to_at > from_at]
    flags = place_flags([(x, p.flag) for p, x in labels_at], right + 40, rows)
    used = max((f.row + 1 for f in flags if f.row is not None), default=0)
    top = 8.0 + used * ROW + (6 if used else 12)
    high = max((max(r.minimum_m3_per_h, r.available_m3_per_h) for r in inside), default=0.0) or 1.0
    field = Scales(from_at, to_at, left, right, top, top + depth, 0.0, high)
    days = day_minima(inside, utc_offset_minutes)
    parts = [*_ground(inside, days, field), *below(inside, field)]
    parts += axes(field, field.floor, now_at, utc_offset_minutes, figures=bool(inside))
    parts += _words(days, field)
    parts += soundings(_worst(inside, days), labels_at, field)
    parts += leads(inside, labels_at, flags, field)
    if not inside:
        parts.append(
            text((left + right) / 2, field.floor - depth / 2, _("Capacity not worked out yet"), "t2", "middle")
        )
    height = int(field.floor + AXIS)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def season_strip(
    margins: Sequence[MarginStretch], *, from_at: datetime, to_at: datetime, utc_offset_minutes: int, name: str
) -> Markup:
    """The same in small for a list of ships: no axes, no words, the stretches that are short in red."""
    inside = [r for r in margins if r.from_at < to_at and r.to_at > from_at]
    high = max((max(r.minimum_m3_per_h, r.available_m3_per_h) for r in inside), default=0.0) or 1.0
    field = Scales(from_at, to_at, 0.0, 300.0, 2.0, 46.0, 0.0, high)
    short = [one for one in below(inside, field) if not one.startswith("<text")]
    parts = [*_ground(inside, day_minima(inside, utc_offset_minutes), field), *short]
    return tag("svg", join(parts), viewBox="0 0 300 48", class_="chart", role="img", aria_label=name)


def _ground(margins: Sequence[MarginStretch], days: Sequence[DayMinimum], field: Scales) -> list[Markup]:
    """Water, the crest of the busy hours, and the bed."""
    if not margins:
        return [
            tag(
                "path",
                d=f"M{field.left} {field.floor - 20}H{field.right}V{field.floor}H{field.left}z",
                fill="url(#p-bed)",
            )
        ]
    close = f"V{field.floor:.1f}H{field.x(margins[0].from_at):.1f}z"
    surface = stairs(field, [(r, r.available_m3_per_h) for r in margins])
    crest, bed = (day_line(days, field, member) for member in ("crest", "usual"))
    return [
        tag("path", d=surface + close, class_="s-water"),
        tag("path", d=crest + close, class_="s-crest"),
        tag("path", d=bed + close, class_="s-bed"),
        tag("path", d=bed + close, fill="url(#p-bed)"),
        tag("path", d=crest, class_="s-crestl"),
        tag("path", d=bed, class_="s-min"),
        tag("path", d=surface, class_="s-surf"),
    ]


def day_line(days: Sequence[DayMinimum], field: Scales, member: str) -> str:
    """The path along the days' usual minimum, or their crest; days is not empty."""
    steps: list[str] = []
    for day in days:
        y = f"{field.y(getattr(day, member)):.1f}"
        steps.append(f"H{field.x(day.from_at):.1f}V{y}" if steps else f"M{field.x(day.from_at):.1f} {y}")
    return "".join(steps) + f"H{field.x(days[-1].to_at):.1f}"


def _worst(margins: Sequence[MarginStretch], days: Sequence[DayMinimum]) -> list[MarginStretch]:
    """The stretches over the crest of their days, those alike joined: soundings of the worst hour."""
    found: list[list[MarginStretch]] = []
    for one in margins:
        for day in days:
            start, end = max(one.from_at, day.from_at), min(one.to_at, day.to_at)
            if start >= end:
                continue
            piece = replace(one, from_at=start, to_at=end, minimum_m3_per_h=day.crest, minimum_label=day.crest_label)
            if found and found[-1][-1].figures == piece.figures:
                found[-1].append(piece)
            else:
                found.append([piece])
    return [replace(alike[0], to_at=alike[-1].to_at) for alike in found]


def _words(days: Sequence[DayMinimum], field: Scales) -> list[Markup]:
    """In the bed: what must be there, and in busy hours; the first in full, each further stretch where there is room."""
    parts: list[Markup] = []
    seen: set[str] = set()
    for day in sorted(days, key=lambda one: field.x(one.from_at) - field.x(one.to_at)):
        label = (
            _("Minimum")
            if not seen or day.usual_label == "minimum"
            else day.usual_label[:1].upper() + day.usual_label[1:]
        )
        said = f"{label} {number(day.usual)}"
        said += f", {day.crest_label} {number(day.crest)}" if day.crest > day.usual else ""
        room = field.x(day.to_at) - field.x(day.from_at)
        for words in (said, number(day.usual)):
            if words not in seen and width_of(words, 12.5) + 12 < room and field.floor - field.y(day.usual) > 20:
                middle = (field.x(day.from_at) + field.x(day.to_at)) / 2
                parts.append(text(middle, min(field.y(day.usual) + 18, field.floor - 5), words, "b in-bed", "middle"))
                seen.add(words)
                break
    return parts
