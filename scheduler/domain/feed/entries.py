"""What stands in the calendar: one entry an occurrence, and the plan-status entry that is never missing.

Which figures an entry shows, and when they change, is in `quoting`; its revision numbers are in `revision`.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.revision import STATUS_ROLE, CalendarEntry, StoredEvent, revise
from scheduler.domain.feed.scope import MOST_EVENTS, urgency
from scheduler.domain.feed.stability import PlannedSlot, ShownFigures, shown_figures
from scheduler.domain.feed.words import (
    DoneJob,
    PumpOut,
    WithdrawnJob,
    done_entry,
    open_entry,
    out_entry,
    place_of,
    short,
    withdrawn_entry,
)
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.shiptime import day_text, moment_text, ship_time

__all__ = [
    "CalendarContent",
    "CalendarEntry",
    "DoneJob",
    "PlannedSlot",
    "PumpOut",
    "ShownFigures",
    "StoredEvent",
    "WithdrawnJob",
    "calendar_content",
    "revise",
    "status_entry",
]

AHEAD_DAYS, DONE_DAYS, WITHDRAWN_DAYS = 180, 30, 14
PLAN_STATUS_KEY, FLEET_STATUS_KEY = "plan-status", "fleet-status"
MOST_NAMED = 8
NO_ALARM = "The calendar is no alarm: programs fetch it every quarter of an hour to once a day."


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarContent:
    """The plan-status entry first, then the jobs by date; left_out: how many did not fit."""

    entries: tuple[CalendarEntry, ...]
    left_out: int


def calendar_content(
    *,
    vessel: Vessel,
    plants: Sequence[tuple[Plant, Sequence[DueJob]]],
    slots: Mapping[str, PlannedSlot],
    done: Sequence[DoneJob],
    withdrawn: Sequence[WithdrawnJob],
    offset_minutes: int,
    at: datetime,
    plan_at: datetime | None,
    hours_as_of: datetime | None,
    published: Mapping[str, ShownFigures] | None = None,
    plan_offset_minutes: int | None = None,
    out: Sequence[PumpOut] = (),
    silent: Sequence[tuple[str, datetime | None]] = (),
    taken_at: datetime | None = None,
) -> CalendarContent:
    """A vessel's whole calendar. One entry an occurrence: open jobs to 180 days ahead, done ones 30
    days back, withdrawn ones 14 days; sorted by date and key, at most 999 beside the status; past-due jobs are never left out
    first. Done and withdrawn jobs and pumps out go with their own
    plant, whatever its document says of kinds and pumps now, and with the first where that is gone.

    Args:
        out: pumps that are out, and those that were in the last 30 days. silent: positions whose counter is silent, and since
            when. taken_at: when the plan aboard was taken.
    """
    found: list[CalendarEntry] = []
    known = {plant.id for plant, _ in plants}
    told = {*(one.plant for one in done), *(one.plant for one in withdrawn), *(one.plant for one in out)}
    for n, (plant, jobs) in enumerate(plants):
        mine = {plant.id} if n else {plant.id, *(told - known)}
        mine_done = [job for job in done if job.plant in mine]
        mine_gone = [job for job in withdrawn if job.plant in mine]
        found += _all(vessel, plant, jobs, slots, mine_done, mine_gone, offset_minutes, at, published or {})
        found += [out_entry(vessel, plant, one, offset_minutes, at) for one in out if one.plant in mine]
    kept, left_out = _fit(found)
    today = ship_time(at, offset_minutes).date()
    uncovered = sorted(  # until the end of its day: the status changes by the day, not as each slot ends
        (slots[entry.key].start_at, entry.summary)
        for entry in kept
        if entry.opaque
        and entry.key in slots
        and not slots[entry.key].covered
        and ship_time(slots[entry.key].end_at, offset_minutes).date() >= today
    )
    status = status_entry(
        vessel=vessel,
        jobs=[job for _, jobs in plants for job in jobs],
        plan_at=plan_at,
        hours_as_of=hours_as_of,
        offset_minutes=offset_minutes,
        plan_offset_minutes=plan_offset_minutes,
        at=at,
        left_out=left_out,
        silent=silent,
        taken_at=taken_at,
        uncovered=[name.partition(" · ")[0] for _, name in uncovered],
        out=[one for one in out if one.to_at is None and not one.waits_for_test],
    )
    return CalendarContent(entries=(status, *kept), left_out=left_out)


def status_entry(
    *,
    vessel: Vessel,
    jobs: Sequence[DueJob],
    plan_at: datetime | None,
    hours_as_of: datetime | None,
    offset_minutes: int,
    at: datetime,
    left_out: int = 0,
    silent: Sequence[tuple[str, datetime | None]] = (),
    taken_at: datetime | None = None,
    uncovered: Sequence[str] = (),
    out: Sequence[PumpOut] = (),
    plan_offset_minutes: int | None = None,
) -> CalendarEntry:
    """The all-day entry on the date of the last plan run: it is never missing, and shows how old the plan is.

    It says on which day the calendar was last written, and no hour, so that it changes once a day and no oftener by that alone.

    Args:
        plan_at: when the taken plan was made; none: there is none yet, and the entry stands on today.
        hours_as_of: the oldest of the latest readings of the counters in use; none: no counter has posted yet.
        offset_minutes: ship time now. plan_offset_minutes: at the plan run, when it was another.
        silent, taken_at, out: see `agenda`. uncovered: titles of planned jobs during which no more pump may trip.
    """
    then = offset_minutes if plan_offset_minutes is None else plan_offset_minutes
    on = ship_time(plan_at or at, then).date()
    counts = _counts(Counter(job.state.value for job in jobs if job.first))
    if out:
        counts = [
            f"{len(out)} pump{'' if len(out) == 1 else 's'} out",
            *(one for one in counts if one != "nothing due"),
        ]
    when = "No plan yet" if plan_at is None else f"Plan as of {moment_text(plan_at, then)} ship time"
    written = ship_time(at, offset_minutes).date()
    lines = [
        _read_to(hours_as_of, offset_minutes, on=written),
        *(f"Silent: the counter of {place}, {_silent_since(since, offset_minutes)}." for place, since in silent),
        f"The calendar was last written on {day_text(written)}."
        + ("" if taken_at is None else f" The plan was taken {moment_text(taken_at, offset_minutes)} ship time."),
        "If the day it was written is not today or yesterday, it is out of date: ask aboard before relying on it.",
        NO_ALARM,
    ]
    if uncovered:
        named = "; ".join(uncovered[:MOST_NAMED]) + (
            "" if len(uncovered) <= MOST_NAMED else f"; {len(uncovered) - MOST_NAMED} more"
        )
        lines.insert(0, f"No cover while these are open, should one more pump trip: {named}.")
    if left_out:
        lines.insert(0, f"{left_out} more jobs did not fit in this calendar; the plan page has all of them.")
    return CalendarEntry(
        key=PLAN_STATUS_KEY,
        role=STATUS_ROLE,
        summary=short(" - ".join([when, *counts])),
        description="\n".join(lines),
        starts=on,
        ends=on + timedelta(days=1),
        state=None,
        status="CONFIRMED",
        opaque=False,
        categories=("plan status",),
        path=f"/vessels/{vessel.id}/plan",
        location=vessel.name,
    )


def fleet_entry(*, on: date, vessels: int, states: Mapping[str, int], left_out: int) -> CalendarEntry:
    """The all-day entry of a fleet's calendar: what is due in it, and whether all of it is there.

    Args:
        on: date of the newest plan among the vessels. states: how many of the jobs that belong in it are in each state, by its word.
        left_out: how many of them did not fit.
    """
    lines = [
        "Each vessel's own entry, on the date of her plan, says how old plan and counters are.",
        NO_ALARM,
    ]
    if left_out:
        lines.insert(
            0,
            f"{left_out} of {sum(states.values())} jobs did not fit in this calendar ({MOST_EVENTS} entries, 1 MB): those "
            "furthest ahead or longest done are left out. The vessels' own calendars and pages have all of them.",
        )
    named = f"Fleet of {vessels} vessel{'' if vessels == 1 else 's'}"
    cut = [f"{left_out} left out"] if left_out else []
    return CalendarEntry(
        key=FLEET_STATUS_KEY,
        role=STATUS_ROLE,
        summary=short(" - ".join([named, *_counts(states), *cut])),
        description="\n".join(lines),
        starts=on,
        ends=on + timedelta(days=1),
        state=None,
        status="CONFIRMED",
        opaque=False,
        categories=("plan status",),
        path="/",
        location="",
    )


def _counts(states: Mapping[str, int]) -> list[str]:
    said = (
        (JobState.PAST_LIMIT, "past limit"),
        (JobState.PAST_DUE, "past due"),
        (JobState.WINDOW_OPEN, "in window"),
        (JobState.NOT_KNOWN, "last time not known"),
        (JobState.POSTPONED, "postponed"),
    )
    counts = [f"{count} {words}" for state, words in said if (count := states.get(state.value, 0))]
    return counts or ["nothing due"]


def _all(
    vessel: Vessel,
    plant: Plant,
    jobs: Sequence[DueJob],
    slots: Mapping[str, PlannedSlot],
    done: Sequence[DoneJob],
    withdrawn: Sequence[WithdrawnJob],
    offset_minutes: int,
    at: datetime,
    published: Mapping[str, ShownFigures],
) -> list[CalendarEntry]:
    found: dict[str, CalendarEntry] = {}
    for gone in withdrawn:
        if at - gone.withdrawn_at <= timedelta(days=WITHDRAWN_DAYS):
            found[gone.job_id.key] = withdrawn_entry(vessel, plant, gone)
    for closed in done:
        if at - closed.done_at <= timedelta(days=DONE_DAYS):
            found[closed.job_id.key] = done_entry(vessel, plant, closed)
    for job in jobs:
        key = job.job_id.key
        slot = slots.get(key)
        if key not in found and (slot.start_at if slot else job.due_at) <= at + timedelta(days=AHEAD_DAYS):
            quoted = shown_figures(
                job, slot, place_of(plant, job.position, job.job_id), offset_minutes, at, published.get(key)
            )
            found[key] = open_entry(vessel, plant, job, slot, quoted)
    return list(found.values())


def _fit(found: Sequence[CalendarEntry]) -> tuple[tuple[CalendarEntry, ...], int]:
    """The entries that fit, sorted, and how many did not: those that matter least now are left out first."""

    def rank(entry: CalendarEntry) -> tuple[int, float, str]:
        return urgency("" if entry.state is None else entry.state.value, _day_number(entry), entry.key)

    kept = sorted(found, key=rank)[: MOST_EVENTS - 1]
    return tuple(sorted(kept, key=lambda entry: (_day_number(entry), entry.key))), len(found) - len(kept)


def _day_number(entry: CalendarEntry) -> float:
    starts = entry.starts
    if isinstance(starts, datetime):
        return starts.timestamp()
    return datetime(starts.year, starts.month, starts.day, tzinfo=UTC).timestamp()


def _read_to(hours_as_of: datetime | None, offset_minutes: int, *, on: date) -> str:
    """How far the counters were read, by days: fresh readings alone change nothing."""
    if hours_as_of is None:
        return "No counter has posted yet."
    read = ship_time(hours_as_of, offset_minutes).date()
    if read >= on - timedelta(days=1):
        return "Counters: all read within the last two days."
    return f"Counters: the oldest of the latest readings is of {day_text(read)}."


def _silent_since(since: datetime | None, offset_minutes: int) -> str:
    return "never read" if since is None else f"since {moment_text(since, offset_minutes)} ship time"
