"""Debian's nginx, run for a test with what that test puts into its http block."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")
CONF = """
error_log {folder}/error.log; pid {folder}/pid; daemon off; worker_processes 1;
events {{}}
http {{
  access_log off;
  client_body_temp_path {folder}/b; proxy_temp_path {folder}/p; fastcgi_temp_path {folder}/f;
  uwsgi_temp_path {folder}/u; scgi_temp_path {folder}/s;
  {blocks}
}}
"""


def need_nginx() -> str:
    """Where nginx is; skips the test where there is none, and fails it where NGINX_TEST says that it is required."""
    if NGINX is None:
        if os.environ.get("NGINX_TEST") == "required":
            pytest.fail("nginx is not installed")
        pytest.skip("nginx is not installed")
    return NGINX


@contextmanager
def nginx(folder: Path, blocks: str) -> Iterator[None]:
    """It runs with these blocks (upstream, server), its own files in the folder; it may not listen yet."""
    conf = folder / "nginx.conf"
    conf.write_text(CONF.format(folder=folder, blocks=blocks))
    proxy = subprocess.Popen([need_nginx(), "-p", str(folder), "-c", str(conf)], stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        proxy.terminate()
        proxy.wait(20)
