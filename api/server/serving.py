"""The socket a server listens on, and the server under an application: uvicorn, with limits on connections, and no proxy believed
that is not named."""

import asyncio
import logging
import os
import socket
from collections.abc import Callable
from typing import Any

import uvicorn
from anyio.to_thread import current_default_thread_limiter
from starlette.types import ASGIApp
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from api.server.connections import AT_A_TIME, IDLE_SECONDS, Connections, damp_accept_errors, protocol_with, room_for
from api.server.notify import NotifyingServer, ServiceManager
from scheduler.errors import Refused
from scheduler.settings import Settings

QUEUE = 2048
"""Connections the system keeps until they are accepted."""
WORK_THREADS = 16
"""Requests worked on at a time; the rest wait their turn. Four read the database at once, the others wait for the planner or to
write: with 40, as the framework has it, each would only make the others slower and hold memory of its own."""
END_SECONDS = 10
"""How long a server that ends waits for requests under way: a client that stops in the middle of one must not hold it."""

log = logging.getLogger("leadline")


def listen(host: str, *ports: int) -> socket.socket:
    """A listening socket on the first of `ports` that is free; port 0 takes any free one.

    Args:
        host: name or address of this machine, IPv4 or IPv6.
        ports: 0 to 65535, at least one.

    Raises:
        Refused: the host is not one of this machine's, or none of the ports is free.
    """
    try:
        found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except OSError as error:
        raise Refused(
            f"Host {host!r} cannot be listened on: {error.strerror}. Give one of this machine's addresses."
        ) from error
    for port in ports:
        # asyncio turns Nagle's delay off only where the protocol is named; without it every answer waits 40 ms
        sock = socket.socket(found[0][0], socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            sock.bind((host, port))
            sock.listen(QUEUE)
        except OSError as error:
            sock.close()
            why = error
        else:
            return sock
    named = " or ".join(str(port) for port in ports)
    raise Refused(
        f"Port {named} on {host} cannot be listened on: {os.strerror(why.errno or 0).lower()}. "
        "Give another --port or --host."
    ) from why


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
