"""The gateway at work: reads when a round is due, sends when something waits, says what changes."""

import re
from collections import Counter as Tally
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from api.gateway import modbus
from api.gateway.buffer import Buffer
from api.gateway.folder import Drop, FolderReport
from api.gateway.lines import Lines
from api.gateway.pacing import wait_seconds
from api.gateway.reading import CounterReading, read_number, read_seconds, utc_text_of
from api.gateway.registers import decode
from api.gateway.sender import PostFailure, Sender, Sent
from api.gateway.settings import GatewaySettings, RegisterCounter
from scheduler.clock import Clock
from scheduler.errors import Busy, StorageFull

_REMIND_SECONDS = 3600.0
_LONGEST_SLEEP_SECONDS = 60.0
TALLIED = ("read", "taken by the server", "put aside", "bad lines")
"""What `tally` counts."""
_CLOCK_SET = datetime(2026, 1, 1, tzinfo=UTC)
"""A clock before this was never set: its stamps would be worth nothing."""
_FIGURES = re.compile(r"\d+")


@dataclass(slots=True)
class Teller:
    """Says a trouble once, again every hour while it lasts, and when it has gone.

    Args:
        write: takes a line. clock: for its stamp. running: seconds of a clock that only runs forward.
    """

    write: Callable[[str], None]
    clock: Clock
    running: Callable[[], float]
    _open: dict[str, tuple[str, float]] = field(default_factory=dict)

    def say(self, words: str) -> None:
        """Say it."""
        self.write(f"{utc_text_of(read_seconds(self.clock()))} {words}")

    def trouble(self, topic: str, words: str) -> None:
        """Say it unless it was said within the hour; other figures in it do not make it another trouble."""
        said, at = self._open.get(topic, ("", 0.0))
        if _FIGURES.sub("", said) != _FIGURES.sub("", words) or self.running() - at >= _REMIND_SECONDS:
            self._open[topic] = words, self.running()
            self.say(words)

    def good(self, topic: str, words: str) -> None:
        """Say that a trouble has gone, if there was one."""
        if self._open.pop(topic, None) is not None:
            self.say(words)

    @property
    def troubles(self) -> list[str]:
        """What is wrong now."""
        return [words for words, _ in self._open.values()]


