"""The words and numbers on the pages: pure text, no markup. Ship time is UTC plus the offset that stands beside it."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from api.view import JobLine, MarginRun, PlanLine, PlantView, PumpLine, VesselLine
from scheduler.domain.due import DueJob
from scheduler.domain.words import State, Trigger

NARROW = "\u202f"
NBSP = "\u00a0"
M3H = "m³/h"
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
_RANK = {
    State.PAST_LIMIT: 0,
    State.PAST_DUE: 1,
    State.WINDOW_OPEN: 2,
    State.POSTPONED: 3,
    State.AHEAD: 4,
    State.DONE: 5,
    State.WITHDRAWN: 6,
}


def number(value: float, decimals: int = 0) -> str:
    """The number with a narrow no-break space at the thousands, a dot, and a true minus sign.

    >>> number(13905.24, 1).replace(NARROW, "_"), number(-4)
    ('13_905.2', '−4')
    """
    text = f"{abs(value):,.{decimals}f}".replace(",", NARROW)
    return f"−{text}" if value < 0 and float(f"{value:.{decimals}f}") != 0 else text


def margin_number(m3_per_h: float) -> str:
    """A margin in whole m3/h, rounded down so that it never looks larger than it is.

    >>> margin_number(19.9), margin_number(-0.2)
    ('19', '−1')
    """
    return number(math.floor(m3_per_h + 1e-9))


def ship(at: datetime, offset_minutes: int) -> datetime:
    """The instant on the ship's clock; only for printing."""
    return at + timedelta(minutes=offset_minutes)


def offset_words(offset_minutes: int) -> str:
    """The offset as printed beside a ship time.

    >>> offset_words(60), offset_words(-210), offset_words(0)
    ('UTC+1', 'UTC−3:30', 'UTC')
    """
    if not offset_minutes:
        return "UTC"
    hours, minutes = divmod(abs(offset_minutes), 60)
    return f"UTC{'+' if offset_minutes > 0 else '−'}{hours}" + (f":{minutes:02d}" if minutes else "")


def clock(at: datetime, offset_minutes: int) -> str:
    """Hours and minutes in ship time."""
    return f"{ship(at, offset_minutes):%H:%M}"


def short_date(at: datetime, offset_minutes: int) -> str:
    """Like "Wed 25 Nov", in ship time, held together by no-break spaces."""
    local = ship(at, offset_minutes)
    return f"{DAYS[local.weekday()]}{NBSP}{local.day}{NBSP}{MONTHS[local.month - 1][:3]}"


def long_date(at: datetime, offset_minutes: int, now_at: datetime | None = None) -> str:
    """Like "25 November", with the year when it is not the year of now."""
    local = ship(at, offset_minutes)
    text = f"{local.day}{NBSP}{MONTHS[local.month - 1]}"
    return text if now_at is None or local.year == ship(now_at, offset_minutes).year else f"{text}{NBSP}{local.year}"


def moment(at: datetime, offset_minutes: int) -> str:
    """Short date and time in ship time."""
    return f"{short_date(at, offset_minutes)} {clock(at, offset_minutes)}"


def day_words(at: datetime, now_at: datetime, offset_minutes: int) -> str:
    """Today, tomorrow, yesterday, in N days, N days ago: by the ship's calendar."""
    days = (ship(at, offset_minutes).date() - ship(now_at, offset_minutes).date()).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    return near.get(days) or (f"in {days} days" if days > 0 else f"{-days} days ago")


def count_words(count: int, one: str, many: str) -> str:
    """A count in words up to twelve: "Three jobs"."""
    said = COUNTS[count] if count < len(COUNTS) else number(count)
    return f"{said} {one if count == 1 else many}"


def _inner(name: str) -> str:
    """A name inside a sentence: the first letter small unless it is an abbreviation."""
    return name if len(name) > 1 and not name[1].islower() else name[:1].lower() + name[1:]


