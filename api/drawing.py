"""The drawings of the plant page: depth over the bed, tubes, state glyphs. Pure functions, values in, SVG text out.

Colours come from classes in app.css, never from here; every drawing has its words beside it, so that nothing rests on
colour and nothing has to be measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api import saying
from api.svg import join, tag, text, width_of
from api.view import MarginRun
from scheduler.domain.words import State

ROW = 16
BED = 46
AXIS = 26
TUBE_WIDTH = 154
TUBE_TOP, TUBE_BOTTOM = 8.0, 132.0
TUBE_SCALE = 1.2
"""Share of the interval at the top of a tube; what lies above is drawn at the top with a chevron."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plumb:
    """A lead line: a job let down to the floor of its dip."""

    from_at: datetime
    to_at: datetime
    label: str


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
    state: State
    pressing: bool = False


def patterns() -> Markup:
    """The hatchings, once a page: bed, below minimum, past limit (diagonals) and past due (dots)."""
    bed = tag("pattern", tag("path", d="M0 0v9", class_="h-bed"), id="p-bed", width=9, height=9, **_tilted(45))
    boot = tag("pattern", tag("path", d="M0 0v6", class_="h-boot"), id="p-boot", width=6, height=6, **_tilted(-45))
    dot = tag("circle", cx=1.4, cy=1.4, r=1, class_="f-brass")
    brass = tag("pattern", dot, id="p-brass", width=5, height=5, patternUnits="userSpaceOnUse")
    return tag("svg", tag("defs", join([bed, boot, brass])), class_="defs", width=0, height=0, aria_hidden="true")


def _tilted(degrees: int) -> dict[str, str]:
    return {"patternUnits": "userSpaceOnUse", "patternTransform": f"rotate({degrees})"}


# --- glyphs ----------------------------------------------------------------------------------------------------------

_BRACKET = "M14 4h3.2v9h-3.2"
_TUBE = "M3 1.5v17h7v-17"
_DUE = "M1 8.5h12"


def glyph(state: State) -> Markup:
    """The sign of a state: the level of a tube below, inside or above its bracket. Always stands beside its words."""
    level = {
        State.AHEAD: 15.5,
        State.WINDOW_OPEN: 11.0,
        State.PAST_DUE: 5.0,
        State.PAST_LIMIT: 1.0,
        State.POSTPONED: 5.0,
    }
    parts: list[Markup] = []
    if state in level:
        y = level[state]
        parts.append(tag("path", d=f"M3 {y}h7V18.5H3z", class_="g-fill"))
    parts.append(tag("path", d=_TUBE, class_="g-line"))
    match state:
        case State.POSTPONED:
            parts.append(tag("path", d="M15.5 17V5M12.7 8l2.8-3.6L18.3 8", class_="g-line"))
        case State.DONE:
            parts.append(tag("path", d="M1 10l5 5L17 3", class_="g-strong"))
        case State.WITHDRAWN:
            parts.append(tag("path", d="M1 17L17 3", class_="g-strong"))
        case _:
            parts.append(tag("path", d=_BRACKET, class_="g-line"))
            parts.append(
                tag("path", d=_DUE, class_="g-cut" if state in (State.PAST_DUE, State.PAST_LIMIT) else "g-line")
            )
    if state is State.PAST_LIMIT:
        parts.append(tag("path", d="M0 0h13v3.4H0z", class_="g-solid"))
    name = state.value.replace(" ", "-")
    return tag(
        "svg", join(parts), viewBox="0 0 20 20", width=20, height=20, class_=f"glyph g-{name}", aria_hidden="true"
    )


# --- tubes -----------------------------------------------------------------------------------------------------------


def tube_y(share: float) -> float:
    """Height of a share of the interval, px from the top; cut at both ends of the tube."""
    held = min(max(share, 0.0), TUBE_SCALE)
    return TUBE_BOTTOM - held / TUBE_SCALE * (TUBE_BOTTOM - TUBE_TOP)


