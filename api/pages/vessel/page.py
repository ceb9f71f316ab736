"""The page of the fleet, and the first page of an installation without a vessel."""

from datetime import datetime

from api.pages import drawing
from api.pages.shared.layout import render
from api.pages.shared.waits import waits_heading
from api.pages.vessel.view import EmptyView, FleetView, VesselLine
from scheduler.domain.feed.summary import Trouble
from scheduler.language import gettext as _
from scheduler.wording.figures import count_words, inner, long_date


def fleet_page(view: FleetView, *, light: str, csrf: str) -> str:
    """The vessels, one line each, worst first."""
    return render(
        "fleet.html",
        view.frame,
        light,
        csrf,
        view=view,
        lines=[(one, vessel_words(one, view.now_at)) for one in view.vessels],
        answer=fleet_answer(view),
        patterns=drawing.patterns(),
        waits_said=waits_heading(view.waits),
    )


def fleet_answer(view: FleetView) -> str:
    """The heading of the fleet page: which ship is in trouble, by name, and how many more."""
    if not view.total:
        return _("No vessel is set up yet.")
    troubled = [one for one in view.vessels if trouble_words(one, view.now_at)]
    if not troubled and view.troubled:
        return _(
            "{counted} before these.",
            counted=count_words(view.troubled, "vessel needs a look,", "vessels need a look,"),
        )
    if not troubled:
        return _(
            "Nothing is past due on {counted}, and none is short.",
            counted=inner(count_words(view.total, "vessel", "vessels")),
        )
    said = [f"{one.name} {trouble_words(one, view.now_at)}." for one in troubled[:2]]
    more = view.troubled - len(said)
    if more > 0:
        said.append(count_words(more, "more needs a look.", "more need a look."))
    return " ".join(said)


def trouble_words(line: VesselLine, now_at: datetime) -> str:
    """What troubles a ship most; empty for nothing."""
    match line.trouble:
        case Trouble.NOT_WORKED_OUT:
            return _("is not worked out yet")
        case Trouble.SHORT | Trouble.SHORT_LATER if line.below_at is not None:
            return _short_words(line, line.below_at, now_at)
        case Trouble.PAST_LIMIT:
            return _("has {jobs}", jobs=inner(count_words(line.past_limit, "job past limit", "jobs past limit")))
        case Trouble.PAST_DUE:
            return _("has {jobs}", jobs=inner(count_words(line.past_due, "job past due", "jobs past due")))
        case Trouble.NOT_KNOWN:
            many = count_words(line.not_known, "job whose last time is not known", "jobs whose last time is not known")
            return _("has {jobs}", jobs=inner(many))
        case Trouble.NO_PLAN:
            return _("has no plan")
    return ""


def _short_words(line: VesselLine, at: datetime, now_at: datetime) -> str:
    if at <= now_at:
        return _("is short by {figure} now", figure=line.below_by) if line.below_by else _("is short now")
    day = long_date(at, line.utc_offset_minutes, now_at)
    if line.below_by:
        return _("is short by {figure} on {long_date}", figure=line.below_by, long_date=day)
    return _("is short on {long_date}", long_date=day)


def empty_page(view: EmptyView, *, light: str, csrf: str) -> str:
    """First run: no vessel yet, and what to do."""
    return render("empty.html", view.frame, light, csrf, view=view)


def vessel_words(line: VesselLine, now_at: datetime) -> str:
    """One line on a vessel, counts in words."""
    if line.trouble is Trouble.NOT_WORKED_OUT:
        return _("Not worked out yet; look again in a moment.")
    offset_minutes = line.utc_offset_minutes
    counted = (
        (line.past_limit, count_words(line.past_limit, "job past limit", "jobs past limit")),
        (line.past_due, count_words(line.past_due, "job past due", "jobs past due")),
        (
            line.not_known,
            count_words(line.not_known, "job whose last time is not known", "jobs whose last time is not known"),
        ),
        (line.window_open, count_words(line.window_open, "job with the window open", "jobs with the window open")),
        (line.postponed, count_words(line.postponed, "job postponed", "jobs postponed")),
    )
    parts = [inner(said) for n, said in counted if n]
    if not parts and line.next_due_at:
        parts.append(_("nothing due before {long_date}", long_date=long_date(line.next_due_at, offset_minutes, now_at)))
    if line.below_at and line.below_at <= now_at:
        parts.append(_("below the minimum now"))
    elif line.below_at:
        parts.append(_("below the minimum on {long_date}", long_date=long_date(line.below_at, offset_minutes, now_at)))
    elif line.no_plan:
        parts.append(_("no plan yet"))
    if line.silent_counters:
        parts.append(inner(count_words(line.silent_counters, "counter silent", "counters silent")))
    said = ", ".join(parts) or _("no job known yet")
    return f"{said[:1].upper()}{said[1:]}."
