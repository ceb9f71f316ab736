"""`leadline hours`, `leadline intake`: values by name, from a file, at a terminal; what is not stored stays to be seen."""

import io
import json
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

import pytest

from seed_fleet.ships import PLOVER
from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


class Terminal(io.StringIO):
    """Keys typed at a terminal."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def at(hours_ago: float) -> str:
    """An instant some hours ago."""
    return (datetime.now(UTC) - timedelta(hours=hours_ago)).isoformat(timespec="seconds")


def test_each_is_named_by_position_or_counter(ship: Ship) -> None:
    """A position's name in any letters or a counter's id; each value is judged; twice the same is known."""
    words = ship.words("hours", "demo-plover", "vp1=102", f"{PLOVER.counter(1)}=55,5", "--at", at(0.1))
    told = json.loads(good(*words, "--json"))["readings"]
    assert [(one["counter"], one["status"]) for one in told] == [
        (PLOVER.counter(0), "stored"),
        (PLOVER.counter(1), "stored"),
    ]
    assert "first reading" in told[1]["says"]
    assert "Known already" in good(*words)


def test_what_is_not_stored_is_told_and_ends_1(ship: Ship) -> None:
    """An unknown name, no figure and another value at the same instant stop no other; each says what to do."""
    when = at(0.1)
    good(*ship.words("hours", "demo-plover", "vp1=102", "--at", when))
    told = leadline(*ship.words("hours", "demo-plover", "vp1=101", "vp9=1", "vp2=abc", "vp3=7", "--at", when))
    assert told.returncode == 1
    assert "Conflict: 102 is stored for this instant" in told.stdout
    assert "There is no counter or position vp9 on this vessel. Known: VP1" in told.stdout
    assert "'abc' is not one; a figure is expected" in told.stdout
    assert f"{PLOVER.counter(2)}: Stored" in told.stdout
    kept = json.loads(good(*ship.words("intake", "demo-plover", "--json")))["items"]
    assert [(one["status"], one["counter"]) for one in kept] == [("conflict", PLOVER.counter(0))]


@pytest.mark.parametrize("as_file", [True, False])
def test_a_table_is_read_from_a_file_or_from_standard_input(ship: Ship, as_file: bool) -> None:
    """counter,value with a heading; a third column is the instant of its own."""
    table = f"counter,value,observed_at\nVP2,10,{at(5)}\n\n{PLOVER.counter(2)},20.5\n"
    words = ship.words("hours", "demo-plover", "--json")
    if as_file:
        file = Path(ship.folder / "hours.csv")
        file.write_text(table, encoding="utf-8")
        told = json.loads(good(*words, "--file", str(file)))
    else:
        with patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(table.encode()))):
            told = json.loads(good(*words))
    assert [one["status"] for one in told["readings"]] == ["stored", "stored"]


def test_a_terminal_is_asked_counter_by_counter(ship: Ship) -> None:
    """What is no figure is asked again, an empty answer leaves the counter out."""
    with patch.object(sys, "stdin", Terminal("1o2\n102\n\n7\n")):
        told = leadline(*ship.words("hours", "demo-plover"))
    assert told.returncode == 0, told.stderr
    assert "VP1 " + PLOVER.counter(0) in told.stderr
    assert "'1o2' is not one" in told.stderr
    assert [line.split(":")[0] for line in told.stdout.splitlines()] == [PLOVER.counter(0), PLOVER.counter(2)]


def test_wrong_use_is_told_in_words(ship: Ship) -> None:
    """Nothing given, a file that is not there, an instant without offset, an instant to come, an unknown ship."""
    with patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO())):
        nothing = leadline(*ship.words("hours", "demo-plover"))
    assert (nothing.returncode, "No hours were given" in nothing.stderr) == (1, True)
    assert "cannot be read" in leadline(*ship.words("hours", "demo-plover", "--file", "/none.csv")).stderr
    assert leadline(*ship.words("hours", "demo-plover", "vp1=1", "--at", "2026-11-25")).returncode == 2
    assert "still to come" in leadline(*ship.words("hours", "demo-plover", "vp1=1", "--at", at(-5))).stderr
    assert leadline(*ship.words("hours", "demo-gannet", "vp1=1")).returncode == 1


@pytest.mark.long
def test_a_year_of_a_paper_log_goes_in_line_by_line(ship: Ship, tmp_path: Path) -> None:
    """Two counters a day for a year, each judged as if posted; what is not stored is named by its line; again changes nothing."""
    first = datetime.now(UTC).replace(microsecond=0) - timedelta(days=400)
    rows = [
        f"{name},{value + rate * day},{(first + timedelta(days=day)).isoformat()}"
        for day in range(365)
        for name, value, rate in (("VP2", 1000, 7), ("VP3", 2000, 8))
    ]
    rows[100] = rows[100].replace("VP2", "VP9")
    rows[201] = (
        f"{rows[199].rpartition(',')[0]}0,{rows[199].rpartition(',')[2]}"  # another value at an instant given already
    )
    file = tmp_path / "log.csv"
    file.write_text("\n".join(["counter,value,observed_at", *rows]) + "\n")
    told = leadline(*ship.words("hours", "demo-plover", "--file", str(file)))
    lines = told.stdout.splitlines()
    assert told.returncode == 1
    assert [line.split(":")[0] for line in lines[:-1]] == ["line 102, VP9", f"line 203, {PLOVER.counter(2)}"]
    assert "Conflict" in lines[1]
    assert lines[-1] == "728 of 730 values stored or known already."
    again = leadline(*ship.words("hours", "demo-plover", "--file", str(file), "--json"))
    said = json.loads(again.stdout)["readings"]
    assert [one["line"] for one in said] == list(range(2, 732))
    assert sum(one["status"] == "duplicate" for one in said) == 728
