"""How long a proven plan takes and how much memory: by pumps, days, start hours and density; a thousand ships; other ways.

Every measurement runs in a process of its own; CPU seconds include the import of the solver, process start is told apart.
"""

import json
import os
import resource
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.plan.fleet import Came, PlantPlan, plan_many
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.planning.problem.codec import problem_to_text
from scheduler.planning.problem.values import Problem
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.settings import Settings
from scheduler.solving import Worker, Workers
from scheduler.storage.database import Database, open_database
from scheduler.storage.vessel import vessel_rows
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER
from tests.bench.load import LEEWAY, SHORT
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import store
from tests.unit.planning.cases import ship

pytestmark = pytest.mark.bench

ROOT = Path(__file__).parents[2]
SHIPS = int(os.environ.get("LEADLINE_TEST_SHIPS", "8" if SHORT else "60"))
"""How many ships of the fleet's thousand are planned; what a thousand take is said from them."""
IN_DATABASE = SHIPS if "LEADLINE_TEST_SHIPS" in os.environ else min(SHIPS, 40)


def _aboard(problem: Problem) -> Problem:
    """As a ship has it: eight hours a person, an hour of set-up that jobs of one pump may share."""
    jobs = tuple(replace(job, setup_steps=1 if job.pump else 0) for job in problem.jobs)
    return replace(problem, jobs=jobs, person_hours=8)


def _measure(what: str, problem: Problem) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.planner_rivals", what],
        input=problem_to_text(problem), capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("days", [180, 730])
@pytest.mark.parametrize("sparse", [True, False], ids=["sparse", "dense"])
def test_a_proven_optimum_by_pumps_and_days(days: int, sparse: bool) -> None:
    """2, 4, 6 and 8 pumps: jobs, CPU seconds and memory, every plan proven."""
    print()
    for pumps in (2, 4) if SHORT else (2, 4, 6, 8):
        problem = _aboard(ship(pumps, days, sparse=sparse))
        found = _measure("planner", problem)
        print(
            f"{pumps} pumps, {days} days, {'sparse' if sparse else 'dense'}: {len(problem.jobs)} jobs, "
            f"{found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB, proven {found['proven']}"
        )
        assert found["proven"]


def test_the_budget_of_the_largest_ship() -> None:
    """8 pumps, about 238 jobs, two years: 10 s CPU and 300 MB are the aim; one ship, half a year: 0.5 s. (Held to thrice that.)"""
    large, usual = _aboard(ship(8, 730, sparse=True)), _aboard(ship(4))
    found, small = _measure("planner", large), _measure("planner", usual)
    print(f"\n{len(large.jobs)} jobs over 730 days: {found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB", end="")
    print(f"; {len(usual.jobs)} jobs over 180 days: {small['cpu_seconds']:.2f} s CPU, {small['mb']:.0f} MB")
    assert found["proven"]
    assert small["proven"]
    assert found["cpu_seconds"] < 30 * LEEWAY
    assert found["mb"] < 300
    assert small["cpu_seconds"] < 2 * LEEWAY


@pytest.mark.parametrize("hours", [(8,), (8, 13), tuple(range(8, 17)), tuple(range(24))], ids=len)
def test_what_start_hours_cost(hours: tuple[int, ...]) -> None:
    """4 pumps, half a year, one, two, nine and twenty-four start hours a day (nobody works at night)."""
    found = _measure("planner", _aboard(ship(4, hours=hours)))
    print(
        f"\n{len(hours)} start hours: {found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB, proven {found['proven']}"
    )
    assert found["proven"]


def _of_the_fleet(number: int) -> Problem:
    problem = ship(2 + number % 3, spare_pumps=(1.0, 1.2, 1.6)[number % 7 % 3])
    shifted = tuple(replace(job, due=job.due + number % 23, limit=job.limit + number % 23) for job in problem.jobs)
    return _aboard(replace(problem, jobs=shifted))


@contextmanager
def _cpu() -> Iterator[list[float]]:
    """Filled at the end: CPU seconds of this process, and of the child processes that ended meanwhile; the wall's."""
    found: list[float] = []

    def now() -> tuple[float, float, float]:
        ended = resource.getrusage(resource.RUSAGE_CHILDREN)
        return time.process_time(), ended.ru_utime + ended.ru_stime, time.perf_counter()

    began = now()
    yield found
    found += [after - before for before, after in zip(began, now(), strict=True)]


def test_a_fleet_on_two_workers() -> None:
    """Half a year for each of many ships of two to four pumps, all proven, by two workers that serve one after another.

    LEADLINE_TEST_SHIPS=1000 plans the whole fleet. 90 s on each worker are the aim. (Held to thrice that.)
    """
    with _cpu() as start, Worker() as worker:
        assert worker.plan(ship(2, days=30)).solver  # small, and yet the solver is loaded for it
    problems = [_of_the_fleet(number) for number in range(SHIPS)]
    with _cpu() as whole, Workers([Worker(), Worker()]) as workers, ThreadPoolExecutor(2) as pool:
        proven = sum(plan.proven for plan in pool.map(workers.plan, problems))
    each = (whole[1] - 2 * start[1]) / 2
    print(
        f"\n{SHIPS} ships x 180 days: {each:.1f} s CPU on each of two workers and {start[1]:.1f} s to start it, "
        f"{whole[0]:.1f} s here, {whole[2]:.0f} s on the wall, {proven} proven; a thousand at that rate: "
        f"{each / SHIPS * 1000:.0f} s on each worker, {whole[0] / SHIPS * 1000:.0f} s here"
    )
    assert proven == SHIPS
    assert each / SHIPS * 1000 < 3 * 90 * LEEWAY