def job_name(due: DueJob) -> str:
    """Like "VP2 knife inspection"; a job of the plant itself has its kind's name only."""
    return f"{due.position} {_inner(due.kind_name)}" if due.position else due.kind_name


_PLAIN = {"inspection", "check", "test", "renewal", "replacement", "set"}


def short_kind(name: str, longest: int = 9) -> str:
    """A kind's name short enough to stand under a tube: plain words dropped, then the last word, then cut.

    >>> short_kind("Mechanical seal inspection"), short_kind("Knife inspection"), short_kind("Pump overhaul")
    ('Seal', 'Knife', 'Overhaul')
    """
    words = [w for w in name.split() if w.lower() not in _PLAIN] or name.split() or ["?"]
    text = " ".join(words)
    if len(text) > longest:
        text = words[-1]
    if len(text) > longest:
        text = text[: longest - 1] + "…"
    return text[:1].upper() + text[1:]


def stands_at(due: DueJob) -> datetime:
    """The instant a job now has to meet: what it was postponed to, else its due point."""
    return due.postponed_to if due.state is State.POSTPONED and due.postponed_to else due.due_at


def rank(job: JobLine) -> tuple[int, datetime, str]:
    """Sort key: worst state first, then the earlier due."""
    return _RANK[job.due.state], job.due.due_at, job.due.occurrence.key


def _hours_words(seconds: int) -> str:
    whole = abs(seconds) // 3600
    return f"{number(whole)} running{NBSP}h" if whole else f"less than 1 running{NBSP}h"


def _days_between(early: datetime, late: datetime) -> str:
    whole = (late - early) // timedelta(days=1)
    return f"{whole} day{'' if whole == 1 else 's'}" if whole else "less than a day"


def _past_words(due: DueJob, now_at: datetime, since_at: datetime, over_seconds: int | None) -> str:
    by_hours = due.trigger is Trigger.RUNNING_HOURS and over_seconds is not None and over_seconds > 0
    return _hours_words(over_seconds or 0) if by_hours else _days_between(since_at, now_at)


def due_words(due: DueJob, offset_minutes: int) -> str:
    """When it falls due: hours and date together, or the calendar date."""
    about = short_date(due.due_at, offset_minutes)
    left = due.running_seconds_left
    if due.trigger is Trigger.RUNNING_HOURS and left is not None and left >= 0:
        return f"due in {_hours_words(left)}, about {about}"
    return f"due {about}" if due.trigger is Trigger.RUNNING_HOURS else f"due by calendar {about}"


def limit_left_seconds(due: DueJob) -> int | None:
    """Running seconds to the limit, negative beyond it; none when the kind has no running-hour limit."""
    if due.limit_running_seconds is None or due.due_running_seconds is None or due.running_seconds_left is None:
        return None
    return due.limit_running_seconds - due.due_running_seconds + due.running_seconds_left


def state_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """The state of a job in words, with what is left in hours and date."""
    said = _state_words(due, now_at, offset_minutes)
    tails = []
    if due.estimated:
        tails.append("hours estimated")
    if due.forecast is not None and due.forecast.standing and due.state in (State.AHEAD, State.WINDOW_OPEN):
        tails.append("pump has hardly run, the date is wide")
    if not due.first:
        tails.append("if the turn before is done when due")
    return "; ".join([said, *tails])


def _state_words(due: DueJob, now_at: datetime, offset: int) -> str:
    match due.state:
        case State.AHEAD:
            opens = f"Opens {short_date(due.window_opens_at, offset)}, " if due.window_opens_at > now_at else "Ahead, "
            return opens + due_words(due, offset)
        case State.WINDOW_OPEN:
            return f"Window open, {due_words(due, offset)}"
        case State.PAST_DUE:
            over = None if due.running_seconds_left is None else -due.running_seconds_left
            left = limit_left_seconds(due)
            by_hours = due.trigger is Trigger.RUNNING_HOURS and left is not None and left > 0
            limit = f"in {_hours_words(left or 0)}, about " if by_hours else ""
            past = _past_words(due, now_at, due.due_at, over)
            return f"Past due by {past}; limit {limit}{short_date(due.limit_at, offset)}"
        case State.PAST_LIMIT:
            left = limit_left_seconds(due)
            past = _past_words(due, now_at, due.limit_at, None if left is None else -left)
            return f"Past limit by {past}; close it or ask for a postponement"
        case State.POSTPONED:
            until = short_date(due.postponed_to or due.limit_at, offset)
            return f"Postponed to {until}; was due {short_date(due.due_at, offset)}"
        case State.DONE:
            return "Done"
        case State.WITHDRAWN:
            return "Withdrawn"


