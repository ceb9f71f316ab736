"""The first date of a job that nobody knows when it was last done: how far off it may be, and who answers for it. Pure.

It takes the place of what is not known, so it may never be kinder than the job kind itself: no later than a whole interval
from the day it is set, and the turn falls due anyway when the subject has run a whole interval since. Set once it is only
brought forward; what would put it off is a postponement. Judgement, no source.
"""

from datetime import date, datetime, timedelta

from scheduler.domain.due.intervals import calendar_due
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.shiptime import day_text

MOST_DAYS = 5 * 366
"""As far as a first date may lie where the kind has running hours only; those bring it forward. Judgement, no source."""


def latest_on(kind: JobKind, today: date) -> date:
    """The last ship's date that may be set today: a whole calendar interval from now."""
    at = calendar_due(kind, datetime.combine(today, datetime.min.time()))
    return today + timedelta(days=MOST_DAYS) if at is None else at.date()


def first_date_faults(
    kind: JobKind, on: date, *, today: date, before: date | None, reason: str, class_agreed: str
) -> list[tuple[str, str]]:
    """What is wrong with a first date, a (pointer, sentence) each; empty when nothing is.

    Args:
        on, today: ship's dates. before: as it was set already, none when it was not.
        class_agreed: the class's agreement, wanted for a class item.
    """
    faults = []
    last = latest_on(kind, today)
    if on <= today:
        says = f"{day_text(on)} is not to come; the job is planned as due now already. Do it, or give a later date."
        faults.append(("/on", says))
    elif on > last:
        says = f"{day_text(on)} is further off than one whole interval of {kind.name} from today; {day_text(last)} at the latest."
        faults.append(("/on", says))
    elif before is not None and on >= before:
        says = (
            f"its first date is set already, {day_text(before)}; it can be brought forward here. To put it off, ask for a "
            "postponement."
        )
        faults.append(("/on", says))
    if not reason.strip():
        faults.append(
            (
                "/reason",
                "this is empty; say why this date is soon enough: what is known of its past, its state, its maker's word.",
            )
        )
    if kind.class_item and not class_agreed.strip():
        faults.append(("/class_agreed", f"{kind.name} is a class item: write down the class's agreement."))
    return faults
