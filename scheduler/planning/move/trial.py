"""A slot moved by hand: the plan with it there, what stands against it, and the nearest starts that hold. No solver."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from scheduler.planning.judge.check import Fault, judge
from scheduler.planning.judge.cover import cover_of
from scheduler.planning.move.objections import MoveCode, MoveFact, Placement, move_cautions, move_objections
from scheduler.planning.move.taken import BY_HAND, as_it_stands, placed, without_place
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import Plan, PlanJob, Problem, Shortfall, Slot
from scheduler.planning.search.assemble import slots_of
from scheduler.planning.search.board import Board
from scheduler.planning.search.ground import Ground, Start, candidate_at, fact_against, hands_needed, survey
from scheduler.planning.search.tiers import chain_limit, set_up_saved

MOST_TIMES = 5
TIMES_A_DAY = 2
FEW_TIMES = 3
ODD_HOURS_WITHIN = 7 * 24
"""Where fewer than FEW_TIMES of the allowed start hours hold, any hour with hands at work within so many steps is offered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """A start that holds, and where the work ends. least_margin_litres_per_h: none for a job that takes no pump out."""

    start: int
    end: int
    least_margin_litres_per_h: int | None
    as_planned: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A slot tried at another start.

    problem, plan: with the slot there (where it was, when it cannot be finished there or the time is past); the judge finds no
    fault in them that the moved jobs have a part in when `holds`. with_keys: the other job on its isolation, which moves
    along. start, end: steps of the whole outage. against: the weightiest first, empty when it holds. cautions:
    what to mind all the same. nearest: up to MOST_TIMES starts that hold, by time; the planned one among them when it does.
    """

    problem: Problem
    plan: Plan
    key: str
    with_keys: tuple[str, ...]
    start: int
    end: int
    holds: bool
    against: tuple[MoveFact, ...]
    cautions: tuple[MoveFact, ...]
    least_margin_litres_per_h: int | None
    nearest: tuple[Nearest, ...]


def try_start(
    problem: Problem, plan: Plan, key: str, start: int, *, begun: bool = False, going_back: bool = False
) -> Trial:
    """The plan with the job `key` started at step `start`, and whether it holds.

    What forbids is everything the judge forbids of a slot, and three things more: work that has begun, a time that is past,
    and a start that makes the job later past its limit than it is planned. A start need be no allowed one, but needs hands
    at work; before the window is a caution only. Two jobs on one isolation move together; `start` is the first one's.

    Args:
        problem: as it stands now, the moved jobs in it without a pin. plan: the slots of the plan aboard, and its shortfalls,
            on its grid. begun: work on the job is on record.
        going_back: it goes back to where it was planned before, past its limit or not.

    Raises:
        KeyError: the problem has no such job.
    """
    table = _Trials.of(problem, plan, key, going_back)
    planned = table.planned_start
    found = table.candidates(start)
    first = []
    if begun:
        first.append(MoveFact(code=MoveCode.BEGUN))
        found = {}
    elif planned is not None and planned < 0:
        first.append(MoveFact(code=MoveCode.SLOT_BEGAN, step=planned))
        found, begun = {}, True
    elif start < 0:
        first.append(MoveFact(code=MoveCode.PAST, step=start))
    elif not found:
        first.append(MoveFact(code=MoveCode.UNFINISHED, step=table.ground.steps - 1))
    rules = move_objections(table.ground, table.others, found, table.faults(found) if found else ())
    against = (*first, *rules, *table.later_than_planned(found))
    final, made = table.made(found or table.where_planned())
    margin = table.least_margin(made.slots)
    return Trial(
        problem=final,
        plan=made,
        key=key,
        with_keys=tuple(one for one in table.moving if one != key),
        start=start,
        end=max((c.end for c in found.values()), default=start + table.length),
        holds=not against,
        against=against,
        cautions=tuple(table.cautions(final, made, found)) if not against else (),
        least_margin_litres_per_h=margin if found else None,
        nearest=() if begun else table.nearest(start),
    )


def taken_out(problem: Problem, plan: Plan, key: str) -> tuple[Problem, Plan]:
    """Problem and plan without a slot for the job and what shares its isolation: a shortfall says so.

    Raises:
        KeyError: the problem has no such job.
    """
    return _Trials.of(problem, plan, key, True).made({})


def moves_with(plan: Plan, key: str) -> tuple[str, ...]:
    """The job and the one on the same isolation, in their order; the job alone when it has its own."""
    for slot in plan.slots:
        if slot.isolation_of is not None and key in (slot.key, slot.isolation_of):
            return (slot.isolation_of, slot.key)
    return (key,)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trials:
    """What every start of one job is tried on. problem: the moved jobs may start at any step of it with hands at work."""

    given: Problem
    plan: Plan
    moving: tuple[str, ...]
    ground: Ground
    others: Placement
    before: frozenset[Fault]
    shortfalls: tuple[Shortfall, ...]
    board: Board
    going_back: bool

    @staticmethod
    def of(problem: Problem, plan: Plan, key: str, going_back: bool) -> "_Trials":
        jobs = {job.key: job for job in problem.jobs}
        free = {name for name, job in jobs.items() if job.fixed_start is None}
        moving = tuple(one for one in moves_with(plan, key) if one in free) if key in free else (jobs[key].key,)
        given, isolations = as_it_stands(problem, plan, moving)
        loose = replace(given, jobs=tuple(replace(j, earliest=0) if j.key in moving else j for j in given.jobs))
        ground = survey(loose)
        others = {
            slot.key: there
            for slot in plan.slots
            if slot.key in jobs
            and slot.key not in moving
            and (there := placed(ground, slot, isolations.get(slot.key))) is not None
        }
        others = {k: replace(c, pair=None, second=False) if c.pair not in others else c for k, c in others.items()}
        rest = replace(loose, jobs=tuple(job for job in loose.jobs if job.key not in moving))
        without = without_place(ground, others, plan, moving)
        left = tuple(short for short in without if short.key not in moving)
        return _Trials(
            given=given,
            plan=plan,
            moving=moving,
            ground=ground,
            others=others,
            before=frozenset(judge(rest, _bare(slots_of(ground, others), left)).faults),
            shortfalls=without,
            board=Board(ground, others),
            going_back=going_back,
        )

    @property
    def planned_start(self) -> int | None:
        """Where the first of the moved jobs is planned, none without a slot."""
        return next((slot.start for slot in self.plan.slots if slot.key == self.moving[0]), None)

    @property
    def length(self) -> int:
        """Steps that the outage takes as planned; the work alone without a slot."""
        own = [slot for slot in self.plan.slots if slot.key in self.moving]
        if own:
            return max(slot.end for slot in own) - min(slot.start for slot in own)
        return sum(self.ground.by_key[one].work_steps for one in self.moving)

    def where_planned(self) -> Placement:
        """The moved jobs where they are planned now, as far as they can be finished there."""
        if self.planned_start is None:
            return {}
        return self.candidates(self.planned_start, begun=True)

    def candidates(self, start: int, *, begun: bool = False) -> dict[str, Start]:
        """The moved jobs from that start on; empty when it is past or they cannot be finished on the grid."""
        if start < 0 and not begun:
            return {}
        first = self.ground.by_key[self.moving[0]]
        one = candidate_at(self.ground, first, start)
        if one is None or len(self.moving) == 1:
            return {} if one is None else {first.key: one}
        second = self.ground.by_key[self.moving[1]]
        other = candidate_at(self.ground, second, one.end, set_up_saved(first, second))
        if other is None:
            return {}
        return {
            first.key: replace(one, pair=second.key),
            second.key: replace(other, pair=first.key, second=True),
        }

    def faults(self, found: Placement) -> tuple[Fault, ...]:
        """What the judge faults with the moved jobs there and not without them."""
        starts = [c.start for c in found.values()]
        problem = replace(self.ground.problem, start_steps=(*self.ground.problem.start_steps, *starts))
        left = tuple(short for short in self.shortfalls if short.key not in found)
        verdict = judge(problem, _bare(slots_of(self.ground, {**self.others, **found}), left))
        return tuple(fault for fault in verdict.faults if fault not in self.before)

    def later_than_planned(self, found: Placement) -> list[MoveFact]:
        """Each moved job that would be later past its limit than it is planned."""
        planned = {} if self.going_back else {slot.key: slot.end for slot in self.plan.slots}
        later = []
        for key, candidate in found.items():
            limit = self._limit(self.ground.by_key[key])
            if key in planned and candidate.end > max(limit, planned[key]):
                hours = candidate.end - limit
                later.append(MoveFact(code=MoveCode.LATER, key=self._who(key), hours=hours, step=limit))
        return later

    def _limit(self, job: PlanJob) -> int:
        before = self.others.get(self.ground.previous.get(job.key, ""))
        chained = None if before is None else chain_limit(job, before.end)
        return job.limit if chained is None else min(job.limit, chained)

    def _who(self, key: str) -> str | None:
        return None if len(self.moving) == 1 else key

    def made(self, found: Placement) -> tuple[Problem, Plan]:
        """Problem and plan with the moved jobs there, as they are kept."""
        jobs = []
        for job in self.given.jobs:
            placed = found.get(job.key)
            if placed is not None and job.key in self.moving and job.fixed_start is None:
                job = replace(job, earliest=min(job.earliest, placed.start))
            jobs.append(job)
        odd = {c.start for key, c in found.items() if key == self.moving[0] and c.start >= 0}
        problem = replace(self.given, jobs=tuple(jobs), start_steps=tuple(sorted({*self.given.start_steps, *odd})))
        left = tuple(short for short in self.shortfalls if short.key not in found)
        known = {job.key for job in jobs}
        return problem, Plan(
            problem_digest=problem_digest(problem),
            slots=slots_of(self.ground, {**self.others, **found}),
            shortfalls=left,
            by=BY_HAND,
            moved_by=tuple((k, n) for k, n in self.plan.moved_by if k in known),
            unsettled=tuple((k, n) for k, n in self.plan.unsettled if k in known),
        )

    def least_margin(self, slots: Sequence[Slot]) -> int | None:
        """The least margin in the moved slots that take a pump out."""
        own = [s.least_margin_litres_per_h for s in slots if s.key in self.moving and s.pump is not None]
        return min(own, default=None)

    def cautions(self, problem: Problem, plan: Plan, found: Placement) -> Iterator[MoveFact]:
        """What to mind though it holds."""
        windows = {job.key: job.earliest for job in self.given.jobs}
        planned = {slot.key: slot.end for slot in self.plan.slots}
        for key, candidate in found.items():
            yield from move_cautions(self._who(key), candidate, windows[key], self._limit(self.ground.by_key[key]))
            for after in self.ground.following.get(key, ()):
                by = candidate.end - planned.get(key, candidate.end)
                if self.ground.by_key[after].interval_steps is not None and abs(by) >= 24:
                    yield MoveFact(code=MoveCode.NEXT_TURN, others=(after,), hours=by)
        spans = [(c.start, c.end) for k, c in found.items() if self.ground.by_key[k].pump is not None]
        bare = [
            hour
            for first, last in cover_of(problem, plan).uncovered_by_plan
            for hour in range(first, last)
            if any(a <= hour < b for a, b in spans)
        ]
        if bare:
            yield MoveFact(code=MoveCode.NO_COVER, hours=len(bare), step=bare[0])

    def nearest(self, asked: int) -> tuple[Nearest, ...]:
        """Up to MOST_TIMES starts that hold, nearest to the asked one, the planned one among them, by time."""
        found: list[Nearest] = []
        planned = self.planned_start
        if planned is not None:
            found += self._offered(planned, as_planned=True)
        by_day = {self.ground.day_of(one.start): 1 for one in found}
        windows = [job.earliest for job in self.given.jobs if job.key == self.moving[0]]
        floor = max(0, min(asked, *windows, *([] if planned is None else [planned])))
        allowed = set(self.ground.start_steps)
        any_hour = range(max(floor, asked - ODD_HOURS_WITHIN), min(self.ground.steps, asked + ODD_HOURS_WITHIN))
        for number, starts in enumerate((allowed, any_hour)):
            if number and len(found) >= FEW_TIMES:
                break
            tried = {one.start for one in found} | {asked} | ({planned} if planned is not None else set())
            for start in sorted(
                (s for s in starts if s >= floor and s not in tried), key=lambda s: (abs(s - asked), s)
            ):
                day = self.ground.day_of(start)
                if len(found) == MOST_TIMES:
                    break
                if by_day.get(day, 0) >= TIMES_A_DAY or not self._may_hold(start):
                    continue
                offered = self._offered(start)
                by_day[day] = by_day.get(day, 0) + len(offered)
                found += offered
        return tuple(sorted(found, key=lambda one: one.start))

    def _may_hold(self, start: int) -> bool:
        """The quick look: what the board allows. The judge is asked only then."""
        found = self.candidates(start)
        first = self.ground.by_key[self.moving[0]]
        if not found or self.ground.hands[start] < hands_needed(first)[0] or self.later_than_planned(found):
            return False
        return all(
            fact_against(self.ground, self.ground.by_key[key], candidate) is None
            and self.board.bar(self.ground.by_key[key], candidate) is None
            for key, candidate in found.items()
        )

    def _offered(self, start: int, *, as_planned: bool = False) -> list[Nearest]:
        found = self.candidates(start)
        if not found or self.later_than_planned(found) or self.faults(found):
            return []
        margin = self.least_margin(slots_of(self.ground, {**self.others, **found}))
        end = max(c.end for c in found.values())
        return [Nearest(start=start, end=end, least_margin_litres_per_h=margin, as_planned=as_planned)]


def _bare(slots: tuple[Slot, ...], shortfalls: tuple[Shortfall, ...]) -> Plan:
    return Plan(problem_digest="", slots=slots, shortfalls=shortfalls)
