"""Where things stand in the margin drawing: time to x, capacity to y, and rows for the labels of lead lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from api.pages.shared.margin import MarginStretch
from api.pages.shared.svg import width_of
from scheduler.language import gettext as _

ROW = 16
"""Height of a row of labels, px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plumb:
    """A lead line: a job let down to the floor of its dip. figure: the least margin in it, written before the label."""

    from_at: datetime
    to_at: datetime
    label: str
    figure: str = ""

    @property
    def flag(self) -> str:
        """All that is written at its head."""
        return f"{self.figure} {self.label}".strip()


@dataclass(frozen=True, slots=True)
class Scales:
    """Where things stand: time to x, capacity to y."""

    from_at: datetime
    to_at: datetime
    left: float
    right: float
    top: float
    floor: float
    low: float
    high: float

    def x(self, at: datetime) -> float:
        share = (at - self.from_at) / (self.to_at - self.from_at)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def y(self, m3_per_h: float) -> float:
        return self.top + (self.high - m3_per_h) / (self.high - self.low) * (self.floor - self.top)


def stairs(field: Scales, levels: Sequence[tuple[MarginStretch, float]]) -> str:
    """The path along the levels of touching stretches."""
    steps, last = [], None
    for run, value in levels:
        y = field.y(value)
        if last is None:
            steps.append(f"M{field.x(run.from_at):.1f} {y:.1f}")
        elif abs(y - last) > 0.01:
            steps.append(f"H{field.x(run.from_at):.1f}V{y:.1f}")
        last = y
    return "".join(steps) + (f"H{field.x(levels[-1][0].to_at):.1f}" if levels else "")


@dataclass(frozen=True, slots=True)
class LeadLabel:
    """A label of a lead line as placed: row none when it was gathered into a neighbour's label."""

    x: float
    row: int | None
    label: str
    flipped: bool = False


def place_flags(
    labels_at: Sequence[tuple[float, str]], right: float, rows: int = 4, size: float = 11.5
) -> tuple[LeadLabel, ...]:
    """Rows for the labels of lead lines, so that no label lies on another or is crossed by a line.

    A line starts in its label's row and goes down through all rows under it. A label that finds no place is counted in
    the label before it ("and 2 more") and its line starts under the rows.

    Args:
        wanted: (x px, label) in any order. right: x at which labels must end. rows: how many there are.
    """
    alone = _place(labels_at, right, rows, size, 0.0)
    if all(f.row is not None for f in alone):
        return alone
    return _place(labels_at, right, rows, size, width_of(_(" and 9 more"), size))


def _place(
    labels_at: Sequence[tuple[float, str]], right: float, rows: int, size: float, spare: float
) -> tuple[LeadLabel, ...]:
    placed: list[LeadLabel] = []
    boxes: list[tuple[int, float, float]] = []
    lines: list[tuple[int, float]] = []
    more: dict[int, int] = {}
    for x, label in sorted(labels_at):
        wide = width_of(label, size) + 5
        room = wide + spare
        spot = None
        for row in range(rows):
            for flipped in (False, True):
                a, b = (x - room - 4, x - 2) if flipped else (x + 2, x + room + 4)
                if (b > right and not flipped) or a < -2:
                    continue
                hits = any(r == row and a < hi + 4 and lo - 4 < b for r, lo, hi in boxes)
                crossed = any(r <= row and a - 2 < at < b + 2 for r, at in lines)
                crosses = any(r >= row and lo - 2 < x < hi + 2 for r, lo, hi in boxes)
                if not (hits or crossed or crosses):
                    spot = (row, flipped, a, b)
                    break
            if spot:
                break
        if spot:
            row, flipped, a, b = spot
            boxes.append((row, a, b))
            lines.append((row, x))
            placed.append(LeadLabel(x, row, label, flipped))
        else:
            named = max((i for i, f in enumerate(placed) if f.row is not None), default=None)
            if named is not None:
                more[named] = more.get(named, 0) + 1
            placed.append(LeadLabel(x, None, ""))
    return tuple(
        LeadLabel(f.x, f.row, _("{label} and {more} more", label=f.label, more=more[i]), f.flipped) if i in more else f
        for i, f in enumerate(placed)
    )
