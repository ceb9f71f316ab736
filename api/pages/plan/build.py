"""From a situation to the view of the plan page. Asks the planner's pure parts why; nothing is solved here."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from urllib.parse import quote, urlencode

from api.pages.drawing.windows import WindowLine, WindowMark
from api.pages.plan import plan_line
from api.pages.plan.view import BlockerLine, LateLine, PlanView, SlotLine
from api.pages.plan.wording import whys
from api.pages.shared import frame, job_line, margin
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch, margin_stretches
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.plan import planning
from scheduler.actions.plan.explaining import set_by_hand, words_of
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.domain.vessel.naming import short_kind
from scheduler.language import gettext as _
from scheduler.planning.explain.dates import FactKind
from scheduler.planning.explain.reasons import IN_TABLE, Explained, explain_each
from scheduler.planning.judge.cover import cover_of
from scheduler.planning.move.taken import BY_HAND
from scheduler.planning.problem.codec import plan_from_text, problem_from_text
from scheduler.planning.problem.facts import merged
from scheduler.wording.due import meets_at
from scheduler.wording.names import job_words
from scheduler.wording.plan import bar_words, shortfall_words
from scheduler.wording.reasons import cover_words, reason_words

_AGAIN = "/plants/{plant_id}/plan/again"
_TAKE = "/plants/{plant_id}/plan"
MOVES = "/plants/{plant_id}/plan/moves"


def plan_view(now: PlantState, context: Context, who: Asking, here: str, *, days: int) -> PlanView:
    """The plan page's view over the next `days` days."""
    problem, plan = planning.as_now(now, context)
    grid_ends_at = problem.starts_at + timedelta(hours=problem.steps)
    ends_at = min(now.at + timedelta(days=days), grid_ends_at)
    margins = tuple(_until(margin_stretches(problem, plan.slots, margin.positions_of(now), ends_at), ends_at))
    stored, newer = now.taken or now.proposed, plan_line.newer_plan(now)
    view = PlanView(
        frame=frame.frame_of(now, who, here, _("Plan"), "plan"),
        plant=now.plant.name,
        plant_href=f"/plants/{now.plant.id}",
        here=here,
        now_at=now.at,
        ends_at=ends_at,
        days=days,
        read_at=max((c.newest_at for c in now.counters if c.primary and c.newest_at is not None), default=None),
        silent=tuple(now.position_name(c.position) for c in now.counters if c.primary and c.silent),
        margins=margins,
        jobs=sum(job.renewed_by is None for job in now.jobs),
        again_action=f"{here}/again" if frame.may(who, "POST", _AGAIN) else "",
        frozen_days=context.settings.frozen_days,
        lines=_lines(now, ()),
    )
    if stored is None:
        return view
    held_words, names = words_of(now, stored.problem), _job_names(now)
    told = _explained(now, stored)
    lines = {job.job_id.key: _with_margin(job_line.job_line(now, job, {}), margins) for job in now.jobs}
    pinned = {job.key for job in problem_of(now, context).jobs if job.fixed_start is not None}
    slots = _slots(now, stored, lines, told, pinned)
    if now.taken is not None and frame.may(who, "POST", MOVES):
        slots = tuple(
            replace(slot, move_href=move_href(slot.key, days)) if _start(slot) > now.at else slot for slot in slots
        )
    shown = tuple(slot for slot in slots if _start(slot) < ends_at)
    in_plan = {slot.key for slot in stored.plan.slots} | {short.key for short in stored.plan.shortfalls}
    troubles = tuple(_troubles(now, stored, told, lines, names))
    if now.taken is not None and frame.may(who, "POST", MOVES):
        troubles = tuple(replace(one, move_href=move_href(one.key, days)) for one in troubles)
    late = {trouble.key for trouble in troubles}
    cover = cover_of(problem, plan)
    return replace(
        view,
        plan=plan_line.plan_line(now, stored, taken=stored.taken_at is not None, take=""),
        newer=plan_line.plan_line(now, newer, taken=False, take=here if frame.may(who, "POST", _TAKE) else ""),
        slots=shown,
        later=len(slots) - len(shown),
        lines=_lines(now, (*shown, *(trouble for trouble in troubles if trouble.days is None))),
        troubles=troubles,
        alone=tuple(
            says for fact, says in planning.dates_given(now, stored) if fact.code is FactKind.ONE_NEEDED_OF_TWO
        ),
        facts=tuple(shortfall_words(short, held_words) for short in stored.plan.shortfalls if short.key is None),
        without=tuple(sorted(names[job.key] for job in problem.jobs if job.key in names and job.key not in in_plan)),
        by_hand=stored.plan.by == BY_HAND,
        whys=whys(
            [_by_hand(now, told[slot.key]) for slot in shown if slot.key in told and slot.key not in late], held_words
        ),
        cover=cover,
        cover_words=cover_words(cover, words_of(now, problem))[1:],
        cautions=tuple(dict.fromkeys(caution_line(slot.job.kind) for slot in shown)),
    )


def move_href(key: str, days: int) -> str:
    """Where a slot is moved by hand, seen from the plan page."""
    return f"?{urlencode({'days': days, 'job': key}, safe=':')}#move"


def _job_names(now: PlantState) -> dict[str, str]:
    return {job.job_id.key: job_words(now.plant, now.at, job.job_id.key) for job in now.jobs}


def _until(margins: Sequence[MarginStretch], ends_at: datetime) -> list[MarginStretch]:
    return [replace(run, to_at=min(run.to_at, ends_at)) for run in margins if run.from_at < ends_at]


