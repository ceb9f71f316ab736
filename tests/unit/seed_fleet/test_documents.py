"""The two vessel documents: valid, plannable, and in step with what the simulated pumps truly ran."""

import json
from datetime import UTC, date, datetime, timedelta
from functools import cache

import pytest
from pydantic import TypeAdapter

from scheduler.domain.checks.document import faults_of
from scheduler.domain.vessel.document import Plant, Vessel, imo_number_holds
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run, truth
from seed_fleet.ships import AVOCET, PLOVER, SHIPS, ShipPlan

UNTIL = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
VESSEL = TypeAdapter(Vessel)


@cache
def run_of(ship: ShipPlan) -> Run:
    """Two years of the ship, reckoned when first asked for."""
    return Run(ship, 1, UNTIL)


def plant_of(ship: ShipPlan) -> Plant:
    return VESSEL.validate_json(json.dumps(vessel_document(run_of(ship)))).plants[0]


def capacities(plant: Plant) -> list[float]:
    return sorted(p.measured_swept_m3_per_h or p.rated_swept_m3_per_h * p.derate for p in plant.pumps)


def minimum(plant: Plant, on: date, hour: int) -> float:
    """Read off the document by its own rule: the last block that matches counts."""
    answer = plant.minimum_swept_m3_per_h
    for block in plant.minimum_blocks:
        first, last = block.from_hour, block.to_hour
        by_hour = first <= hour < last if first <= last else hour >= first or hour < last
        if by_hour and (block.from_on or on) <= on <= (block.to_on or on):
            answer = block.minimum_swept_m3_per_h
    return answer


def hours_ahead(run: Run, days: int = 180) -> list[tuple[date, int]]:
    return [(run.today + timedelta(days=day), hour) for day in range(days) for hour in range(24)]


@pytest.mark.parametrize("ship", SHIPS, ids=lambda ship: ship.key)
def test_the_document_has_the_shape_the_door_takes_and_an_invented_ship(ship: ShipPlan) -> None:
    """The JSON document passes the vessel dataclasses and makes sense; its IMO number starts with 0 and checks."""
    vessel = VESSEL.validate_json(json.dumps(vessel_document(run_of(ship))))
    assert faults_of(vessel) == ()
    assert vessel.imo.startswith("0")
    assert imo_number_holds(vessel.imo)
    assert len(vessel.plants[0].pumps) == len(vessel.plants[0].counters) == len(ship.pumps)


@pytest.mark.parametrize("ship", SHIPS, ids=lambda ship: ship.key)
def test_most_hours_allow_any_one_pump_out_but_never_two_large_ones(ship: ShipPlan) -> None:
    """With the largest pump out the minimum holds in nine hours of ten (so that jobs have somewhere to go) but not in
    all (so that there is something to pull apart); with the two largest out it never holds on a full-ship day."""
    plant, run = plant_of(ship), run_of(ship)
    total, figures = sum(capacities(plant)), capacities(plant)
    minima = [minimum(plant, on, hour) for on, hour in hours_ahead(run)]
    one_out = sum(total - figures[-1] >= needed for needed in minima) / len(minima)
    assert 0.9 <= one_out < 1.0
    full = [minimum(plant, on, hour) for on, hour in hours_ahead(run) if ship.is_full((on - run.today).days)]
    assert len(full) > 500
    assert all(total - figures[-1] - figures[-2] < needed <= total for needed in full)


def test_small_pumps_may_join_a_large_one_on_the_larger_ship() -> None:
    """Demo Avocet may have a large and a small pump out on a normal day, and two large ones with few aboard."""
    plant, run = plant_of(AVOCET), run_of(AVOCET)
    figures = capacities(plant)
    total, large_and_small, two_large = sum(figures), figures[-1] + figures[0], figures[-1] + figures[-2]
    normal = [minimum(plant, on, 10) for on, hour in hours_ahead(run) if hour == 10]
    assert sum(total - large_and_small >= needed for needed in normal) > 90
    assert 0 < sum(total - two_large >= needed for needed in normal) < 10
    smaller = capacities(plant_of(PLOVER))
    assert sum(smaller) - smaller[0] - smaller[1] < plant_of(PLOVER).minimum_swept_m3_per_h


