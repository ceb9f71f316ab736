"""`leadline backup`, `restore` and a second `serve`: what they say, and their exit codes."""

import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.domain.checks.diagnosis import BACKUP_OLD_S, of_backup
from scheduler.storage.serving import only_server
from tests.cli.calling import good, leadline, process
from tests.cli.conftest import Ship


def readings(file: str) -> int:
    """How many are stored."""
    with closing(sqlite3.connect(file)) as raw:
        return int(raw.execute("SELECT count(*) FROM reading").fetchone()[0])


@pytest.mark.long
def test_a_backup_is_made_checked_and_put_back_by_command(ship: Ship) -> None:
    """Made beside the file unless told where; put back only with --replace; the one from before stays and is named."""
    made = good(*ship.words("backup")).strip()
    assert Path(made).parent == ship.folder / "ship.db.backups"
    told = json.loads(good(*ship.words("restore", made, "--check", "--json")))
    assert (told["restored"], told["aside"]) == (False, None)
    before = readings(ship.database)
    good(*ship.words("reading", "plover-vp2-hours", "100"))
    refused = leadline(*ship.words("restore", made))
    assert (refused.returncode, "--replace" in refused.stderr) == (1, True)
    assert readings(ship.database) == before + 1
    back = leadline(*ship.words("restore", made, "--replace"))
    assert back.returncode == 0
    assert "all as backed up at" in back.stdout
    assert "What was stored after" in back.stderr
    aside = next(line.rpartition(": ")[2] for line in back.stderr.splitlines() if "from before" in line)
    assert (readings(ship.database), readings(aside)) == (before, before + 1)
    assert good(*ship.words("due", "plover-plant"))


@pytest.mark.long
def test_a_backup_goes_where_it_is_told_and_into_a_new_place(ship: Ship, tmp_path: Path) -> None:
    """--to makes the folder; a backup of one database makes another where none is."""
    made = json.loads(good(*ship.words("backup", "--to", str(tmp_path / "stick"), "--json")))
    assert Path(made["folder"]).parent == tmp_path / "stick"
    fresh = str(tmp_path / "fresh.db")
    assert json.loads(good("--database", fresh, "restore", made["folder"], "--json"))["rows"] == made["rows"]
    assert readings(fresh) == readings(ship.database)


@pytest.mark.long
@pytest.mark.parametrize("words", [("restore", "nowhere"), ("restore", "nowhere", "--check")])
def test_a_folder_that_is_no_backup_is_told(ship: Ship, words: tuple[str, ...]) -> None:
    """1, and what was expected."""
    told = leadline(*ship.words(*words))
    assert (told.returncode, "no whole backup" in told.stderr) == (1, True)


def test_a_backup_that_was_changed_ends_7_when_it_is_checked(ship: Ship) -> None:
    """With the file's name."""
    made = Path(good(*ship.words("backup")).strip())
    with (made / "database.sqlite").open("ab") as file:
        file.write(b"x")
    told = leadline(*ship.words("restore", str(made), "--check"))
    assert (told.returncode, "database.sqlite" in told.stderr) == (7, True)


@pytest.mark.long
def test_a_second_server_on_a_file_is_refused_and_commands_are_not(ship: Ship) -> None:
    """In words, with the file, at once; a restore too; what only reads or writes goes on."""
    with only_server(Path(ship.database)):
        told = process(*ship.words("serve", "--port", "0"))
        assert told.returncode == 1
        assert "A server runs on" in told.stderr
        assert ship.database in told.stderr
        assert "Traceback" not in told.stderr + told.stdout
        good(*ship.words("reading", "plover-vp2-hours", "100"))
        made = good(*ship.words("backup")).strip()
        assert leadline(*ship.words("restore", made, "--replace")).returncode == 1
    assert leadline(*ship.words("restore", made, "--replace")).returncode == 0


def test_doctor_says_when_the_newest_backup_is_old_and_where_it_lies(ship: Ship) -> None:
    """A note before any server has run for three nights; wrong once it is three days old."""

    def notes() -> dict[str, bool]:
        looks = json.loads(leadline(*ship.words("doctor", "--json")).stdout)["looks"]
        return {one["about"]: one["note"] for one in looks if one["about"].startswith("backup")}

    assert notes() == {"backup": True}
    made = Path(good(*ship.words("backup")).strip())
    assert notes() == {"backup on the same disk": True}
    manifest = json.loads((made / "manifest.json").read_text())
    manifest["made_at"] = (datetime.now(UTC) - timedelta(days=3, minutes=1)).isoformat()
    (made / "manifest.json").write_text(json.dumps(manifest))
    assert notes() == {"backup": False, "backup on the same disk": True}


@pytest.mark.parametrize(
    ("made_s", "serving_since_s", "note"),
    [(0, None, None), (-1, None, False), (None, None, True), (None, 0, True), (None, -1, False), (0, -99, None)],
)
def test_three_days_are_the_bound(made_s: int | None, serving_since_s: int | None, note: bool | None) -> None:
    """Just three days is no finding; a second more is one, of the backup or, where there is none, of the first night."""
    found = of_backup("x", made_s, serving_since_s, BACKUP_OLD_S)
    assert (None if found is None else found.note) is note
