"""One fixture, two databases: each test that takes `db` runs on SQLite and on PostgreSQL."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from scheduler.storage.database import Database
from tests.storage import stores


@pytest.fixture(params=stores.kinds())
def kind(request: pytest.FixtureRequest) -> str:
    """Which database."""
    return str(request.param)


@pytest.fixture
def db(kind: str, tmp_path: Path) -> Iterator[Database]:
    """A database with all tables and no rows."""
    with stores.store(kind, tmp_path) as database:
        yield database


@pytest.fixture
def fresh_db(kind: str, tmp_path: Path) -> Iterator[Database]:
    """The same, for a test that alters the tables."""
    with stores.store(kind, tmp_path, fresh=True) as database:
        yield database


@pytest.fixture
def sqlite(tmp_path: Path) -> Iterator[Database]:
    """The same, on SQLite alone."""
    with stores.store("sqlite", tmp_path) as database:
        yield database


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Names the databases that ran."""
    terminalreporter.write_line(f"storage tests ran on: {stores.names()}")
