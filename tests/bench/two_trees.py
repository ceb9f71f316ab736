"""Two checkouts of the planner against each other: the same problems to a worker of each, in turns; same plans, CPU as a ratio.

`python -m tests.bench.two_trees BEFORE AFTER [--corpus FILE] [--only PREFIX ...] [--times 5] [--all]`. CPU seconds of the worker
processes as the kernel counts them, not the wall's, since machines are shared; the median of `--times` pairs in either order.
"""

import argparse
import json
import os
import subprocess
import sys
from collections import defaultdict
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from typing import Any

from tests.bench.corpus import corpus
from tests.frozen.kept import differences
from tests.frozen.planning import ONE_THREAD, told


class Tree:
    """A worker of one checkout."""

    def __init__(self, folder: str) -> None:
        environment = {**os.environ, **ONE_THREAD, "PYTHONPATH": folder, "LEADLINE_WORKER_SECONDS": "600"}
        command = (sys.executable, "-m", "scheduler.solving")
        pipe = subprocess.PIPE
        self.process = subprocess.Popen(command, cwd=folder, env=environment, stdin=pipe, stdout=pipe, text=True)

    def cpu_seconds(self) -> float:
        """What the process has used so far."""
        tasks = Path(f"/proc/{self.process.pid}/task")
        return sum(int((task / "schedstat").read_text().split()[0]) for task in tasks.iterdir()) / 1e9

    def plan(self, problem: str) -> tuple[dict[str, Any], float]:
        """The plan of a problem, and the CPU seconds it took."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        began = self.cpu_seconds()
        self.process.stdin.write(problem + "\n")
        self.process.stdin.flush()
        plan = told(json.loads(self.process.stdout.readline()))
        return plan, self.cpu_seconds() - began


def main() -> None:
    """Compares, and prints a line a group, or with --all a line a problem."""
    parser = argparse.ArgumentParser()
    parser.add_argument("before")
    parser.add_argument("after")
    parser.add_argument("--corpus", type=Path)
    parser.add_argument("--only", nargs="*", default=[""])
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--all", action="store_true")
    asked = parser.parse_args()
    problems = json.loads(asked.corpus.read_text(encoding="utf-8")) if asked.corpus else corpus()
    chosen = {name: text for name, text in problems.items() if name.startswith(tuple(asked.only))}
    groups: dict[str, list[tuple[float, float, str]]] = defaultdict(list)
    differ = 0
    with ExitStack() as stack:
        trees = [Tree(folder) for folder in (asked.before, asked.after)]
        for tree in trees:
            stack.enter_context(tree.process)
            tree.plan(next(iter(problems.values())))
        for name, text in chosen.items():
            taken: tuple[list[float], list[float]] = [], []
            plans: list[Any] = [None, None]
            for turn in range(asked.times):
                for which in (0, 1) if turn % 2 == 0 else (1, 0):
                    plans[which], seconds = trees[which].plan(text)
                    taken[which].append(seconds)
            before, after = map(median, taken)
            groups[name.split()[0]].append((before, after, name))
            if found := list(differences(*plans)):
                differ += 1
                print(f"{name}: another plan: {'; '.join(found)[:300]}")
            if asked.all:
                print(f"{name}: {before * 1000:.0f} -> {after * 1000:.0f} ms, {after / before:.2f}", flush=True)
        for group, of_it in groups.items():
            before, after = (sum(one[n] for one in of_it) for n in (0, 1))
            worst = max((a / b, name) for b, a, name in of_it)
            slower = sum(a > b for b, a, _ in of_it)
            print(
                f"{group}: {len(of_it)} plans, {before:.2f} -> {after:.2f} s CPU, {after / before:.2f}; {slower} slower, "
                f"the worst {worst[0]:.2f} ({worst[1]})"
            )
    print(f"{len(chosen)} problems, {differ} with another plan")


if __name__ == "__main__":
    main()
