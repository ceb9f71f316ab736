"""Running hours since a job of one kind over the days of a pump: up to each close, down to nothing, and up again."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from api.pages.shared.svg import join, tag, text, width_of
from scheduler.wording.figures import month_short, number

WIDTH, HEIGHT = 940, 132
_LEFT, _RIGHT, _TOP, _FLOOR = 46.0, 932.0, 20.0, 108.0
_ABOVE = 1.25
"""Share of the interval at the top of the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceClose:
    """A close of the kind: when, hours since the one before, and its sign in words ("+35 h", "in window")."""

    on: date
    since_hours: float
    words: str
    late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceCurve:
    """runs: stretches of (day, hours since the last job), each up to a close or today; what nobody counted is left out."""

    first: date
    last: date
    interval_hours: float
    window_hours: float
    limit_hours: float
    runs: Sequence[Sequence[tuple[date, float]]]
    closes: Sequence[SinceClose]
    words: str


def curve(figure: SinceCurve) -> Markup:
    """The drawing, with its words as its name."""
    days = max(1, (figure.last - figure.first).days)

    def x(on: date) -> float:
        return _LEFT + (on - figure.first).days / days * (_RIGHT - _LEFT)

    def y(hours: float) -> float:
        return _FLOOR - min(max(hours / figure.interval_hours, 0.0), _ABOVE) / _ABOVE * (_FLOOR - _TOP)

    opens, due, limit = (y(one) for one in (figure.window_hours, figure.interval_hours, figure.limit_hours))
    parts = [
        tag("rect", x=_LEFT, y=limit, width=_RIGHT - _LEFT, height=max(1.0, opens - limit), class_="s-glass"),
        tag("path", d=f"M{_LEFT:.1f} {due:.1f}H{_RIGHT:.1f}", class_="s-due"),
        tag("path", d=f"M{_LEFT:.1f} {_FLOOR:.1f}H{_RIGHT:.1f}", class_="s-tick"),
        text(_LEFT - 5, due + 4, number(figure.interval_hours), "fig tiny", "end"),
        text(_LEFT - 5, _FLOOR + 4, "0", "fig tiny", "end"),
    ]
    parts += _years(figure, x)
    for on, anchor in ((figure.first, "start"), (figure.last, "end")):
        parts.append(text(x(on), _FLOOR + 18, f"{on.day} {month_short(on.month)} {on.year}", "fig tiny", anchor))
    for run in figure.runs:
        points = [f"{x(on):.1f} {y(hours):.1f}" for on, hours in run]
        if len(points) > 1:
            parts.append(tag("path", d="M" + "L".join(points), class_="s-level open"))
    free = _LEFT
    for close in figure.closes:
        at, height = x(close.on), y(close.since_hours)
        parts.append(tag("path", d=f"M{at:.1f} {height:.1f}V{_FLOOR:.1f}", class_="s-ink"))
        parts.append(tag("circle", cx=at, cy=height, r=4, class_="s-ink f-brass" if close.late else "s-ink f-paper"))
        start = min(max(at - width_of(close.words, 11.5) / 2, free), _RIGHT - width_of(close.words, 11.5))
        if start >= free:
            parts.append(text(start, _TOP - 7, close.words, "fig tiny"))
            free = start + width_of(close.words, 11.5) + 8
    return tag(
        "svg", join(parts), viewBox=f"0 0 {WIDTH} {HEIGHT}", class_="chart curve", role="img", aria_label=figure.words
    )


def _years(figure: SinceCurve, place: Callable[[date], float]) -> list[Markup]:
    """The first day of each quarter has a tick, of each year its figure."""
    parts = []
    for year in range(figure.first.year, figure.last.year + 1):
        for month in (1, 4, 7, 10):
            on = date(year, month, 1)
            if figure.first <= on <= figure.last:
                at = place(on)
                parts.append(tag("path", d=f"M{at:.1f} {_FLOOR:.1f}v5", class_="s-tick"))
                if month == 1 and _LEFT + 90 < at < _RIGHT - 110:
                    parts.append(text(at, _FLOOR + 18, str(year), "fig tiny", "middle"))
    return parts
