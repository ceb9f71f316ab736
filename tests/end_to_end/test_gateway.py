"""The gateway between a real Modbus TCP server and a real Leadline server: whatever is cut, nothing is lost and nothing twice.

What the simulated automation showed is compared with the readings in the database, one by one.
"""

import json
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest

from api.gateway.buffer import Buffer, open_buffer
from api.gateway.folder import Drop
from api.gateway.running import Gateway, Teller
from api.gateway.sender import Sender
from api.gateway.settings import load_gateway
from tests.cli.calling import leadline
from tests.end_to_end.automation import (
    READING_FUNCTIONS,
    Automation,
    Leadline,
    free_port,
    leadline_server,
    relay,
    write_settings,
)

START = datetime(2026, 11, 24, 7, tzinfo=UTC)


@dataclass(slots=True)
class Time:
    """Both clocks of a gateway; the test turns them."""

    passed_seconds: float = 0.0

    def clock(self) -> datetime:
        """UTC."""
        return START + timedelta(seconds=self.passed_seconds)

    def running(self) -> float:
        """Seconds."""
        return self.passed_seconds


@dataclass(slots=True)
class Aboard:
    """A gateway in this process, on handed-in time."""

    gateway: Gateway
    buffer: Buffer
    time: Time
    said: list[str]
    client: httpx.Client

    def work(self, seconds: float) -> None:
        """Let it work for so long, jumping from one thing due to the next."""
        end = self.time.passed_seconds + seconds
        while self.time.passed_seconds < end:
            self.time.passed_seconds += max(self.gateway.turn(), 0.001)


@contextmanager
def aboard(file: Path, time: Time) -> Iterator[Aboard]:
    """A gateway with the settings in a file."""
    settings = load_gateway(file)
    key = settings.key_file.read_text().strip() if settings.key_file else ""
    said: list[str] = []
    buffer = open_buffer(settings.buffer)
    drop = Drop(settings.folder, buffer) if settings.folder else None
    if drop is not None:
        drop.set_up()
    headers = {"Authorization": f"Bearer {key}"}
    with httpx.Client(base_url=settings.server, headers=headers, trust_env=False) as client:
        gateway = Gateway(
            settings=settings,
            buffer=buffer,
            sender=Sender(client, buffer, time.clock),
            clock=time.clock,
            running=time.running,
            chance=lambda: 0.5,
            tell=Teller(said.append, time.clock, time.running),
            drop=drop,
        )
        try:
            yield Aboard(gateway, buffer, time, said, client)
        finally:
            buffer.close()


@pytest.fixture
def automation() -> Iterator[Automation]:
    """Answering; at the end of every test it is looked at that nothing but reading was ever asked of it."""
    with Automation().running() as plant:
        yield plant
    assert plant.functions
    assert set(plant.functions) <= READING_FUNCTIONS


