"""Reads registers over Modbus TCP. Only the two reading functions are ever asked for: 3 (holding) and 4 (input)."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

from api.gateway.settings import Device, RegisterCounter
from scheduler.errors import Refused, SchedulerError

if TYPE_CHECKING:
    from pymodbus.client import ModbusTcpClient

_FUNCTIONS = {"holding": 3, "input": 4}
_EXCEPTIONS = {
    1: "it does not know this function: try the other table",
    2: "there is no such register: check table and register (a manual that counts from 1 is one off)",
    3: "it does not allow this number of registers",
    4: "it reports a failure of its own",
    6: "it is busy",
    10: "the path to the device behind it is not there: check device_id",
    11: "the device behind it does not answer: check device_id",
}
"""Source: MODBUS Application Protocol Specification V1.1b3, section 7, exception codes."""


class NoAnswer(SchedulerError):
    """A device or register could not be read now; says which and why. The next round tries again."""


class Registers(Protocol):
    """Reads words of one device, in one request."""

    def __call__(self, table: str, register: int, count: int) -> list[int]:
        """The words, as many as asked for. Raises NoAnswer."""


def require_library() -> None:
    """Raises Refused when pymodbus is not installed."""
    try:
        import pymodbus.client  # noqa: F401
    except ImportError as error:
        raise Refused(
            "Reading Modbus TCP needs the package pymodbus, which is not installed here. "
            "Install it with: pip install 'leadline[modbus]'"
        ) from error
    logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)  # its words come as ours


@contextmanager
def connected(device: Device) -> Iterator[Registers]:
    """A connection to a device for one round.

    After any failure it is opened anew, so that a late answer is never taken for the next counter's.

    Raises:
        NoAnswer: nobody answers at its address.
    """
    from pymodbus.client import ModbusTcpClient

    client: ModbusTcpClient | None = None

    def opened() -> "ModbusTcpClient":
        nonlocal client
        if client is None:
            client = ModbusTcpClient(device.host, port=device.port, timeout=device.timeout_seconds, retries=0)
        if not client.connect():
            raise NoAnswer(
                f"{device.name}: nobody answers at {device.host} port {device.port}. Check cable, address and port."
            )
        return client

    def read(table: str, register: int, count: int) -> list[int]:
        nonlocal client
        try:
            return _words(opened(), device, table, register, count)
        except NoAnswer:
            if client is not None:
                client.close()
            client = None
            raise

    try:
        opened()
        yield read
    finally:
        if client is not None:
            client.close()


def read_counter(read: Registers, counter: RegisterCounter) -> list[int]:
    """The words of one counter, both in one request. Raises NoAnswer, naming the counter."""
    try:
        return read(counter.table, counter.register, counter.layout.kind.words)
    except NoAnswer as error:
        raise NoAnswer(f"{counter.name}: {error.says}") from error


def read_around(read: Registers, counter: RegisterCounter) -> tuple[list[int], dict[int, int]]:
    """The words of one counter, and the word by register of those and their neighbours where they can be read.

    Raises:
        NoAnswer: the counter's own registers cannot be read.
    """
    words = read_counter(read, counter)
    around = dict(enumerate(words, counter.register))
    first, last = max(0, counter.register - 1), min(65_535, counter.register + 2)
    for start, end in ((first, last), (first, max(around)), (counter.register, last)):
        try:
            found = read(counter.table, start, end - start + 1)
        except NoAnswer:
            continue
        return words, {**dict(enumerate(found, start)), **around}
    return words, around


def _words(client: "ModbusTcpClient", device: Device, table: str, register: int, count: int) -> list[int]:
    from pymodbus.exceptions import ModbusException

    ask = client.read_holding_registers if table == "holding" else client.read_input_registers
    where = f"{device.name}, {table} register {register}"
    try:
        answer = ask(register, count=count, device_id=device.device_id)
    except (ModbusException, OSError) as error:
        raise NoAnswer(
            f"{where}: no answer within {device.timeout_seconds:g} s from device_id {device.device_id}."
        ) from error
    if answer.isError():
        code = getattr(answer, "exception_code", 0)
        raise NoAnswer(f"{where}: refused with code {code}: {_EXCEPTIONS.get(code, 'see the device manual')}.")
    words = list(getattr(answer, "registers", []))
    if len(words) != count or answer.function_code != _FUNCTIONS[table]:
        raise NoAnswer(
            f"{where}: {len(words)} registers came by function {answer.function_code}, {count} were asked for."
        )
    return words
