"""The plans of a fleet on worker processes: what changed is planned, one that fails stops no other, what is stored stays."""

import sys
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from unittest.mock import patch

import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import ask_plan, plans_asked
from scheduler.actions.care import rounds
from scheduler.actions.plan import fleet as plan_fleet
from scheduler.actions.plan.fleet import Came, PlantPlan, plan_many, stored_plant_plan
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plan.planning import bring_up
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.errors import SchedulerError
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import Plan, Problem, Remark, RemarkCode
from scheduler.planning.search.stagger import stagger
from scheduler.settings import Settings
from scheduler.shiptime import instant_of, ship_time
from scheduler.solving import Worker
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import store
from tests.unit.test_solving import ONCE_IN_TWO

DAY = timedelta(days=1)
PAIRS = [(ship.vessel, f"{ship.key}-plant") for ship in (PLOVER, AVOCET)]


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Context]:
    """Two ships, nothing posted, a few days to plan."""
    with store("sqlite", tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=12))
        for ship in (PLOVER, AVOCET):
            document = vessel_document(Run(ship, 1, context.now(), 0.15))
            changes.put_vessel(
                context, Actor("test", "test", Role.ADMIN), VESSEL.validate_python(document), if_new=True
            )
        yield context


def _fleet(context: Context, processes: int = 2) -> dict[str, PlantPlan]:
    came: list[PlantPlan] = []
    plan_many(context, PAIRS, processes, came.append)
    return {one.plant_id: one for one in came}


def _proposed(context: Context) -> dict[str, StoredPlan | None]:
    return {plant: plant_state(context, vessel, plant).proposed for vessel, plant in PAIRS}


@pytest.mark.long
def test_what_changed_is_planned_and_nothing_else(context: Context) -> None:
    """First every plant, then none, as long as no proposed slot lies in the past; the look before says so and plans nothing."""
    assert {stored_plant_plan(context, *pair).came for pair in PAIRS} == {Came.TO_PLAN}
    assert set(_proposed(context).values()) == {None}
    first = _fleet(context)
    assert {one.came for one in first.values()} == {Came.PLANNED}
    for plant, held in _proposed(context).items():
        assert held is not None
        assert (held.digest, len(held.plan.slots)) == (first[plant].digest, first[plant].figures.slots)
    assert {stored_plant_plan(context, *pair).came for pair in PAIRS} == {Came.UNCHANGED}
    again = _fleet(context)
    assert {one.came for one in again.values()} == {Came.UNCHANGED}
    assert {one.digest for one in again.values()} == {one.digest for one in first.values()}
    assert isinstance(context.clock, TurnedClock)
    first_start = min(start for held in _proposed(context).values() if held for start, _ in held.times().values())
    assert context.clock.at + timedelta(hours=1) < first_start < context.clock.at + DAY
    for at in (context.clock.at + timedelta(hours=1), first_start):
        context.clock.at = at
        assert {stored_plant_plan(context, *pair).came for pair in PAIRS} == {Came.UNCHANGED}
    assert {one.came for one in _fleet(context).values()} == {Came.UNCHANGED}
    context.clock.at = first_start + timedelta(minutes=1)
    assert Came.TO_PLAN in {stored_plant_plan(context, *pair).came for pair in PAIRS}


def _at_midnight(context: Context, pair: tuple[str, str]) -> datetime:
    """The ship's next midnight."""
    now = plant_state(context, *pair)
    return instant_of(ship_time(now.at, now.offset_minutes).replace(hour=0), now.offset_minutes) + DAY


@pytest.mark.parametrize("pair", PAIRS)
def test_a_plan_answers_until_the_ships_midnight(context: Context, pair: tuple[str, str]) -> None:
    """Made when the day's last start has passed, it is held at the day's last minute; on the next day it is made again. The problem
    of the day is the same at 00:30 and at 20:30, also where a job is past due and the next one counts from now."""
    assert isinstance(context.clock, TurnedClock)
    midnight = _at_midnight(context, pair)
    context.clock.at = midnight - timedelta(hours=6)
    made, _ = bring_up(context, *pair, stagger)
    context.clock.at = midnight - timedelta(minutes=1)
    held, unchanged = bring_up(context, *pair, stagger)
    assert (held.digest, unchanged) == (made.digest, True)
    found = []
    for hours in (0.5, 20.5, 24.5):
        context.clock.at = midnight + timedelta(hours=hours)
        found.append(problem_digest(problem_of(plant_state(context, *pair), context, of_day=True)))
    assert found[0] == found[1] != found[2]
    assert stored_plant_plan(context, *pair).came is Came.TO_PLAN


