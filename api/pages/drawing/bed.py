"""The minimum alone, as the bed it is: how high it stands, and where it was lowered."""

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup

from api.pages.drawing.field import Scales, stairs
from api.pages.drawing.ground import axes
from api.pages.shared.margin import MarginStretch
from api.pages.shared.svg import join, tag, text, width_of
from scheduler.language import gettext as _
from scheduler.wording.figures import number

TOP, AXIS = 20.0, 26
LOWER = "lower as agreed"
"""How the minimum is called where a concession holds, after its own label."""


def minimum_chart(
    margins: Sequence[MarginStretch],
    own: Sequence[MarginStretch],
    *,
    from_at: datetime,
    to_at: datetime,
    now_at: datetime,
    utc_offset_minutes: int,
    width: int,
    depth: int,
    name: str,
) -> Markup:
    """The minimum between two instants, `width` px wide and `depth` px high at its highest, from 0 up.

    Args:
        margins: touching stretches of the minimum that counts; own: of the plant's own, drawn dashed where it is higher.
        name: what the picture says in words.
    """
    inside = [r for r in margins if r.from_at < to_at and r.to_at > from_at]
    above = [r for r in own if r.from_at < to_at and r.to_at > from_at]
    high = max([r.minimum_m3_per_h for r in (*inside, *above)], default=0.0) or 1.0
    field = Scales(from_at, to_at, 1.0, width - 44.0, TOP, TOP + depth, 0.0, high)
    surface = stairs(field, [(r, r.minimum_m3_per_h) for r in inside])
    close = f"{surface}V{field.floor:.1f}H{field.left}z" if inside else ""
    parts = [tag("path", d=close, class_="s-bed"), tag("path", d=close, fill="url(#p-bed)")] if inside else []
    if [r.minimum_m3_per_h for r in inside] != [r.minimum_m3_per_h for r in above]:
        line = stairs(field, [(r, r.minimum_m3_per_h) for r in above])
        parts.append(tag("path", d=line, class_="s-now open"))
    parts.append(tag("path", d=surface, class_="s-min"))
    parts += axes(field, field.floor, now_at, utc_offset_minutes, figures=bool(inside))
    parts += _words(inside, field)
    if not inside:
        parts.append(text(width / 2, TOP + depth / 2, _("The minimum is not known"), "t2", "middle"))
    height = int(field.floor + AXIS)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def _words(margins: Sequence[MarginStretch], field: Scales) -> list[Markup]:
    """The figures with their labels, the longest in force first, near the foot of the bed, line under line as they fit."""
    lengths: dict[str, float] = {}
    for run in margins:
        label = _("lower as agreed") if run.minimum_label.endswith(LOWER) else run.minimum_label
        words = f"{number(run.minimum_m3_per_h)} {label}"
        lengths[words] = lengths.get(words, 0.0) + (run.to_at - run.from_at).total_seconds()
    lines: list[str] = []
    for words in sorted(lengths, key=lambda key: (-lengths[key], key)):
        longer = f"{lines[-1]} · {words}" if lines else words
        if lines and width_of(longer, 12.5) < field.right - field.left - 24:
            lines[-1] = longer
        else:
            lines.append(words)
    return [
        text(field.left + 10, field.floor - 12 - 17 * (len(lines) - 1 - row), one, "b in-bed")
        for row, one in enumerate(lines)
    ]
