"""`leadline worker` where it cannot work: it says why, and what to do."""

from pathlib import Path

import pytest

from scheduler.storage.database import open_database
from tests.cli.calling import leadline
from tests.cli.conftest import Ship
from tests.storage.stores import kinds, ready_url


def test_without_the_setting_a_worker_would_work_beside_the_server(ship: Ship) -> None:
    """It names the setting, as the environment and as a file have it."""
    told = leadline(*ship.words("worker"))
    assert told.returncode == 1
    assert "LEADLINE_WORKERS=yes" in told.stderr


def test_an_sqlite_file_has_no_workers_and_no_command_pretends(ship: Ship) -> None:
    """Whoever sets it there is told, whatever they call."""
    for words in ("worker", "due"):
        told = leadline(*ship.words(words), LEADLINE_WORKERS="yes")
        assert (told.returncode, "Workers need PostgreSQL" in told.stderr) == (1, True), words


@pytest.mark.long
@pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL here")
def test_upgrade_makes_the_queue_beside_the_tables(tmp_path: Path) -> None:
    """Where the setting says so; then doctor misses the workers."""
    with ready_url("postgresql", tmp_path) as url:
        for says in ("no", "yes", "yes"):
            assert leadline("--database", url, "upgrade", LEADLINE_WORKERS=says).returncode == 0
        database = open_database(url)
        with database.read() as session:
            made = session.connection().exec_driver_sql("SELECT to_regclass('procrastinate_jobs')").scalar_one()
        database.close()
        assert made
        told = leadline("--database", url, "doctor", LEADLINE_WORKERS="yes")
        assert (told.returncode, "No worker runs" in told.stdout) == (1, True)