def _with_margin(line: JobLine, margins: Sequence[MarginStretch]) -> JobLine:
    """The job with the least margin in its slot as the plant stands now; none where no pump is out."""
    first, last = line.slot_from_at, line.slot_to_at
    if first is None or last is None or not line.kind.takes_pump_out:
        return line
    inside = [run.margin_m3_per_h for run in margins if run.from_at < last and run.to_at > first]
    return replace(line, margin_m3_per_h=min(inside, default=None))


def _explained(now: PlantState, stored: StoredPlan) -> dict[str, Explained]:
    """Of each open job of the plan, by key: those with a slot in time order, then those without a place."""
    open_keys = {job.job_id.key for job in now.jobs}
    known = {job.key for job in stored.problem.jobs} & open_keys
    times = stored.times()
    placed = sorted((times[key][0], key) for key in known & times.keys())
    without = sorted(short.key for short in stored.plan.shortfalls if short.key in known and short.key is not None)
    keys = [*(key for _, key in placed), *without]
    return {one.key: one for one in _explained_once(stored.problem_text, stored.plan_text, tuple(keys))}


@lru_cache(maxsize=32)
def _explained_once(problem_text: str, plan_text: str, keys: tuple[str, ...]) -> tuple[Explained, ...]:
    """A stored plan's reasons never change; to find them takes most of the page's time."""
    return explain_each(problem_from_text(problem_text), plan_from_text(plan_text), keys)


def _by_hand(now: PlantState, told: Explained) -> Explained:
    """The reasons of a slot that somebody set: that, and nothing else."""
    reason = set_by_hand(now, told.key)
    return told if reason is None else replace(told, reasons=(reason,))


def _slots(
    now: PlantState,
    stored: StoredPlan,
    lines: Mapping[str, JobLine],
    told: Mapping[str, Explained],
    pinned: set[str],
) -> tuple[SlotLine, ...]:
    """The slots that are not over, by time."""
    names, shared, spread = _job_names(now), dict(stored.shared()), dict(stored.plan.unsettled)
    with_key = {**{first: second for second, first in shared.items()}, **shared}
    found = []
    for key, (_start_at, end_at) in stored.times().items():
        if key not in lines or end_at <= now.at:
            continue
        late = told[key].days_late if key in told else None
        found.append(
            SlotLine(
                key=key,
                job=lines[key],
                with_name=names.get(with_key.get(key, ""), ""),
                plus_minus_days=spread.get(key, 0),
                late_days=late or 0,
                fixed=key in pinned,
                by_hand=key in now.pins,
            )
        )
    return tuple(sorted(found, key=lambda slot: (_start(slot), slot.key)))


def _start(slot: SlotLine) -> datetime:
    assert slot.job.slot_from_at is not None
    return slot.job.slot_from_at


def _troubles(
    now: PlantState,
    stored: StoredPlan,
    told: Mapping[str, Explained],
    lines: Mapping[str, JobLine],
    names: Mapping[str, str],
) -> list[LateLine]:
    """Jobs that are late or have no place; those that somebody had set say so first."""
    said = words_of(now, stored.problem)
    pinned = {short.key: shortfall_words(short, said) for short in stored.plan.shortfalls if short.key in now.pins}
    return [
        LateLine(
            key=key,
            job=lines[key],
            name=names[key],
            days=one.days_late,
            reasons=(
                *([pinned[key]] if key in pinned and one.days_late is None else []),
                *(reason_words(reason, said) for reason in one.reasons if reason.code not in IN_TABLE),
            ),
            bars=_bars(now, stored, one, lines[key]),
        )
        for key, one in told.items()
        if one.days_late is None or one.days_late
    ]


def _bars(now: PlantState, stored: StoredPlan, told: Explained, line: JobLine) -> tuple[BlockerLine, ...]:
    """What forbids starts, each thing once; of a job with a slot those before it, where one would be less late."""

    def at(step: int) -> datetime:
        return stored.problem.starts_at + timedelta(hours=step)

    said, until = words_of(now, stored.problem), line.slot_from_at
    return tuple(
        BlockerLine(
            from_at=at(one.from_step),
            to_at=at(max(one.from_step, one.to_step - 1)),
            starts=one.starts,
            reason=bar_words(one.bar, said),
            lacking_m3_per_h=one.lacking_litres_per_h / 1000,
        )
        for one in merged(bar for bar in told.forbidden if until is None or at(bar.from_step) < until)
    )


def _lines(now: PlantState, jobs: Sequence[SlotLine | LateLine]) -> tuple[WindowLine, ...]:
    """A line for each position, and one for the plant when something is planned that belongs to no position."""
    marks: dict[str, list[WindowMark]] = {}
    for one in jobs:
        marks.setdefault(one.job.due.position or "", []).append(_mark(one))
    lines = [
        WindowLine(name=p.name, marks=tuple(marks.get(p.name, ())), says=_("no job planned in these days"))
        for p in now.plant.positions
    ]
    other = [
        mark for name, found in marks.items() if name not in {p.name for p in now.plant.positions} for mark in found
    ]
    return (*lines, WindowLine(name="Plant", marks=tuple(other))) if other else tuple(lines)


def _mark(one: SlotLine | LateLine) -> WindowMark:
    due = one.job.due
    return WindowMark(
        label=short_kind(due.kind_name, 14).lower(),
        opens_at=due.window_opens_at,
        due_at=meets_at(due),
        limit_at=max(due.limit_at or due.due_at, due.window_opens_at),
        from_at=one.job.slot_from_at if isinstance(one, SlotLine) else None,
        to_at=one.job.slot_to_at if isinstance(one, SlotLine) else None,
        late=isinstance(one, SlotLine) and one.late_days > 0,
        by_hand=isinstance(one, SlotLine) and one.by_hand,
    )


def here_of(plant_id: str) -> str:
    """Path of a plant's plan page."""
    return f"/plants/{quote(plant_id)}/plan"
