"""One application a test module, since setting up a fleet is what costs."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from scheduler.actions.people import passphrases
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a hash truly costs is checked where people sign in (`tests/storage`)."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passphrases, "_hasher", quick)
    monkeypatch.setattr(passphrases, "NOBODYS", quick.hash("what nobody knows"))


@pytest.fixture(scope="module")
def module_stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with staged(tmp_path_factory.mktemp("api")) as stage:
        yield stage


@pytest.fixture
def stage(module_stage: Stage) -> Iterator[Stage]:
    """The module's application with its clock set back to the same instant and no cookie kept."""
    module_stage.clock.at = AT
    module_stage.client.cookies.clear()
    yield module_stage
    module_stage.clock.at = AT


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Stage]:
    """An application of one's own with the smaller ship, for tests that change a lot."""
    with staged(tmp_path, (PLOVER,)) as alone:
        yield alone
