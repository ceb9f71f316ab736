"""The listening socket: the first free port, in words when there is none, and without Nagle's delay."""

import asyncio
import socket

import pytest

from api.server.serving import listen
from scheduler.errors import Refused


def test_the_first_free_port_is_taken() -> None:
    """A port that is taken is passed over; 0 is any."""
    with listen("127.0.0.1", 0) as one:
        port = one.getsockname()[1]
        with listen("127.0.0.1", port, 0) as other:
            assert other.getsockname()[1] not in (0, port)
        with pytest.raises(Refused, match=f"Port {port} on 127.0.0.1 .* already in use. Give another --port"):
            listen("127.0.0.1", port)


@pytest.mark.parametrize("host", ["203.0.113.9", "no such host"])
def test_a_host_that_is_not_ours_is_named(host: str) -> None:
    """An address of another machine (RFC 5737 keeps this one for documents), and no name at all."""
    with pytest.raises(Refused, match=host):
        listen(host, 0)


def test_ipv6_is_listened_on() -> None:
    """An address with colons; a machine without IPv6 says so in words."""
    if not socket.has_dualstack_ipv6():
        with pytest.raises(Refused, match="::1"):
            listen("::1", 0)
        return
    with listen("::1", 0) as sock, socket.create_connection(("::1", sock.getsockname()[1])) as client:
        assert client.getpeername()[0] == "::1"


def test_an_accepted_connection_sends_at_once() -> None:
    """asyncio sets TCP_NODELAY on it; otherwise an answer in two writes waits for the other side's delayed ACK."""

    async def accepted() -> int:
        flag: asyncio.Future[int] = asyncio.get_running_loop().create_future()

        async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            sock = writer.get_extra_info("socket")
            flag.set_result(sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        sock = listen("127.0.0.1", 0)
        async with await asyncio.start_server(serve, sock=sock):
            _, writer = await asyncio.open_connection(*sock.getsockname())
            found = await flag
            writer.close()
            return found

    assert asyncio.run(accepted()) != 0