def test_a_fleet_in_its_database(tmp_path: Path) -> None:
    """As `leadline plan --fleet` does it: ships loaded, framed, planned by two workers, judged and stored; then none changed.

    With LEADLINE_TEST_SHIPS=1000 all are planned. LEADLINE_TEST_KEPT names a folder for the database: begun there again after it was
    stopped, it goes on where it was, and what is told is of that part.
    """
    folder = Path(os.environ.get("LEADLINE_TEST_KEPT", tmp_path))
    folder.mkdir(parents=True, exist_ok=True)
    with _database(folder) as database:
        context = Context(database, TurnedClock(), Settings())
        with database.read() as session:
            there = {row.id for row in vessel_rows(session)}
        pairs = [_put(context, number, there) for number in range(IN_DATABASE)]
        came: list[PlantPlan] = []
        with _cpu() as first:
            plan_many(context, pairs, 2, _telling(came))
        begun = sum(one.came is Came.UNCHANGED for one in came)
        with _cpu() as again:
            plan_many(context, pairs, 2, came.append)
    planned = IN_DATABASE - begun
    each = 1000 / max(1, planned)
    proven = sum(one.proven for one in came[:IN_DATABASE])
    here_mb, worker_mb = (
        resource.getrusage(whose).ru_maxrss / 1024 for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(
        f"\n{planned} ships in a database: {first[0]:.1f} s CPU here and {first[1]:.1f} s in two workers, {first[2]:.0f} s on "
        f"the wall, {proven} of {IN_DATABASE} proven, {here_mb:.0f} MB here and {worker_mb:.0f} MB a worker at most; "
        f"a thousand at that rate: {first[0] * each:.0f} s and {first[1] * each:.0f} s; with nothing changed "
        f"{again[0] / IN_DATABASE * 1000:.0f} s"
    )
    assert Counter(one.came for one in came) == Counter({Came.PLANNED: planned, Came.UNCHANGED: IN_DATABASE + begun})
    assert all(one.proven for one in came)


def _telling(came: list[PlantPlan]) -> Callable[[PlantPlan], None]:
    """Keeps what came, and says how far it is, twenty times."""
    began, cpu = time.perf_counter(), time.process_time()

    def note(one: PlantPlan) -> None:
        came.append(one)
        if len(came) % max(1, IN_DATABASE // 20) == 0:
            wall, here = time.perf_counter() - began, time.process_time() - cpu
            print(f"{len(came)} of {IN_DATABASE}: {wall:.0f} s on the wall, {here:.1f} s CPU here", flush=True)

    return note


@contextmanager
def _database(folder: Path) -> Iterator[Database]:
    """The one that is in the folder, else a new one."""
    file = folder / "ship.db"
    if not file.exists():
        with store("sqlite", folder) as database:
            yield database
        return
    database = open_database(f"sqlite:///{file}")
    try:
        yield database
    finally:
        database.close()


def _put(context: Context, number: int, there: set[str]) -> tuple[str, str]:
    """One more ship after the demo's two, where it is not there yet; vessel and plant."""
    plan = (PLOVER, AVOCET)[number % 2]
    document = json.dumps(vessel_document(Run(plan, 1, context.now(), 0.15)))
    vessel = VESSEL.validate_python(json.loads(document.replace(plan.key, f"{plan.key}{number}")))
    if vessel.id not in there:
        changes.put_vessel(context, Actor("bench", "bench", Role.ADMIN), vessel, if_new=True)
    return vessel.id, vessel.plants[0].id


def test_against_other_ways() -> None:
    """The plain time-indexed model and CP-SAT intervals against this planner, as ratios of CPU seconds and memory."""
    print()
    for pumps, days in ((4, 90),) if SHORT else ((4, 90), (4, 180), (6, 180)):
        problem = ship(pumps, days)
        ours = _measure("planner", problem)
        for what in ("plain", "intervals"):
            other = _measure(what, problem)
            print(
                f"{pumps} pumps, {days} days, {what}: {other['cpu_seconds'] / ours['cpu_seconds']:.1f} x the CPU, "
                f"{other['mb'] / ours['mb']:.1f} x the memory of the planner's {ours['cpu_seconds']:.2f} s and "
                f"{ours['mb']:.0f} MB for all tiers; proven {other['proven']}; unplaced and late {other['unplaced']}, "
                f"{other['late']} beside {ours['unplaced']}, {ours['late']}"
            )
            if what == "plain" and other["proven"]:
                assert (other["unplaced"], other["late"]) <= (ours["unplaced"], ours["late"])


def test_what_the_worker_process_and_the_proof_add() -> None:
    """The plan in this process, by the worker, and the plain rule alone."""
    problem = _aboard(ship(4))
    stagger(problem)
    seconds = []
    with Worker() as worker:
        for act in (stagger, worker.plan, worker.plan, greedy_plan):
            began = time.perf_counter()
            act(problem)
            seconds.append(time.perf_counter() - began)
    here, first, second, plain = seconds
    print(
        f"\nhere {here:.2f} s, by a worker {first:.2f} s and then {second:.2f} s ({first - second:.2f} s to start it, "
        f"{second - here:.2f} s for the pipes), plain rule {plain:.3f} s"
    )
