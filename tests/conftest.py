"""Shared by all tests: hypothesis profiles (`quick` for the README's command, `full` for CI by HYPOTHESIS_PROFILE=full).

Databases of tests lie in memory where the system has a folder for that: thousands of durable commits are otherwise as
slow as the disk is busy. LEADLINE_TEST_FOLDER names another place, such as a real disk.
Every calendar that the tests make is kept in FEEDS_FOLDER, if that is set, for strict readers to look at afterwards.
"""

import gc
import hashlib
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# The tests start hundreds of commands: where the environment forbids to keep what is compiled, each would compile all of it anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

settings.register_profile("quick", max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("full", max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

_folder = os.environ.pop("LEADLINE_TEST_FOLDER", "/dev/shm")
if Path(_folder).is_dir() and os.access(_folder, os.W_OK):
    tempfile.tempdir = os.environ["TMPDIR"] = _folder


def _keep_feeds(folder: Path) -> None:
    """Before anything imports it: the one function that joins calendars also keeps them, each once."""
    from api.ics import text

    make = text.calendar_body

    def kept(*told: Any, **named: Any) -> bytes:
        body = make(*told, **named)
        (folder / f"{hashlib.sha256(body).hexdigest()}.ics").write_bytes(body)
        return body

    folder.mkdir(parents=True, exist_ok=True)
    text.calendar_body = kept


if os.environ.get("FEEDS_FOLDER"):
    _keep_feeds(Path(os.environ["FEEDS_FOLDER"]))


# Thousands of tests are collected and stay: while that goes on nothing is rubbish, afterwards none of it is looked through again.
gc.disable()


def pytest_collection_finish(session: pytest.Session) -> None:
    gc.collect()
    gc.freeze()
    gc.enable()


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Folders of which the marks leave nothing are not even read."""
    marks = str(config.option.markexpr)
    left_out = any(
        collection_path == Path(__file__).parent / one and f"not {one}" in marks for one in ("bench", "browser")
    )
    return True if left_out else None
