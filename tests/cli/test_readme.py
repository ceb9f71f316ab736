"""README is short, its one picture is there, and what it says to type works."""

import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from api.commands.shared.exit_codes import ExitCode
from api.pages.manual.chapters import size_of
from tests.api.test_manual import must_be_a_command

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
MOST_LINES = 120
OTHERWISE = {
    "leadline gateway --check": ExitCode.NOT_VERIFIED,
    "leadline --database ship.db doctor": ExitCode.COULD_NOT,
}
"""What ends otherwise here, rightly: no plant is there to prove a counter on, and its counters were never read."""


def _blocks() -> list[str]:
    return re.findall(r"```\n(.*?)```", README, re.S)


def _lines() -> list[str]:
    """Every command of the blocks, in order, without its comment."""
    return [line.split("   #")[0].strip() for block in _blocks() for line in block.splitlines()]


def test_it_is_short_and_has_one_picture() -> None:
    """At most 120 lines; the picture is in the package; the marks that CI goes by are there."""
    assert len(README.splitlines()) <= MOST_LINES
    (picture,) = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert size_of(ROOT / picture) == (1280, 800)
    for mark in ("demo", "tests"):
        block = README.partition(f"<!-- {mark} -->")[2].partition("<!-- end -->")[0].strip().splitlines()
        assert len(block) == 3, mark


@pytest.mark.long
def test_every_command_in_it_is_one() -> None:
    """In blocks and sentences, with the options it is named with."""
    named = [line for line in _lines() if line.startswith("leadline ")]
    named += re.findall(r"`(?:\.venv/bin/)?(leadline [^`]+)`", README)
    assert len(named) > 15
    for line in named:
        must_be_a_command(line.split(" > ")[0])


@pytest.mark.long
def test_every_command_in_it_works(tmp_path: Path) -> None:
    """One after the other on an empty folder: each ends well; server and gateway begin, and end in order when told to."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "LEADLINE_PORT": "0"}
    (tmp_path / "readings").mkdir()  # the folder of the gateway's example
    lines = [line for line in _lines() if line.startswith("leadline ")]
    with ExitStack() as running:
        for line in lines:
            if " upgrade" in line:
                running.close()
            if " serve " in line:
                begun = _begun(line, tmp_path, env, "Leadline", "Finished server process", ExitCode.GOOD)
                running.enter_context(begun)
            elif line == "leadline gateway":
                with _begun(line, tmp_path, env, "Sending to", "", ExitCode.GOOD):
                    pass
            else:
                done = subprocess.run(
                    _shell(line), shell=True, cwd=tmp_path, env=env, capture_output=True, text=True, timeout=120
                )
                expected = OTHERWISE.get(line, ExitCode.GOOD)
                assert done.returncode == expected, (line, done.stdout, done.stderr)
                if " key add counter " in line:
                    (tmp_path / "counter.key").write_text(re.search(r"ll_\S+", done.stdout)[0], encoding="utf-8")
    assert (tmp_path / "history.xlsx").stat().st_size > 1000


def _shell(line: str) -> str:
    return f"{shlex.quote(sys.executable)} -m api {line.removeprefix('leadline ')}"


@contextmanager
def _begun(line: str, folder: Path, env: dict[str, str], says: str, last: str, code: int) -> Iterator[None]:
    """A command that goes on: begun when it has said `says`, then ended by SIGTERM, in order, with that code and `last` words."""
    command = [sys.executable, "-m", "api", *shlex.split(line)[1:]]
    process = subprocess.Popen(
        command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    assert process.stdout is not None
    try:
        assert any(says in said for said in process.stdout), f"{line}: ended before it said {says!r}"
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        rest = process.communicate(timeout=60)[0]
    assert process.returncode == code, (line, process.returncode, rest)
    assert last in rest, (line, rest)
