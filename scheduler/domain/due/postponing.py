"""Who may postpone what: asked by one, decided by another; a critical job by the office; a class item with the class's word.

A postponement moves the limit only. The due point stays where it was, and every verdict is judged from it. Common
practice under a safety management system (ISM Code section 10, in general terms); the company's own rules come first.
"""

from dataclasses import dataclass
from datetime import datetime

from scheduler.shiptime import day_text, ship_time


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A postponement as asked for. to_at: the new limit. risk: what may happen meanwhile; mitigation: what is done about it."""

    to_at: datetime
    reason: str
    risk: str
    mitigation: str = ""


def ask_faults(asked: Asked, *, limit_at: datetime, now_at: datetime, offset_minutes: int) -> list[tuple[str, str]]:
    """What is wrong with a request, a (pointer, sentence) each; empty when nothing is.

    Args:
        limit_at: the limit that holds now. offset_minutes: the ship's clock.
    """
    faults = []
    if not asked.reason.strip():
        faults.append(("/reason", "this is empty; say why the job cannot be done in time."))
    if not asked.risk.strip():
        faults.append(("/risk", "this is empty; say what may happen meanwhile."))
    if asked.to_at <= max(limit_at, now_at):
        faults.append(
            (
                "/to_at",
                f"{day_text(ship_time(asked.to_at, offset_minutes))} is not later than the limit that holds, "
                f"{day_text(ship_time(limit_at, offset_minutes))}, and than today; give a later date, or do the job.",
            )
        )
    return faults
