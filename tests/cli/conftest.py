"""A ship in a database, made once by the command itself; each test that writes gets a copy."""

import json
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.cli.calling import good


@dataclass(frozen=True, slots=True)
class Ship:
    """A database with the three-pump ship, her document, and a folder to write in."""

    folder: Path
    document: dict[str, Any]

    @property
    def database(self) -> str:
        """Its address."""
        return str(self.folder / "ship.db")

    def words(self, *words: str) -> tuple[str, ...]:
        """The words of a command on this database."""
        return ("--database", self.database, *words)

    def own_key(self, person: str, name: str, role: str) -> str:
        """A file with the own key of a person who is made known."""
        return own_key(self.database, self.folder, person, name, role)


def own_key(database: str, folder: Path, person: str, name: str, role: str, vessel: str = "demo-plover") -> str:
    """A file with the own key of a person who is made known in that database."""
    where = () if role == "office" else ("--vessel", vessel)
    on = ("--database", database, "key")
    good(*on, "person", person, "--name", name, "--role", role, *where)
    key = folder / f"{person}.key"
    key.write_text(good(*on, "add", role, "--label", "own", "--person", person, *where))
    return str(key)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Ship:
    """Imported, with two readings of VP1 and a first plan proposed; not to be written to."""
    folder = tmp_path_factory.mktemp("cli")
    ship = Ship(folder, vessel_document(Run(PLOVER, 1, datetime.now(UTC), 0.1)))
    (folder / "plover.json").write_text(json.dumps(ship.document))
    assert good(*ship.words("import", str(folder / "plover.json"))) == "demo-plover: version 1\n"
    at = datetime.now(UTC).replace(microsecond=0)
    for hours, value in ((3, 100), (1, 102)):
        shown_at = (at - timedelta(hours=hours)).isoformat()
        told = good(*ship.words("reading", PLOVER.counter(0), str(value), "--at", shown_at))
        assert told.startswith("stored; ")
    assert "proposed" in good(*ship.words("plan", "plover-plant", "--new"))
    return ship


@pytest.fixture
def ship(made: Ship, tmp_path: Path) -> Ship:
    """A copy to write to."""
    for file in made.folder.iterdir():
        shutil.copy(file, tmp_path / file.name)
    return Ship(tmp_path, made.document)
