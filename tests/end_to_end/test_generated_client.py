"""A client generated from /openapi.json works, and its types say what comes.

CLIENT_GENERATOR names the command of openapi-python-client, in an environment of its own, since its pins are not ours.
"""

import os
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import FIRST, TurnedClock, database_file, serving

pytestmark = pytest.mark.clients

CALLER = Path(__file__).with_name("typed_caller.py")


def ran(*command: str, folder: Path, **environment: str) -> str:
    """All that the command printed; fails where it failed, with that."""
    env = {**os.environ, **environment}
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


FILES = (
    "/api/v1/fleet/history within history",
    "/api/v1/jobs/{key}/paper within history",
    "/api/v1/jobs/{key}/photos/{digest} within work",
    "/api/v1/vessels/{vessel_id}/months/{month} within history",
)
"""Doors that answer a picture, a paper or lines alone, which the generator gives as bytes without a type."""


def test_it_posts_readings_reads_due_jobs_and_closes_one_all_typed(tmp_path: Path) -> None:
    """Generated without a door left out, checked by mypy in strict mode, run against a real server."""
    command = os.environ.get("CLIENT_GENERATOR")
    if command is None:
        pytest.skip("CLIENT_GENERATOR names no client generator")
    generator = Path(command)
    clock = TurnedClock()
    with serving(database_file(tmp_path), PLOVER, years=20 / 365, clock=clock) as live:
        document = tmp_path / "openapi.json"
        document.write_bytes(httpx.get(f"{live.url}/openapi.json", trust_env=False, timeout=60).content)
        said = ran(
            str(generator),
            *("generate", "--path", str(document), "--meta", "none"),
            *("--output-path", str(tmp_path / "leadline_client")),
            folder=tmp_path,
            PATH=f"{generator.parent}:{os.environ['PATH']}",
        )
        left_out = [line for line in said.splitlines() if line.startswith(("WARNING", "ERROR"))]
        assert sorted(left_out) == [f"WARNING parsing GET {door}." for door in FILES], said
        strict = ("--strict", "--config-file=", "--follow-imports=silent")
        ran(sys.executable, "-m", "mypy", *strict, str(CALLER), folder=tmp_path, MYPYPATH=str(tmp_path))
        key = people.add_key(live.context, FIRST, role=Role.COUNTER, label="typed", vessel_id=PLOVER.vessel)
        chief = live.chief.headers["authorization"].removeprefix("Bearer ")
        counter = PLOVER.counter(1)
        told = ran(
            str(generator.with_name("python")),
            *(str(CALLER), live.url, key, chief, live.plant, counter, clock.at.isoformat()),
            folder=tmp_path,
            PYTHONPATH=str(tmp_path),
            NO_PROXY="*",
        ).splitlines()
    assert told[0].startswith("posted ")
    assert told[1].startswith("due alarm_test:")
    assert told[2].startswith("closed alarm_test:")
    assert told[2].endswith(" True True")
    assert told[3] == "refused 409"
