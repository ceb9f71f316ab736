"""Calls the command: in this process where that is enough, as a process where the exit itself is what is looked at."""

import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from unittest.mock import patch

from api.__main__ import main


@dataclass(frozen=True, slots=True)
class Told:
    """What the command answered."""

    returncode: int
    stdout: str
    stderr: str


def _environment(own: dict[str, str]) -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")} | own


def leadline(*words: str, **own: str) -> Told:
    """The command's entry called with these words and, of LEADLINE_*, this environment alone."""
    out, talk = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="", write_through=True) for _ in range(2))
    code = 0
    with (
        patch.object(sys, "argv", ["leadline", *words]),
        patch.dict(os.environ, _environment(own), clear=True),
        redirect_stdout(out),
        redirect_stderr(talk),
    ):
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    return Told(code, _text(out), _text(talk))


def _text(stream: io.TextIOWrapper) -> str:
    raw = stream.buffer
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode(errors="replace")


def process(*words: str, patience_s: float = 120, **own: str) -> Told:
    """The same as a process of its own, neither stream a terminal."""
    done = subprocess.run(
        [sys.executable, "-m", "api", *words],
        capture_output=True, text=True, timeout=patience_s, check=False, env=_environment(own), stdin=subprocess.DEVNULL,
    )  # fmt: skip
    return Told(done.returncode, done.stdout, done.stderr)


def good(*words: str, **own: str) -> str:
    """Standard output of a command that must succeed."""
    told = leadline(*words, **own)
    assert told.returncode == 0, (words, told.stderr)
    return told.stdout
