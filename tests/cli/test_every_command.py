"""Every command and every option with the worst values, every kind of output that cannot be written, and Ctrl-C anywhere."""

import json
import os
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from tests.cli.calling import leadline, process
from tests.cli.conftest import Ship
from tests.cli.every_command import MAY_END_WITH, WAIT_FOR_EVER, WORST, asked_with, every_command, forked

COMMANDS = dict(every_command())
ENDING = [name for name in COMMANDS if name not in WAIT_FOR_EVER]


def plain(code: int, talk: str) -> bool:
    """Whether it ended as it should: with a code of ours, in words, by nothing unforeseen."""
    wrong = ("Traceback", "Something in Leadline failed", "Exception ignored", "Logging error")
    return code in MAY_END_WITH and not any(words in talk for words in wrong) and (code == 0 or bool(talk))


@pytest.fixture
def aboard(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ship]:
    """A ship to write to, in her folder, with somebody in it; nothing on standard input."""
    monkeypatch.chdir(ship.folder)
    words = ("key", "person", "second", "--name", "B", "--role", "chief", "--vessel", "demo-plover")
    with Path(os.devnull).open() as nothing:
        monkeypatch.setattr(sys, "stdin", nothing)
        assert leadline(*ship.words(*words)).returncode == 0
        yield ship


@pytest.mark.long
@pytest.mark.parametrize("name", ENDING)
def test_the_worst_value_of_each_option_is_answered_in_words(name: str, aboard: Ship) -> None:
    """One option at a time, the others right: a code of ours, words on stderr, and never a traceback."""
    command = COMMANDS[name]
    for one in command.params:
        values = ("",) if getattr(one, "is_flag", False) else WORST
        for value in values:
            words = [*name.split(), *asked_with(command, one.name, value)]
            told = leadline(*aboard.words(*words))
            assert plain(told.returncode, told.stderr + told.stdout), (words, told)


@pytest.mark.long
@pytest.mark.parametrize("value", WORST)
def test_the_worst_database_config_and_address_to_serve_at(value: str, aboard: Ship) -> None:
    """What stands before the command, and what the two that never end are given."""
    for words in (
        (f"--database={value}", "due"),
        (f"--config={value}", "due"),
        aboard.words("serve", f"--port={value}"),
        aboard.words("demo", f"--port={value}", "--folder=demo"),
        aboard.words("demo", f"--every={value}", "--folder=demo"),
        (f"--database={value}", "serve"),
        aboard.words("serve", f"--base-url={value}"),
        (value,),
        (value, value),
    ):
        with patch("uvicorn.Server.run"), patch("api.demo._scene", side_effect=KeyboardInterrupt):
            told = leadline(*words)
        assert plain(told.returncode, told.stderr or "130"), (words, told)


def _folder(tmp_path: Path, made: Ship) -> Path:
    folder = tmp_path / "own"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for file in made.folder.iterdir():
        shutil.copy(file, folder)
    return folder


@pytest.mark.long
@pytest.mark.parametrize("name", [*ENDING, "--help", "due --help", "--version"])
def test_an_output_that_cannot_be_written_is_said_and_lost_talk_changes_nothing(
    name: str, made: Ship, tmp_path: Path
) -> None:
    """stdout closed, full, or left by its reader: 1, in words where anybody reads them; stderr closed or full: the same code."""
    command = COMMANDS.get(name)
    words = ["--database", "ship.db", *name.split(), *([] if command is None else asked_with(command))]

    def end(ends: dict[int, Any]) -> tuple[int, str, str]:
        return forked(_folder(tmp_path, made), words, ends)

    code, out, talk = end({})
    assert plain(code, talk), (words, code, talk)
    for lost in (None, "/dev/full"):
        assert end({2: lost})[:2][0] == code
        found, _, said = end({1: lost})
        assert plain(found, said), (words, found, said)
        assert found == (1 if out else code), (words, found, said)
        assert ("Standard output cannot be written" in said) == bool(out)
        assert end({1: lost, 2: lost})[0] == (1 if out else code)
    reader, writer = os.pipe()
    os.close(reader)
    found, _, said = end({1: writer})
    os.close(writer)
    assert found == (1 if out else code)
    assert "Traceback" not in said


@pytest.mark.parametrize("lost", [None, "/dev/full"])
def test_an_output_that_is_lost_is_said(lost: str | None, made: Ship, tmp_path: Path) -> None:
    """The same for one command in the quick tests: nothing was shown, so it does not end well."""
    code, _, talk = forked(_folder(tmp_path, made), ["--database", "ship.db", "due"], {1: lost})
    assert (code, "Standard output cannot be written" in talk) == (1, True)
    assert forked(_folder(tmp_path, made), ["--database", "ship.db", "key", "revoke", "x"], {1: lost, 2: lost})[0] == 1


@pytest.mark.long
@pytest.mark.parametrize(
    "words", ["due", "plan plover-plant --new", "import plover.json --replace", "history demo-plover"]
)
def test_an_interrupt_at_any_time_ends_it_quietly(words: str, made: Ship, tmp_path: Path) -> None:
    """At calls further and further in: 130, or done before it came; no traceback, and the database is sound."""
    after, ended = 3, set()  # the first two calls are this harness and the entry itself
    while after < 3_000_000:
        folder = _folder(tmp_path, made)

        def interrupt(calls: int = after) -> None:
            left = calls

            def count(_frame: object, event: str, _what: object) -> None:
                nonlocal left
                left -= event == "call"
                if left == 0:
                    sys.setprofile(None)
                    os.kill(os.getpid(), 2)

            sys.setprofile(count)

        code, _, talk = forked(folder, ["--database", "ship.db", *words.split()], {}, interrupt)
        assert code in (0, 130), (after, code, talk)
        assert "Traceback" not in talk, (after, talk)
        assert "Exception ignored" not in talk, (after, talk)
        with sqlite3.connect(folder / "ship.db") as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        database.close()
        ended.add(code)
        after = int(after * 1.7) + 1
    assert 130 in ended


@pytest.mark.long
@pytest.mark.parametrize(
    "own",
    [
        {"LC_ALL": "C"},
        {"LC_ALL": "POSIX"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "latin-1"},
        {"PYTHONIOENCODING": "ascii:strict"},
    ],
)
def test_the_alphabet_of_the_terminal_changes_no_data(own: dict[str, str], aboard: Ship) -> None:
    """A ship's name of letters that the locale does not have is the same UTF-8 in every pipe."""
    (aboard.folder / "named.json").write_text(json.dumps(aboard.document | {"name": "Demo Plöver Ждать 泵"}))
    assert leadline(*aboard.words("import", "named.json", "--replace")).returncode == 0
    told = process(*aboard.words("vessel", "show", "demo-plover"), **own)
    assert told.returncode == 0, told.stderr
    assert '"Demo Plöver Ждать 泵"' in told.stdout
    shown = process(*aboard.words("minimum", "plover-plant", "--closets=9", "--flushes=5", "--litres=60"), **own)
    assert "m³/h of free air" in shown.stdout
