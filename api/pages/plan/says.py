"""What the plan page says: its heading is the answer. Pure text."""

import math
from datetime import datetime

from api.pages.plan.view import LateLine, MoveLine, PlanView, SlotLine
from api.pages.shared.margin import below_words, least
from scheduler.domain.base.enums import JobState
from scheduler.wording.due import limit_words, meets_at
from scheduler.wording.figures import (
    M3H,
    NBSP,
    clock,
    count_words,
    day_count,
    listed,
    long_date,
    margin_number,
    moment,
    number,
    short_date,
)


def plan_heading(view: PlanView) -> str:
    """The heading: what is wrong, else how many jobs are planned and the least margin."""
    until = long_date(view.ends_at, view.frame.utc_offset_minutes, view.now_at)
    if view.plan is None:
        if not view.jobs:
            return "There is nothing to plan: no open job is known."
        return f"There is no plan yet. {count_words(view.jobs, 'job waits', 'jobs wait')} for a place."
    said = [one for one in (_below(view), _troubles(view.troubles), _without(view)) if one]
    planned = len(view.slots)
    if planned:
        word = "planned" if view.plan.taken_at else "proposed"
        said.append(f"{count_words(planned, f'job is {word}', f'jobs are {word}')} to {until}.")
    elif view.jobs or view.later:
        said.append(f"No job is planned before {until}.")
    else:
        said.append("There is nothing to plan: no open job is known.")
    if not _below(view):
        said.append(_least(view))
    if view.newer is not None and view.plan.taken_at is not None:
        said.append("A newer plan waits to be taken.")
    return " ".join(one for one in said if one)


def _least(view: PlanView) -> str:
    run = least(view.margins)
    if run is None:
        return "No capacity has been worked out yet."
    why = f", with {listed(run.open_positions)} open" if run.open_positions else ""
    when = "now" if run.from_at <= view.now_at else f"on {moment(run.from_at, view.frame.utc_offset_minutes)}"
    return f"Least margin {margin_number(run.margin_m3_per_h)}{NBSP}{M3H} {when}{why}."


def _below(view: PlanView) -> str:
    stretches = below_words(view.margins)
    if not stretches:
        return ""
    offset = view.frame.utc_offset_minutes
    lacking = number(math.ceil(max(-r.margin_m3_per_h for s in stretches for r in s) - 1e-9))
    first = stretches[0]
    deepest = min((run for stretch in stretches for run in stretch), key=lambda run: run.margin_m3_per_h)
    when = "now" if first[0].from_at <= view.now_at < first[-1].to_at else f"on {moment(first[0].from_at, offset)}"
    end = first[-1].to_at
    until = f" until {moment(end, offset)}" if end < view.ends_at else ""
    more = f" and {count_words(len(stretches) - 1, 'time', 'times').lower()} more" if len(stretches) > 1 else ""
    why = []
    if deepest.open_positions:
        why.append(f"{listed(deepest.open_positions)} open")
    if deepest.down_positions:
        why.append(f"{listed(deepest.down_positions)} down or not proved")
    with_what = f", with {' and '.join(why)}" if why else ""
    if any(run.open_positions for stretch in stretches for run in stretch):
        return (
            f"As planned, capacity is short {when}{until}{more}, by {lacking}{NBSP}{M3H} at most{with_what}: "
            "plan again."
        )
    return (
        f"Capacity is below the minimum {when}{until}{more}, by {lacking}{NBSP}{M3H} at most{with_what}: "
        "a fact that no date changes."
    )


def _troubles(troubles: tuple[LateLine, ...]) -> str:
    without = [one for one in troubles if one.days is None]
    late = [one for one in troubles if one.days is not None]
    said = []
    if without:
        many = count_words(len(without), "job has", "jobs have")
        said.append(f"{without[0].name} has no place." if len(without) == 1 else f"{many} no place.")
    if late:
        worst = max(late, key=lambda one: one.days or 0)
        ends = f"{worst.name} ends {day_count(worst.days or 0)} past its limit"
        many = count_words(len(late), "job ends", "jobs end")
        said.append(f"{ends}." if len(late) == 1 else f"{many} past the limit, {worst.name} the latest.")
    return " ".join(said)


