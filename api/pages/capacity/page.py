"""The page of the minimum: how it stands, and the lower minima asked for, signed and withdrawn. Values in, text out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from api.pages.drawing import minimum_chart, patterns
from api.pages.shared.codes import code_words
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from api.pages.shared.margin import MarginStretch
from api.pages.voyage.page import voyage_span
from scheduler.domain.capacity.minimum import Concession, minimum_agreed
from scheduler.domain.vessel.crew import MinimumBlock
from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.wording.figures import M3H, count_words, listed, number, ship

WIDE_DAYS, NARROW_DAYS = 14, 5
MOST_SPANS, MOST_LISTED = 4, 30


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumView(FormState):
    """The page. margins, own: touching stretches of the minimum that counts, and of the plant's own without concessions.

    listed: as the answers tell them, newest first. may_ask, may_sign: this person may ask, may sign
    on the chief engineer's side; signs_as: as what, the person's role.
    refused: the form that was refused (with the number it was about), what was typed, and why.
    """

    frame: Frame
    plant: Plant
    now_at: datetime
    action: str
    plant_href: str
    concessions: Sequence[Concession] = ()
    margins: Sequence[MarginStretch] = ()
    own: Sequence[MarginStretch] = ()
    listed: Sequence[Mapping[str, Any]] = ()
    may_ask: bool = False
    may_sign: bool = False
    signs_as: str = ""
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumLine:
    """A line of the minimum as it stands: its label, its figure, at which hours, on which days."""

    label: str
    m3_per_h: float
    hours: str
    days: str


def minimum_page(view: MinimumView, *, light: str, csrf: str) -> str:
    """The answer, the picture of the coming days, the minimum line by line, the lower minima and their forms."""
    offset = view.frame.utc_offset_minutes
    today = ship(view.now_at, offset).date()
    lines, past = minimum_lines(view.plant, today)
    return render(
        "minimum.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=minimum_heading(view),
        patterns=patterns(),
        wide=_chart(view, WIDE_DAYS, 860),
        narrow=_chart(view, NARROW_DAYS, 358),
        lines=lines,
        past=past,
        lowered=any(a.minimum_m3_per_h != b.minimum_m3_per_h for a, b in zip(view.margins, view.own, strict=False)),
        state=lambda one: concession_words(one, view.now_at),
        is_open=lambda one: not over(one, view.now_at),
        figure=figure_words,
        most=MOST_LISTED,
    )


def minimum_heading(view: MinimumView) -> str:
    """The heading: the minimum now, and what waits for a signature."""
    offset = view.frame.utc_offset_minutes
    now, label = minimum_agreed(view.plant, view.now_at, offset, view.concessions)
    said = _(
        "The minimum is {figure_words} {m3h} now: {label}.",
        figure_words=figure_words(now.m3_per_h),
        m3h=M3H,
        label=label,
    )
    waits = [one for one in view.listed if one["state"] == "asked" and not over(one, view.now_at)]
    if waits:
        said += _(
            " {counted} for a signature.", counted=count_words(len(waits), "lower minimum waits", "lower minima wait")
        )
    return said


def figure_words(m3_per_h: float) -> str:
    """A minimum as set: whole, or with the decimal it was given."""
    return number(m3_per_h, 0 if float(m3_per_h).is_integer() else 1)


def over(one: Mapping[str, Any], now_at: datetime) -> bool:
    """Whether a lower minimum has ended or was withdrawn."""
    return one["state"] == "withdrawn" or datetime.fromisoformat(one["to_at"]) <= now_at


def concession_words(one: Mapping[str, Any], now_at: datetime) -> str:
    """How a lower minimum stands: who still has to sign, whether it counts, or how it ended."""
    if one["state"] == "withdrawn":
        return _("withdrawn")
    signed = one["state"] == "agreed"
    if over(one, now_at):
        return _("agreed, over") if signed else _("never agreed, over")
    if signed:
        return _("agreed, counts now") if datetime.fromisoformat(one["from_at"]) <= now_at else _("agreed")
    sides = (
        ("chief", _("the chief engineer")),
        ("hotel", _("the {signer}", signer=code_words(one.get("second_signer", "hotel")))),
    )
    lacking = [words for side, words in sides if not one[side]]
    return _("waits for {several}", several=listed(lacking))


def minimum_lines(plant: Plant, today: date) -> tuple[list[MinimumLine], int]:
    """The plant's own minimum line by line, a later one over those before it; and how many blocks are past.

    Neighbours that differ in their hours alone stand in one line, and so do those that differ in their days alone.
    """
    ahead = [block for block in plant.minimum_blocks if block.to_on is None or block.to_on >= today]
    groups: list[list[MinimumBlock]] = []
    for block in ahead:
        last = groups[-1] if groups else None
        if last and _same(last[0], block) and _days(last[0]) == _days(block):
            last.append(block)
            continue
        groups.append([block])
    merged: list[list[list[MinimumBlock]]] = []
    for group in groups:
        at = next((n for n, known in enumerate(merged) if _joins(known, group, merged[n + 1 :])), None)
        if at is None:
            merged.append([group])
        else:
            merged[at].append(group)
    lines = [MinimumLine(label=plant.minimum_label, m3_per_h=plant.minimum_swept_m3_per_h, hours="", days="")]
    for known in merged:
        first = known[0][0]
        spans = [_day_words(group[0], today) for group in known]
        more = len(spans) - MOST_SPANS
        days = "; ".join(spans[:MOST_SPANS]) + (_("; and {more} more", more=more) if more > 0 else "")
        hours = ", ".join(_hour_words(block) for block in known[0])
        lines.append(MinimumLine(label=first.label, m3_per_h=first.minimum_swept_m3_per_h, hours=hours, days=days))
    return lines, len(plant.minimum_blocks) - len(ahead)


def _same(one: MinimumBlock, other: MinimumBlock) -> bool:
    return (one.label, one.minimum_swept_m3_per_h) == (other.label, other.minimum_swept_m3_per_h)


def _days(block: MinimumBlock) -> tuple[date | None, date | None]:
    return block.from_on, block.to_on


def _hours(group: Sequence[MinimumBlock]) -> list[tuple[int, int]]:
    return [(block.from_hour, block.to_hour) for block in group]


def _joins(
    known: Sequence[Sequence[MinimumBlock]],
    group: Sequence[MinimumBlock],
    between: Sequence[Sequence[Sequence[MinimumBlock]]],
) -> bool:
    """Whether a group may stand in an earlier line: alike but for the days, and nothing between holds on its days."""
    if not _same(known[0][0], group[0]) or _hours(known[0]) != _hours(group):
        return False
    return all(_apart(group[0], other[0]) for line in between for other in line)


def _apart(one: MinimumBlock, other: MinimumBlock) -> bool:
    """Whether two blocks never hold on the same date."""
    before = one.to_on is not None and other.from_on is not None and one.to_on < other.from_on
    after = one.from_on is not None and other.to_on is not None and other.to_on < one.from_on
    return before or after


def _hour_words(block: MinimumBlock) -> str:
    if block.from_hour == 0 and block.to_hour == 24:
        return _("all day")
    return _("{from_hour}:00 to {to_hour}:00").format(
        from_hour=f"{block.from_hour:02d}", to_hour=f"{block.to_hour:02d}"
    )


def _day_words(block: MinimumBlock, today: date) -> str:
    first, last = block.from_on, block.to_on
    if first is not None and last is not None:
        return voyage_span(first, last, today)
    if first is not None:
        return _("from {voyage_span}", voyage_span=voyage_span(first, first, today))
    return _("to {voyage_span}", voyage_span=voyage_span(last, last, today)) if last is not None else _("every day")


def _chart(view: MinimumView, days: int, width: int) -> str:
    offset = view.frame.utc_offset_minutes
    to_at = view.now_at + timedelta(days=days)
    inside = [r for r in view.margins if r.from_at < to_at]
    name = _("The minimum over {days} days", days=days)
    if inside:
        least = min(r.minimum_m3_per_h for r in inside)
        most = max(r.minimum_m3_per_h for r in inside)
        name += _(
            ": from {figure_words} to {figure_words_2} {m3h}",
            figure_words=figure_words(least),
            figure_words_2=figure_words(most),
            m3h=M3H,
        )
    return minimum_chart(
        view.margins,
        view.own,
        from_at=view.now_at,
        to_at=to_at,
        now_at=view.now_at,
        utc_offset_minutes=offset,
        width=width,
        depth=110,
        name=f"{name}.",
    )
