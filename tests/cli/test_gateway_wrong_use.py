"""`leadline gateway` used wrongly on purpose: each time words, the exit code, and nothing made or lost."""

import sys
from pathlib import Path

import pytest

from tests.cli.calling import Told, leadline

WHOLE = 'server = "http://127.0.0.1:1"\nkey_file = "key"\n'
REGISTERS = """
[modbus.er]
host = "127.0.0.1"
port = 1
[counter.vp1]
table = "holding"
register = 0
kind = "u16"
seconds_per_count = 3600
"""


def gateway(folder: Path, *words: str, text: str = f"{WHOLE}{REGISTERS}") -> Told:
    """The command on a settings file with this text."""
    (folder / "gateway.toml").write_text(text)
    (folder / "key").write_text("ll_1_key")
    return leadline("gateway", "--settings", str(folder / "gateway.toml"), *words)


def says(told: Told, code: int, *words: str) -> None:
    """It failed so, in these words, with nothing on stdout."""
    assert told.returncode == code, told
    assert told.stdout == ""
    assert "Traceback" not in told.stderr
    for each in words:
        assert each in told.stderr, told.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--once --check", "--check and --once do not go together"),
        ("--panel vp1=5", "--panel goes with --check"),
        ("--send-again", "go with --put-aside"),
        ("--take-out x.csv", "go with --put-aside"),
        ("--put-aside --send-again --take-out x.csv", "do not go together"),
        ("--check --panel vp2=5", 'Did you mean "vp1"?'),
        ("--check --panel other=5", "Set are: vp1"),
        ("--check --panel vp1", "is no counter"),
        ("--check --panel vp1=many", "hours are expected, such as vp1=12345"),
        ("--onec", "--once"),
    ],
)
def test_wrong_use_is_2(tmp_path: Path, words: str, said: str) -> None:
    """What does not go together, and figures that are none."""
    says(gateway(tmp_path, *words.split()), 2, "Usage: leadline gateway", said)


def test_settings_that_are_wrong_are_all_named(tmp_path: Path) -> None:
    """The first in the sentence, the others below it."""
    told = gateway(tmp_path, "--once", text=f"{WHOLE}bufer = 1\nbuffer_mb = 0\n{REGISTERS}")
    says(told, 1, "2 things are wrong; the first: buffer_mb is 0", 'bufer: is not a setting. Did you mean "buffer"?')
    says(leadline("gateway", "--settings", str(tmp_path / "no.toml")), 1, "no.toml cannot be read", "--example")


def test_no_folder_no_key_no_buffer_no_registers(tmp_path: Path) -> None:
    """Each is told before anything is read; looking at the put-aside list makes no buffer."""
    dropping = f'{WHOLE}[folder]\npath = "drop"\n'
    says(gateway(tmp_path, "--once", text=dropping), 1, '("folder.path") cannot be used', "Make it")
    says(gateway(tmp_path, "--check", text=dropping), 1, "no [counter...] tables")
    (tmp_path / "gateway-buffer.db").unlink()
    says(gateway(tmp_path, "--put-aside"), 1, "has not run with these settings")
    away = f'buffer = "none/b.db"\n{WHOLE}{REGISTERS}'
    says(gateway(tmp_path, "--once", text=away), 1, "The folder of the buffer", "is not there")
    keyless = 'server = "http://127.0.0.1:1"\n' + REGISTERS
    says(gateway(tmp_path, "--once", text=keyless), 1, "No counter key", "LEADLINE_KEY")


def test_a_list_is_not_taken_out_over_a_file(tmp_path: Path) -> None:
    """What is there stays, and so does the list."""
    gateway(tmp_path, "--once")
    there = tmp_path / "x.csv"
    there.write_text("mine")
    says(gateway(tmp_path, "--put-aside", "--take-out", str(there)), 1, "is there already")
    assert there.read_text() == "mine"
    says(gateway(tmp_path, "--put-aside", "--take-out", "/no/such/x.csv"), 1, "cannot be written")


def test_without_pymodbus_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both to run and to check; files and standard input need no such package."""
    monkeypatch.setitem(sys.modules, "pymodbus.client", None)
    for words in ("--once", "--check"):
        says(gateway(tmp_path, words), 1, "pip install 'leadline[modbus]'")
    (tmp_path / "drop").mkdir()
    told = gateway(tmp_path, "--once", text=f'{WHOLE}[folder]\npath = "drop"\nsettle_seconds = 0\n')
    assert told.returncode == 0
    assert told.stdout == "0 read, 0 taken by the server, 0 put aside, 0 bad lines, 0 waiting\n"


def test_the_example_is_printed() -> None:
    """As the file stands."""
    told = leadline("gateway", "--example")
    assert told.returncode == 0
    assert 'word_order = "high first"' in told.stdout
