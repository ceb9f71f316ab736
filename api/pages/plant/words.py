"""The heading of the plant page and what stands under it."""

import math
from collections.abc import Sequence
from datetime import datetime

from api.pages.plant.view import PlantView, PumpRow
from api.pages.plant.week import begin_words, begins_today
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import below_words, least_said, one_trip_below_at
from scheduler.domain.base.enums import JobState
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.language import gettext as _
from scheduler.language import ngettext
from scheduler.wording.due import job_name, job_rank, meets_at
from scheduler.wording.figures import (
    M3H,
    NBSP,
    clock,
    count_words,
    inner,
    listed,
    long_date,
    moment,
    number,
    ship,
    short_date,
)


def open_pump_words(pump: PumpRow, now_at: datetime, offset_minutes: int) -> str:
    """One sentence on a pump that is down or not proved; empty when it counts in full."""
    outage = pump.outage
    if outage is None or not (outage.from_at <= now_at and (outage.to_at is None or now_at < outage.to_at)):
        return ""
    since = short_date(outage.from_at, offset_minutes)
    if not pump.down_at(now_at):
        return _("Not proved since {since}", since=since)
    if outage.to_at is not None:
        return _("Down since {since}, back {moment}", since=since, moment=moment(outage.to_at, offset_minutes))
    return _("Down since {since}; {return_words}", since=since, return_words=return_words(pump, offset_minutes))


def return_words(pump: PumpRow, offset_minutes: int) -> str:
    """When a pump that is out is back, as far as it is known: told, assumed by plans, or out without end."""
    if pump.back is None:
        return _("the time it was expected back has passed: say when it is back")
    day = moment(pump.back.at, offset_minutes)
    return (
        _("return not known, plans assume {day}", day=day) if pump.back.assumed else _("expected back {day}", day=day)
    )


def _late_words(late: Sequence[JobLine], past: Sequence[JobLine]) -> str:
    """What is past its limit or past due, in one sentence; empty when nothing is. Both in rank order."""
    if late:
        name = job_name(late[0].due)
        said = _("{name} is past its limit", name=name) if len(late) == 1 else ""
        said = said or _(
            "{counted} past their limit, {name} the longest",
            counted=count_words(len(late), "job is", "jobs are"),
            name=name,
        )
        return said + (
            _(", and {counted} past due.", counted=inner(count_words(len(past), "more is", "more are")))
            if past
            else "."
        )
    if not past:
        return ""
    name = job_name(past[0].due)
    if len(past) == 1:
        return _("{name} is past due.", name=name)
    return _("{counted} past due, {name} the longest.", counted=count_words(len(past), "job is", "jobs are"), name=name)


def unknown_words(view: PlantView) -> str:
    """How many jobs are planned as due now because nobody knows when they were last done; empty for none."""
    unknown = [j for j in view.jobs if j.due.state is JobState.NOT_KNOWN and j.due.renewed_by is None]
    if not unknown:
        return ""
    many = inner(count_words(len(unknown), "job is", "jobs are"))
    return _("When it was last done is not known: {many} planned as due now.", many=many)


def jobs_sentence(view: PlantView) -> str:
    """The first half of the heading: what is past limit, past due, open or next."""
    offset = view.frame.utc_offset_minutes
    order = sorted(view.jobs, key=lambda j: job_rank(j.due))
    late = [j for j in order if j.due.state is JobState.PAST_LIMIT]
    past = [j for j in order if j.due.state is JobState.PAST_DUE]
    down = [p for p in view.pumps if p.down_at(view.now_at)]
    broken = ""
    if down:
        since = min(p.outage.from_at for p in down if p.outage)
        names = listed([p.position for p in down])
        broken = ngettext(
            "{names} is down since {long_date}.", "{names} are down since {long_date}.", len(down)
        ).format(names=names, long_date=long_date(since, offset, view.now_at))
    late_words = _late_words(late, past)
    late_words = late_words or unknown_words(view)
    if late_words:
        return f"{broken} {late_words}".strip()
    if view.pumps and all(p.hours is None or p.hours.as_of is None for p in view.pumps):
        return _("No running hours have been read yet. {broken}", broken=broken).strip()
    if broken:
        return broken
    silent = [p for p in view.pumps if p.silent_since_at is not None]
    if silent:
        names = listed([p.position for p in silent])
        if len(silent) == 1:
            return _("The counter of {names} is silent; its due dates are estimated.", names=names)
        return _("The counters of {names} are silent; their due dates are estimated.", names=names)
    coming = (JobState.AHEAD, JobState.WINDOW_OPEN, JobState.POSTPONED)
    ahead = [j for j in view.jobs if j.due.state in coming and j.kind.code != BREAKDOWN.code]
    if not ahead:
        return _("Nothing is due: no open job is known.")
    first = min(ahead, key=lambda j: (meets_at(j.due), j.due.job_id.key))
    date = long_date(meets_at(first.due), offset, view.now_at)
    return _("Nothing is due before {date}: {name} comes first.", date=date, name=inner(job_name(first.due)))


