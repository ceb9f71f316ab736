"""What is written and let down into the margin drawing: soundings, and lead lines with their plumbs."""

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup

from api.pages.drawing.field import ROW, LeadLabel, Plumb, Scales
from api.pages.shared.margin import MarginStretch
from api.pages.shared.svg import tag, text, width_of
from scheduler.wording.figures import margin_number


def soundings(
    margins: Sequence[MarginStretch], labels_at: Sequence[tuple[Plumb, float]], field: Scales
) -> list[Markup]:
    """Depths in open water between the jobs: one number where it is constant, else the least and the most."""
    parts: list[Markup] = []
    stretch: list[MarginStretch] = []
    for run in [*margins, None]:
        if run is not None and not run.open_positions and run.margin_m3_per_h >= 0:
            stretch.append(run)
            continue
        parts += _sounding(stretch, [x for _, x in labels_at], field)
        stretch = []
    return parts


def _sounding(stretch: Sequence[MarginStretch], leads: Sequence[float], field: Scales) -> list[Markup]:
    wide = [r for r in stretch if field.x(r.to_at) - field.x(r.from_at) > 40]
    spots = (
        [(r.from_at, r.to_at, [r]) for r in wide]
        if wide
        else [(stretch[0].from_at, stretch[-1].to_at, list(stretch))]
        if stretch
        else []
    )
    merged: list[tuple[datetime, datetime, list[MarginStretch]]] = []
    for a, b, inside in spots:
        if merged and merged[-1][1] == a and merged[-1][2][0].margin_m3_per_h == inside[0].margin_m3_per_h:
            merged[-1] = (merged[-1][0], b, merged[-1][2])
        else:
            merged.append((a, b, inside))
    parts: list[Markup] = []
    for a, b, inside in merged:
        depths = [r.margin_m3_per_h for r in inside]
        words = margin_number(min(depths))
        if max(depths) - min(depths) >= 1:
            words += f"–{margin_number(max(depths))}"
        middle = (field.x(a) + field.x(b)) / 2
        room = field.x(b) - field.x(a)
        surface = max(field.y(r.available_m3_per_h) for r in inside)
        ground = min(field.y(r.minimum_m3_per_h) for r in inside)
        crossed = any(abs(x - middle) < width_of(words, 15) / 2 + 3 for x in leads)
        if room > width_of(words, 15) + 6 and ground - surface > 16 and not crossed:
            parts.append(text(middle, (surface + ground) / 2 + 6, words, "snd", "middle"))
    return parts


def leads(
    margins: Sequence[MarginStretch],
    labels_at: Sequence[tuple[Plumb, float]],
    flags: Sequence[LeadLabel],
    field: Scales,
) -> list[Markup]:
    """Lead lines with their labels, and the least margin at each."""
    parts: list[Markup] = []
    numbers: list[tuple[float, float, float]] = []
    ordered = sorted(labels_at, key=lambda pair: (pair[1], pair[0].flag))
    under = 8.0 + ROW * max((f.row + 1 for f in flags if f.row is not None), default=0)
    for (plumb, x), flag in zip(ordered, flags, strict=True):
        crossed = [r for r in margins if r.from_at < plumb.to_at and r.to_at > plumb.from_at]
        if not crossed:
            continue
        least = min(crossed, key=lambda r: r.margin_m3_per_h)
        at_line = [r for r in crossed if field.x(r.from_at) <= x <= field.x(r.to_at)] or crossed
        floor = max(field.y(r.available_m3_per_h) for r in at_line)
        head = 4.0 + ROW * flag.row if flag.row is not None else under
        parts.append(tag("path", d=f"M{x:.1f} {head:.1f}V{floor - 9:.1f}", class_="s-lead"))
        parts.append(tag("path", d=f"M{x - 2.6:.1f} {floor - 10:.1f}h5.2v6l-2.6 3.4l-2.6-3.4z", class_="f-ink"))
        if flag.row is not None:
            shift, anchor = (-5, "end") if flag.flipped else (5, None)
            parts.append(text(x + shift, head + 8, flag.label, "tiny halo", anchor))
            if plumb.figure:
                continue
        ground = field.y(least.minimum_m3_per_h)
        words = margin_number(least.margin_m3_per_h)
        half = width_of(words, 13) / 2 + 2
        if least.margin_m3_per_h < 0:
            continue
        y = ground - 5
        while any(abs(x - at) < half + other and abs(y - row) < 13 for at, row, other in numbers):
            y -= 14
        if y - 11 > floor or (y == ground - 5 and floor < ground + 1):
            numbers.append((x, y, half))
            parts.append(text(x, y, words, "snd small", "middle"))
    return parts
