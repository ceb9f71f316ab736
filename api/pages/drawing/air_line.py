"""The air a plant handled each day against what is usual: a line, and a band of what would not show."""

import math
from collections.abc import Sequence
from datetime import date, timedelta

from markupsafe import Markup

from api.pages.shared.svg import join, tag, text
from scheduler.language import gettext as _
from scheduler.wording.figures import month_short
from scheduler.wording.signs import day_month

LEFT, TOP, FOOT = 52.0, 16.0, 26.0
LEAST_SPAN = 0.45
"""Natural logarithm of the least range that is drawn, so that a quiet ship looks quiet."""


def air_chart(
    off: Sequence[float],
    last_on: date,
    *,
    least_percent: int | None,
    began_on: date | None,
    width: int,
    depth: int,
    name: str,
) -> Markup:
    """The days that end on `last_on`, oldest first; NaN breaks the line.

    Args:
        off: natural logarithm of each day against usual. began_on: marked, where a sign stands. name: what it says in words.
    """
    known = [value for value in off if not math.isnan(value)]
    span = max([LEAST_SPAN, *(abs(value) for value in known)]) * 1.05
    right, floor = width - 8.0, TOP + depth
    step = (right - LEFT) / max(len(off) - 1, 1)

    def x(n: float) -> float:
        return LEFT + n * step

    def y(value: float) -> float:
        return TOP + depth * (span - value) / (2 * span)

    parts: list[Markup] = []
    if least_percent is not None:
        high = math.log1p(least_percent / 100)
        band = min(high, span)
        parts.append(tag("rect", x=LEFT, y=y(band), width=right - LEFT, height=y(-band) - y(band), class_="s-water"))
        parts.append(
            text(
                LEFT + 6,
                y(-band) + 14,
                _("less than {least_percent} % does not show", least_percent=least_percent),
                "tiny t2",
            )
        )
    for percent in (-50, -25, 0, 25, 50, 100, 200):
        value = math.log1p(percent / 100)
        if abs(value) <= span:
            parts.append(tag("path", d=f"M{LEFT} {y(value):.1f}H{right}", class_="s-tick"))
            label = _("usual") if percent == 0 else f"{'+' if percent > 0 else '−'}{abs(percent)} %"
            parts.append(text(LEFT - 6, y(value) + 4, label, "fig t2", "end"))
    line, pen_up = "", True
    for n, value in enumerate(off):
        if math.isnan(value):
            pen_up = True
            continue
        line += f"{'M' if pen_up else 'L'}{x(n):.1f} {y(value):.1f}" + ("h0.1" if pen_up else "")
        pen_up = False
    parts.append(tag("path", d=line, class_="s-surf"))
    first_on = last_on - timedelta(days=len(off) - 1)
    for n in range(len(off)):
        on = first_on + timedelta(days=n)
        if on.day == 1 or (len(off) <= 60 and on.day == 15):
            parts.append(tag("path", d=f"M{x(n):.1f} {floor}v5", class_="s-ink"))
            if LEFT + 10 < x(n) < right - 30:
                parts.append(text(x(n), floor + 18, f"{on.day} {month_short(on.month)}", "fig", "middle"))
    parts.append(tag("path", d=f"M{LEFT} {floor}H{right}", class_="s-ink"))
    if began_on is not None and began_on >= first_on:
        at = x((began_on - first_on).days)
        parts.append(tag("path", d=f"M{at:.1f} {TOP - 4}V{floor}", class_="s-now"))
        side = "end" if at > width / 2 else "start"
        parts.append(
            text(
                at + (-5 if side == "end" else 5),
                TOP + 6,
                _("about {day_month}", day_month=day_month(began_on)),
                "b halo",
                side,
            )
        )
    height = int(floor + FOOT)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)