def spans(ship: ShipPlan, seed: int = 1) -> list[tuple[str, str, float, float]]:
    """(kind, subject, days until due, days until the limit) of every job that takes a pump out; rate: last 180 days."""
    run = run_of(ship) if seed == 1 else Run(ship, seed, UNTIL)
    plant = VESSEL.validate_python(vessel_document(run), strict=False).plants[0]
    then, now = truth(run, run.end - timedelta(days=180)), truth(run, run.end)
    answer = []
    for done in plant.last_done:
        kind = plant.kind(done.kind)
        if not kind.takes_pump_out or done.running_hours is None:
            continue
        assert kind.interval_running_hours is not None
        assert kind.interval_months is not None
        pump = done.subject.removesuffix("-seal").removesuffix("-knives")
        a_day = (now[pump] - then[pump]) / 3600 / 180
        left = done.running_hours + kind.interval_running_hours - now[done.subject] / 3600
        calendar = kind.interval_months * 30.44 - (run.end - done.done_at).days
        limit = min((left + kind.tolerance_running_hours) / a_day, calendar + kind.tolerance_days)
        answer.append((done.kind, done.subject, min(left / a_day, calendar), limit))
    return answer


@pytest.mark.parametrize("seed", [1, 2, 77])
def test_the_coming_half_year_is_a_believable_mix(seed: int) -> None:
    """Whatever the seed: one or two pump jobs are past due, none past its limit, some windows are open, most lie ahead,
    and on each ship two different pumps fall due within four days of each other."""
    both = [spans(ship, seed) for ship in SHIPS]
    days = [due for jobs in both for *_, due, _ in jobs]
    assert 1 <= sum(due < 0 for due in days) <= 2
    assert min(limit for jobs in both for *_, limit in jobs) > 1
    assert sum(0 <= due < 14 for due in days) >= 3
    assert sum(14 <= due < 180 for due in days) >= 10
    for jobs in both:
        near = [
            (a, b)
            for number, (_, a, due_a, _) in enumerate(jobs)
            for _, b, due_b, _ in jobs[:number]
            if abs(due_a - due_b) <= 4 and a.split("-pump-")[1][0] != b.split("-pump-")[1][0]
        ]
        assert near


@pytest.mark.parametrize("ship", SHIPS, ids=lambda ship: ship.key)
def test_last_done_figures_are_what_the_subject_truly_ran(ship: ShipPlan) -> None:
    """Each job last done within the past carries the running hours its subject had at that instant, to a tenth, and
    its pump stood still during the work."""
    run = run_of(ship)
    plant = plant_of(ship)
    checked = 0
    for done in plant.last_done:
        if done.running_hours is None or done.done_at < run.start:
            continue
        assert done.running_hours == pytest.approx(truth(run, done.done_at)[done.subject] / 3600, abs=0.051)
        pump = done.subject.removesuffix("-seal").removesuffix("-knives")
        began = done.done_at - timedelta(hours=plant.kind(done.kind).takes_hours)
        assert truth(run, began)[pump] == truth(run, done.done_at)[pump]
        checked += 1
    assert checked >= 2 * len(ship.pumps)


@pytest.mark.parametrize("ship", SHIPS, ids=lambda ship: ship.key)
def test_work_starts_are_not_all_taken_by_port_arrivals(ship: ShipPlan) -> None:
    """Port arrivals close some of the morning starts, and the afternoon start is always free."""
    plant, run = plant_of(ship), run_of(ship)
    starts = [[run.at_ship_time(day, hour) for day in range(180)] for hour in plant.crew.start_hours]
    closed = [sum(any(s.from_at <= at < s.to_at for s in plant.crew.no_work) for at in hour) for hour in starts]
    assert 30 < closed[0] < 90
    assert closed[1] == 0
