"""The gateway's one settings file (TOML). Every key and value that is wrong is named, all at once."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from api.gateway.registers import Layout, RegisterKind, WordOrder
from scheduler.errors import Refused
from scheduler.toml_file import read_toml

EXAMPLE = Path(__file__).with_name("example.toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device that answers Modbus TCP. device_id: 0 to 255, of the one meant behind that address."""

    name: str
    host: str
    port: int
    device_id: int
    timeout_seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterCounter:
    """A counter that stands in registers. register: as sent on the wire, from 0. modulus: counts at which it is 0 again."""

    name: str
    device: str
    table: str
    register: int
    layout: Layout
    seconds_per_count: int
    modulus: int | None

    def says(self) -> str:
        """Where it stands, in words."""
        last = self.register + self.layout.kind.words - 1
        where = f"register {self.register}" if last == self.register else f"registers {self.register} and {last}"
        return f"{self.table} {where} of {self.device}"


@dataclass(frozen=True, slots=True, kw_only=True)
class DropFolder:
    """A folder of files with readings. settle_seconds: unchanged for so long, a file is complete."""

    path: Path
    settle_seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GatewaySettings:
    """Everything in the file. Paths are relative to it. key_file: none when LEADLINE_KEY is to be used."""

    file: Path
    server: str
    key_file: Path | None
    buffer: Path
    buffer_mb: int
    every_seconds: float
    standard_input: bool
    devices: tuple[Device, ...]
    counters: tuple[RegisterCounter, ...]
    folder: DropFolder | None


class _TomlTable:
    """One table of the file: each value is asked for once, what nobody asked for is a fault."""

    def __init__(self, where: str, raw: Mapping[str, Any], faults: list[tuple[str, str]]) -> None:
        self._where, self._raw, self._faults = where, raw, faults
        self._asked: list[str] = []

    def fault(self, name: str, says: str) -> None:
        self._faults.append((f"{self._where}{name}", says))

    def _take(self, name: str, default: Any) -> Any:
        self._asked.append(name)
        return self._raw.get(name, default)

    def text(self, name: str, default: str | None = None, *, of: list[str] | None = None) -> str:
        value = self._take(name, default)
        if name not in self._raw and default is not None:
            return default
        if value is None:
            self.fault(name, f"is missing; expected {_any_of(of) if of is not None else 'a text'}.")
            return ""
        if not isinstance(value, str) or not value.strip() or (of is not None and value not in of):
            close = difflib.get_close_matches(str(value), of or [], n=1)
            hint = f' Did you mean "{close[0]}"?' if close else ""
            self.fault(name, f"is {_shown(value)}; expected {_any_of(of) if of is not None else 'a text'}.{hint}")
            return ""
        return value

    def yes(self, name: str) -> bool:
        value = self._take(name, False)
        if not isinstance(value, bool):
            self.fault(name, f"is {_shown(value)}; expected true or false.")
        return value is True

    def whole(self, name: str, default: int | None, least: int, most: int, *, needed: bool = True) -> int | None:
        value = self._take(name, default)
        if value is None and not needed:
            return None
        expected = f"a whole number from {least} to {most}"
        if value is None:
            self.fault(name, f"is missing; expected {expected}.")
        elif type(value) is not int or not least <= value <= most:
            self.fault(name, f"is {_shown(value)}; expected {expected}.")
        else:
            return value
        return least if needed else None

    def span(self, name: str, default: float, least: float, most: float) -> float:
        value = self._take(name, default)
        if type(value) not in (int, float) or not least <= value <= most:
            self.fault(name, f"is {_shown(value)}; expected seconds from {least:g} to {most:g}.")
            return default
        return float(value)

    def table(self, name: str) -> Mapping[str, Any] | None:
        value = self._take(name, None)
        if value is None or isinstance(value, dict):
            return value
        self.fault(name, f"is {_shown(value)}; expected a table [{self._where}{name}].")
        return None

    def end(self) -> None:
        for name in self._raw:
            if name not in self._asked:
                close = difflib.get_close_matches(name, self._asked, n=1)
                hint = f'Did you mean "{close[0]}"?' if close else f"Known here: {', '.join(sorted(self._asked))}."
                self.fault(name, f"is not a setting. {hint}")


def load_gateway(path: Path) -> GatewaySettings:
    """The settings in a file.

    Raises:
        Refused: it cannot be read or is not TOML, or keys or values are wrong; `faults` names every one.
    """
    otherwise = "Name it with --settings, or write one: leadline gateway --example > gateway.toml"
    return parse(read_toml(path, "The gateway's settings file", otherwise), path)


