"""The loop around the gateway, thin: until it is told to end, or one round."""

import os
import select
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from api.gateway.running import Gateway


class Wake:
    """Set by SIGTERM and Ctrl-C. handle: becomes readable then, so that a wait ends at once."""

    def __init__(self, handle: int) -> None:
        self.handle = handle
        self.stopped = False

    def stop(self, _signal: int, _frame: FrameType | None) -> None:
        """The second time it does not wait for what is under way."""
        if self.stopped:
            raise KeyboardInterrupt
        self.stopped = True


@contextmanager
def woken_by_signals() -> Iterator[Wake]:
    """SIGTERM and SIGINT end the loop after what is under way. In the main thread only."""
    out, into = os.pipe()
    os.set_blocking(into, False)
    wake = Wake(out)
    before = signal.set_wakeup_fd(into, warn_on_full_buffer=False)
    handlers = {one: signal.signal(one, wake.stop) for one in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield wake
    finally:
        for one, handler in handlers.items():
            signal.signal(one, handler)
        signal.set_wakeup_fd(before)
        os.close(out)
        os.close(into)


def run(gateway: Gateway, wake: Wake, handle: int) -> None:
    """Work until woken, or until standard input has ended when that is all there is.

    Args:
        handle: of standard input.
    """
    lines = gateway.lines
    try:
        while not wake.stopped:
            wait = gateway.turn()
            if gateway.may_end():
                break
            watched = [wake.handle]
            if lines is not None and not lines.ended and gateway.keep_lines():
                watched.append(handle)
            ready, _, _ = select.select(watched, [], [], wait)
            if lines is not None and handle in ready:
                lines.read(handle)
    finally:
        if lines is not None:
            lines.cut_short()
            if not gateway.keep_lines():
                lost = len(lines.readings) + len(lines.bad)
                gateway.tell.say(f"{lost} lines of standard input could not be kept; have them sent once more.")


def one_round(gateway: Gateway, handle: int, sleep: Callable[[float], None]) -> None:
    """One round: read everything there is, send until nothing waits or the server does not take it.

    Args:
        handle: of standard input, read to its end. sleep: waits that many seconds.
    """
    if gateway.settings.counters:
        gateway.read_registers()
    if gateway.lines is not None:
        while not gateway.lines.ended and gateway.keep_lines():
            gateway.lines.read(handle)
        gateway.keep_lines()
    if gateway.drop is not None:
        gateway.look_into_folder()
        if gateway.drop.settling():
            sleep(gateway.drop.settings.settle_seconds)
            gateway.look_into_folder()
    while gateway.send_one():
        pass
    if gateway.drop is not None:
        gateway.look_into_folder()
