"""Behind Debian's nginx with TLS: who asks and by https is believed of a named proxy, and of nobody else."""

import http.client
import json
import re
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from starlette.types import Receive, Scope, Send

from api.server.serving import listen, server_for
from scheduler.settings import Settings
from tests.end_to_end.automation import free_port
from tests.end_to_end.nginx import need_nginx, nginx

pytestmark = pytest.mark.long
MANUAL = Path(__file__).parents[2] / "api" / "pages" / "manual" / "text" / "settings.md"


def _server_block(folder: Path, port: int, behind: int) -> str:
    """The block that the manual gives, with the test's own places in it."""
    block = re.findall(r"^server \{.*?^\}", MANUAL.read_text(), re.MULTILINE | re.DOTALL)[0]
    for given, own in (
        ("listen 443", f"listen 127.0.0.1:{port}"),
        ("/etc/ssl/leadline.pem", f"{folder}/cert.pem"),
        ("/etc/ssl/leadline.key", f"{folder}/key.pem"),
        ("127.0.0.1:8322", f"127.0.0.1:{behind}"),
    ):
        assert given in block
        block = block.replace(given, own)
    return block


@pytest.fixture(autouse=True)
def _there() -> None:
    need_nginx()


async def _who(scope: Scope, receive: Receive, send: Send) -> None:
    """Answers with who asked, as the application hears it."""
    if scope["type"] == "http":
        headers = {name.decode(): value.decode() for name, value in scope["headers"]}
        body = json.dumps([scope["client"][0], scope["scheme"], headers["host"]]).encode()
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]})
        await send({"type": "http.response.body", "body": body})


@contextmanager
def _served(folder: Path, settings: Settings) -> Iterator[tuple[str, str]]:
    """(address through nginx, address past it) of a server with these settings."""
    port, quiet = free_port(), {"check": True, "capture_output": True}
    with listen("127.0.0.1", 0) as sock:
        behind = sock.getsockname()[1]
        pair = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem")]
        named = ["-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"]
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *pair, *named], **quiet
        )  # type: ignore[call-overload]
        server = server_for(_who, settings)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
        thread.start()
        try:
            with nginx(folder, _server_block(folder, port, behind)):
                yield f"https://127.0.0.1:{port}/", f"http://127.0.0.1:{behind}/"
        finally:
            server.should_exit = True
            thread.join(20)


CLIENT = "127.0.0.2"


def _ask(folder: Path, url: str, **headers: str) -> list[str]:
    """What a client at another address than the proxy's is answered."""
    parts = urlsplit(url)
    more: dict[str, Any] = {"timeout": 20, "source_address": (CLIENT, 0)}
    for _ in range(400):
        if parts.scheme == "https":
            trusted = ssl.create_default_context(cafile=str(folder / "cert.pem"))
            asked: http.client.HTTPConnection = http.client.HTTPSConnection(parts.netloc, context=trusted, **more)
        else:
            asked = http.client.HTTPConnection(parts.netloc, **more)
        with closing(asked), suppress(ConnectionRefusedError):
            asked.request("GET", "/", headers={name.replace("_", "-"): value for name, value in headers.items()})
            found: list[str] = json.loads(asked.getresponse().read())
            return found
        time.sleep(0.05)  # nginx is starting
    pytest.fail("nobody answers")


def test_a_named_proxy_is_believed_and_what_a_client_made_up_is_not(tmp_path: Path) -> None:
    """https and the client that nginx saw come through; an address the client put in front of it counts for nothing."""
    with _served(tmp_path, Settings(proxies="127.0.0.1")) as (through, _):
        host = through.split("/")[2]
        assert _ask(tmp_path, through) == [CLIENT, "https", host]
        for made_up in ("203.0.113.9", "203.0.113.9, 198.51.100.7", "unknown", '"><script>'):
            assert _ask(tmp_path, through, X_Forwarded_For=made_up, X_Forwarded_Proto="http") == [CLIENT, "https", host]


def test_a_proxy_that_is_not_named_is_not_believed(tmp_path: Path) -> None:
    """Neither through nginx nor straight: the connection's own address and scheme are what counts."""
    with _served(tmp_path, Settings(proxies="10.9.9.9")) as (through, straight):
        for url, seen in ((through, "127.0.0.1"), (straight, CLIENT)):
            told = _ask(tmp_path, url, X_Forwarded_For="203.0.113.9", X_Forwarded_Proto="https")
            assert told[:2] == [seen, "http"]
