"""A real Modbus TCP server on loopback with running-hour registers (simulated), and a real Leadline server to post to.

Each register counts on by one at every read, so that no two readings are the same and each can be found again.
"""

import asyncio
import socket
import sqlite3
import struct
import threading
import time
from collections import Counter as Tally
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import uvicorn
from pymodbus.pdu import ModbusPDU
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from api.gateway.registers import Layout, RegisterKind, WordOrder
from api.server.app import make_app
from api.server.serving import listen
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.clock import Clock, system_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.ticks import write_at_once


def encode(layout: Layout, counts: int | float) -> list[int]:
    """The registers in which a layout shows these counts: the other way round of what the gateway reads.

    Raises:
        ValueError: the layout cannot show them.
    """
    size = 2 * layout.kind.words
    if layout.kind is RegisterKind.FLOAT32:
        raw = struct.pack(">f", counts)
    elif int(counts) != counts or counts < 0:
        raise ValueError(f"{layout.kind} shows whole counts of 0 or more, not {counts}")
    elif layout.kind in (RegisterKind.BCD16, RegisterKind.BCD32):
        digits = f"{int(counts):0{2 * size}d}"
        if len(digits) > 2 * size:
            raise ValueError(f"{layout.kind} shows at most {2 * size} digits, not {counts}")
        raw = bytes.fromhex(digits)
    else:
        try:
            raw = int(counts).to_bytes(size, "big")
        except OverflowError:
            raise ValueError(f"{layout.kind} cannot show {counts}") from None
    words = [int.from_bytes(raw[at : at + 2], "little" if layout.swapped_bytes else "big") for at in range(0, size, 2)]
    return words if layout.order is WordOrder.HIGH_FIRST else words[::-1]


SWAPPED = Layout(RegisterKind.U32, WordOrder.LOW_FIRST)
REGISTERS = {100: Layout(RegisterKind.U32), 102: SWAPPED, 104: Layout(RegisterKind.U16)}
"""Start register and layout of the counters of VP1, VP2 and VP3."""
COUNTERS = dict(zip(REGISTERS, (PLOVER.counter(number) for number in range(3)), strict=True))
READING_FUNCTIONS = {3, 4}
"""MODBUS Application Protocol Specification V1.1b3, 6.3 and 6.4: the two functions that read registers."""


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.create_server(("127.0.0.1", 0)) as sock:
        port: int = sock.getsockname()[1]
        return port


@dataclass(slots=True)
class Automation:
    """The simulated automation. counts: what each register will show next. shown: (counter, value) of every answer.

    late_seconds: how long VP1's answer takes.
    functions: how often each function code was asked for, whatever was answered.
    """

    port: int = field(default_factory=free_port)
    counts: dict[int, int] = field(default_factory=lambda: {100: 70_000, 102: 123_456, 104: 400})
    steps: int = 1
    late_seconds: float = 0.0
    shown: list[tuple[str, int]] = field(default_factory=list)
    functions: Tally[int] = field(default_factory=Tally)
    _loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.new_event_loop)
    _server: Any = None

    @contextmanager
    def running(self) -> Iterator["Automation"]:
        """Answering until the end of the block."""
        thread = threading.Thread(target=self._loop.run_forever)
        thread.start()
        try:
            self.start()
            yield self
        finally:
            self.stop()
            asyncio.run_coroutine_threadsafe(_end_all(), self._loop).result(10)
            self._loop.call_soon_threadsafe(self._loop.stop)
            thread.join(10)
            self._loop.close()

    def start(self) -> None:
        """Begin to answer, on the same port as before."""
        asyncio.run_coroutine_threadsafe(self._serve(), self._loop).result(10)

    def stop(self) -> None:
        """Cut every connection and answer no more."""
        if self._server is not None:
            asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10)
            self._server = None

    async def _serve(self) -> None:
        words = SimData(address=0, count=200, values=0, datatype=DataType.REGISTERS)
        device = SimDevice(id=1, simdata=[words], action=self._asked)
        self._server = ModbusTcpServer(device, address=("127.0.0.1", self.port), trace_pdu=self._seen)
        await self._server.serve_forever(background=True)

    def _seen(self, sending: bool, pdu: ModbusPDU) -> ModbusPDU:
        if not sending:
            self.functions[pdu.function_code] += 1
        return pdu

    async def _asked(
        self, _function: int, start: int, address: int, count: int, current: list[int], written: object
    ) -> None:
        if address == 100:
            await asyncio.sleep(self.late_seconds)
        for register, layout in REGISTERS.items():
            current[register - start : register - start + layout.kind.words] = encode(layout, self.counts[register])
        if address in REGISTERS and count == REGISTERS[address].kind.words and written is None:
            self.shown.append((COUNTERS[address], self.counts[address]))
            self.counts[address] += self.steps


