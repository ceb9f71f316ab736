"""The plans of a fleet on worker processes: what changed is planned, one that fails stops no other, what is stored stays."""

import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from unittest.mock import patch

import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import House
from scheduler.actions.base.pending import want_plan, wanted_plans
from scheduler.actions.care import rounds
from scheduler.actions.plan import fleet as plan_fleet
from scheduler.actions.plan.fleet import Came, PlantPlan, look, plan_many
from scheduler.actions.plant_state.load import HeldPlan, situation
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.solving import Worker
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import store
from tests.unit.test_solving import ONCE_IN_TWO

PAIRS = [(ship.vessel, f"{ship.key}-plant") for ship in (PLOVER, AVOCET)]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """Two ships, nothing posted, a few days to plan."""
    with store("sqlite", tmp_path) as database:
        house = House(database, TurnedClock(), Settings(horizon_days=12))
        for ship in (PLOVER, AVOCET):
            document = vessel_document(Run(ship, 1, house.now(), 0.15))
            fleet.put_vessel(house, Actor("test", "test", Role.ADMIN), VESSEL.validate_python(document), if_new=True)
        yield house


def _fleet(house: House, processes: int = 2) -> dict[str, PlantPlan]:
    came: list[PlantPlan] = []
    plan_many(house, PAIRS, processes, came.append)
    return {one.plant_id: one for one in came}


def _proposed(house: House) -> dict[str, HeldPlan | None]:
    return {plant: situation(house, vessel, plant).proposed for vessel, plant in PAIRS}


def test_what_changed_is_planned_and_nothing_else(house: House) -> None:
    """First every plant, then none, then every one again an hour later; the look before says so and plans nothing."""
    assert {look(house, *pair).came for pair in PAIRS} == {Came.TO_PLAN}
    assert set(_proposed(house).values()) == {None}
    first = _fleet(house)
    assert {one.came for one in first.values()} == {Came.PLANNED}
    for plant, held in _proposed(house).items():
        assert held is not None
        assert (held.digest, len(held.plan.slots)) == (first[plant].digest, first[plant].standing.slots)
    assert {look(house, *pair).came for pair in PAIRS} == {Came.UNCHANGED}
    again = _fleet(house)
    assert {one.came for one in again.values()} == {Came.UNCHANGED}
    assert {one.digest for one in again.values()} == {one.digest for one in first.values()}
    assert isinstance(house.clock, TurnedClock)
    house.clock.at = house.clock.at.replace(hour=house.clock.at.hour + 1)
    assert {look(house, *pair).came for pair in PAIRS} == {Came.TO_PLAN}


def test_a_worker_that_dies_costs_its_own_plant_the_best_plan_and_no_other(house: House, tmp_path: Path) -> None:
    """One worker for both, killed at its second problem: one proven plan, one by the plain rule, both stored; the second is
    made anew when the fleet is planned again."""
    file = tmp_path / "turns"
    file.write_text("")
    code = ONCE_IN_TWO.format(file=str(file), fault="os._exit(5)")
    with patch("scheduler.actions.base.context.Worker", partial(Worker, command=(sys.executable, "-c", code))):
        came = _fleet(house, processes=1)
    assert {one.came for one in came.values()} == {Came.PLANNED}
    assert sorted(one.by for one in came.values()) == ["greedy", "solver"]
    for held in _proposed(house).values():
        assert held is not None
        assert held.lawful
        assert ("ended with code 5" in " ".join(held.plan.remarks)) is (held.plan.by == "greedy")
    again = _fleet(house, processes=1)
    assert {one.by for one in again.values()} == {"solver"}
    assert [again[plant].came is Came.PLANNED for plant in came] == [one.by == "greedy" for one in came.values()]


def test_a_plant_that_cannot_be_planned_stops_no_other(house: House) -> None:
    """Trouble in words for the one, a plan for the other; on the server the request of the first is closed as failed."""
    bring_up = plan_fleet.bring_up

    def faulty(house: House, vessel_id: str, plant_id: str, solve) -> tuple[HeldPlan, bool]:
        if plant_id == "plover-plant":
            raise RuntimeError("no luck")
        return bring_up(house, vessel_id, plant_id, solve)

    for vessel_id, plant_id in PAIRS:
        with house.db.write(vessel_id) as session:
            want_plan(session, vessel_id, plant_id, house.now_s())
            want_plan(session, vessel_id, plant_id, house.now_s())
    with house.db.read() as session:
        assert sorted(wanted_plans(session)) == sorted(PAIRS)
    with patch("scheduler.actions.plan.fleet.bring_up", faulty):
        came = _fleet(house)
        assert rounds.plan_wanted(house) == 1
    assert came["plover-plant"].came is Came.TROUBLE
    assert came["plover-plant"].trouble == "RuntimeError: no luck"
    assert came["avocet-plant"].came is Came.PLANNED
    assert rounds.plan_wanted(house) == 0


def test_what_was_stored_stays_when_somebody_stops_it(house: House) -> None:
    """Interrupted after the first plant: the interruption goes on, that plan is there, and the house is stopping."""
    came: list[PlantPlan] = []

    def stop(one: PlantPlan) -> None:
        came.append(one)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_many(house, PAIRS, 1, stop)
    assert house.stopping.is_set()
    held = _proposed(house)[came[0].plant_id]
    assert held is not None
    assert held.digest == came[0].digest
    assert {one.came for one in _fleet(house).values()} == {Came.TROUBLE}
