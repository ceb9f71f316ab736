"""The page of the fleet, and the first page of an installation without a vessel."""

from datetime import datetime

from api.pages.shared.layout import render
from api.pages.vessel.view import EmptyView, FleetView, VesselLine
from scheduler.wording.due import STATE_ORDER
from scheduler.wording.figures import count_words, long_date


def fleet_page(view: FleetView, *, light: str, csrf: str) -> str:
    """The vessels, one line each, worst first."""
    offset = view.frame.utc_offset_minutes
    lines = [(one, vessel_words(one, view.now_at, offset)) for one in sorted(view.vessels, key=vessel_rank)]
    return render("fleet.html", view.frame, light, csrf, view=view, lines=lines, answer=fleet_answer(view))


def fleet_answer(view: FleetView) -> str:
    """The heading of the fleet page."""
    late = sum(1 for v in view.vessels if v.past_limit)
    past = sum(1 for v in view.vessels if v.past_due or v.past_limit)
    low = sum(1 for v in view.vessels if v.below_at)
    if not view.vessels:
        return "No vessel is set up yet."
    if not past and not low:
        return f"Nothing is past due on {count_words(len(view.vessels), 'vessel', 'vessels').lower()}."
    said = []
    if late:
        said.append(count_words(late, "vessel has a job past its limit.", "vessels have jobs past their limit."))
    elif past:
        said.append(count_words(past, "vessel has a job past due.", "vessels have jobs past due."))
    if low:
        said.append(count_words(low, "vessel goes below its minimum.", "vessels go below their minimum."))
    return " ".join(said)


def empty_page(view: EmptyView, *, light: str, csrf: str) -> str:
    """First run: no vessel yet, and what to do."""
    return render("empty.html", view.frame, light, csrf, view=view)


def vessel_rank(line: VesselLine) -> tuple[int, int, int, int, str]:
    """Sort key of the fleet: past limit, then below the minimum as planned, then past due, then the rest."""
    group = 0 if line.past_limit else 1 if line.below_at else 2 + STATE_ORDER[line.worst]
    return group, -line.past_limit, -line.past_due, -line.window_open, line.name


def vessel_words(line: VesselLine, now_at: datetime, offset_minutes: int) -> str:
    """One line on a vessel, counts in words."""
    parts = [
        count_words(n, f"job {said}", f"jobs {said}").lower()
        for n, said in (
            (line.past_limit, "past limit"),
            (line.past_due, "past due"),
            (line.not_known, "whose last time is not known"),
            (line.window_open, "with the window open"),
            (line.postponed, "postponed"),
        )
        if n
    ]
    if not parts and line.next_due_at:
        parts.append(f"nothing due before {long_date(line.next_due_at, offset_minutes, now_at)}")
    if line.below_at:
        parts.append(f"below the minimum on {long_date(line.below_at, offset_minutes, now_at)}")
    elif line.no_plan:
        parts.append("no plan yet")
    if line.silent_counters:
        parts.append(count_words(line.silent_counters, "counter", "counters").lower() + " silent")
    said = ", ".join(parts) or "no job known yet"
    return f"{said[:1].upper()}{said[1:]}."
