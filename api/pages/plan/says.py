"""What the plan page says: its heading is the answer. Pure text."""

import math
from datetime import datetime

from api.pages.plan.view import LateLine, MoveLine, PlanView, SlotLine
from api.pages.shared.margin import below_words, least
from scheduler.domain.base.enums import JobState
from scheduler.language import gettext as _
from scheduler.language import ngettext
from scheduler.wording.due import limit_words, meets_at
from scheduler.wording.figures import (
    M3H,
    NBSP,
    clock,
    count_words,
    day_count,
    inner,
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
            return _("There is nothing to plan: no open job is known.")
        return _(
            "There is no plan yet. {counted} for a place.", counted=count_words(view.jobs, "job waits", "jobs wait")
        )
    said = [one for one in (_below(view), _troubles(view.troubles), _without(view)) if one]
    planned = len(view.slots)
    if planned:
        counted = (
            count_words(planned, "job is planned", "jobs are planned")
            if view.plan.taken_at
            else count_words(planned, "job is proposed", "jobs are proposed")
        )
        said.append(_("{counted} to {until}.", counted=counted, until=until))
    elif view.jobs or view.later:
        said.append(_("No job is planned before {until}.", until=until))
    else:
        said.append(_("There is nothing to plan: no open job is known."))
    if not _below(view):
        said.append(_least(view))
    if view.newer is not None and view.plan.taken_at is not None:
        said.append(_("A newer plan waits to be taken."))
    return " ".join(one for one in said if one)


def _least(view: PlanView) -> str:
    run = least(view.margins)
    if run is None:
        return _("No capacity has been worked out yet.")
    why = _(", with {names} open", names=listed(run.open_positions)) if run.open_positions else ""
    when = (
        _("now")
        if run.from_at <= view.now_at
        else _("on {moment}", moment=moment(run.from_at, view.frame.utc_offset_minutes))
    )
    return _(
        "Least margin {margin_number}{nbsp}{m3h} {when}{why}.",
        margin_number=margin_number(run.margin_m3_per_h),
        nbsp=NBSP,
        m3h=M3H,
        when=when,
        why=why,
    )


def _below(view: PlanView) -> str:
    stretches = below_words(view.margins)
    if not stretches:
        return ""
    offset = view.frame.utc_offset_minutes
    lacking = number(math.ceil(max(-r.margin_m3_per_h for s in stretches for r in s) - 1e-9))
    first = stretches[0]
    deepest = min((run for stretch in stretches for run in stretch), key=lambda run: run.margin_m3_per_h)
    when = (
        _("now")
        if first[0].from_at <= view.now_at < first[-1].to_at
        else _("on {moment}", moment=moment(first[0].from_at, offset))
    )
    end = first[-1].to_at
    until = _(" until {moment}", moment=moment(end, offset)) if end < view.ends_at else ""
    more = (
        _(" and {counted} more", counted=inner(count_words(len(stretches) - 1, "time", "times")))
        if len(stretches) > 1
        else ""
    )
    why = []
    if deepest.open_positions:
        why.append(_("{listed} open", listed=listed(deepest.open_positions)))
    if deepest.down_positions:
        why.append(_("{names} down or not proved", names=listed(deepest.down_positions)))
    with_what = _(", with {several}", several=listed(why)) if why else ""
    if any(run.open_positions for stretch in stretches for run in stretch):
        return _(
            "As planned, capacity is short {when}{until}{more}, by {lacking}{nbsp}{m3h} at most{with_what}: plan again.",
            when=when,
            until=until,
            more=more,
            lacking=lacking,
            nbsp=NBSP,
            m3h=M3H,
            with_what=with_what,
        )
    return _(
        "Capacity is below the minimum {when}{until}{more}, by {lacking}{nbsp}{m3h} at most{with_what}: "
        "a fact that no date changes.",
        when=when,
        until=until,
        more=more,
        lacking=lacking,
        nbsp=NBSP,
        m3h=M3H,
        with_what=with_what,
    )


def _troubles(troubles: tuple[LateLine, ...]) -> str:
    without = [one for one in troubles if one.days is None]
    late = [one for one in troubles if one.days is not None]
    said = []
    if without:
        many = count_words(len(without), "job has", "jobs have")
        said.append(
            _("{name} has no place.", name=without[0].name) if len(without) == 1 else _("{many} no place.", many=many)
        )
    if late:
        worst = max(late, key=lambda one: one.days or 0)
        ends = _("{name} ends {day_count} past its limit", name=worst.name, day_count=day_count(worst.days or 0))
        many = count_words(len(late), "job ends", "jobs end")
        said.append(
            f"{ends}." if len(late) == 1 else _("{many} past the limit, {name} the latest.", many=many, name=worst.name)
        )
    return " ".join(said)


def _without(view: PlanView) -> str:
    if not view.without:
        return ""
    if len(view.without) == 1:
        return _("{without} is not in the plan yet: plan again.", without=view.without[0])
    return _("{counted} not in the plan yet: plan again.", counted=count_words(len(view.without), "job is", "jobs are"))


def plan_subline(view: PlanView) -> str:
    """Under the heading: when it was planned and from what, whether it is proved best, and what was moved by hand."""
    offset = view.frame.utc_offset_minutes
    read = _("Running hours are read to {moment}.", moment=moment(view.read_at, offset)) if view.read_at else ""
    if read and view.silent:
        read += ngettext(
            " The counter of {names} is silent.", " The counters of {names} are silent.", len(view.silent)
        ).format(names=listed(view.silent))
    if view.plan is None:
        if not view.jobs:
            return _("Jobs come from the job kinds in the vessel document. {read}", read=read).strip()
        night = (
            _("A plan is made each night, and after every reading or job that moves a due point; or plan now.")
            if view.again_action
            else _("A plan is made each night, and after every reading or job that moves a due point.")
        )
        return f"{night} {read}".strip()
    plan = view.plan
    proof = _("proved best") if plan.proven else _("not proven best")
    if view.by_hand:
        said = [_("Last changed by hand {moment}; a new plan is made around it.", moment=moment(plan.made_at, offset))]
    else:
        taken = _("taken {moment}", moment=moment(plan.taken_at, offset)) if plan.taken_at else _("not taken yet")
        said = [
            _(
                "Planned {moment} on what was known then, {proof}, {taken}.",
                moment=moment(plan.made_at, offset),
                proof=proof,
                taken=taken,
            )
        ]
    if read:
        said.append(read)
    by_hand = sum(one.by_hand for one in view.slots)
    if by_hand:
        said.append(_("{counted} set by hand.", counted=count_words(by_hand, "slot was", "slots were")))
    if view.slots and all(one.fixed for one in view.slots):
        said.append(_("Every one of these slots is held: planning again moves none of them."))
    if not view.slots and view.later:
        said.append(_("{counted} planned later.", counted=count_words(view.later, "job is", "jobs are")))
    return " ".join(said)


def notes(slot: SlotLine) -> tuple[str, ...]:
    """What is to be said of a slot besides its times: held by hand, shared isolation, spread, lateness."""
    said = []
    if slot.by_hand:
        said.append(_("pinned by hand"))
    elif slot.fixed:
        said.append(_("held"))
    if slot.with_name:
        said.append(_("one isolation with {with_name}", with_name=slot.with_name))
    if slot.plus_minus_days:
        said.append(f"±{day_count(slot.plus_minus_days)}")
    return tuple(said)


def late_words(slot: SlotLine) -> str:
    """How late the slot ends, or nothing."""
    return _("ends {day_count} past its limit", day_count=day_count(slot.late_days)) if slot.late_days else ""


def slot_due_words(slot: SlotLine, offset_minutes: int) -> str:
    """When the job is due and at its limit."""
    due = slot.job.due
    if due.state is JobState.NOT_KNOWN:
        return _("last time not known, due now")
    stands = short_date(meets_at(due), offset_minutes)
    limit = limit_words(due, offset_minutes)
    return (
        _("due and limit {stands}", stands=stands)
        if limit == stands
        else _("due {stands}, limit {limit}", stands=stands, limit=limit.partition(NBSP)[2])
    )


def move_words(move: MoveLine, offset_minutes: int, *, undone: bool) -> str:
    """What a move, or taking it back, has done."""
    if not undone:
        return _(
            "{name} is set for {moment}. A new plan is being made around it.",
            name=move.name,
            moment=moment(move.to_at, offset_minutes),
        )
    if move.from_at is None:
        return _("{name} has no slot any more, as before. The next plan looks for one.", name=move.name)
    return _(
        "{name} is back on {moment}; planning again may move it.",
        name=move.name,
        moment=moment(move.from_at, offset_minutes),
    )


def slot_span(from_at: datetime, to_at: datetime, offset_minutes: int) -> str:
    """From an instant to another in ship time, the day said once when it is the same."""
    same = short_date(from_at, offset_minutes) == short_date(to_at, offset_minutes)
    end = (clock if same else moment)(to_at, offset_minutes)
    return _("{moment} to {end}", moment=moment(from_at, offset_minutes), end=end)
