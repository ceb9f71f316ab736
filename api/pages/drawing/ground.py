"""Water, bed, what lies below the minimum, and the axes of the margin drawing."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages.drawing.field import Scales, stairs
from api.pages.shared.margin import MarginStretch, below_words
from api.pages.shared.svg import tag, text, width_of
from scheduler.language import gettext as _
from scheduler.shiptime import instant_of
from scheduler.wording.figures import M3H, number, ship, short_date


def water(margins: Sequence[MarginStretch], field: Scales, bottom: float) -> list[Markup]:
    """Water over the bed; without stretches a bed alone."""
    if not margins:
        bed = f"M{field.left} {field.floor}H{field.right}V{bottom}H{field.left}z"
        return [tag("path", d=bed, fill="url(#p-bed)")]
    surface = stairs(field, [(r, r.available_m3_per_h) for r in margins])
    minimum = stairs(field, [(r, r.minimum_m3_per_h) for r in margins])
    close = f"V{bottom:.1f}H{field.x(margins[0].from_at):.1f}z"
    return [
        tag("path", d=surface + close, class_="s-water"),
        tag("path", d=minimum + close, fill="url(#p-bed)"),
        tag("path", d=minimum, class_="s-min"),
        tag("path", d=surface, class_="s-surf"),
    ]


def below(margins: Sequence[MarginStretch], field: Scales) -> list[Markup]:
    """Stretches below the minimum, with how much is lacking, the deepest first where there is no room for all."""
    parts: list[Markup] = []
    stretches = below_words(margins)
    for stretch in stretches:
        for run in stretch:
            x, y = field.x(run.from_at), field.y(run.minimum_m3_per_h)
            size = {"width": max(field.x(run.to_at) - x, 1.5), "height": field.y(run.available_m3_per_h) - y}
            parts.append(tag("rect", x=x, y=y, class_="s-boot", **size))
            parts.append(tag("rect", x=x, y=y, fill="url(#p-boot)", **size))
        floor = stairs(field, [(r, r.available_m3_per_h) for r in stretch])
        parts.append(tag("path", d=floor, class_="s-bootl"))
    boxes: list[tuple[float, float]] = []
    for stretch in sorted(stretches, key=lambda one: min(run.margin_m3_per_h for run in one)):
        deepest = min(stretch, key=lambda r: r.margin_m3_per_h)
        words, middle, half = _lack_words(stretch, field, alone=len(stretches) == 1)
        if all(middle + half + 4 < lo or hi + 4 < middle - half for lo, hi in boxes):
            boxes.append((middle - half, middle + half))
            parts.append(text(middle, field.y(deepest.available_m3_per_h) + 15, words, "b lack", "middle"))
    return parts


def _lack_words(stretch: Sequence[MarginStretch], field: Scales, *, alone: bool) -> tuple[str, float, float]:
    """How far below, the middle of it, and half its width; the word stands where there is room for it."""
    first, last = field.x(stretch[0].from_at), field.x(stretch[-1].to_at)
    lack = lack_number(min(run.margin_m3_per_h for run in stretch))
    words = _("short by {lack}", lack=lack.lstrip("−")) if alone or last - first > 90 else lack
    half = width_of(words, 13) / 2
    return words, min(max((first + last) / 2, field.left + half + 2), field.right - half - 2), half


def lack_number(m3_per_h: float) -> str:
    """A margin below zero to a tenth, rounded down so that the lack never looks smaller than it is; whole ones bare.

    >>> lack_number(-1.2), lack_number(-4.0), lack_number(-0.04)
    ('−1.2', '−4', '−0.1')
    """
    tenths = math.floor(m3_per_h * 10 + 1e-6)
    return number(tenths / 10, 1 if tenths % 10 else 0)


def axis_day(field: Scales, bottom: float, offset: int, lines_from: float | None = None) -> list[Markup]:
    """A tick each day under `bottom`, a longer one on Mondays, and dates: each day's where few are drawn, else Mondays'.

    lines_from: y from which faint lines come down to the ticks that are dated.
    """
    first = ship(field.from_at, offset).replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    each = field.to_at - field.from_at <= timedelta(days=10)
    ticks, dated = "", []
    local = first
    while (at := instant_of(local, offset)) < field.to_at:
        long = each or local.weekday() == 0
        ticks += f"M{field.x(at):.1f} {bottom:.1f}v{8 if long else 4}"
        if long:
            dated.append(at)
        local += timedelta(days=1)
    parts = [tag("path", d=ticks, class_="s-tick open")] if ticks else []
    if lines_from is not None and dated:
        lines = "".join(f"M{field.x(at):.1f} {lines_from:.1f}V{bottom:.1f}" for at in dated)
        parts.insert(0, tag("path", d=lines, class_="s-rule"))
    words, last = short_date(field.from_at, offset), field.left
    if not each or not dated or field.x(dated[0]) - field.left > width_of(words) + 8:
        parts.append(text(field.left, bottom + 20, words, "t2"))
        last += width_of(words) + 12
    for at in dated:
        words, x = short_date(at, offset), field.x(at)
        if x > last and x + width_of(words) < field.right + 4:
            parts.append(text(x - 1, bottom + 20, words, "t2"))
            last = x + width_of(words) + 8
    return parts


def axes(field: Scales, bottom: float, now_at: datetime, offset: int, *, figures: bool) -> list[Markup]:
    """Days under the bed, capacity beside it, now."""
    edge = f"M{field.left} {bottom:.1f}H{field.right}V{field.top:.1f}"
    parts = [tag("path", d=edge, class_="s-tick open"), *axis_day(field, bottom, offset)]
    step = _round_step((field.high - field.low) / 3)
    value = -(-field.low // step) * step
    if figures:
        parts.append(text(field.right + 40, bottom + 20, M3H, "t2 tiny", "end"))
    while figures and value <= field.high + 1e-9:
        y = field.y(value)
        parts.append(tag("path", d=f"M{field.right} {y:.1f}h5", class_="s-tick"))
        parts.append(text(field.right + 8, y + 4, number(value), "t2"))
        value += step
    if field.from_at <= now_at < field.to_at:
        x = field.x(now_at)
        parts.append(tag("path", d=f"M{x:.1f} {field.top - 4:.1f}V{bottom:.1f}", class_="s-now"))
    return parts


def _round_step(about: float) -> float:
    power = 10.0 ** len(str(int(about))) / 10 if about >= 1 else 1.0
    return next(power * k for k in (1, 2, 5, 10) if power * k >= about or k == 10)


def bed_words(margins: Sequence[MarginStretch], field: Scales) -> list[Markup]:
    """The minimum written in the bed: the usual one in full, other stretches by number and, once, by name."""
    stretches: list[tuple[float, float, float, str]] = []
    for run in margins:
        a, b = field.x(run.from_at), field.x(run.to_at)
        if stretches and stretches[-1][2:] == (run.minimum_m3_per_h, run.minimum_label):
            stretches[-1] = (stretches[-1][0], b, *stretches[-1][2:])
        else:
            stretches.append((a, b, run.minimum_m3_per_h, run.minimum_label))
    if not stretches:
        return []
    lengths: dict[tuple[float, str], float] = {}
    for a, b, value, label in stretches:
        lengths[value, label] = lengths.get((value, label), 0) + b - a
    usual = max(lengths, key=lambda key: lengths[key])
    parts: list[Markup] = []
    boxes: list[tuple[float, float]] = []
    said: set[str] = set()
    a, b = max(
        ((a, b) for a, b, *key in stretches if tuple(key) == usual), key=lambda ab: (ab[1] - ab[0] >= 190, -ab[0])
    )
    words = _("Minimum {number} {m3h}", number=number(usual[0]), m3h=M3H)
    words += "" if usual[1] == "minimum" else f" · {usual[1]}"
    y = field.y(usual[0]) + 18
    wide = width_of(words, 12.5)
    lacks = below_words(margins)
    taken = []
    for stretch in lacks:
        _words, middle, half = _lack_words(stretch, field, alone=len(lacks) == 1)
        edges = (field.x(stretch[0].from_at), field.x(stretch[-1].to_at))
        taken.append((min(edges[0] - 18, middle - half - 6), max(edges[1] + 18, middle + half + 6)))
    start = _free_start(a + 8, b - wide, taken, wide)
    if start is not None:
        parts.append(text(start, y, words, "b in-bed"))
        boxes.append((start, start + 4 + wide))
    for a, b, value, label in stretches:
        printed = number(value)
        if (value, label) == usual or b - a < width_of(printed) + 2:
            continue
        middle = (a + b) / 2
        low = field.y(value) + 16
        if all(not (lo - 4 < middle < hi + 4) for lo, hi in boxes) or low < y - 12:
            parts.append(text(middle, low, printed, "b in-bed", "middle"))
        half = width_of(label, 11.5) / 2
        lo, hi = middle - half, middle + half
        if label not in said and lo > 0 and hi < field.right and all(hi + 4 < c or lo - 4 > d for c, d in boxes):
            parts.append(text(middle, max(y, low + 15), label, "tiny in-bed", "middle"))
            boxes.append((lo, hi))
            said.add(label)
    return parts


def _free_start(start: float, last: float, taken: Sequence[tuple[float, float]], wide: float) -> float | None:
    """The first x from `start` at which a text does not lie on a figure below minimum; none when there is no room."""
    at = start
    for lo, hi in taken:
        if at < hi and lo < at + wide:
            at = hi + 2
    return at if at <= last or at == start else None