@pytest.mark.long
def test_a_worker_that_dies_costs_its_own_plant_the_best_plan_and_no_other(context: Context, tmp_path: Path) -> None:
    """One worker for both, killed at its second problem: one proven plan, one by the plain rule, both stored; the second is
    made anew when the fleet is planned again."""
    file = tmp_path / "turns"
    file.write_text("")
    code = ONCE_IN_TWO.format(file=str(file), fault="os._exit(5)")
    with patch("scheduler.actions.base.context.Worker", partial(Worker, command=(sys.executable, "-c", code))):
        came = _fleet(context, processes=1)
    assert {one.came for one in came.values()} == {Came.PLANNED}
    assert sorted(one.by for one in came.values()) == ["greedy", "solver"]
    for held in _proposed(context).values():
        assert held is not None
        assert held.lawful
        assert (Remark(code=RemarkCode.ENDED, number=5) in held.plan.remarks) is (held.plan.by == "greedy")
    again = _fleet(context, processes=1)
    assert {one.by for one in again.values()} == {"solver"}
    assert [again[plant].came is Came.PLANNED for plant in came] == [one.by == "greedy" for one in came.values()]


def test_a_plant_that_cannot_be_planned_stops_no_other(context: Context) -> None:
    """Trouble in words for the one, a plan for the other; on the server the request of the first is closed as failed."""
    bring_up = plan_fleet.bring_up

    def faulty(context: Context, vessel_id: str, plant_id: str, solve) -> tuple[StoredPlan, bool]:
        if plant_id == "plover-plant":
            raise RuntimeError("no luck")
        return bring_up(context, vessel_id, plant_id, solve)

    for vessel_id, plant_id in PAIRS:
        with context.db.write(vessel_id) as session:
            ask_plan(session, vessel_id, plant_id, context.now())
            ask_plan(session, vessel_id, plant_id, context.now())
    with context.db.read() as session:
        assert sorted(plans_asked(session)) == sorted(PAIRS)
    with patch("scheduler.actions.plan.fleet.bring_up", faulty):
        came = _fleet(context)
        assert rounds.plan_asked(context) == 1
    assert came["plover-plant"].came is Came.TROUBLE
    assert came["plover-plant"].trouble == "RuntimeError: no luck"
    assert came["avocet-plant"].came is Came.PLANNED
    assert rounds.plan_asked(context) == 0


@pytest.mark.parametrize("lawful", [True, False])
def test_what_is_asked_for_while_a_plan_is_made_is_made_after_it(context: Context, lawful: bool) -> None:
    """Whether that plan is kept or not; once made after it, nothing is asked for any more."""
    vessel_id, plant_id = PAIRS[0]

    def ask() -> None:
        with context.db.write(vessel_id) as session:
            ask_plan(session, vessel_id, plant_id, context.now())

    def asked_meanwhile(problem: Problem) -> Plan:
        ask()
        plan = stagger(problem)
        return plan if lawful else replace(plan, slots=(*plan.slots, *plan.slots[:1]))

    ask()
    with nullcontext() if lawful else pytest.raises(SchedulerError, match="faulted by the judge"):
        bring_up(context, vessel_id, plant_id, asked_meanwhile)
    with context.db.read() as session:
        assert plans_asked(session) == [(vessel_id, plant_id)]
    bring_up(context, vessel_id, plant_id, stagger)
    with context.db.read() as session:
        assert plans_asked(session) == []


def test_what_was_stored_stays_when_somebody_stops_it(context: Context) -> None:
    """Interrupted after the first plant: the interruption goes on, that plan is there, and the context is stopping."""
    came: list[PlantPlan] = []

    def stop(one: PlantPlan) -> None:
        came.append(one)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_many(context, PAIRS, 1, stop)
    assert context.stopping.is_set()
    held = _proposed(context)[came[0].plant_id]
    assert held is not None
    assert held.digest == came[0].digest
    assert {one.came for one in _fleet(context).values()} == {Came.TROUBLE}
