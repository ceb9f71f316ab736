"""How the office is asked over HTTP, and the thread that sends: beside the timers, holding up nobody."""

import json
import logging
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

import httpx

from api.gateway.pacing import asked_seconds
from scheduler.actions.shore.sending import NotReached, OfficeCall, OfficeReply
from scheduler.clock import Clock
from scheduler.version import VERSION

log = logging.getLogger("leadline")

TIMEOUT = httpx.Timeout(60.0, connect=20.0)
"""Of each piece, not of the whole: a thin link may take minutes for a frame."""
_LIMITS = httpx.Limits(max_connections=4, keepalive_expiry=240)
"""Connections are kept: a TLS handshake costs more than a day's readings."""
_CUT = (httpx.ReadError, httpx.WriteError, httpx.ReadTimeout, httpx.WriteTimeout, httpx.RemoteProtocolError)
_LONGEST_ANSWER = 4_000_000
_WAIT_AFTER_FAULT = 60.0


class OfficeClient:
    """Asks offices by httpx; safe to use from one thread. Close it at the end."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._client = httpx.Client(timeout=TIMEOUT, limits=_LIMITS, headers={"User-Agent": f"Leadline/{VERSION}"})

    def __call__(self, call: OfficeCall) -> OfficeReply:
        """The office's answer. Raises NotReached."""
        headers = {"Authorization": f"Bearer {call.key}", "Accept": "application/json"}
        content = call.content
        if content is not None:
            headers["Content-Type"] = "application/octet-stream"
        elif call.body is not None:
            content = json.dumps(dict(call.body)).encode()
            headers["Content-Type"] = "application/json"
        try:
            with self._client.stream(
                call.method, f"{call.address}{call.path}", content=content, headers=headers
            ) as answer:
                found = bytearray()
                for piece in answer.iter_bytes(65_536):
                    found += piece
                    if len(found) > _LONGEST_ANSWER:
                        raise NotReached("answer without end")
                asked = asked_seconds(answer.headers.get("Retry-After"), self._clock())
                return OfficeReply(status=answer.status_code, body=_object(bytes(found)), retry_after=asked)
        except (httpx.HTTPError, httpx.InvalidURL, UnicodeError) as error:
            raise NotReached(type(error).__name__, cut=isinstance(error, _CUT)) from error

    def close(self) -> None:
        """Ends its connections."""
        self._client.close()


class SendingThread:
    """Takes turns until it is stopped."""

    def __init__(self, turn: Callable[[], float], close: Callable[[], None]) -> None:
        self._turn, self._close = turn, close
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="office", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """No turn more. A post under way is cut off: the next start sends it again."""
        self._stopping.set()
        with suppress(Exception):
            self._close()
        self._thread.join(timeout=5)

    def _work(self) -> None:
        wait = 0.0
        while not self._stopping.wait(wait):
            try:
                wait = self._turn()
            except Exception:
                if self._stopping.is_set():
                    return
                log.exception("the office could not be sent to; it is tried again in a minute")
                wait = _WAIT_AFTER_FAULT


def _object(content: bytes) -> Mapping[str, Any]:
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}
