"""What a service manager is sent: that the server is ready, that it is alive, that it stops.

Source: sd_notify(3), "Notes": a datagram of lines to the AF_UNIX socket in NOTIFY_SOCKET; a first letter @ stands for NUL
(the abstract namespace). Without that variable nothing is sent.
"""

import os
import socket
from collections.abc import Callable, MutableMapping

import uvicorn


class ServiceManager:
    """Whoever started this process and asked to be sent its state; nobody, where nothing asked."""

    def __init__(self, environment: MutableMapping[str, str] = os.environ) -> None:
        """Takes the variables out of the environment, so that no child answers in this process' place."""
        address = environment.pop("NOTIFY_SOCKET", "")
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        watched, limit = environment.pop("WATCHDOG_PID", ""), environment.pop("WATCHDOG_USEC", "")
        own = watched in ("", str(os.getpid()))
        self.watchdog_seconds: float | None = int(limit) / 1e6 if own and limit.isdigit() and int(limit) else None
        """How long it waits for a sign of life before it ends the process; none: it does not watch."""

    def send(self, *lines: str) -> bool:
        """Send the lines, such as READY=1. False where nobody listens; that is no error of the server."""
        if not self._address:
            return False
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
                sock.setblocking(False)
                sock.sendto("\n".join(lines).encode(), self._address)
        except OSError:
            return False
        return True


class NotifyingServer(uvicorn.Server):
    """A server that says when it is ready, when it stops, and in between that its loop turns and `alive` holds."""

    def __init__(self, config: uvicorn.Config, manager: ServiceManager, alive: Callable[[], bool]) -> None:
        super().__init__(config)
        self._manager, self._alive = manager, alive
        if manager.watchdog_seconds is not None:
            config.callback_notify = self._sign_of_life
            config.timeout_notify = manager.watchdog_seconds / 3  # type: ignore[assignment]  # any number of seconds will do

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """As uvicorn does it, then READY."""
        await super().startup(sockets=sockets)
        if self.started:
            self._manager.send("READY=1", "STATUS=Serving.")

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """STOPPING, then as uvicorn does it."""
        self._manager.send("STOPPING=1", "STATUS=Stopping: requests under way are answered.")
        await super().shutdown(sockets=sockets)

    async def _sign_of_life(self) -> None:
        if self._alive():
            self._manager.send("WATCHDOG=1")
