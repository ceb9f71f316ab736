"""The HTTP server under an application: uvicorn, with limits on connections, and no proxy believed that is not named."""

import asyncio
import logging
from collections.abc import Callable
from typing import Any

import uvicorn
from anyio.to_thread import current_default_thread_limiter
from starlette.types import ASGIApp
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from api.server.connections import AT_A_TIME, IDLE_SECONDS, Connections, damp_accept_errors, protocol_with, room_for
from api.server.listening import QUEUE
from api.server.notify import NotifyingServer, ServiceManager
from api.server.process import WORK_THREADS
from scheduler.settings import Settings

END_SECONDS = 10
"""How long a server that ends waits for requests under way: a client that stops in the middle of one must not hold it."""

log = logging.getLogger("leadline")


class LimitedServer(NotifyingServer):
    """uvicorn that tells a service manager how it is, whose loop writes errors of accepting once a minute, and which
    works on few requests at a time."""

    async def serve(self, sockets: Any = None) -> None:
        """As uvicorn does."""
        current_default_thread_limiter().total_tokens = WORK_THREADS
        damp_accept_errors(asyncio.get_running_loop())
        await super().serve(sockets)

    async def startup(self, sockets: Any = None) -> None:
        """As uvicorn does; then the system's own queue, which asyncio ties to how many it accepts at a time, made long again."""
        await super().startup(sockets)
        for one in sockets or ():
            one.listen(QUEUE)


def server_for(
    application: ASGIApp,
    settings: Settings,
    manager: ServiceManager | None = None,
    alive: Callable[[], bool] = lambda: True,
) -> LimitedServer:
    """A server for an application, to be run on a socket of `listening`. manager: none when nothing started it as a service."""
    proxies = settings.named_proxies()
    trusted = ProxyHeadersMiddleware(application, proxies).trusted_hosts  # type: ignore[arg-type]
    most = room_for(settings.most_connections)
    if most < settings.most_connections:
        log.warning("at most %d connections at once: this process may open no more files", most)
    connections = Connections(most, settings.most_connections_an_address, lambda address: address in trusted)
    return LimitedServer(
        uvicorn.Config(
            application,
            http=protocol_with(connections),
            ws="none",
            backlog=AT_A_TIME,
            log_config=None,
            access_log=False,
            proxy_headers=bool(proxies),
            forwarded_allow_ips=proxies,
            server_header=False,
            timeout_keep_alive=IDLE_SECONDS,
            timeout_graceful_shutdown=END_SECONDS,
        ),
        manager or ServiceManager({}),
        alive,
    )