async def _end_all() -> None:
    """End what is still being answered."""
    tasks = asyncio.all_tasks() - {asyncio.current_task()}
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


@dataclass(slots=True)
class Leadline:
    """A Leadline server on an SQLite file that can be stopped and started again on the same port."""

    folder: Path
    clock: Clock = system_clock
    port: int = field(default_factory=free_port)
    key: str = ""
    _server: uvicorn.Server | None = None
    _thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def database(self) -> Path:
        """Its database file."""
        return self.folder / "ship.db"

    def start(self) -> None:
        """Serve. The first time, the three-pump ship is put in and a counter key is made."""
        sock = listen("127.0.0.1", self.port)
        app = make_app(Settings(database=str(self.database), base_url=self.url), clock=self.clock, timers=False)
        write_at_once(app)
        if not self.key:
            self.key = _set_up(app.state.context)
        config = uvicorn.Config(app, log_config=None, access_log=False)
        self._server = server = uvicorn.Server(config)
        self._thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
        self._thread.start()
        while not server.started and self._thread.is_alive():
            time.sleep(0.005)

    def stop(self) -> None:
        """Serve no more."""
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(20)
            self._server = None

    def stored(self) -> list[tuple[str, int, int]]:
        """(counter, epoch second, value in counts) of every reading in the database, sorted."""
        with sqlite3.connect(f"file:{self.database}?mode=ro", uri=True) as db:
            rows = db.execute(
                "SELECT c.id, r.at_s, r.value_milli / 1000 FROM reading r JOIN counter c ON c.no = r.counter_no"
            )
            return sorted(rows.fetchall())

    def values(self) -> list[tuple[str, int]]:
        """(counter, value) of every reading in the database, sorted; twice there, twice here."""
        return sorted((counter, value) for counter, _, value in self.stored())


@contextmanager
def leadline_server(folder: Path, clock: Clock = system_clock) -> Iterator[Leadline]:
    """A started server, stopped at the end."""
    server = Leadline(folder, clock)
    server.start()
    try:
        yield server
    finally:
        server.stop()


def _set_up(context: Context) -> str:
    first = Actor("set up", "set up", Role.ADMIN)
    document = vessel_document(Run(PLOVER, 1, context.clock(), 0.1))
    for counter in document["plants"][0]["counters"]:
        counter["modulus"] = None
    vessel = VESSEL.validate_python(document)
    changes.put_vessel(context, first, vessel)
    return people.add_key(context, first, role=Role.COUNTER, label="gateway", vessel_id=vessel.id)


@contextmanager
def relay(to_port: int, on_answer: "threading.Event", cut: "list[Any]") -> Iterator[int]:
    """A link to a port that hands on what is sent, and at the first answer calls what `cut` holds and hands nothing back."""

    def serve() -> None:
        with suppress(OSError):
            while True:
                here, _ = door.accept()
                with here, socket.create_connection(("127.0.0.1", to_port)) as there:
                    here.settimeout(0.05)
                    there.settimeout(0.05)
                    _hand_on(here, there, on_answer, cut)

    with socket.create_server(("127.0.0.1", 0)) as door:
        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield door.getsockname()[1]
        finally:
            door.shutdown(socket.SHUT_RDWR)
            door.close()
            thread.join(10)


def _hand_on(here: socket.socket, there: socket.socket, on_answer: "threading.Event", cut: "list[Any]") -> None:
    while not on_answer.is_set():
        with suppress(TimeoutError):
            sent = here.recv(65_536)
            if not sent:
                return
            there.sendall(sent)
        with suppress(TimeoutError):
            if there.recv(65_536):
                for one in cut:
                    one()
                on_answer.set()


SETTINGS = """
server = "{url}"
key_file = "counter.key"
buffer = "buffer.db"
every_seconds = {every}
{more}
[modbus.engine-room]
host = "127.0.0.1"
port = {modbus}
timeout_seconds = 20
[counter.plover-vp1-hours]
table = "holding"
register = 100
kind = "u32"
word_order = "high first"
seconds_per_count = 3600
[counter.plover-vp2-hours]
table = "input"
register = 102
kind = "u32"
word_order = "low first"
seconds_per_count = 360
[counter.plover-vp3-hours]
table = "holding"
register = 104
kind = "u16"
seconds_per_count = 3600
modulus = 65536
"""


def write_settings(folder: Path, *, url: str, key: str, modbus: int, every: float = 1, more: str = "") -> Path:
    """The gateway's settings file and key, in a folder."""
    (folder / "counter.key").write_text(f"{key}\n")
    file = folder / "gateway.toml"
    file.write_text(SETTINGS.format(url=url, every=every, modbus=modbus, more=more))
    return file
