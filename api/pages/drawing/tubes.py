"""Running hours since each job as levels in tubes, the due line straight through."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from api.pages.shared.svg import join, tag, text, width_of
from scheduler.domain.base.enums import JobState
from scheduler.language import gettext as _

TUBE_WIDTH = 154
TUBE_TOP, TUBE_BOTTOM = 8.0, 132.0
TUBE_SCALE = 1.2
"""Share of the interval at the top of a tube; what lies above is drawn at the top with a chevron."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeFigure:
    """One tube. Shares are parts of the interval in running hours (1 is due); share none: no hours known.

    window_share .. limit_share is the bracket. pressing: this is the job the pump's line below speaks of.
    """

    label: str
    words: str
    hours: str
    share: float | None
    window_share: float
    limit_share: float
    state: JobState
    pressing: bool = False


def tube_y(share: float) -> float:
    """Height of a share of the interval, px from the top; cut at both ends of the tube."""
    held = min(max(share, 0.0), TUBE_SCALE)
    return TUBE_BOTTOM - held / TUBE_SCALE * (TUBE_BOTTOM - TUBE_TOP)


def tubes(figures: Sequence[TubeFigure], name: str) -> Markup:
    """The tubes of one pump side by side, the due line straight through and on to the neighbours."""
    pitch = TUBE_WIDTH / max(3, len(figures))
    width = min(38.0, pitch - 13)
    lefts = [i * pitch + 4 for i in range(len(figures))]
    glass = "".join(f"M{x:.1f} {TUBE_TOP:g}h{width:.1f}v{TUBE_BOTTOM - TUBE_TOP:g}h-{width:.1f}z" for x in lefts)
    ticks = "".join(f"M{x:.1f} {tube_y(s / 4):.1f}h4" for x in lefts for s in (1, 2, 3))
    brackets = "".join(_bracket(one, x + width + 2) for one, x in zip(figures, lefts, strict=True))
    levels = [part for one, x in zip(figures, lefts, strict=True) for part in _level(one, x, width)]
    figures_said = [part for one, x in zip(figures, lefts, strict=True) for part in _said(one, x, width)]
    parts = [  # what is alike in every tube is one path: a plant has up to 24 of them
        *([tag("path", d=glass, class_="s-glass")] if figures else []),
        *levels,
        *([tag("path", d=ticks, class_="s-tick"), tag("path", d=brackets, class_="s-ink")] if figures else []),
        *figures_said,
        tag("path", d=f"M-1 {tube_y(1.0):.1f}H{TUBE_WIDTH + 1}", class_="s-due"),
    ]
    said = "; ".join(f.words for f in figures) or _("no jobs counted in running hours")
    box = f"0 0 {TUBE_WIDTH} 152"
    label = f"{name}: {said}"
    return tag("svg", join(parts), viewBox=box, class_="tube", role="img", text_anchor="middle", aria_label=label)


def _level(figure: TubeFigure, x: float, width: float) -> list[Markup]:
    if figure.share is None:
        return []
    level, due = tube_y(figure.share), tube_y(1.0)
    late = figure.share > 1 and figure.state in (JobState.PAST_DUE, JobState.PAST_LIMIT)
    shade = "boot" if figure.state is JobState.PAST_LIMIT else "brass"
    top = due if late else level
    depth = max(0.0, TUBE_BOTTOM - top - 0.5)
    parts = [tag("rect", x=x + 1, y=top, width=width - 2, height=depth, class_="s-water")]
    if late:
        for class_, fill in ((f"s-{shade}", None), (None, f"url(#p-{shade})")):
            parts.append(tag("rect", x=x + 1, y=level, width=width - 2, height=due - level, class_=class_, fill=fill))
    surface = f"s-{shade}l" if late else "s-level"
    parts.append(tag("path", d=f"M{x - 1:.1f} {level:.1f}h{width + 2:.1f}", class_=surface))
    if figure.share > TUBE_SCALE:
        parts.append(tag("path", d=f"M{x + width / 2 - 5:.1f} {TUBE_TOP - 2}l5-5l5 5", class_=f"{surface} open"))
    return parts


def _bracket(figure: TubeFigure, x: float) -> str:
    low, high = tube_y(figure.window_share), tube_y(figure.limit_share)
    if low - high < 4:
        low, high = low + 2, high - 2
    return f"M{x:.1f} {high:.1f}h4V{low:.1f}h-4"


def _said(figure: TubeFigure, x: float, width: float) -> tuple[Markup, Markup]:
    middle = x + width / 2
    small = "fig tiny" if width_of(figure.hours, 11.5) > width - 1 else "fig"
    at = TUBE_BOTTOM - 6
    if figure.share is not None and at - 12 < tube_y(figure.share) < TUBE_BOTTOM + 1:
        at = tube_y(figure.share) - 5
    label = text(middle, TUBE_BOTTOM + 15, figure.label, "b lab" if figure.pressing else "lab")
    return text(middle, at, figure.hours, small), label
