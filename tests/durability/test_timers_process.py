"""`leadline serve` and the process of its timers, both real: one dies, the other goes on, begins it anew, or goes along."""

import http.client
import json
import os
import signal
from contextlib import closing
from pathlib import Path

import pytest

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from tests.durability.office import until
from tests.durability.served import server, set_up

pytestmark = pytest.mark.rough


def _child(pid: int) -> int | None:
    """The server's timers' process. Source: proc(5), the files children and cmdline."""
    children = (one for file in Path(f"/proc/{pid}/task").glob("*/children") for one in file.read_text().split())
    found = (int(one) for one in children if "timers_process" in Path(f"/proc/{one}/cmdline").read_text())
    return next(found, None)


def _set_up(url: str) -> str:
    """A database with a ship; the office's key."""
    set_up(url)
    context, me = open_context(Settings(database=url)), Actor("set up", "set up", Role.ADMIN)
    try:
        people.add_person(
            context, me, person_id="office", name="Demo office", rank="office", role=Role.OFFICE, vessel_id=None
        )
        return people.add_key(context, me, role=Role.OFFICE, label="office", person_id="office")
    finally:
        context.db.close()


def _gone(pid: int) -> bool:
    try:
        return (
            Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
        )  # nobody has waited for it yet
    except OSError:
        return True


def _remarks(port: int) -> list[str]:
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as talk:
        talk.request("GET", "/readyz")
        found = json.loads(talk.getresponse().read())
    assert found["ready"]
    return found["remarks"]


def _turns(port: int, key: str) -> float:
    """Good turns of the tick that keeps up, as the server has heard."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as talk:
        talk.request("GET", "/metrics", headers={"Authorization": f"Bearer {key}"})
        answer = talk.getresponse()
        lines = answer.read().decode().splitlines()
    assert answer.status == 200, lines
    begin = 'leadline_timer_turns_total{timer="keep up"} '
    return next((float(line.removeprefix(begin)) for line in lines if line.startswith(begin)), 0.0)


def test_killed_timers_are_said_begun_anew_and_the_server_answers_on(tmp_path: Path) -> None:
    """Readiness says so in words while no timer runs; the next process takes its turns, as metrics tell."""
    url = str(tmp_path / "ship.db")
    key = _set_up(url)
    with server(url) as (serve, port):
        until(lambda: _turns(port, key), "no turn")
        first = until(lambda: _child(serve.pid), "no timers")
        os.kill(first, signal.SIGKILL)
        assert until(lambda: _remarks(port), "not said")[0].startswith("The server's timers do not run")
        second = until(lambda: _child(serve.pid), "not begun anew")
        assert second != first
        until(lambda: not _remarks(port) and _turns(port, key), "the new one takes no turn")
        serve.terminate()
        assert serve.wait(120) == 0
        assert _gone(second)


def test_killed_servers_leave_no_timers_and_the_next_one_starts_at_once(tmp_path: Path) -> None:
    """Killed while its timers start, and while they work: each time they end too, and the file is free for the next server."""
    url = str(tmp_path / "ship.db")
    key = _set_up(url)
    children: list[int] = []
    for working in (False, True, False):
        with server(url) as (serve, port):
            children.append(until(lambda pid=serve.pid: _child(pid), "no timers"))
            if working:
                until(lambda port=port: _turns(port, key), "no turn")
    until(lambda: all(_gone(one) for one in children), "timers go on without their server")