# --- the heading -----------------------------------------------------------------------------------------------------


def least(runs: Sequence[MarginRun]) -> MarginRun | None:
    """The first run with the least margin; none without runs."""
    return min(runs, key=lambda r: (r.margin_m3_per_h, r.from_at), default=None)


def below(runs: Sequence[MarginRun]) -> tuple[tuple[MarginRun, ...], ...]:
    """Stretches of touching runs below the minimum, in time order."""
    stretches: list[list[MarginRun]] = []
    for run in sorted(runs, key=lambda r: r.from_at):
        if run.margin_m3_per_h >= 0:
            continue
        if stretches and stretches[-1][-1].to_at == run.from_at:
            stretches[-1].append(run)
        else:
            stretches.append([run])
    return tuple(tuple(s) for s in stretches)


def one_trip_below_at(runs: Sequence[MarginRun]) -> datetime | None:
    """First instant at which losing the largest pump in use would go below the minimum; none when never or unknown."""
    found = (r.from_at for r in runs if r.largest_m3_per_h is not None and r.margin_m3_per_h < r.largest_m3_per_h)
    return min(found, default=None)


def pump_words(pump: PumpLine, now_at: datetime, offset_minutes: int) -> str:
    """One sentence on a pump that is down or not proved; empty when it counts in full."""
    outage = pump.outage
    if outage is None or not (outage.from_at <= now_at and (outage.to_at is None or now_at < outage.to_at)):
        return ""
    since = short_date(outage.from_at, offset_minutes)
    what = "down" if outage.counts_for.m3_per_h <= 0 else "not proved"
    back = f", back {moment(outage.to_at, offset_minutes)}" if outage.to_at else ""
    return f"{what[:1].upper()}{what[1:]} since {since}{back}"


def _late_words(late: Sequence[JobLine], past: Sequence[JobLine]) -> str:
    """What is past its limit or past due, in one sentence; empty when nothing is. Both in rank order."""
    if late:
        name = job_name(late[0].due)
        said = f"{name} is past its limit" if len(late) == 1 else ""
        said = said or f"{count_words(len(late), 'job is', 'jobs are')} past their limit, {name} the longest"
        return said + (f", and {count_words(len(past), 'more is', 'more are').lower()} past due." if past else ".")
    if not past:
        return ""
    name = job_name(past[0].due)
    if len(past) == 1:
        return f"{name} is past due."
    return f"{count_words(len(past), 'job is', 'jobs are')} past due, {name} the longest."


