"""Workers: so many plants planned by one and by two of them, in turns; and where the CPU of a plan goes."""

import os
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.bench.load import LEEWAY, SHORT
from tests.durability.office import add_ship, all_planned, ask_for, office, until, worker, workers_there
from tests.storage.stores import kinds, ready_url

pytestmark = [pytest.mark.bench, pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL here")]

PLANTS = int(os.environ.get("LEADLINE_TEST_SHIPS", "6" if SHORT else "40"))
TICK = os.sysconf("SC_CLK_TCK")


def _cpu_of(parent: int) -> tuple[float, float]:
    """CPU seconds of the worker processes under a parent, and of the planner's processes under them, those that ended too."""
    own = planner = 0.0
    table: dict[int, tuple[int, float, float]] = {}
    for entry in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            words = entry.read_text().rpartition(")")[2].split()
            used, ended = (sum(int(one) / TICK for one in words[first : first + 2]) for first in (11, 13))
            table[int(entry.parent.name)] = int(words[1]), used, ended
    workers = {pid for pid, (above, _, _) in table.items() if above == parent}
    for pid, (above, used, ended) in table.items():
        if pid in workers:
            own, planner = own + used, planner + ended
        elif above in workers:
            planner += used
    return own, planner


def _planned_by(workers: int, folder: Path) -> tuple[float, float, float]:
    """Wall seconds from the asking to the last plan; CPU seconds of the workers and of their planners."""
    folder.mkdir()
    with ready_url("postgresql", folder) as url, office(url) as context:
        pairs = [add_ship(context, number) for number in range(PLANTS + workers)]
        with worker(url, folder / "log", "--processes", str(workers), "--queues", "plan") as parent:
            until(lambda: workers_there(url) == workers, "they work")
            ask_for(context, pairs[PLANTS:])  # the solver is loaded for these
            until(lambda: all_planned(url), "the first are planned")
            before = _cpu_of(parent.pid)
            began = time.perf_counter()
            ask_for(context, pairs[:PLANTS])
            until(lambda: all_planned(url), "all are planned", 60 * PLANTS)
            took = time.perf_counter() - began
            after = _cpu_of(parent.pid)
    return took, after[0] - before[0], after[1] - before[1]


def test_two_workers_plan_twice_as_much_as_one(tmp_path: Path) -> None:
    """On N free cores N workers make at least 0.8 N times as much: what can be held on a shared machine is that a plant costs
    no more CPU with two (within a fifth). LEADLINE_TEST_SHIPS says how many plants; the baseline is one worker in the same run."""
    print()
    load, found = os.getloadavg()[0], {}
    for workers in (1, 2):
        took, own, planner = found[workers] = _planned_by(workers, tmp_path / str(workers))
        print(
            f"{workers} worker(s), {PLANTS} plants: {took:.1f} s on the wall, {PLANTS / took:.2f} plants/s, CPU a plant "
            f"{(own + planner) / PLANTS:.3f} s: {own / PLANTS:.3f} s loading, framing, judging and storing, "
            f"{planner / PLANTS:.3f} s in the planner's process"
        )
    cpu = {workers: (own + planner) / PLANTS for workers, (_, own, planner) in found.items()}
    print(
        f"rate with two: {found[1][0] / found[2][0]:.2f} times that with one; CPU a plant {cpu[2] / cpu[1]:.2f} times; "
        f"load before {load:.1f} on {os.cpu_count()} cores"
    )
    assert cpu[2] < 1.2 * cpu[1] * LEEWAY
