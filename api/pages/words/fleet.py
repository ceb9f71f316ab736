"""What is said of a vessel in the fleet's list."""

from datetime import datetime

from api.pages.shared.view import VesselLine
from api.pages.words.jobs import RANK
from scheduler.wording.figures import count_words, long_date


def vessel_rank(line: VesselLine) -> tuple[int, int, int, int, str]:
    """Sort key of the fleet: past limit, then below the minimum as planned, then past due, then the rest."""
    group = 0 if line.past_limit else 1 if line.below_at else 2 + RANK[line.worst]
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