def jobs_sentence(view: PlantView) -> str:
    """The first half of the heading: what is past limit, past due, open or next."""
    offset = view.frame.utc_offset_minutes
    order = sorted(view.jobs, key=rank)
    late = [j for j in order if j.due.state is State.PAST_LIMIT]
    past = [j for j in order if j.due.state is State.PAST_DUE]
    down = [p for p in view.pumps if pump_words(p, view.now_at, offset).startswith("Down")]
    broken = ""
    if down:
        since = min(p.outage.from_at for p in down if p.outage)
        names = _listed([p.position for p in down])
        broken = f"{names} {'is' if len(down) == 1 else 'are'} down since {long_date(since, offset, view.now_at)}."
    late_words = _late_words(late, past)
    if late_words:
        return f"{late_words} {broken}".strip()
    if view.pumps and all(p.hours is None or p.hours.as_of is None for p in view.pumps):
        return f"No running hours have been read yet. {broken}".strip()
    if broken:
        return broken
    silent = [p for p in view.pumps if p.silent_since_at is not None]
    if silent:
        names = _listed([p.position for p in silent])
        if len(silent) == 1:
            return f"The counter of {names} is silent; its due dates are estimated."
        return f"The counters of {names} are silent; their due dates are estimated."
    ahead = [j for j in view.jobs if j.due.state in (State.AHEAD, State.WINDOW_OPEN, State.POSTPONED)]
    if not ahead:
        return "Nothing is due: no open job is known."
    first = min(ahead, key=lambda j: (stands_at(j.due), j.due.occurrence.key))
    date = long_date(stands_at(first.due), offset, view.now_at)
    return f"Nothing is due before {date}: {_inner(job_name(first.due))} comes first."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def capacity_sentence(view: PlantView) -> str:
    """The second half of the heading: how capacity stands to the minimum. Calculated, so never "guaranteed"."""
    if not view.runs:
        return "No capacity has been worked out yet."
    offset = view.frame.utc_offset_minutes
    to = long_date(max(r.to_at for r in view.runs), offset, view.now_at)
    basis = (
        "As planned" if view.plan else "As proposed" if view.proposed else "There is no plan yet; with no pump opened"
    )
    stretches = below(view.runs)
    if stretches:
        first = stretches[0]
        lacking = number(math.ceil(max(-r.margin_m3_per_h for r in first) - 1e-9))
        if first[0].from_at <= view.now_at < first[-1].to_at:
            end = first[-1].to_at
            until = f" until {moment(end, offset)}" if end < max(r.to_at for r in view.runs) else f" to {to} at least"
            return f"Capacity is {lacking}{NBSP}{M3H} below the minimum now,{until}."
        again = long_date(stretches[1][0].from_at, offset, view.now_at) if len(stretches) > 1 else ""
        more = f" and again on {again}" if len(stretches) == 2 else ""
        more = more or (f" and {count_words(len(stretches) - 1, 'time', 'times').lower()} more" if again else "")
        deepest = number(math.ceil(max(-r.margin_m3_per_h for s in stretches for r in s) - 1e-9))
        when = long_date(first[0].from_at, offset, view.now_at)
        most = " at most" if again else ""
        return f"{basis}, capacity goes below the minimum on {when}{more}, by {deepest}{NBSP}{M3H}{most}."
    plan = view.plan or view.proposed
    unplaced = [s for s in plan.shortfalls if s.key] if plan else []
    trip = one_trip_below_at(view.runs)
    tail = ""
    if trip is not None:
        when = "at any time from now" if trip <= view.now_at else f"on {long_date(trip, offset, view.now_at)}"
        tail = f"; one trip would go below {when}"
    said = f"{basis}, capacity holds the minimum to {to}{tail}."
    if unplaced:
        said += f" {count_words(len(unplaced), 'job has', 'jobs have')} no slot."
    return said


def answer(view: PlantView) -> str:
    """The heading of the plant page: the answer itself, two or three sentences."""
    said = f"{jobs_sentence(view)} {capacity_sentence(view)}"
    return said + (" A newer plan waits to be taken." if view.proposed and view.plan else "")


def sub_line(view: PlantView) -> str:
    """Under the heading: when the hours were read and which counters are silent."""
    offset = view.frame.utc_offset_minutes
    read = [p.hours.as_of for p in view.pumps if p.hours is not None and p.hours.as_of is not None]
    if not read:
        return "No counter has posted yet: due dates rest on the calendar and on opening hours."
    newest = max(read)
    same_day = ship(newest, offset).date() == ship(view.now_at, offset).date()
    said = f"Hours read at {clock(newest, offset) if same_day else moment(newest, offset)}."
    silent = [p for p in view.pumps if p.silent_since_at is not None]
    unread = [p.position for p in view.pumps if p.hours is None or p.hours.as_of is None]
    if silent:
        each = _listed([f"{p.position} since {moment(p.silent_since_at, offset)}" for p in silent if p.silent_since_at])
        said += f" Silent: {each}; those hours are estimated."
    if unread:
        said += f" Nothing read yet from {_listed(unread)}."
    if not silent and not unread:
        all_of = COUNTS[len(view.pumps)].lower() if len(view.pumps) < len(COUNTS) else str(len(view.pumps))
        said += f" All {all_of} counters are posting." if len(view.pumps) > 1 else " The counter is posting."
    return said


