"""The gateway killed over and over, and with it the links: nothing kept is lost, nothing stored twice. Run with -m rough."""

import random
import signal
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.calling import leadline
from tests.end_to_end.automation import Automation, Leadline, leadline_server, write_settings
from tests.end_to_end.test_gateway import process

pytestmark = pytest.mark.rough
KILLS = 15
LINES = 40_000


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Leadline]:
    with leadline_server(tmp_path) as one:
        yield one


def kept(folder: Path) -> set[tuple[str, int]]:
    """What the gateway's buffer holds durably, read from its file while nobody has it open."""
    if not (folder / "buffer.db").exists():
        return set()
    with sqlite3.connect(folder / "buffer.db") as db:
        try:
            rows = db.execute("SELECT counter, value FROM queue").fetchall()
        except sqlite3.OperationalError:
            return set()  # killed before it made its tables
    db.close()
    return {(counter, int(value)) for counter, value in rows}


def test_killed_at_any_moment(tmp_path: Path, server: Leadline) -> None:
    """kill -9 at random moments while a large file is taken and sent and registers are read; also between.

    Whatever the buffer or the server had at any kill is in the server at the end; the file is in done/ with every line
    stored; and nothing was put aside, so nothing came twice with another value.
    """
    dice = random.Random(7)
    drop = tmp_path / "drop"
    drop.mkdir()
    values = range(1_000_000, 1_000_000 + LINES)
    text = "".join(
        f"plover-vp1-hours,2025-{1 + n // 20_000:02}-01T{n // 3600 % 24:02}:{n // 60 % 60:02}:{n % 60:02}Z,{1_000_000 + n}\n"
        for n in range(LINES)
    )
    (drop / "a.csv").write_text(text)
    more = '[folder]\npath = "drop"\nsettle_seconds = 0'
    with Automation().running() as plant:
        file = write_settings(tmp_path, url=server.url, key=server.key, modbus=plant.port, more=more)
        seen: set[tuple[str, int]] = set()
        for round_no in range(KILLS):
            if round_no % 5 == 3:
                server.stop()
            if round_no % 5 == 4:
                plant.stop()
            with process(file) as child:
                time.sleep(dice.uniform(0.4, 2.5))
                child.kill()
            if round_no % 5 == 3:
                server.start()
            if round_no % 5 == 4:
                plant.start()
            seen |= kept(tmp_path) | set(server.values())
        with process(file) as last:
            deadline = time.monotonic() + 60
            while not (drop / "done" / "a.csv").exists() or kept(tmp_path):
                assert last.poll() is None
                assert time.monotonic() < deadline
                time.sleep(0.2)
            last.terminate()
            # Where all was done before it began, it may be asked to end before it listens for that.
            assert last.wait(30) in (0, -signal.SIGTERM)
        shown = set(plant.shown)
        assert set(plant.functions) <= {3, 4}
    stored = server.values()
    assert len(stored) == len(set(stored)), "stored twice"
    assert seen <= set(stored), "kept once and lost"
    from_file = {("plover-vp1-hours", value) for value in values}
    assert from_file <= set(stored)
    assert set(stored) - from_file <= shown, "stored and never shown"
    assert len(shown - set(stored)) <= 3 * 2 * (KILLS + 1), "more lost than the rounds under way when it was killed"
    with sqlite3.connect(tmp_path / "buffer.db") as db:
        assert db.execute("SELECT count(*) FROM aside").fetchone() == (0,)
    db.close()


def test_the_disk_fills_up(tmp_path: Path, server: Leadline) -> None:
    """A buffer of 1 MB and a server away: it says it is full and goes on; with the server back everything kept arrives."""
    url = server.url
    lines = "".join(f"plover-vp1-hours,2025-01-01T00:{n // 60:02}:{n % 60:02}Z,{n}\n" for n in range(3000))
    drop = tmp_path / "drop"
    drop.mkdir()
    for day in range(1, 16):
        (drop / f"{day:02}.csv").write_text(lines.replace("2025-01-01", f"2025-01-{day:02}"))
    more = 'buffer_mb = 1\n[folder]\npath = "drop"\nsettle_seconds = 0'
    with Automation().running() as plant:
        server.stop()
        file = write_settings(tmp_path, url=url, key=server.key, modbus=plant.port, more=more)
        with process(file) as child:
            assert child.stderr is not None
            for line in child.stderr:
                if '("buffer_mb")' in line:
                    break
            assert "--put-aside" in line
            server.start()
            deadline = time.monotonic() + 60
            while len(list((drop / "done").iterdir())) < 15:
                assert child.poll() is None
                assert time.monotonic() < deadline
                time.sleep(0.2)
            child.terminate()
            assert child.wait(30) == 0
    stored = [row for row in server.stored() if row[0] == "plover-vp1-hours" and row[1] < 1_740_000_000]
    assert len(stored) == 15 * 3000
    assert (tmp_path / "buffer.db").stat().st_size <= 1024 * 1024


def test_a_late_answer_is_never_taken_for_the_next_counters(tmp_path: Path, server: Leadline) -> None:
    """VP1 answers after the gateway has given up on it; VP2, of the same form, still gets its own figure or none."""
    with Automation(late_seconds=0.9).running() as plant:
        file = write_settings(tmp_path, url=server.url, key=server.key, modbus=plant.port)
        text = file.read_text().replace("timeout_seconds = 20", "timeout_seconds = 0.5")
        file.write_text(text.replace('table = "input"', 'table = "holding"'))
        for _ in range(4):
            told = leadline("gateway", "--settings", str(file), "--once")
            assert told.returncode == 1
            assert "plover-vp1-hours: engine-room, holding register 100: no answer within 0.5 s" in told.stderr
        assert {counter for counter, _ in server.values()} <= {"plover-vp2-hours", "plover-vp3-hours"}
        assert set(server.values()) <= set(plant.shown)
        assert len(server.values()) > 0
