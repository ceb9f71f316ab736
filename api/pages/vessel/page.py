"""The page of the fleet, and the first page of an installation without a vessel."""

from datetime import datetime

from api.pages import drawing
from api.pages.shared.layout import render
from api.pages.shared.waits import waits_heading
from api.pages.vessel.view import EmptyView, FleetView, VesselLine
from scheduler.language import gettext as _
from scheduler.wording.due import STATE_ORDER
from scheduler.wording.figures import count_words, inner, long_date


def fleet_page(view: FleetView, *, light: str, csrf: str) -> str:
    """The vessels, one line each, worst first."""
    offset = view.frame.utc_offset_minutes
    lines = [(one, vessel_words(one, view.now_at, offset)) for one in sorted(view.vessels, key=vessel_rank)]
    return render(
        "fleet.html",
        view.frame,
        light,
        csrf,
        view=view,
        lines=lines,
        answer=fleet_answer(view),
        patterns=drawing.patterns(),
        waits_said=waits_heading(view.waits),
    )


def fleet_answer(view: FleetView) -> str:
    """The heading of the fleet page: which ship is in trouble, by name, and how many more."""
    if not view.vessels:
        return _("No vessel is set up yet.")
    offset = view.frame.utc_offset_minutes
    troubled = [one for one in sorted(view.vessels, key=vessel_rank) if _trouble(one, view.now_at, offset)]
    if not troubled:
        return _(
            "Nothing is past due on {counted}, and none is short.",
            counted=inner(count_words(len(view.vessels), "vessel", "vessels")),
        )
    said = [f"{one.name} {_trouble(one, view.now_at, offset)}." for one in troubled[:2]]
    if len(troubled) > 2:
        said.append(count_words(len(troubled) - 2, "more needs a look.", "more need a look."))
    return " ".join(said)


def _trouble(line: VesselLine, now_at: datetime, offset_minutes: int) -> str:
    """What troubles a ship most; empty for nothing."""
    if line.below_at and line.below_at <= now_at:
        return _("is short now")
    if line.below_at:
        return _("is short on {long_date}", long_date=long_date(line.below_at, offset_minutes, now_at))
    if line.past_limit:
        return _("has {jobs}", jobs=inner(count_words(line.past_limit, "job past limit", "jobs past limit")))
    if line.past_due:
        return _("has {jobs}", jobs=inner(count_words(line.past_due, "job past due", "jobs past due")))
    return _("has no plan") if line.no_plan else ""


def empty_page(view: EmptyView, *, light: str, csrf: str) -> str:
    """First run: no vessel yet, and what to do."""
    return render("empty.html", view.frame, light, csrf, view=view)


def vessel_rank(line: VesselLine) -> tuple[int, int, int, int, str]:
    """Sort key of the fleet: past limit, then below the minimum as planned, then past due, then the rest."""
    group = 0 if line.past_limit else 1 if line.below_at else 2 + STATE_ORDER[line.worst]
    return group, -line.past_limit, -line.past_due, -line.window_open, line.name


def vessel_words(line: VesselLine, now_at: datetime, offset_minutes: int) -> str:
    """One line on a vessel, counts in words."""
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
    if line.below_at:
        parts.append(_("below the minimum on {long_date}", long_date=long_date(line.below_at, offset_minutes, now_at)))
    elif line.no_plan:
        parts.append(_("no plan yet"))
    if line.silent_counters:
        parts.append(inner(count_words(line.silent_counters, "counter silent", "counters silent")))
    said = ", ".join(parts) or _("no job known yet")
    return f"{said[:1].upper()}{said[1:]}."