def action(view: PlantView) -> tuple[str, str] | None:
    """Label and address of the one main action, or none while all is well."""
    order = sorted(view.jobs, key=rank)
    if order and order[0].due.state in (State.PAST_LIMIT, State.PAST_DUE):
        return f"Open {job_name(order[0].due)}", order[0].href
    if view.proposed:
        return "See the new plan" if view.plan else "See the proposed plan", "#plan"
    if all(p.hours is None for p in view.pumps) and view.hours_href:
        return "Enter running hours", view.hours_href
    if below(view.runs) and view.figures_href:
        return "See the figures", view.figures_href
    if order and order[0].due.state is State.WINDOW_OPEN:
        return f"Open {job_name(order[0].due)}", order[0].href
    return None


def plan_words(plan: PlanLine, offset_minutes: int) -> str:
    """One sentence on a plan: lawful or not, proven or not, when made and taken."""
    lawful = "Lawful" if not plan.faults else f"Not lawful: {count_words(len(plan.faults), 'fault', 'faults').lower()}"
    proof = "proven best" if plan.proven else "not proven best"
    made = f"made {moment(plan.made_at, offset_minutes)}"
    if plan.taken_at is None:
        return f"{lawful}, {proof}, {made}. Not taken yet."
    by = f" by {plan.taken_by}" if plan.taken_by else ""
    return f"{lawful}, {proof}, {made}, taken {moment(plan.taken_at, offset_minutes)}{by}."


def least_words(view: PlantView) -> tuple[str, str]:
    """The least margin as a number and the words after it (when, which pump open); empty without runs."""
    run = least(view.runs)
    if run is None:
        return "", ""
    offset = view.frame.utc_offset_minutes
    why = [f"{_listed(run.open_positions)} open"] if run.open_positions else []
    why += [f"{_listed(run.down_positions)} down"] if run.down_positions else []
    why += [run.minimum_label] if run.minimum_label != "minimum" else []
    return margin_number(run.margin_m3_per_h), ", ".join([moment(run.from_at, offset), *why])


def minimum_words(runs: Sequence[MarginRun]) -> str:
    """The minima in force, the one that holds longest first: "72 usual, 94 full ship"."""
    lengths: dict[tuple[float, str], timedelta] = {}
    for run in runs:
        key = (run.minimum_m3_per_h, run.minimum_label)
        lengths[key] = lengths.get(key, timedelta()) + (run.to_at - run.from_at)
    order = sorted(lengths, key=lambda key: (-lengths[key], key))
    named = [(m, "usual" if label == "minimum" else label) for m, label in order]
    if len(named) == 1 and named[0][1] == "usual":
        return number(math.ceil(named[0][0] - 1e-9))
    return ", ".join(f"{number(math.ceil(m - 1e-9))} {label}" for m, label in named)


def vessel_rank(line: VesselLine) -> tuple[int, int, int, int, str]:
    """Sort key of the fleet: past limit, then below the minimum as planned, then past due, then the rest."""
    group = 0 if line.past_limit else 1 if line.below_at else 2 + _RANK[line.worst]
    return group, -line.past_limit, -line.past_due, -line.window_open, line.name


def vessel_words(line: VesselLine, now_at: datetime, offset_minutes: int) -> str:
    """One line on a vessel, counts in words."""
    parts = [
        count_words(n, f"job {said}", f"jobs {said}").lower()
        for n, said in (
            (line.past_limit, "past limit"),
            (line.past_due, "past due"),
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
