"""The plan page, rendered. Values in, HTML text out."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.drawing.windows import window_chart
from api.pages.plan import says
from api.pages.plan.plan_line import plan_words
from api.pages.plan.view import PERIODS, BlockerLine, PlanView, SlotLine
from api.pages.plant import rows as plant_rows
from api.pages.shared import job_line
from api.pages.shared.layout import render
from api.pages.shared.margin import least_said, minimum_words
from scheduler.language import gettext as _
from scheduler.wording.figures import M3H, capital, moment, number, short_date

STRIPS = {7: 1, 28: 2, 90: 3}
"""How many strips a phone gets of each period."""
MOST_BARS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotListRow:
    """A row of the list of slots."""

    line: SlotLine
    tide: job_line.TideRow
    due: str
    late: str
    below: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is drawn of a stretch of days: margin, and windows under it."""

    margin: Markup
    windows: Markup


def plan_page(view: PlanView, *, light: str, csrf: str) -> str:
    """The plan page: the answer, margin, windows and planned times, the slots, why then, one more failure."""
    offset = view.frame.utc_offset_minutes
    wide, narrow = pictures(view)
    return render(
        "plan.html",
        view.frame,
        light,
        csrf,
        view=view,
        newer_says=plan_words(view.newer, view.frame.utc_offset_minutes) if view.newer else "",
        answer=says.plan_heading(view),
        sub=says.plan_subline(view),
        periods=PERIODS,
        minimum=minimum_words(view.margins),
        least=least_said(view.margins, offset),
        patterns=drawing.patterns(),
        wide=wide,
        narrow=narrow,
        move_picture=move_picture(view),
        rows=[_row(slot, view) for slot in view.slots],
        says=says,
        most_bars=MOST_BARS,
        bar=lambda one: _bar(one, offset),
    )


def pictures(view: PlanView) -> tuple[Picture, tuple[Picture, ...]]:
    """One picture for wide pages, and strips of equal time at one scale for a phone."""
    strips = STRIPS.get(view.days, 1)
    step = (view.ends_at - view.now_at) / strips
    ago = timedelta(hours=max(3, view.days // 2))
    scale = drawing.scale_of(view.margins)
    wide = _picture(view, view.now_at - ago, view.ends_at, 802, 206, "", scale)
    narrow = []
    for n in range(strips):
        first = view.now_at - ago if n == 0 else view.now_at + n * step
        part = _(", part {n} of {strips}", n=n + 1, strips=strips) if strips > 1 else ""
        narrow.append(_picture(view, first, view.now_at + (n + 1) * step, 358, 110, part, scale))
    return wide, tuple(narrow)


def _picture(
    view: PlanView, from_at: datetime, to_at: datetime, width: int, depth: int, part: str, scale: tuple[float, float]
) -> Picture:
    offset = view.frame.utc_offset_minutes
    margin = drawing.margin_chart(
        view.margins,
        plant_rows.plumbs_of([slot.job for slot in view.slots], figures=True),
        from_at=from_at,
        to_at=to_at,
        now_at=view.now_at,
        utc_offset_minutes=offset,
        width=width,
        depth=depth,
        name=f"{slot_margin_words(view)}{part and capital(part[2:]) + '.'}",
        scale=scale,
    )
    windows = window_chart(
        view.lines,
        from_at=from_at,
        to_at=to_at,
        now_at=view.now_at,
        utc_offset_minutes=offset,
        width=width,
        name=_("Windows and planned times{part}; each slot is in the list on this page.", part=part),
    )
    return Picture(margin=margin, windows=windows)


def move_picture(view: PlanView) -> Markup:
    """The days around a start that was tried, with the slot there; nothing when none was."""
    tried = view.move.tried if view.move else None
    if tried is None or view.move is None:
        return Markup("")
    offset = view.frame.utc_offset_minutes
    said = _("it holds") if tried.holds else tried.against[0] if tried.against else _("it does not hold")
    return drawing.margin_chart(
        tried.margins,
        tried.plumbs,
        from_at=tried.from_at,
        to_at=tried.to_at,
        now_at=view.now_at,
        utc_offset_minutes=offset,
        width=400,
        depth=110,
        name=_(
            "Preview of {job} on {moment}: {said}", job=view.move.name, moment=moment(tried.start_at, offset), said=said
        ),
    )


def slot_margin_words(view: PlanView) -> str:
    """The margin drawing in words."""
    if not view.margins:
        return _("Margin over minimum vacuum capacity: not worked out yet. ")
    figure, when = least_said(view.margins, view.frame.utc_offset_minutes)
    return _("Margin over minimum vacuum capacity. Least {figure} {m3h}, {when}. ", figure=figure, m3h=M3H, when=when)


def _row(slot: SlotLine, view: PlanView) -> SlotListRow:
    offset = view.frame.utc_offset_minutes
    return SlotListRow(
        line=slot,
        tide=job_line.tide_row(slot.job, view.now_at, offset),
        due=says.slot_due_words(slot, offset),
        late=says.late_words(slot),
        below=slot.job.margin_m3_per_h is not None and slot.job.margin_m3_per_h < 0,
        notes=says.notes(slot),
    )


def _bar(bar: BlockerLine, offset: int) -> tuple[str, str, str]:
    """(how many starts and when, what forbids them, what lacks) as printed."""
    if bar.starts > 1:
        first, last = short_date(bar.from_at, offset), short_date(bar.to_at, offset)
        when = _(
            "{starts} starts, {first}",
            starts=bar.starts,
            first=first if first == last else _("{first} to {last}", first=first, last=last),
        )
    else:
        when = moment(bar.from_at, offset)
    lacking = f"{number(bar.lacking_m3_per_h, 1)} {M3H}" if bar.lacking_m3_per_h else ""
    return when, bar.reason, lacking
