"""A disk that runs full: told with 507, nothing acknowledged is lost, and all is well again when there is room."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest


def _private_mounts() -> list[str]:
    """The command that gives a process mounts of its own here; skips, or fails where it must run, when there is none."""
    ways = [
        ["unshare", "--mount"],
        ["unshare", "--map-root-user", "--mount"],
        ["sudo", "-n", "-E", "unshare", "--mount"],
    ]
    told = []
    for way in ways:
        if shutil.which(way[0]) is None:
            continue
        trial = [*way, "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", "/mnt"]
        done = subprocess.run(trial, capture_output=True, text=True, check=False)
        if done.returncode == 0:
            return way
        told.append(f"`{' '.join(way)}`: {done.stderr.strip() or done.returncode}")
    why = f"this machine lets nobody mount a small disk for one process ({'; '.join(told) or 'there is no unshare'})"
    if os.environ.get("LEADLINE_TEST_MOUNT") == "required":
        pytest.fail(why)
    pytest.skip(why)


@pytest.mark.rough
def test_a_full_disk_is_507_and_nothing_is_lost(tmp_path: Path) -> None:
    """Below the floor of free space, and with not a byte left: 507, reads go on, room again and readings are stored."""
    command = [*_private_mounts(), sys.executable, "-m", "tests.durability.full_disk", str(tmp_path)]
    own = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2], env=own, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "all there" in done.stdout