def _without(view: PlanView) -> str:
    if not view.without:
        return ""
    if len(view.without) == 1:
        return f"{view.without[0]} is not in the plan yet: plan again."
    return f"{count_words(len(view.without), 'job is', 'jobs are')} not in the plan yet: plan again."


def plan_subline(view: PlanView) -> str:
    """Under the heading: when it was planned and from what, whether it is proved best, and what was moved by hand."""
    offset = view.frame.utc_offset_minutes
    read = f"Running hours are read to {moment(view.read_at, offset)}." if view.read_at else ""
    if read and view.silent:
        many = len(view.silent) > 1
        read += f" The counter{'s' if many else ''} of {listed(view.silent)} {'are' if many else 'is'} silent."
    if view.plan is None:
        if not view.jobs:
            return f"Jobs come from the job kinds in the vessel document. {read}".strip()
        night = "A plan is made each night, and after every reading or job that moves a due point"
        return f"{night}{'; or plan now' if view.again_action else ''}. {read}".strip()
    plan = view.plan
    proof = "proved best" if plan.proven else "not proven best"
    if view.by_hand:
        said = [f"Last changed by hand {moment(plan.made_at, offset)}; a new plan is made around it."]
    else:
        taken = f"taken {moment(plan.taken_at, offset)}" if plan.taken_at else "not taken yet"
        said = [f"Planned {moment(plan.made_at, offset)} on what was known then, {proof}, {taken}."]
    if read:
        said.append(read)
    by_hand = sum(one.by_hand for one in view.slots)
    if by_hand:
        said.append(f"{count_words(by_hand, 'slot was', 'slots were')} set by hand.")
    if view.slots and all(one.fixed for one in view.slots):
        said.append("Every one of these slots is held: planning again moves none of them.")
    if not view.slots and view.later:
        said.append(f"{count_words(view.later, 'job is', 'jobs are')} planned later.")
    return " ".join(said)


def notes(slot: SlotLine) -> tuple[str, ...]:
    """What is to be said of a slot besides its times: held by hand, shared isolation, spread, lateness."""
    said = []
    if slot.by_hand:
        said.append("pinned by hand")
    elif slot.fixed:
        said.append("held")
    if slot.with_name:
        said.append(f"one isolation with {slot.with_name}")
    if slot.plus_minus_days:
        said.append(f"±{day_count(slot.plus_minus_days)}")
    return tuple(said)


def late_words(slot: SlotLine) -> str:
    """How late the slot ends, or nothing."""
    return f"ends {day_count(slot.late_days)} past its limit" if slot.late_days else ""


def slot_due_words(slot: SlotLine, offset_minutes: int) -> str:
    """When the job is due and at its limit."""
    due = slot.job.due
    if due.state is JobState.NOT_KNOWN:
        return "last time not known, due now"
    stands = short_date(meets_at(due), offset_minutes)
    limit = limit_words(due, offset_minutes)
    return f"due and limit {stands}" if limit == stands else f"due {stands}, limit {limit.partition(NBSP)[2]}"


def move_words(move: MoveLine, offset_minutes: int, *, undone: bool) -> str:
    """What a move, or taking it back, has done."""
    if not undone:
        return f"{move.name} is set for {moment(move.to_at, offset_minutes)}. A new plan is being made around it."
    if move.from_at is None:
        return f"{move.name} has no slot any more, as before. The next plan looks for one."
    return f"{move.name} is back on {moment(move.from_at, offset_minutes)}; planning again may move it."


def slot_span(from_at: datetime, to_at: datetime, offset_minutes: int) -> str:
    """From an instant to another in ship time, the day said once when it is the same."""
    same = short_date(from_at, offset_minutes) == short_date(to_at, offset_minutes)
    end = (clock if same else moment)(to_at, offset_minutes)
    return f"{moment(from_at, offset_minutes)} to {end}"
