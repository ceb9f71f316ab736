"""The plans of many plants at once, on several worker processes. One that fails stops no other."""

import logging
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from enum import StrEnum

from scheduler.actions.base.context import Context
from scheduler.actions.plan.framing import answer_stored
from scheduler.actions.plan.planning import bring_up
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.errors import Busy, SchedulerError
from scheduler.planning.explain.figures import PlanFigures, plan_figures
from scheduler.planning.problem.values import Plan, Problem
from scheduler.storage.shore.home import name_of_mirror

log = logging.getLogger("leadline")

Pair = tuple[str, str]
"""Vessel and plant."""


class Came(StrEnum):
    """What came of a plant."""

    UNCHANGED = "unchanged"
    PLANNED = "planned"
    TO_PLAN = "to be planned"
    ABOARD = "left out, written aboard"
    """The plant of a ship that writes aboard: she plans there."""
    TROUBLE = "trouble"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantPlan:
    """A plant and its newest plan in figures; none of them while it has no plan. A fleet's plans are too large to keep.

    error: what went wrong, with came TROUBLE only.
    """

    vessel_id: str
    plant_id: str
    came: Came
    digest: str | None = None
    least_margin_litres_per_h: int | None = None
    by: str = ""
    proven: bool = False
    figures: PlanFigures | None = None
    error: Exception | None = None

    @property
    def trouble(self) -> str:
        """What went wrong in words, empty when nothing did."""
        if self.error is None:
            return ""
        return (
            self.error.says if isinstance(self.error, SchedulerError) else f"{type(self.error).__name__}: {self.error}"
        )

    @property
    def good(self) -> bool:
        """False when its plan leaves the plant below its minimum, or a job without a place or past its limit."""
        return self.figures is None or self.figures.good


def plan_many(
    context: Context, plants: Iterable[Pair], processes: int, tell: Callable[[PlantPlan], None] = lambda _: None
) -> None:
    """Plans each plant whose problem changed since its newest plan, several at once; each is stored when it is made.

    Args:
        processes: worker processes, at least 1. tell: told what came of each plant as it comes, in the caller's thread.

    Raises:
        KeyboardInterrupt: somebody stopped it. The context is stopping then, and what was stored stays.
    """
    pairs: Sequence[Pair] = list(dict.fromkeys(plants))
    many = max(1, min(processes, len(pairs)))
    with context.workers(many) as workers, ThreadPoolExecutor(many) as pool:
        turns = [pool.submit(_planned, context, *pair, workers.plan) for pair in pairs]
        try:
            for turn in as_completed(turns):
                tell(turn.result())
        except BaseException as error:
            for turn in turns:
                turn.cancel()
            if isinstance(error, KeyboardInterrupt):
                context.stopping.set()  # those under way give up
            raise


def stored_plant_plan(context: Context, vessel_id: str, plant_id: str) -> PlantPlan:
    """Whether the plant would be planned, and how its newest plan leaves it. Plans nothing."""
    try:
        if _is_planned_aboard(context, vessel_id):
            return PlantPlan(vessel_id=vessel_id, plant_id=plant_id, came=Came.ABOARD)
        now = plant_state(context, vessel_id, plant_id)
        held = answer_stored(now, context)
    except Exception as error:
        return _trouble(vessel_id, plant_id, error)
    newest = held or now.proposed or now.taken
    return _told(vessel_id, plant_id, Came.TO_PLAN if held is None else Came.UNCHANGED, newest)


def _planned(context: Context, vessel_id: str, plant_id: str, solve: Callable[[Problem], Plan]) -> PlantPlan:
    try:
        if context.stopping.is_set():
            raise Busy("The program is stopping; the plan is made when it runs again.", more={"retry_after": 60})
        if _is_planned_aboard(context, vessel_id):
            return PlantPlan(vessel_id=vessel_id, plant_id=plant_id, came=Came.ABOARD)
        held, unchanged = bring_up(context, vessel_id, plant_id, solve)
    except Exception as error:
        return _trouble(vessel_id, plant_id, error)
    return _told(vessel_id, plant_id, Came.UNCHANGED if unchanged else Came.PLANNED, held)


def _is_planned_aboard(context: Context, vessel_id: str) -> bool:
    with context.db.read() as session:
        return name_of_mirror(session, vessel_id) is not None


def _trouble(vessel_id: str, plant_id: str, error: Exception) -> PlantPlan:
    if not isinstance(error, SchedulerError):
        log.error("plan of %s", plant_id, exc_info=error)
    return PlantPlan(vessel_id=vessel_id, plant_id=plant_id, came=Came.TROUBLE, error=error)


def _told(vessel_id: str, plant_id: str, came: Came, held: StoredPlan | None) -> PlantPlan:
    if held is None:
        return PlantPlan(vessel_id=vessel_id, plant_id=plant_id, came=came)
    return PlantPlan(
        vessel_id=vessel_id,
        plant_id=plant_id,
        came=came,
        digest=held.digest,
        least_margin_litres_per_h=held.least_margin_litres_per_h,
        by=held.plan.by,
        proven=held.plan.proven,
        figures=plan_figures(held.problem, held.plan),
    )
