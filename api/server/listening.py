"""The socket a server listens on, opened by us: a port that is taken is then told in words, before anything starts."""

import os
import socket

from scheduler.errors import Refused

QUEUE = 2048
"""Connections the system keeps until they are accepted."""


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