@pytest.fixture(scope="module")
def one_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Leadline]:
    """A server for the tests that leave it standing."""
    with leadline_server(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.mark.long
def test_link_cut_for_a_day_server_restarted_devices_gone_for_an_hour(tmp_path: Path, automation: Automation) -> None:
    """A day's readings wait in the buffer and arrive with their own stamps; then either end goes away and comes back.

    Last the gateway's clock goes wrong by an hour, and the server's word on it is said.
    """
    time = Time()
    server = Leadline(tmp_path, clock=time.clock)
    server.start()  # once, so that there is a key
    server.stop()
    file = write_settings(tmp_path, url=server.url, key=server.key, modbus=automation.port, every=1800)
    with aboard(file, time) as ship:
        ship.work(86_400)
        assert ship.buffer.waiting() == len(automation.shown) == 3 * 48
        assert server.values() == []
        assert sum("does not answer" in line for line in ship.said) <= 25  # said once, then once an hour
        server.start()
        try:
            ship.work(1800)
            assert ship.buffer.waiting() == 0
            assert server.values() == sorted(automation.shown)
            seen_at = {at_s for _, at_s, _ in server.stored()}
            assert seen_at == {int(START.timestamp()) + 1800 * n for n in range(49)}
            automation.stop()
            ship.work(3600)
            automation.start()
            ship.work(3600)
            assert server.values() == sorted(automation.shown)
            assert any("nobody answers at 127.0.0.1" in line for line in ship.said)
            assert any("engine-room answers again" in line for line in ship.said)
            server.stop()
            ship.work(3600)
            assert ship.buffer.waiting() == 6
            server.start()
            ship.work(900)
            assert ship.buffer.waiting() == 0
            assert server.values() == sorted(automation.shown)
            assert ship.buffer.put_aside() == []
            ship.gateway.sender.clock = lambda: time.clock() + timedelta(hours=1)
            ship.work(1800)
            assert any("clock is 3600 s ahead" in line for line in ship.said)
        finally:
            server.stop()


def process(file: Path, *words: str) -> subprocess.Popen[str]:
    """A gateway as a process of its own."""
    command = [sys.executable, "-m", "api", "gateway", "--settings", str(file), *words]
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


@pytest.mark.long
def test_killed_between_the_servers_commit_and_its_answer(tmp_path: Path, automation: Automation) -> None:
    """kill -9 when the batch is stored and the answer is on its way: sent again at the next start, nothing twice.

    The second one runs until SIGTERM and ends cleanly, with 0.
    """
    with leadline_server(tmp_path) as server, ExitStack() as stack:
        answered = threading.Event()
        kill = []
        port = stack.enter_context(relay(server.port, answered, kill))
        through = write_settings(tmp_path, url=f"http://127.0.0.1:{port}", key=server.key, modbus=automation.port)
        with process(through) as first:
            kill.append(first.kill)
            assert first.wait(30) == -signal.SIGKILL
        assert answered.is_set()
        before = server.values()
        assert len(before) == 3
        buffer = open_buffer(tmp_path / "buffer.db")
        waiting = buffer.front(1000)
        buffer.close()
        assert [(one.counter, int(one.value)) for one in waiting] == automation.shown[:3]
        straight = write_settings(tmp_path, url=server.url, key=server.key, modbus=automation.port)
        with process(straight) as second:
            assert second.stderr is not None
            assert "3 readings wait in the buffer" in second.stderr.readline()
            while len(server.values()) < 6:
                assert second.poll() is None
            second.send_signal(signal.SIGTERM)
            assert second.wait(30) == 0
            assert "Ended; 0 readings wait" in second.stderr.read()
        stored = server.values()
        # A second look at a register within one second is not taken, so what was shown may be more.
        assert set(before) <= set(stored) <= set(automation.shown)
        assert len(stored) == len(set(stored))


def test_refused_and_conflict_are_put_aside_shown_and_sent_again(tmp_path: Path, one_server: Leadline) -> None:
    """Three lines for one instant: stored, duplicate, conflict; an unknown counter is refused. Nothing is dropped."""
    with Automation().running() as automation:
        more = '[folder]\npath = "drop"\nsettle_seconds = 0'
        file = write_settings(tmp_path, url=one_server.url, key=one_server.key, modbus=automation.port, more=more)
        drop = tmp_path / "drop"
        drop.mkdir()
        stamp = "2026-10-01T00:00:00Z"
        lines = [f"plover-vp1-hours,{stamp},{value}" for value in (5, 5, 6)]
        lines += [f"plover-vp9-hours,{stamp},5", "plover-vp1-hours,yesterday,5", ""]
        (drop / "a.csv").write_text("\n".join(lines))
        told = leadline("gateway", "--settings", str(file), "--once", "--json")
        assert json.loads(told.stdout) == {
            "read": 7, "taken by the server": 5, "put aside": 2, "bad lines": 1, "waiting": 0,
        }  # fmt: skip
        assert told.returncode == 1
        assert {name.name for name in drop.rglob("*")} == {"done", "a.csv", "a.csv.problems"}
        assert (drop / "done" / "a.csv").read_text() == "\n".join(lines)
        problems = (drop / "done" / "a.csv.problems").read_text()
        assert "line 5" in problems
        assert "plover-vp1-hours,yesterday,5" in problems
        shown = leadline("gateway", "--settings", str(file), "--put-aside").stdout.splitlines()
        assert [line.split("  ")[0] for line in shown] == [f"plover-vp1-hours,{stamp},6", f"plover-vp9-hours,{stamp},5"]
        assert "conflict (a.csv line 3): plover-vp1-hours: another value is stored" in shown[0]
        assert "no counter" in shown[1]
        assert leadline("gateway", "--settings", str(file), "--put-aside", "--send-again").stdout.startswith("2 ")
        assert leadline("gateway", "--settings", str(file), "--once").returncode == 1
        out = tmp_path / "aside.csv"
        assert leadline("gateway", "--settings", str(file), "--put-aside", "--take-out", str(out)).returncode == 0
        assert out.read_text().count(stamp) == 2
        assert leadline("gateway", "--settings", str(file), "--put-aside").stdout == ""


def test_standard_input_to_its_end(tmp_path: Path, one_server: Leadline, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines on a pipe arrive as they are; a line cut short at the end is put aside, not guessed; then it ends by itself."""
    (tmp_path / "key").write_text(one_server.key)
    file = tmp_path / "gateway.toml"
    file.write_text(f'server = "{one_server.url}"\nkey_file = "key"\nstandard_input = true\n')
    lines = "".join(f"plover-vp2-hours,2026-09-01T{hour:02}:00:00+01:00,{hour}.5\n" for hour in range(20))
    piped = tmp_path / "piped"
    piped.write_text(f"{lines}plover-vp2-hours,2026-09-02T00:00:00Z,12")
    with piped.open() as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        told = leadline("gateway", "--settings", str(file))
    assert told.returncode == 0
    assert "line 21: it is the last and has no line end" in told.stderr
    first = int(datetime(2026, 8, 31, 23, tzinfo=UTC).timestamp())
    found = [(at_s, value) for counter, at_s, value in one_server.stored() if counter == "plover-vp2-hours"]
    assert [pair for pair in found if pair[0] < first + 86_400] == [(first + 3600 * n, n) for n in range(20)]
    shown = leadline("gateway", "--settings", str(file), "--put-aside").stdout
    assert shown.startswith("plover-vp2-hours,2026-09-02T00:00:00Z,12  not a reading (standard input): line 21")


@pytest.mark.long
def test_a_server_away_is_75_and_a_wrong_key_deletes_nothing(tmp_path: Path, automation: Automation) -> None:
    """`--once`: what was read waits in the buffer, and the words say why."""
    with leadline_server(tmp_path) as server:
        away = f"http://127.0.0.1:{free_port()}"
        file = write_settings(tmp_path, url=away, key=server.key, modbus=automation.port)
        told = leadline("gateway", "--settings", str(file), "--once")
        assert (told.returncode, "does not answer" in told.stderr) == (75, True)
        write_settings(tmp_path, url=server.url, key="ll_00000000_wrong", modbus=automation.port)
        told = leadline("gateway", "--settings", str(file), "--once")
        assert (told.returncode, "Check the counter key" in told.stderr) == (75, True)
        assert server.values() == []
        write_settings(tmp_path, url=server.url, key=server.key, modbus=automation.port)
        assert leadline("gateway", "--settings", str(file), "--once").returncode == 0
        assert set(server.values()) <= set(automation.shown)  # a round within the second of the one before is not taken
        assert len(server.values()) % 3 == 0
        assert leadline("gateway", "--settings", str(file), "--put-aside").stdout == ""


def test_check_proves_or_says_which_setting_fits(tmp_path: Path, automation: Automation) -> None:
    """70000 in swapped words is 292552705: told from the panel's figure, with the exit code for a script."""
    file = write_settings(tmp_path, url="http://127.0.0.1:1", key="ll_x", modbus=automation.port)
    automation.steps = 0
    panels = [
        "--panel", "plover-vp1-hours=70000", "--panel", "plover-vp2-hours=12345.6", "--panel", "plover-vp3-hours=400",
    ]  # fmt: skip
    told = leadline("gateway", "--settings", str(file), "--check", *panels)
    assert told.returncode == 0, told
    assert "3 of 3 counters proven" in told.stderr
    assert "292552705 counts" in told.stdout
    assert "set modulus 65536" not in told.stdout
    without = leadline("gateway", "--settings", str(file), "--check", *panels[:4])
    assert without.returncode == 7
    assert "--panel plover-vp3-hours=HOURS" in without.stdout
    file.write_text(file.read_text().replace('"high first"', '"low first"').replace("register = 104", "register = 105"))
    wrong = leadline("gateway", "--settings", str(file), "--check", *panels, "--json")
    assert wrong.returncode == 7
    (first, _, third) = json.loads(wrong.stdout)["counters"]
    assert first["says"][-1] == (
        "Not proven: the settings do not fit 70000 h. This does: u32, high first with seconds_per_count 3600."
    )
    assert "register 104, u16 with seconds_per_count 3600" in third["says"][-1]
    automation.stop()
    gone = leadline("gateway", "--settings", str(file), "--check", *panels)
    assert (gone.returncode, "nobody answers" in gone.stderr) == (7, True)
