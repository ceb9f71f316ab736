"""Every command with its options as the program offers them, and how to call each; no list to be forgotten."""

import fcntl
import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import typer

from api.__main__ import main
from api.commands.app import app

GOOD = {
    "vessel": "demo-plover", "plant": "plover-plant", "counter": "plover-vp1-hours", "pump": "plover-pump-b",
    "key": "knife_inspection:plover-pump-b-knives:1", "job": "knife_inspection:plover-pump-b-knives:1", "file": "plover.json",
    "person": "second", "by": "A. Second", "at": "2026-11-20T07:00:00Z", "from_at": "2099-01-01T00:00:00Z",
    "to_at": "2099-01-02T00:00:00Z", "role": "office", "kind": "sea", "first": "2099-01-01", "last": "2099-01-02",
    "result": "passed", "test": "passed", "minimum": "40", "hours": "4", "value": "123", "day": "2099-01-01", "on": "2099-01-01",
    "as_": "chief", "number": "1", "name": "A. Second", "label": "desk", "reason": "because", "feed_id": "00000000",
    "prefix": "00000000", "event": "1", "event_id": "1", "closets": "100", "flushes": "5", "litres": "60", "cause": "leak",
}  # fmt: skip
"""Values that are right by the name of what is asked for; what is not here is asked for with 1."""

WORST = (
    "", " ", "-", "--", "-1", "0", "é", "\u202e\x1b[2J", "\udcff", "nan", "-inf", "1e308", "-1e308", str(2**63), "9" * 5000,
    "=", "a=1e308", "/", "/dev/full", "x" * 300, "2026-02-30", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "Z" * 70_000,
)  # fmt: skip
WAIT_FOR_EVER = ("serve", "demo", "worker")
"""Commands that go on until they are ended, whatever they are given."""
MAY_END_WITH = frozenset({0, 1, 2, 3, 4, 5, 6, 7, 75, 130})


def every_command() -> Iterator[tuple[str, Any]]:
    """(words, command) of each, groups left out."""

    def walk(words: tuple[str, ...], found: Any) -> Iterator[tuple[str, Any]]:
        inner = getattr(found, "commands", None)
        if inner is None:
            yield " ".join(words), found
        for name, one in (inner or {}).items():
            yield from walk((*words, name), one)

    yield from walk((), typer.main.get_command(app))


def asked_with(command: Any, odd: str = "", value: str = "") -> list[str]:
    """Words for it: all that it needs with a good value, and the parameter `odd` with that value."""
    options, arguments = [], []
    for one in command.params:
        if one.name != odd and not one.required:
            continue
        given = value if one.name == odd else GOOD.get(one.name, "1")
        if one.param_type_name == "argument":
            arguments.append(given)
        elif one.is_flag:
            options.append(one.opts[0])
        else:
            options.append(f"{max(one.opts, key=len)}={given}")
    return [*options, "--", *arguments]


Ends = dict[int, int | str | None]
"""What a file descriptor of the command is: another descriptor, a file to write to, or none: closed."""


def forked(
    folder: Path, words: list[str], ends: Ends, before: Callable[[], object] = lambda: None
) -> tuple[int, str, str]:
    """(exit code, stdout, stderr) of the command as a process of its own; far quicker than a new Python for each.

    before: called in the child at the last moment. What Python does to the streams at its end is done here as well.
    """
    out, talk = folder / "stdout", folder / "stderr"
    child = os.fork()
    if child == 0:  # pragma: no cover - measured by its exit
        code = 99
        try:
            os.chdir(folder)
            _set({0: "/dev/null", 1: str(out), 2: str(talk)} | ends)
            _streams()
            sys.argv = ["leadline", *words]
            signal.signal(signal.SIGINT, signal.default_int_handler)
            sys.unraisablehook = sys.__unraisablehook__
            os.environ.pop("PYTEST_CURRENT_TEST", None)
            before()
            code = _code_of()
        finally:
            os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    said = [file.read_text(encoding="utf-8", errors="replace") if file.exists() else "" for file in (out, talk)]
    for file in (out, talk):
        file.unlink(missing_ok=True)
    return code, said[0], said[1]


def _set(ends: Ends) -> None:
    high = {
        number: fcntl.fcntl(
            os.open(end, os.O_CREAT | (os.O_WRONLY if number else os.O_RDONLY)) if isinstance(end, str) else end,
            fcntl.F_DUPFD,
            100,
        )
        for number, end in ends.items()
        if end is not None
    }
    for number in ends:
        if number in high:
            os.dup2(high[number], number)
        else:
            os.close(number)
    os.closerange(3, 200)


def _streams() -> None:
    """As Python makes them when it starts: none where the descriptor is closed."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            stream = None
        else:
            stream = open(number, "w" if number else "r", encoding="utf-8", closefd=False)  # noqa: SIM115
        setattr(sys, name, stream)
        setattr(sys, f"__{name}__", stream)


def _code_of() -> int:
    try:
        main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    else:
        code = 98
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, AttributeError):
            return 120  # Python's own code where the last words are lost
    return code