def tubes(figures: Sequence[TubeFigure], name: str) -> Markup:
    """The tubes of one pump side by side, the due line straight through and on to the neighbours."""
    pitch = TUBE_WIDTH / max(3, len(figures))
    parts: list[Markup] = []
    for i, figure in enumerate(figures):
        parts += _tube(figure, i * pitch + 4, min(38.0, pitch - 13))
    due = tube_y(1.0)
    parts.append(tag("path", d=f"M-1 {due:.1f}H{TUBE_WIDTH + 1}", class_="s-due"))
    said = "; ".join(f.words for f in figures) or "no jobs counted in running hours"
    return tag(
        "svg", join(parts), viewBox=f"0 0 {TUBE_WIDTH} 152", class_="tube", role="img", aria_label=f"{name}: {said}"
    )


def _tube(figure: TubeFigure, x: float, width: float) -> list[Markup]:
    parts = [tag("rect", x=x, y=TUBE_TOP, width=width, height=TUBE_BOTTOM - TUBE_TOP, class_="s-glass")]
    if figure.share is not None:
        level, due = tube_y(figure.share), tube_y(1.0)
        late = figure.share > 1 and figure.state in (State.PAST_DUE, State.PAST_LIMIT)
        shade = "boot" if figure.state is State.PAST_LIMIT else "brass"
        top = due if late else level
        parts.append(tag("rect", x=x + 1, y=top, width=width - 2, height=TUBE_BOTTOM - top - 0.5, class_="s-water"))
        if late:
            for class_, fill in ((f"s-{shade}", None), (None, f"url(#p-{shade})")):
                parts.append(
                    tag("rect", x=x + 1, y=level, width=width - 2, height=due - level, class_=class_, fill=fill)
                )
        surface = f"s-{shade}l" if late else "s-level"
        parts.append(tag("path", d=f"M{x - 1:.1f} {level:.1f}h{width + 2:.1f}", class_=surface))
        if figure.share > TUBE_SCALE:
            parts.append(tag("path", d=f"M{x + width / 2 - 5:.1f} {TUBE_TOP - 2}l5-5l5 5", class_=f"{surface} open"))
    ticks = "".join(f"M{x:.1f} {tube_y(s / 4):.1f}h4" for s in (1, 2, 3))
    parts.append(tag("path", d=ticks, class_="s-tick"))
    low, high = tube_y(figure.window_share), tube_y(figure.limit_share)
    if low - high < 4:
        low, high = low + 2, high - 2
    bracket = f"M{x + width + 2:.1f} {high:.1f}h4V{low:.1f}h-4"
    parts.append(tag("path", d=bracket, class_="s-ink"))
    middle = x + width / 2
    small = "fig tiny" if width_of(figure.hours, 11.5) > width - 1 else "fig"
    at = TUBE_BOTTOM - 6
    if figure.share is not None and at - 12 < tube_y(figure.share) < TUBE_BOTTOM + 1:
        at = tube_y(figure.share) - 5
    parts.append(text(middle, at, figure.hours, small, "middle"))
    parts.append(text(middle, TUBE_BOTTOM + 15, figure.label, "b lab" if figure.pressing else "lab", "middle"))
    return parts


# --- margin over the bed ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Field:
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


@dataclass(frozen=True, slots=True)
class Flag:
    """A label of a lead line as placed: row none when it was gathered into a neighbour's label."""

    x: float
    row: int | None
    label: str
    flipped: bool = False


def place_flags(
    wanted: Sequence[tuple[float, str]], right: float, rows: int = 4, size: float = 11.5
) -> tuple[Flag, ...]:
    """Rows for the labels of lead lines, so that no label lies on another or is crossed by a line.

    A line starts in its label's row and goes down through all rows under it. A label that finds no place is counted in
    the label before it ("and 2 more") and its line starts under the rows.

    Args:
        wanted: (x px, label) in any order. right: x at which labels must end. rows: how many there are.
    """
    alone = _place(wanted, right, rows, size, 0.0)
    if all(f.row is not None for f in alone):
        return alone
    return _place(wanted, right, rows, size, width_of(" and 9 more", size))