@dataclass(slots=True)
class Gateway:
    """One gateway. Everything it asks the world for is handed in.

    Args:
        running: seconds of a clock that only runs forward. clock: UTC. chance: 0 to 1, for the spread of the waits.
        lines: standard input, none when it is not read. drop: the folder of files, likewise.
    """

    settings: GatewaySettings
    buffer: Buffer
    sender: Sender
    clock: Clock
    running: Callable[[], float]
    chance: Callable[[], float]
    tell: Teller
    drop: Drop | None = None
    lines: Lines | None = None
    tally: Tally[str] = field(default_factory=Tally)
    _read_at: float = float("-inf")
    _look_at: float = float("-inf")
    _send_at: float = float("-inf")
    _failures: int = 0

    def turn(self) -> float:
        """Do what is due now; returns the seconds until something is due again.

        Raises:
            SchedulerError: the buffer fails; nothing more can be kept safely.
        """
        now = self.running()
        if self.settings.counters and now >= self._read_at:
            self.read_registers()
            late = self._read_at + self.settings.every_seconds
            self._read_at = late if late > now else now + self.settings.every_seconds
        if self.drop is not None and now >= self._look_at:
            self.look_into_folder()
            self._look_at = now + min(self.settings.every_seconds, max(1.0, self.drop.settings.settle_seconds))
        self.keep_lines()
        if self.running() >= self._send_at:
            self.send_one()
        waits = [_LONGEST_SLEEP_SECONDS]
        if self.settings.counters:
            waits.append(self._read_at - self.running())
        if self.drop is not None:
            waits.append(self._look_at - self.running())
        if self.buffer.any_waiting():
            waits.append(self._send_at - self.running())
        return max(0.0, min(waits))

    def read_registers(self) -> None:
        """Read every counter's registers once and take what they show. One that cannot be read stops no other."""
        if self.clock() < _CLOCK_SET:
            says = f"This machine's clock says {self.clock():%Y-%m-%d}: set it to UTC. No register is read until it is."
            self.tell.trouble("own clock", says)
            return
        self.tell.good("own clock", "This machine's clock is set.")
        readings: list[CounterReading] = []
        for device in self.settings.devices:
            topic = f"device {device.name}"
            counters = [one for one in self.settings.counters if one.device == device.name]
            try:
                if counters:
                    with modbus.connected(device) as read:
                        self.tell.good(topic, f"{device.name} answers again.")
                        readings += [one for one in (self._read_counter(read, counter) for counter in counters) if one]
            except modbus.NoAnswer as error:
                self.tell.trouble(topic, error.says)
        if readings:
            self._keep(lambda: self.buffer.add_shown(readings))

    def _read_counter(self, read: modbus.Registers, counter: RegisterCounter) -> CounterReading | None:
        topic = f"counter {counter.name}"
        try:
            words = modbus.read_counter(read, counter)
        except modbus.NoAnswer as error:
            self.tell.trouble(topic, error.says)
            return None
        at_s = read_seconds(self.clock())
        counts = decode(counter.layout, words)
        if counts is None:
            shown = " ".join(f"{word:04x}" for word in words)
            says = (
                f"{counter.name}: words {shown} are no count as {counter.layout.says()}; nothing is sent. Use --check."
            )
            self.tell.trouble(topic, says)
            return None
        self.tell.good(topic, f"{counter.name} is read again.")
        return CounterReading(counter.name, at_s, read_number(counts))

    def _keep(self, take: Callable[[], int]) -> bool:
        try:
            self.tally["read"] += take()
        except (StorageFull, Busy) as error:
            self.tell.trouble("buffer", error.says)
            return False
        self.tell.good("buffer", "There is room in the buffer again.")
        return True

    def look_into_folder(self) -> None:
        """Take files that are complete, and move those that are through."""
        if self.drop is not None:
            self._told("folder", self.drop.take(self.running()))
            self._told("done", self.drop.move_sent())

    def _told(self, topic: str, told: FolderReport) -> None:
        for words in told.said:
            self.tell.say(words)
        self.tally.update({"read": told.readings, "bad lines": told.bad})
        if told.trouble:
            self.tell.trouble(topic, " ".join(told.trouble))
        else:
            self.tell.good(topic, "The folder is in order again.")

    def keep_lines(self) -> bool:
        """Put the lines read from standard input into the buffer. False when it has no room: then no more may be read."""
        lines = self.lines
        if lines is None:
            return True
        if lines.readings and not self._keep(lambda: self.buffer.add(lines.readings)):
            return False
        lines.readings.clear()
        if not lines.bad:
            return True
        try:
            self.buffer.add_bad(lines.bad, "standard input", read_seconds(self.clock()))
        except (StorageFull, Busy) as error:
            self.tell.trouble("buffer", error.says)
            return False
        for bad in lines.bad:
            self.tell.say(f"Standard input, line {bad.number}: {bad.says}. It is put aside.")
        self.tally["bad lines"] += len(lines.bad)
        lines.bad.clear()
        return True

    def send_one(self) -> bool:
        """Post one batch if any waits; True while more may be sent at once."""
        try:
            sent = self.sender.send_one()
        except (StorageFull, Busy) as error:
            sent = Sent(trouble=PostFailure(error.says))
        self.tally.update({"taken by the server": sent.taken, "put aside": sent.aside})
        if sent.aside:
            says = f"{sent.aside} readings were not taken and are put aside: leadline gateway --put-aside shows them."
            self.tell.trouble("put aside", says)
        if sent.skew:
            self.tell.trouble("clock", sent.skew)
        elif sent.taken:
            self.tell.good("clock", "The clocks agree again.")
        if sent.trouble is not None:
            self.tell.trouble("server", f"{sent.trouble.says} {self.buffer.waiting()} readings wait in the buffer.")
            self._failures += 1
            self._send_at = self.running() + wait_seconds(self._failures, sent.trouble.asked, self.chance())
        elif sent.taken or sent.aside:
            self._failures = 0
            self.tell.good("server", "The server takes readings again.")
        return sent.more and sent.trouble is None

    def may_end(self) -> bool:
        """True when standard input is all there is to read, it has ended, and nothing waits."""
        if self.lines is None or self.settings.counters or self.drop is not None:
            return False
        return self.lines.ended and not self.lines.readings and not self.lines.bad and not self.buffer.any_waiting()
