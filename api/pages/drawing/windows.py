"""Windows and planned times: a line for each pump, with the bracket from opening to limit, the due mark and the block planned."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup

from api.pages.drawing.field import Scales
from api.pages.drawing.ground import axis_day
from api.pages.shared.svg import join, tag, text, width_of
from scheduler.language import gettext as _

ROW = 22.0
"""Height of one bracket, px; brackets that meet stand under each other."""
PAD = 5.0
GUTTER = 44.0
SIZE = 11.5


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowMark:
    """A job on a pump's line. from_at none: it has no place. late: it ends past its limit. by_hand: somebody set its time."""

    label: str
    opens_at: datetime
    due_at: datetime
    limit_at: datetime
    from_at: datetime | None = None
    to_at: datetime | None = None
    late: bool = False
    by_hand: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowLine:
    """A pump and the jobs on its line; says: what stands there when it has none."""

    name: str
    marks: tuple[WindowMark, ...] = ()
    says: str = ""


def lines_of(marks: Sequence[WindowMark], field: Scales) -> tuple[tuple[WindowMark, int], ...]:
    """Each mark with its row, so that no bracket or label lies on another; as few rows as come out, earliest first."""
    ends: list[float] = []
    placed = []
    for mark in sorted(marks, key=lambda m: (_reach(m, field), m.label)):
        left, right = _reach(mark, field)
        row = next((i for i, end in enumerate(ends) if end + 6 < left), len(ends))
        ends[row:] = [right, *ends[row + 1 :]]
        placed.append((mark, row))
    return tuple(placed)


def window_chart(
    lines: Sequence[WindowLine],
    *,
    from_at: datetime,
    to_at: datetime,
    now_at: datetime,
    utc_offset_minutes: int,
    width: int,
    name: str,
) -> Markup:
    """The lines between two instants, `width` px wide, on the days of the margin drawing above it.

    Args:
        lines: pumps from top to bottom; marks that lie outside from_at..to_at are left out.
        name: what the picture says in words, for those who do not see it.
    """
    field = Scales(from_at, to_at, 1.0, width - GUTTER, 0.0, 1.0, 0.0, 1.0)
    parts: list[Markup] = []
    rules, top = "", 4.0
    for line in lines:
        inside = [m for m in line.marks if _inside(m, field)]
        placed = lines_of(inside, field)
        height = 2 * PAD + ROW * max(1, 1 + max((row for _, row in placed), default=0))
        for mark, row in placed:
            parts += _mark(mark, field, top + PAD + ROW * (row + 0.6))
        if not placed and line.says:
            at = field.x(now_at) + 6 if from_at <= now_at < to_at else field.left + 4
            parts.append(text(at, top + height / 2 + 4, line.says, "t2 tiny"))
        parts += _name(line.name, field.right + 8, top + height / 2 + 4)
        top += height
        rules += f"M{field.left:.1f} {top:.1f}H{width}"
    behind = [tag("path", d=rules, class_="s-rule")] if rules else []
    behind += axis_day(field, top, utc_offset_minutes, lines_from=4.0)
    if from_at <= now_at < to_at:
        behind.append(tag("path", d=f"M{field.x(now_at):.1f} 0V{top:.1f}", class_="s-now"))
    height = int(top + 26)
    drawn = join([*behind, *parts])
    return tag("svg", drawn, viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def _inside(mark: WindowMark, field: Scales) -> bool:
    first = min(mark.opens_at, mark.from_at or mark.opens_at)
    last = max(mark.limit_at, mark.to_at or mark.limit_at)
    planned = mark.from_at is None or mark.to_at is None or (mark.from_at < field.to_at and mark.to_at > field.from_at)
    return planned and first < field.to_at and last > field.from_at


def _block(mark: WindowMark, field: Scales) -> tuple[float, float] | None:
    if mark.from_at is None or mark.to_at is None:
        return None
    left = field.x(mark.from_at)
    return left, max(field.x(mark.to_at), left + (8.0 if mark.by_hand else 6.0))


def _said(mark: WindowMark, field: Scales) -> tuple[str, float, str | None]:
    """The mark's words, where they stand, and the end they are held by: after the block, or before it at the edge."""
    words = _("{label}, no place", label=mark.label) if mark.from_at is None else mark.label
    block = _block(mark, field)
    if block is None:
        at = field.x(mark.due_at) + 8 if field.from_at < mark.due_at < field.to_at else field.x(mark.opens_at) + 6
        block = (at, at)
    if block[1] + 5 + width_of(words, SIZE) <= field.right:
        return words, block[1] + 5, None
    return words, block[0] - 5, "end"


def _reach(mark: WindowMark, field: Scales) -> tuple[float, float]:
    words, at, anchor = _said(mark, field)
    wide = width_of(words, SIZE)
    first, last = (at - wide, at) if anchor else (at, at + wide)
    edges = [first, last, field.x(mark.opens_at), field.x(mark.limit_at), *(_block(mark, field) or ())]
    return min(edges), max(edges)


def _mark(mark: WindowMark, field: Scales, y: float) -> list[Markup]:
    opens, limit = field.x(mark.opens_at), field.x(mark.limit_at)
    bracket = f"M{opens:.1f} {y:.1f}H{limit:.1f}" if limit > opens else ""
    bracket += f"M{opens:.1f} {y - 5:.1f}v10" if field.from_at <= mark.opens_at <= field.to_at else ""
    bracket += f"M{limit:.1f} {y - 5:.1f}v10" if field.from_at <= mark.limit_at <= field.to_at else ""
    parts = [tag("path", d=bracket, class_="s-ink")] if bracket else []
    words, at, anchor = _said(mark, field)
    wide = width_of(words, SIZE)
    left = at - wide if anchor else at
    parts.append(tag("rect", x=left - 2, y=y - 7, width=wide + 4, height=14.0, class_="s-paper"))
    if field.from_at <= mark.due_at <= field.to_at:
        parts.append(tag("path", d=f"M{field.x(mark.due_at) - 4.5:.1f} {y - 13.5:.1f}h9l-4.5 7.5z", class_="f-ink"))
    block = _block(mark, field)
    if block is not None:
        box = {"x": block[0], "y": y - 6, "width": block[1] - block[0], "height": 12.0}
        if mark.late:
            parts += [tag("rect", **box, class_="s-late"), tag("rect", **box, fill="url(#p-boot)")]
        else:
            parts.append(tag("rect", **box, class_="s-block"))
        if mark.by_hand:
            parts.append(tag("circle", cx=(block[0] + block[1]) / 2, cy=y, r=2.2, class_="s-paper"))
    broken = " boot" if mark.late or block is None else ""
    parts.append(text(at, y + 4, words, f"tiny{broken}", anchor))
    return parts


def _name(name: str, x: float, y: float) -> list[Markup]:
    """A position's name in the gutter: on one line, else on two where it has a hyphen or a space, each cut to fit."""
    if width_of(name, 13) <= GUTTER - 8:
        return [text(x, y, name, "b small")]
    first, mark, last = next((name.partition(mark) for mark in "- " if mark in name), (name, "", ""))
    lines = [first + mark.strip(), last] if last else [first]
    return [text(x, y + 12.0 * (i - (len(lines) - 1) / 2), _cut(one), "b tiny", None) for i, one in enumerate(lines)]


def _cut(words: str) -> str:
    while width_of(words, 11.5) > GUTTER - 6 and len(words) > 2:
        words = words.rstrip("…")[:-1] + "…"
    return words
