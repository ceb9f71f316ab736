"""The whole application on a small disk that runs full: run as `unshare --mount python -m tests.durability.full_disk FOLDER`.

A memory disk of 48 MiB is mounted on FOLDER, seen by this process alone; in the end it is made read-only. Ends with 0 and one
line when all held.
"""

import os
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from scheduler.domain.base.enums import Role
from scheduler.storage.database import FLOOR_BYTES
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged, stamp

SIZE = 48 * 1024 * 1024
PLANT, VESSEL = f"{PLOVER.key}-plant", PLOVER.vessel
READ = (
    f"/plants/{PLANT}", f"/plants/{PLANT}/plan", f"/plants/{PLANT}/figures", f"/plants/{PLANT}/minimum",
    f"/vessels/{VESSEL}/counters", f"/vessels/{VESSEL}/hours", f"/vessels/{VESSEL}/decisions", f"/vessels/{VESSEL}/calendar",
    f"/api/v1/plants/{PLANT}/due", f"/api/v1/history?vessel={VESSEL}", "/livez",
)  # fmt: skip
DOWN = "/api/v1/pumps/plover-pump-a/down"


def free(folder: Path) -> int:
    """Bytes free."""
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize


def fill(ballast: Path, leave: int) -> None:
    """Writes until so many bytes are free, or none."""
    with ballast.open("ab", buffering=0) as file:
        try:
            while free(ballast.parent) > leave:
                file.write(b"x" * min(65536, free(ballast.parent) - leave))
        except OSError:
            return


class Sender:
    """Posts batches of new readings and remembers what was acknowledged."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.at = datetime(2025, 1, 1, tzinfo=UTC)
        self.acknowledged: list[int] = []

    def post(self, says: str = "room") -> int:
        """One batch of 100; its status. says: a word of the reason when it is not stored."""
        batch = [self.at + timedelta(seconds=second) for second in range(100)]
        self.at = batch[-1] + timedelta(seconds=1)
        items: list[dict[str, Any]] = [
            {"counter": PLOVER.counter(0), "observed_at": stamp(one), "value": 5} for one in batch
        ]
        answer = self.stage.post(*items)
        if answer.status_code == 207:
            assert {item["status"] for item in answer.json()["items"]} == {"stored"}
            self.acknowledged += [int(one.timestamp()) for one in batch]
        else:
            assert answer.headers["content-type"] == "application/problem+json"
            assert says in answer.json()["detail"]
        return answer.status_code


def refuses_and_reads_on(stage: Stage, says: str) -> None:
    """What a person does is refused with the reason; every page and the calendar of jobs go on being read."""
    by_hand = stage.ask("POST", DOWN, json={"at": stamp(stage.clock.at), "reason": "stuck"})
    assert (by_hand.status_code, says in by_hand.json()["detail"]) == (507, True), by_hand.text
    for path in READ:
        answer = stage.ask("GET", path, role=Role.CHIEF)
        assert answer.status_code == 200, (path, answer.text)


def main(folder: Path) -> None:
    """Low on room, then really full; each time 507, nothing lost, and well again when there is room."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(folder)], check=True)
    ballast = folder / "ballast"
    with staged(folder, (PLOVER,)) as stage:
        sender = Sender(stage)
        for floor in (FLOOR_BYTES, 0):
            stage.context.db.floor_bytes = floor
            assert sender.post() == 207
            fill(ballast, max(0, floor - 1024 * 1024))
            answers = [sender.post()]
            while answers[-1] == 207 and len(answers) < 5000:
                answers.append(sender.post())
            assert answers[-1] == 507, answers[-1]
            refuses_and_reads_on(stage, "room")
            ballast.unlink()
            assert sender.post() == 207
        subprocess.run(["mount", "--bind", str(folder), str(folder)], check=True)
        subprocess.run(["mount", "-o", "remount,bind,ro", str(folder)], check=True)
        assert sender.post(says="read-only") == 507
        refuses_and_reads_on(stage, "read-only")
        assert stage.ask("GET", "/readyz").status_code == 503
        subprocess.run(["mount", "-o", "remount,bind,rw", str(folder)], check=True)
        assert sender.post() == 207
        with sqlite3.connect(stage.database) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            there = {at_s for (at_s,) in raw.execute("SELECT at_s FROM reading WHERE at_s < 1767225600")}
        raw.close()
        assert there == set(sender.acknowledged)
    print(f"{len(there)} readings acknowledged, all there")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
