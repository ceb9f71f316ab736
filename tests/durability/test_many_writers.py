"""Four processes that read, decide and write lose no update; with default settings the same processes do."""

import subprocess
import sys
from pathlib import Path

import pytest
from sqlmodel import select

from scheduler.storage.database import open_database
from scheduler.storage.vessel import RevisionRow
from tests.durability.add_up import PROCESSES, TIMES
from tests.storage import stores

ALL = PROCESSES * TIMES


def _add_up(url: str, way: str) -> tuple[int, int]:
    """(additions that were committed, the number in the end)."""
    database = open_database(url)
    try:
        with database.write("") as session:
            session.add(RevisionRow(vessel_id="plover", number=0))
        command = [sys.executable, "-m", "tests.durability.add_up", url, way]
        out = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2]).stdout
        with database.read() as session:
            return int(out), session.exec(select(RevisionRow.number)).one()
    finally:
        database.close()


@pytest.mark.long
@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgresql", marks=pytest.mark.rough)])
def test_four_processes_lose_no_update(kind: str, tmp_path: Path) -> None:
    """1200 additions make 1200."""
    with stores.ready_url(kind, tmp_path) as url:
        assert _add_up(url, "ours") == (ALL, ALL)


@pytest.mark.rough
@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_the_same_on_default_settings_loses_updates(kind: str, tmp_path: Path) -> None:
    """Additions that were committed are missing in the sum, so the test above can fail."""
    with stores.ready_url(kind, tmp_path) as url:
        committed, number = _add_up(url, "default")
    assert number < committed