def capacity_sentence(view: PlantView) -> str:
    """The second half of the heading: how capacity stands to the minimum. Calculated, so never "guaranteed"."""
    if not view.margins:
        return _("No capacity has been worked out yet.")
    offset = view.frame.utc_offset_minutes
    to = long_date(max(r.to_at for r in view.margins), offset, view.now_at)
    basis = (
        _("As planned")
        if view.plan
        else _("As proposed")
        if view.proposed
        else _("There is no plan yet; with no pump opened")
    )
    stretches = below_words(view.margins)
    if stretches:
        first = stretches[0]
        lacking = number(math.ceil(max(-r.margin_m3_per_h for r in first) - 1e-9))
        if first[0].from_at <= view.now_at < first[-1].to_at:
            end = first[-1].to_at
            until = (
                _(" until {moment}", moment=moment(end, offset))
                if end < max(r.to_at for r in view.margins)
                else _(" to {to} at least", to=to)
            )
            return _(
                "Capacity is short by {lacking}{nbsp}{m3h} now,{until}.",
                lacking=lacking,
                nbsp=NBSP,
                m3h=M3H,
                until=until,
            )
        again = long_date(stretches[1][0].from_at, offset, view.now_at) if len(stretches) > 1 else ""
        more = _(" and again on {again}", again=again) if len(stretches) == 2 else ""
        more = more or (
            _(" and {counted} more", counted=inner(count_words(len(stretches) - 1, "time", "times"))) if again else ""
        )
        deepest = number(math.ceil(max(-r.margin_m3_per_h for s in stretches for r in s) - 1e-9))
        when = long_date(first[0].from_at, offset, view.now_at)
        most = _(" at most") if again else ""
        return _(
            "{basis}, capacity is short on {when}{more}, by {deepest}{nbsp}{m3h}{most}.",
            basis=basis,
            when=when,
            more=more,
            deepest=deepest,
            nbsp=NBSP,
            m3h=M3H,
            most=most,
        )
    trip = one_trip_below_at(view.margins)
    tail = ""
    if trip is not None:
        when = _("now") if trip <= view.now_at else _("on {long_date}", long_date=long_date(trip, offset, view.now_at))
        at = next(r for r in view.margins if r.to_at > max(trip, view.now_at))
        lacking = number(math.ceil((at.largest_m3_per_h or 0.0) - at.margin_m3_per_h - 1e-9))
        tail = _("; if one more pump trips {when}: short by {lacking}", when=when, lacking=lacking)
    return _("{basis}, capacity holds the minimum to {to}{tail}.", basis=basis, to=to, tail=tail)


def plant_heading(view: PlantView) -> str:
    """The heading of the plant page: the answer itself, two or three sentences."""
    said = f"{jobs_sentence(view)} {capacity_sentence(view)}"
    return said + (_(" A newer plan waits to be taken.") if view.proposed and view.plan else "")


def plant_subline(view: PlantView) -> str:
    """Under the heading: when the hours were read, which counters are silent, and what the heading leaves out."""
    return " ".join(filter(None, (_read_words(view), _besides(view))))


def _besides(view: PlantView) -> str:
    """What the heading leaves out: jobs without a known last time where others are late, and jobs without a slot."""
    unknown = unknown_words(view)
    said = "" if unknown in jobs_sentence(view) else unknown
    plan = view.plan or view.proposed
    unplaced = plan.unplaced if plan else 0
    return (
        _("{said} {counted} no slot.", said=said, counted=count_words(unplaced, "job has", "jobs have")).strip()
        if unplaced
        else said
    )


def _read_words(view: PlantView) -> str:
    offset = view.frame.utc_offset_minutes
    read = [p.hours.as_of for p in view.pumps if p.hours is not None and p.hours.as_of is not None]
    if not read:
        return _("No counter has posted yet: due dates rest on the calendar and on opening hours.")
    newest = max(read)
    same_day = ship(newest, offset).date() == ship(view.now_at, offset).date()
    said = _("Hours read at {clock}.", clock=clock(newest, offset) if same_day else moment(newest, offset))
    silent = [p for p in view.pumps if p.silent_since_at is not None]
    unread = [p.position for p in view.pumps if p.hours is None or p.hours.as_of is None]
    if silent:
        each = listed(
            [
                _("{position} since {moment}", position=p.position, moment=moment(p.silent_since_at, offset))
                for p in silent
                if p.silent_since_at
            ]
        )
        said += _(" Silent: {each}; those hours are estimated.", each=each)
    if unread:
        said += _(" Nothing read yet from {names}.", names=listed(unread))
    if not silent and not unread:
        counters = inner(count_words(len(view.pumps), "counter is posting", "counters are posting"))
        said += _(" All {counters}.", counters=counters) if len(view.pumps) > 1 else _(" The counter is posting.")
    return said


def action(view: PlantView) -> tuple[str, str] | None:
    """Label and address of the one main action, or none while all is well."""
    order = sorted(view.jobs, key=lambda j: job_rank(j.due))
    out = next((p for p in view.pumps if p.down_at(view.now_at) and p.repair_href), None)
    if out is not None:
        return _("Open {position} repair", position=out.position), out.repair_href
    if order and order[0].due.state in (JobState.PAST_LIMIT, JobState.PAST_DUE, JobState.NOT_KNOWN):
        return begin_words(order[0], view), order[0].href
    today = next((job for job in order if begins_today(job, view)), None)
    if today is not None:
        return begin_words(today, view), today.href
    if view.proposed:
        return _("See the new plan") if view.plan else _("See the proposed plan"), f"{view.plan_href}#newer"
    if all(p.hours is None for p in view.pumps) and view.hours_href:
        return _("Enter running hours"), view.hours_href
    if below_words(view.margins) and view.figures_href:
        return _("See the figures"), view.figures_href
    if order and order[0].due.state is JobState.WINDOW_OPEN:
        return begin_words(order[0], view), order[0].href
    return None


def least_words(view: PlantView) -> tuple[str, str]:
    """The least margin as a number and the words after it (when, which pump open); empty without stretches."""
    return least_said(view.margins, view.frame.utc_offset_minutes)
