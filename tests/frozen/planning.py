"""Asks the planner's worker process: problems in as lines, plans out as lines."""

import json
import os
import subprocess
import time
from collections.abc import Iterable, Iterator
from typing import Any

from tests.frozen import doors

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def planned(problems: Iterable[str]) -> Iterator[tuple[dict[str, Any], float]]:
    """What matters of each problem's plan, in turn, and the seconds it took."""
    environment = {**os.environ, **ONE_THREAD, "LEADLINE_WORKER_SECONDS": "600"}
    with subprocess.Popen(
        doors.WORKER, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, text=True
    ) as worker:
        assert worker.stdin is not None
        assert worker.stdout is not None
        for problem in problems:
            began = time.monotonic()
            worker.stdin.write(problem + "\n")
            worker.stdin.flush()
            yield told(json.loads(worker.stdout.readline())), time.monotonic() - began


def told(plan: dict[str, Any]) -> dict[str, Any]:
    """Slots, shortfalls without their words, tiers with what was proved."""
    return {
        "by": plan["by"],
        "proven": plan["proven"],
        "slots": sorted([slot["key"], slot["start"], slot["end"]] for slot in plan["slots"]),
        "shortfalls": sorted(
            ([one["key"], one["pump"], one["steps"], one["lacking_litres_per_h"]] for one in plan["shortfalls"]),
            key=json.dumps,
        ),
        "tiers": [[tier["tier"], tier["value"], tier["proven"]] for tier in plan["tiers"]],
        "moved_by": sorted(plan["moved_by"]),
        "unsettled": sorted(plan["unsettled"]),
    }
