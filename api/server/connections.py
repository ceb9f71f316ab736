"""Who may hold how many connections open, and for how long: uvicorn's HTTP protocol with limits on what it waits for.

Measured before (1,024 open files, 1,100 silent connections from one address): uvicorn alone, and with its
`limit_concurrency`, answered nobody and wrote half a megabyte of log a second; granian answered nobody for its 30 s;
hypercorn closes silent connections but has no limit an address, and gave 0.7 to 1.0 of uvicorn's answers a second.
"""

import asyncio
import logging
import resource
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from typing import Any, cast

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.server.try_limiter import device_of

log = logging.getLogger("leadline")

HEAD_SECONDS = 10.0
"""How long the head of a request may take, from the connection's opening or the answer before it."""
IDLE_SECONDS = 8
"""How long a connection is kept between two requests: longer than the 5 s that many clients keep one, so that they end it and none
is ended by us as its next request is on the way; shorter than a head may take."""
BODY_SECONDS = 10.0
"""How long a body may bring nothing."""
ANSWER_SECONDS = 30.0
"""How long an answer may wait for somebody to read on."""
AT_A_TIME = 100
"""Connections that asyncio accepts each time it looks; those refused are closed at its next looks."""
_OWN_FILES = 128 + 3 * AT_A_TIME
"""Files this process opens besides connections: database, workers, calendars, static files, and those just refused."""
_LOOK_SECONDS, _SAY_SECONDS = 1.0, 60.0
_SAYS = (
    b'{"type":"/problems/busy","title":"Try again shortly","status":503,"detail":"Too many connections are open at once, '
    b'in all or from your address. Close some and try again in 5 s."}'
)
_FULL = (
    b"HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 5\r\n"
    b"Content-Type: application/problem+json\r\nContent-Length: %d\r\n\r\n%b" % (len(_SAYS), _SAYS)
)


class Connections:
    """The open connections of one server. Belongs to the thread of its event loop.

    Args:
        most: connections at once, in all. most_an_address: from one address (of IPv6, its first 64 bits).
        excused: whether an address has no limit of its own, as a named proxy that stands for many.
    """

    def __init__(self, most: int, most_an_address: int, excused: Callable[[str], bool] = lambda _: False) -> None:
        self._most, self._most_an_address, self._excused = most, most_an_address, excused
        self._open: set[LimitedProtocol] = set()
        self._devices: Counter[str] = Counter()
        self._looking: asyncio.TimerHandle | None = None
        self._refusals = Damped("connections were refused: too many at once, in all or from one address; the last from")

    def admit(self, one: "LimitedProtocol", loop: asyncio.AbstractEventLoop) -> bool:
        """Count a new connection in; False: it is one too many."""
        full = not self._excused(one.address) and self._devices[one.device] >= self._most_an_address
        if full or (len(self._open) >= self._most and not self._close_idle()):
            self._refusals.note(loop.time(), one.address)
            return False
        self._open.add(one)
        self._devices[one.device] += 1
        if self._looking is None:
            self._looking = loop.call_later(_LOOK_SECONDS, self._look, loop)
        return True

    def _close_idle(self) -> bool:
        """Close a connection on which no request has begun, of who has most of them the oldest; False: all are busy.

        Either side may close an idle connection at any time (RFC 9112 section 9.5).
        """
        idle = [one for one in self._open if one.idle()]
        if not idle:
            return False
        one = min(idle, key=lambda one: (-self._devices[one.device], one.since))
        self.leave(one)
        one.transport.abort()
        return True

    def leave(self, one: "LimitedProtocol") -> None:
        """A connection has ended."""
        if one in self._open:
            self._open.remove(one)
            self._devices[one.device] -= 1
            if not self._devices[one.device]:
                del self._devices[one.device]

    def _look(self, loop: asyncio.AbstractEventLoop) -> None:
        """Once a second while any is open, so that a busy connection costs no timer at each request."""
        for one in list(self._open):
            one.close_if_overdue(loop.time())
        self._looking = loop.call_later(_LOOK_SECONDS, self._look, loop) if self._open else None