def _place(wanted: Sequence[tuple[float, str]], right: float, rows: int, size: float, spare: float) -> tuple[Flag, ...]:
    placed: list[Flag] = []
    boxes: list[tuple[int, float, float]] = []
    lines: list[tuple[int, float]] = []
    more: dict[int, int] = {}
    for x, label in sorted(wanted):
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
            placed.append(Flag(x, row, label, flipped))
        else:
            named = max((i for i, f in enumerate(placed) if f.row is not None), default=None)
            if named is not None:
                more[named] = more.get(named, 0) + 1
            placed.append(Flag(x, None, ""))
    return tuple(
        Flag(f.x, f.row, f"{f.label} and {more[i]} more", f.flipped) if i in more else f for i, f in enumerate(placed)
    )


def margin_chart(
    runs: Sequence[MarginRun],
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
    scale: tuple[float, float] | None = None,
) -> Markup:
    """Capacity over minimum between two instants, `width` px wide, the water `depth` px deep at most.

    Args:
        runs: touching stretches; only those inside from_at..to_at are drawn. Empty: a bed without water and words.
        plumbs: the jobs to let down, merged where pump and start are the same.
        scale: lowest and highest capacity in m3/h, to give two strips one scale; none: from the runs.
        name: what the picture says in words, for those who do not see it.
    """
    inside = [r for r in runs if r.from_at < to_at and r.to_at > from_at]
    low, high = scale or scale_of(inside)
    left, right = 1.0, width - 44.0
    wanted = [(p, _span_x(p, from_at, to_at, left, right)) for p in plumbs if p.from_at < to_at and p.to_at > from_at]
    flags = place_flags([(x, p.label) for p, x in wanted], right + 40, rows)
    used = max((f.row + 1 for f in flags if f.row is not None), default=0)
    top = 8.0 + used * ROW + (6 if used else 12)
    field = _Field(from_at, to_at, left, right, top, top + depth, low, high)
    bottom = field.floor + BED
    parts = [*_water(inside, field, bottom), *_below(inside, field)]
    parts += _axes(field, bottom, now_at, utc_offset_minutes, figures=bool(inside))
    parts += _bed_words(inside, field)
    parts += _soundings(inside, wanted, field)
    parts += _leads(inside, wanted, flags, field)
    if not inside:
        parts.append(text((left + right) / 2, field.floor - depth / 2, "Capacity not worked out yet", "t2", "middle"))
    height = int(bottom + AXIS)
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def scale_of(runs: Sequence[MarginRun]) -> tuple[float, float]:
    """Lowest and highest capacity to be drawn, m3/h; never equal."""
    if not runs:
        return 0.0, 1.0
    low = min(min(r.minimum_m3_per_h, r.available_m3_per_h) for r in runs)
    high = max(max(r.minimum_m3_per_h, r.available_m3_per_h) for r in runs)
    return low, high if high > low else low + 1.0


def _span_x(plumb: Plumb, from_at: datetime, to_at: datetime, left: float, right: float) -> float:
    start, end = max(plumb.from_at, from_at), min(plumb.to_at, to_at)
    share = (start + (end - start) / 2 - from_at) / (to_at - from_at)
    return left + share * (right - left)


def _stairs(field: _Field, levels: Sequence[tuple[MarginRun, float]]) -> str:
    steps, last = [], None
    for run, value in levels:
        y = field.y(value)
        if last is None:
            steps.append(f"M{field.x(run.from_at):.1f} {y:.1f}")
        elif abs(y - last) > 0.01:
            steps.append(f"H{field.x(run.from_at):.1f}V{y:.1f}")
        last = y
    return "".join(steps) + (f"H{field.x(levels[-1][0].to_at):.1f}" if levels else "")