def parse(raw: Mapping[str, Any], path: Path) -> GatewaySettings:
    """The settings in a TOML document already read; pure. path: where it stands. Raises Refused as `load` does."""
    faults: list[tuple[str, str]] = []
    top = _TomlTable("", raw, faults)
    here = path.parent
    server = top.text("server")
    _check_server(top, server)
    key_file = top.text("key_file", "")
    buffer = here / top.text("buffer", "gateway-buffer.db")
    buffer_mb = top.whole("buffer_mb", 256, 1, 100_000) or 1
    every = top.span("every_seconds", 60, 1, 86_400)
    standard_input = top.yes("standard_input")
    devices = [_device(name, one, faults) for name, one in _named(top, "modbus", faults)]
    counters = [
        _counter(name, one, [device.name for device in devices], faults) for name, one in _named(top, "counter", faults)
    ]
    folder = _folder(top.table("folder"), here, faults)
    top.end()
    if not faults and not (counters or folder or standard_input):
        top.fault("", "nothing to read is set: give [counter...] tables, a [folder], or standard_input = true.")
    _check_twice(counters, faults)
    if faults:
        first = " ".join(part for part in faults[0] if part)
        many = f"{len(faults)} things are wrong; the first: " if len(faults) > 1 else ""
        raise Refused(f"{path}: {many}{first}", faults=faults)
    return GatewaySettings(
        file=path, server=server.rstrip("/"), key_file=here / key_file if key_file else None, buffer=buffer,
        buffer_mb=buffer_mb, every_seconds=every, standard_input=standard_input, devices=tuple(devices),
        counters=tuple(counters), folder=folder,
    )  # fmt: skip


def _named(top: _TomlTable, name: str, faults: list[tuple[str, str]]) -> list[tuple[str, Mapping[str, Any]]]:
    found: list[tuple[str, Mapping[str, Any]]] = []
    for key, value in (top.table(name) or {}).items():
        if isinstance(value, dict):
            found.append((key, value))
        else:
            faults.append((f"{name}.{key}", f"is {_shown(value)}; expected a table [{name}.NAME] for each {name}."))
    return found


def _device(name: str, raw: Mapping[str, Any], faults: list[tuple[str, str]]) -> Device:
    table = _TomlTable(f"modbus.{name}.", raw, faults)
    device = Device(
        name=name,
        host=table.text("host"),
        port=table.whole("port", 502, 1, 65_535) or 0,
        device_id=table.whole("device_id", 1, 0, 255) or 0,
        timeout_seconds=table.span("timeout_seconds", 3, 0.1, 60),
    )
    table.end()
    return device


def _counter(name: str, raw: Mapping[str, Any], devices: list[str], faults: list[tuple[str, str]]) -> RegisterCounter:
    table = _TomlTable(f"counter.{name}.", raw, faults)
    device = table.text("device", devices[0] if len(devices) == 1 else None, of=devices)
    kind = RegisterKind(table.text("kind", of=list(RegisterKind)) or RegisterKind.U16)
    register = table.whole("register", None, 0, 65_536 - kind.words) or 0
    order = table.text("word_order", None if kind.words == 2 else WordOrder.HIGH_FIRST, of=list(WordOrder))
    counter = RegisterCounter(
        name=name,
        device=device,
        table=table.text("table", of=["holding", "input"]),
        register=register,
        layout=Layout(kind, WordOrder(order or WordOrder.HIGH_FIRST), table.yes("swapped_bytes")),
        seconds_per_count=table.whole("seconds_per_count", None, 1, 86_400) or 1,
        modulus=table.whole("modulus", None, 2, 10**12, needed=False),
    )
    table.end()
    return counter


def _folder(raw: Mapping[str, Any] | None, here: Path, faults: list[tuple[str, str]]) -> DropFolder | None:
    if raw is None:
        return None
    table = _TomlTable("folder.", raw, faults)
    folder = DropFolder(path=here / table.text("path"), settle_seconds=table.span("settle_seconds", 5, 0, 3600))
    table.end()
    return folder


def _check_server(top: _TomlTable, server: str) -> None:
    if not server:
        return
    try:
        parts = urlsplit(server)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        good = False
    if not good or not server.isprintable() or " " in server or parts.path.strip("/") or parts.query or parts.username:
        top.fault("server", f'is "{server}"; expected the server\'s address alone, such as http://leadline.lan:8322.')


def _check_twice(counters: list[RegisterCounter], faults: list[tuple[str, str]]) -> None:
    seen: dict[tuple[str, str, int], str] = {}
    for counter in counters:
        for register in range(counter.register, counter.register + counter.layout.kind.words):
            other = seen.setdefault((counter.device, counter.table, register), counter.name)
            if other != counter.name:
                says = f"{counter.table} register {register} of {counter.device} belongs to counter {other} already."
                faults.append((f"counter.{counter.name}.register", says))
                break


def _any_of(words: list[str] | None) -> str:
    if not words:
        return "one that is set (none is)"
    quoted = [f'"{word}"' for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _shown(value: object) -> str:
    text = repr(value) if not isinstance(value, str) else f'"{value}"'
    return text if len(text) <= 60 else f"{text[:57]}..."