class LimitedProtocol(H11Protocol):
    """A connection that is refused when it is one too many, and closed when the other side keeps it waiting too long."""

    def __init__(self, *args: Any, connections: Connections, **named: Any) -> None:
        super().__init__(*args, **named)
        self.address = self.device = ""
        self._connections = connections
        self.since = self._unread_since = 0.0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Refused with a short 503 before anything is read, or as uvicorn does."""
        peer = transport.get_extra_info("peername")
        self.address = str(peer[0]) if isinstance(peer, tuple) else ""
        self.device = device_of(self.address)
        if not self._connections.admit(self, self.loop):
            transport.set_protocol(asyncio.Protocol())
            transport.write(_FULL)
            transport.close()
            return
        self.since = self.loop.time()
        super().connection_made(transport)

    def connection_lost(self, exc: Exception | None) -> None:
        """As uvicorn does."""
        self._connections.leave(self)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """As uvicorn does; a body that goes on arriving is waited for, the head of a request is not."""
        super().data_received(data)
        if self.conn.their_state is h11.SEND_BODY:
            self.since = self.loop.time()

    def on_response_complete(self) -> None:
        """As uvicorn does; the next request's time begins."""
        self.since = self.loop.time()
        super().on_response_complete()

    def pause_writing(self) -> None:
        """As uvicorn does; the other side reads no further."""
        self._unread_since = self.loop.time()
        super().pause_writing()

    def idle(self) -> bool:
        """Whether nothing of a request has come since the connection opened or the last one was answered."""
        return self.conn.their_state is h11.IDLE and not self.conn.trailing_data[0]

    def close_if_overdue(self, now: float) -> None:
        """Close when the head, the body, or the reading of the answer has taken too long. now: the loop's seconds."""
        if self.flow.write_paused:
            if now - self._unread_since > ANSWER_SECONDS:
                self.transport.abort()
        elif self.flow.read_paused:
            self.since = now  # it is we who do not read
        elif self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            head = self.conn.their_state is h11.IDLE
            if now - self.since > (HEAD_SECONDS if head else BODY_SECONDS):
                self.transport.abort()


class Damped:
    """A warning that may come a thousand times a second, written at most once a minute with how many there were."""

    def __init__(self, says: str) -> None:
        self._says = says
        self._many, self._said_at = 0, -_SAY_SECONDS

    def note(self, now: float, which: object) -> None:
        """It happened again."""
        self._many += 1
        if now - self._said_at >= _SAY_SECONDS:
            log.warning("%d %s %s", self._many, self._says, which)
            self._many, self._said_at = 0, now


def damp_accept_errors(loop: asyncio.AbstractEventLoop) -> None:
    """Write that no connection can be accepted (files run out) once a minute, not each of some hundred times a second."""
    refused = Damped("times a connection could not be accepted, the last time:")

    def handle(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        if "accept" in str(context.get("message")) and isinstance(context.get("exception"), OSError):
            refused.note(loop.time(), context["exception"])
        else:
            loop.default_exception_handler(context)

    loop.set_exception_handler(handle)


def room_for(most: int) -> int:
    """How many connections this process can hold, at most `most`: its limit on open files is raised as far as it may be.

    Source: getrlimit(2), RLIMIT_NOFILE.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    needed = most + _OWN_FILES
    if soft != resource.RLIM_INFINITY and soft < needed:
        soft = needed if hard == resource.RLIM_INFINITY else min(needed, hard)
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
        return max(1, min(most, soft - _OWN_FILES))
    return most


def protocol_with(connections: Connections) -> type[asyncio.Protocol]:
    """What uvicorn's setting `http` takes: makes a `LimitedProtocol` for each connection."""

    def make(*args: Any, **named: Any) -> LimitedProtocol:
        return LimitedProtocol(*args, connections=connections, **named)

    return cast(type[asyncio.Protocol], make)