def _water(runs: Sequence[MarginRun], field: _Field, bottom: float) -> list[Markup]:
    if not runs:
        bed = f"M{field.left} {field.floor}H{field.right}V{bottom}H{field.left}z"
        return [tag("path", d=bed, class_="s-bed"), tag("path", d=bed, fill="url(#p-bed)")]
    surface = _stairs(field, [(r, r.available_m3_per_h) for r in runs])
    minimum = _stairs(field, [(r, r.minimum_m3_per_h) for r in runs])
    close = f"V{bottom:.1f}H{field.x(runs[0].from_at):.1f}z"
    return [
        tag("path", d=surface + close, class_="s-water"),
        tag("path", d=minimum + close, class_="s-bed"),
        tag("path", d=minimum + close, fill="url(#p-bed)"),
        tag("path", d=minimum, class_="s-min"),
        tag("path", d=surface, class_="s-surf"),
    ]


def _below(runs: Sequence[MarginRun], field: _Field) -> list[Markup]:
    parts: list[Markup] = []
    for stretch in saying.below(runs):
        for run in stretch:
            x, y = field.x(run.from_at), field.y(run.minimum_m3_per_h)
            size = {"width": max(field.x(run.to_at) - x, 1.5), "height": field.y(run.available_m3_per_h) - y}
            parts.append(tag("rect", x=x, y=y, class_="s-boot", **size))
            parts.append(tag("rect", x=x, y=y, fill="url(#p-boot)", **size))
        floor = _stairs(field, [(r, r.available_m3_per_h) for r in stretch])
        parts.append(tag("path", d=floor, class_="s-bootl"))
        deepest = min(stretch, key=lambda r: r.margin_m3_per_h)
        middle = (field.x(stretch[0].from_at) + field.x(stretch[-1].to_at)) / 2
        words = saying.margin_number(deepest.margin_m3_per_h)
        words += " below" if field.x(stretch[-1].to_at) - field.x(stretch[0].from_at) > 70 else ""
        half = width_of(words, 13) / 2
        middle = min(max(middle, field.left + half + 2), field.right - half - 2)
        parts.append(text(middle, field.y(deepest.available_m3_per_h) + 15, words, "b lack", "middle"))
    return parts


