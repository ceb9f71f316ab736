"""The gateway's settings file: the example works, and every key and value that is wrong is named, all at once."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from api.gateway.registers import Layout, RegisterKind, WordOrder
from api.gateway.sender import read_key
from api.gateway.settings import EXAMPLE, DropFolder, load_gateway, parse
from scheduler.errors import Refused

HERE = Path("/aboard/gateway.toml")


def document(text: str = "") -> dict[str, Any]:
    """The example, with what is given put over it."""
    return tomllib.loads(EXAMPLE.read_text()) | tomllib.loads(text)


def faults(raw: dict[str, Any]) -> dict[str, str]:
    """What is wrong, by name."""
    with pytest.raises(Refused) as error:
        parse(raw, HERE)
    assert str(HERE) in error.value.says
    assert error.value.faults[0][1] in error.value.says
    return dict(error.value.faults)


def test_the_example_is_a_whole_settings_file() -> None:
    """It reads as it stands, and its values are what its words say; paths are relative to the file."""
    settings = load_gateway(EXAMPLE)
    first, second = settings.counters
    assert first.layout == Layout(RegisterKind.U32, WordOrder.HIGH_FIRST)
    assert (first.table, first.register, first.modulus) == ("holding", 100, 100_000)
    assert second.says() == "input register 7 of engine-room"
    assert settings.folder == DropFolder(path=EXAMPLE.parent / "readings", settle_seconds=5)
    assert settings.key_file == EXAMPLE.parent / "counter.key"


@pytest.mark.parametrize(
    ("text", "name", "says"),
    [
        ('sever = "x"', "sever", 'Did you mean "server"?'),
        ("zzz = 1", "zzz", "Known here: buffer, buffer_mb, counter,"),
        ("server = 5", "server", "is 5; expected a text"),
        ('server = "leadline.lan"', "server", "such as http://leadline.lan:8322"),
        ('server = "http://[::1"', "server", "such as http://"),
        ('server = "http://lan/api/v1"', "server", "the server's address alone"),
        ('server = "http://a b"', "server", "such as http://"),
        ("buffer_mb = 0", "buffer_mb", "a whole number from 1 to 100000"),
        ("buffer_mb = true", "buffer_mb", "is True"),
        ('every_seconds = "often"', "every_seconds", "seconds from 1 to 86400"),
        ("every_seconds = nan", "every_seconds", "seconds from 1 to 86400"),
        ('standard_input = "yes"', "standard_input", "true or false"),
        ("folder = 1", "folder", "expected a table [folder]"),
        ("[folder]\nsettle_seconds = 1", "folder.path", "is missing; expected a text"),
        ('[folder]\npath = "a"\nsetle_seconds = 1', "folder.setle_seconds", '"settle_seconds"'),
        ("[modbus]\nhost = 1", "modbus.host", "expected a table [modbus.NAME]"),
        ("[modbus.er]\nport = 0", "modbus.er.host", "is missing"),
        ("[modbus.er]\nport = 0", "modbus.er.port", "from 1 to 65535"),
        ("[modbus.er]\nport = 0", "counter.plover-vp1-hours.device", '"engine-room"; expected "er"'),
    ],
)
def test_a_wrong_value_is_named(text: str, name: str, says: str) -> None:
    """Each with what was expected."""
    assert says in faults(document(text))[name]


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("kind", "u33", '"float32". Did you mean "u32"?'),
        ("kind", None, "is missing; expected"),
        ("word_order", None, 'is missing; expected "high first" or "low first"'),
        ("word_order", "hgih first", 'Did you mean "high first"?'),
        ("table", "coil", '"holding" or "input"'),
        ("register", 65_535, "from 0 to 65534"),
        ("register", -1, "from 0"),
        ("register", 7.0, "is 7.0"),
        ("register", None, "is missing"),
        ("seconds_per_count", 0, "from 1 to 86400"),
        ("modulus", 1, "from 2"),
        ("swapped_bytes", 1, "true or false"),
        ("scale", 3600, "is not a setting"),
    ],
)
def test_a_wrong_counter_value_is_named(name: str, value: object, says: str) -> None:
    """The word order of two registers has no default: it must be proved, not supposed."""
    raw = document()
    counter = raw["counter"]["plover-vp1-hours"]
    counter.pop(name, None)
    if value is not None:
        counter[name] = value
    assert says in faults(raw)[f"counter.plover-vp1-hours.{name}"]


def test_two_counters_in_one_register_are_told() -> None:
    """An overlap by one word too; another table or device is no overlap."""
    raw = document()
    second = raw["counter"]["plover-vp2-hours"]
    second |= {"table": "holding", "register": 101}
    assert (
        "register 101 of engine-room belongs to counter plover-vp1-hours"
        in faults(raw)["counter.plover-vp2-hours.register"]
    )
    second["table"] = "input"
    parse(raw, HERE)


def test_nothing_to_read_and_several_faults() -> None:
    """A file with no source is refused; several faults are counted and all listed."""
    assert "nothing to read" in faults({"server": "http://a"})[""]
    assert set(faults({"server": 1, "buffer_mb": "x", "what": 2})) == {"server", "buffer_mb", "what"}


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """Missing, or not TOML."""
    with pytest.raises(Refused, match="--example"):
        load_gateway(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("server = ")
    with pytest.raises(Refused, match="is not TOML"):
        load_gateway(tmp_path / "bad.toml")


def test_the_key_comes_from_its_file_or_the_environment(tmp_path: Path) -> None:
    """And is never repeated in what is said."""
    raw = document()
    settings = parse(raw, tmp_path / "gateway.toml")
    with pytest.raises(Refused, match=r"counter\.key.*cannot be read"):
        read_key(settings)
    (tmp_path / "counter.key").write_text("ll_1_secret\n")
    assert read_key(settings) == "ll_1_secret"
    (tmp_path / "counter.key").write_text("ll_1_secret and more")
    with pytest.raises(Refused) as error:
        read_key(settings)
    assert "secret" not in error.value.says
    del raw["key_file"]
    settings = parse(raw, tmp_path / "gateway.toml")
    assert read_key(settings, {"LEADLINE_KEY": "ll_2_x"}) == "ll_2_x"
    with pytest.raises(Refused, match="LEADLINE_KEY"):
        read_key(settings, {})
