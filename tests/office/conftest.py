"""One ship set up once a run; an office of its own for each test, on SQLite and on PostgreSQL."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.stage import Stage, TurnedClock, staged
from tests.office.ship import Office, Ship, aboard, office_at
from tests.storage import stores


@pytest.fixture(scope="session")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The ship's own server, from which the truth is read."""
    with staged(tmp_path_factory.mktemp("aboard")) as stage:
        yield stage


@pytest.fixture(scope="session")
def _sent(stage: Stage) -> Ship:
    return aboard(stage)[0]


@pytest.fixture
def ship(_sent: Ship) -> Ship:
    """Her changes so far."""
    return Ship(_sent.vessel_id, _sent.life, list(_sent.changes))


@pytest.fixture(params=stores.kinds_long_on_postgresql())
def office(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Office]:
    """An office that has nothing yet."""
    with stores.ready_url(request.param, tmp_path) as url, office_at(url, TurnedClock()) as office:
        yield office


@pytest.fixture
def sqlite_office(tmp_path: Path) -> Iterator[Office]:
    """The same, on SQLite alone."""
    with stores.ready_url("sqlite", tmp_path) as url, office_at(url, TurnedClock()) as office:
        yield office