def _axes(field: _Field, bottom: float, now_at: datetime, offset: int, *, figures: bool) -> list[Markup]:
    parts: list[Markup] = []
    first = saying.ship(field.from_at, offset).replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    days, mondays = "", []
    local = first
    while (at := local - timedelta(minutes=offset)) < field.to_at:
        monday = local.weekday() == 0
        days += f"M{field.x(at):.1f} {bottom:.1f}v{8 if monday else 4}"
        if monday:
            mondays.append(at)
        local += timedelta(days=1)
    edge = f"M{field.left} {bottom:.1f}H{field.right}V{field.top:.1f}"
    parts.append(tag("path", d=edge + days, class_="s-tick open"))
    last = field.left + width_of(saying.short_date(field.from_at, offset)) + 12
    parts.append(text(field.left, bottom + 20, saying.short_date(field.from_at, offset), "t2"))
    for at in mondays:
        words, x = saying.short_date(at, offset), field.x(at)
        if x > last and x + width_of(words) < field.right + 40:
            parts.append(text(x - 1, bottom + 20, words, "t2"))
            last = x + width_of(words) + 8
    step = _round_step((field.high - field.low) / 3)
    value = -(-field.low // step) * step
    while figures and value <= field.high + 1e-9:
        y = field.y(value)
        parts.append(tag("path", d=f"M{field.right} {y:.1f}h5", class_="s-tick"))
        parts.append(text(field.right + 8, y + 4, saying.number(value), "t2"))
        value += step
    if field.from_at <= now_at < field.to_at:
        x = field.x(now_at)
        parts.append(tag("path", d=f"M{x:.1f} {field.top - 4:.1f}V{bottom:.1f}", class_="s-now"))
    return parts


def _round_step(about: float) -> float:
    power = 10.0 ** len(str(int(about))) / 10 if about >= 1 else 1.0
    return next(power * k for k in (1, 2, 5, 10) if power * k >= about or k == 10)


def _bed_words(runs: Sequence[MarginRun], field: _Field) -> list[Markup]:
    """The minimum written in the bed: the usual one in full, other stretches by number and, once, by name."""
    stretches: list[tuple[float, float, float, str]] = []
    for run in runs:
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
    words = f"Minimum {saying.number(usual[0])} {saying.M3H}"
    words += "" if usual[1] == "minimum" else f" · {usual[1]}"
    y = field.y(usual[0]) + 18
    wide = width_of(words, 12.5)
    start = _free_start(
        a + 8, b - wide, [(field.x(s[0].from_at), field.x(s[-1].to_at)) for s in saying.below(runs)], wide
    )
    if start is not None:
        parts.append(text(start, y, words, "b in-bed"))
        boxes.append((start, start + 4 + wide))
    for a, b, value, label in stretches:
        number = saying.number(value)
        if (value, label) == usual or b - a < width_of(number) + 2:
            continue
        middle = (a + b) / 2
        low = field.y(value) + 16
        if all(not (lo - 4 < middle < hi + 4) for lo, hi in boxes) or low < y - 12:
            parts.append(text(middle, low, number, "b in-bed", "middle"))
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
        if at < hi + 18 and lo - 18 < at + wide:
            at = hi + 20
    return at if at <= last or at == start else None


def _soundings(runs: Sequence[MarginRun], wanted: Sequence[tuple[Plumb, float]], field: _Field) -> list[Markup]:
    """Depths in open water between the jobs: one number where it is constant, else the least and the most."""
    parts: list[Markup] = []
    stretch: list[MarginRun] = []
    for run in [*runs, None]:
        if run is not None and not run.open_positions and run.margin_m3_per_h >= 0:
            stretch.append(run)
            continue
        parts += _sounding(stretch, [x for _, x in wanted], field)
        stretch = []
    return parts


def _sounding(stretch: Sequence[MarginRun], leads: Sequence[float], field: _Field) -> list[Markup]:
    wide = [r for r in stretch if field.x(r.to_at) - field.x(r.from_at) > 40]
    spots = (
        [(r.from_at, r.to_at, [r]) for r in wide]
        if wide
        else [(stretch[0].from_at, stretch[-1].to_at, list(stretch))]
        if stretch
        else []
    )
    merged: list[tuple[datetime, datetime, list[MarginRun]]] = []
    for a, b, inside in spots:
        if merged and merged[-1][1] == a and merged[-1][2][0].margin_m3_per_h == inside[0].margin_m3_per_h:
            merged[-1] = (merged[-1][0], b, merged[-1][2])
        else:
            merged.append((a, b, inside))
    parts: list[Markup] = []
    for a, b, inside in merged:
        depths = [r.margin_m3_per_h for r in inside]
        words = saying.margin_number(min(depths))
        if max(depths) - min(depths) >= 1:
            words += f"–{saying.margin_number(max(depths))}"
        middle = (field.x(a) + field.x(b)) / 2
        room = field.x(b) - field.x(a)
        surface = max(field.y(r.available_m3_per_h) for r in inside)
        ground = min(field.y(r.minimum_m3_per_h) for r in inside)
        crossed = any(abs(x - middle) < width_of(words, 15) / 2 + 3 for x in leads)
        if room > width_of(words, 15) + 6 and ground - surface > 16 and not crossed:
            parts.append(text(middle, (surface + ground) / 2 + 6, words, "snd", "middle"))
    return parts


def _leads(
    runs: Sequence[MarginRun], wanted: Sequence[tuple[Plumb, float]], flags: Sequence[Flag], field: _Field
) -> list[Markup]:
    parts: list[Markup] = []
    numbers: list[tuple[float, float, float]] = []
    ordered = sorted(wanted, key=lambda pair: (pair[1], pair[0].label))
    under = 8.0 + ROW * max((f.row + 1 for f in flags if f.row is not None), default=0)
    for (plumb, x), flag in zip(ordered, flags, strict=True):
        crossed = [r for r in runs if r.from_at < plumb.to_at and r.to_at > plumb.from_at]
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
        ground = field.y(least.minimum_m3_per_h)
        words = saying.margin_number(least.margin_m3_per_h)
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
