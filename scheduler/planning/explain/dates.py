"""What a plan did with dates that were given before, and which of its dates rest on a pump's return: facts, without a solver."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from scheduler.planning.problem.facts import Because
from scheduler.planning.problem.values import Derated, Plan, PlanJob, Problem, Slot
from scheduler.planning.search.blockers import companions, placement_of
from scheduler.planning.search.board import Board
from scheduler.planning.search.ground import Ground, candidate_at, fact_against, survey


class FactKind(StrEnum):
    """Kinds of facts."""

    FROZEN_MOVED = "frozen date moved"
    KEPT_EARLY = "date kept before its window"
    RESTS_ON_RETURN = "dates rest on a return"
    ONE_NEEDED_OF_TWO = "the other pump alone"
    FITS_NO_STAY = "fits no stay"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFact:
    """One fact. key, pump: what it is about, none where several. from_step, to_step: the date before and now (none: no place), or
    until when a pump is taken to be out. because: what forbids a frozen date. hours: before the window. keys: dates that
    rest on a return; assumed: nobody told that return. Of a job that fits no stay: hours it takes at a stretch, and to_step where
    the next lay-over begins, none where none is known."""

    code: FactKind
    key: str | None = None
    pump: str | None = None
    from_step: int | None = None
    to_step: int | None = None
    because: Because | None = None
    hours: int = 0
    keys: tuple[str, ...] = ()
    assumed: bool = False


def plan_facts(problem: Problem, plan: Plan) -> tuple[PlanFact, ...]:
    """The facts of a plan, in a fixed order."""
    slots = {slot.key: slot for slot in plan.slots}
    ground = cache(lambda: survey(problem))  # most plans have no fact that asks for it
    found = list(_two_pumps(problem))
    jobs = sorted(problem.jobs, key=lambda one: one.key)
    found += [fact for job in jobs for fact in _dates(ground, job, plan, slots)]
    found += [fact for job in jobs if job.key not in slots and job.needs for fact in _stays(ground(), job)]
    if any(stretch.back for pump in problem.pumps for stretch in pump.derated):
        found += _returns(ground(), plan)
    return tuple(found)


def _dates(ground: Callable[[], Ground], job: PlanJob, plan: Plan, slots: Mapping[str, Slot]) -> Iterator[PlanFact]:
    slot = slots.get(job.key)
    kept = job.kept_start
    if job.fixed_start is None and kept is not None and (slot is None or slot.start != kept):
        yield PlanFact(
            code=FactKind.FROZEN_MOVED,
            key=job.key,
            pump=job.pump,
            from_step=kept,
            to_step=None if slot is None else slot.start,
            because=_because(ground(), job, kept, plan),
        )
    own = (job.kept_start, job.published_start)
    if slot is not None and job.fixed_start is None and slot.start in own and slot.start < job.earliest:
        yield PlanFact(code=FactKind.KEPT_EARLY, key=job.key, pump=job.pump, hours=job.earliest - slot.start)


def _because(ground: Ground, job: PlanJob, step: int, plan: Plan) -> Because | None:
    """What forbids the job at its frozen date, the others being where the plan has them; none when only a better plan does."""
    candidate = candidate_at(ground, job, step)
    if candidate is None or fact_against(ground, job, candidate) is not None:
        return Because.FACT
    out = {job.key} | companions(plan, job.key)
    board = Board(ground, {key: at for key, at in placement_of(ground, plan).items() if key not in out})
    bar = board.bar(job, candidate)
    return None if bar is None else bar.because


def _returns(ground: Ground, plan: Plan) -> Iterator[PlanFact]:
    """For each pump whose return is told or assumed: the dates that would break the minimum if it stayed out."""
    out: dict[tuple[str, int], set[str]] = {}
    for slot in plan.slots:
        if slot.pump is not None:
            for step in range(max(0, slot.start), min(ground.steps, slot.end)):
                out.setdefault((slot.pump, step), set()).add(slot.key)
    gone: dict[int, set[str]] = {}
    for name, step in out:
        gone.setdefault(step, set()).add(name)
    for capacity in sorted(ground.problem.pumps, key=lambda one: one.pump):
        for stretch in capacity.derated:
            if stretch.back:
                keys = _resting(ground, plan, gone, capacity.pump, stretch)
                yield PlanFact(
                    code=FactKind.RESTS_ON_RETURN,
                    pump=capacity.pump,
                    to_step=stretch.to_step,
                    keys=keys,
                    assumed=stretch.back == "assumed",
                )


def _resting(ground: Ground, plan: Plan, gone: Mapping[int, set[str]], pump: str, stretch: Derated) -> tuple[str, ...]:
    found = []
    row = ground.capacity[pump]
    for slot in plan.slots:
        if slot.pump is None or slot.pump == pump or slot.end <= stretch.to_step:
            continue
        for step in range(max(stretch.to_step, slot.start), min(ground.steps, slot.end)):
            taken = sum(ground.capacity[p][step] for p in gone.get(step, ()) if p in ground.capacity)
            lost = 0 if pump in gone.get(step, ()) else row[step]
            if ground.slack[step] - taken - lost < 0:
                found.append(slot.key)
                break
    return tuple(sorted(found))


def _stays(ground: Ground, job: PlanJob) -> Iterator[PlanFact]:
    """A job without a place that no stay of what it needs is long enough for; and the next lay-over, where nothing must hold."""
    for need in job.needs:
        lengths = [o.to_step - o.from_step for o in ground.problem.occasions if o.need == need]
        takes = max(1, job.work_steps)
        if lengths and max(lengths) < takes:
            over = (
                m.from_step
                for m in sorted(ground.problem.minimum)
                if m.litres_per_h <= 0 and m.to_step - m.from_step >= takes
            )
            yield PlanFact(
                code=FactKind.FITS_NO_STAY, key=job.key, pump=job.pump, hours=takes, to_step=next(over, None)
            )


def _two_pumps(problem: Problem) -> Iterator[PlanFact]:
    """A ship of two pumps that needs one: said once, instead of at every line."""
    if len(problem.pumps) != 2:
        return
    need = max((one.litres_per_h for one in problem.minimum), default=0)
    least = min(pump.litres_per_h for pump in problem.pumps)
    if 0 < need <= least:
        yield PlanFact(code=FactKind.ONE_NEEDED_OF_TWO)
