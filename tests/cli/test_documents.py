"""`leadline vessel`: the document out again, its versions, an example and the schema."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship, own_key


def test_the_document_comes_out_as_it_went_in_and_goes_in_again(ship: Ship, tmp_path: Path) -> None:
    """Each version; what is shown is taken in again without a change."""
    shown = good(*ship.words("vessel", "show", "demo-plover"))
    assert good(*ship.words("vessel", "show", "demo-plover", "--version", "1")) == shown
    file = tmp_path / "again.json"
    file.write_text(shown)
    assert good(*ship.words("import", str(file), "--replace")) == "demo-plover: version 1\n"
    listed = json.loads(good(*ship.words("vessel", "versions", "demo-plover", "--json")))["versions"]
    assert [one["version"] for one in listed] == [1]
    assert good(*ship.words("vessel", "versions", "demo-plover")).split()[0] == "1"
    missing = leadline(*ship.words("vessel", "show", "demo-plover", "--version", "9"))
    assert missing.returncode == 1
    assert "Version 9" in missing.stderr


@pytest.mark.long
def test_the_example_is_taken_in_and_planned(tmp_path: Path) -> None:
    """A ship to start from: no fault, its jobs fall due, a plan is made."""
    file, database = tmp_path / "ship.json", str(tmp_path / "ship.db")
    file.write_text(good("vessel", "example"))
    assert good("--database", database, "import", str(file)) == "demo-gull: version 1\n"
    assert "Overhaul" in good("--database", database, "due", "gull-plant")
    assert "proved best" in good("--database", database, "plan", "gull-plant", "--new")


@pytest.mark.long
def test_what_was_last_done_at_no_known_time_is_listed_until_a_first_date_is_set(tmp_path: Path) -> None:
    """By import, doctor and due alike; then by none of them."""
    file, database = tmp_path / "ship.json", str(tmp_path / "ship.db")
    document = json.loads(good("vessel", "example"))
    for plant in document["plants"]:
        plant["last_done"] = [one for one in plant["last_done"] if one["kind"] != "alarm_test"]
    file.write_text(json.dumps(document))
    told = good("--database", database, "import", str(file))
    assert "not known" in told
    (key,) = [line.split()[-1] for line in told.splitlines()[2:]]
    assert key.startswith("alarm_test:")
    assert "due now" in good("--database", database, "due", "gull-plant")
    assert key in leadline("--database", database, "doctor").stdout
    chief = own_key(database, tmp_path, "chief", "A. Chief", "chief", "demo-gull")
    words = ("job", "first-date", key, f"{datetime.now(UTC).date() + timedelta(days=20)}", "--reason", "new ship")
    assert leadline("--database", database, *words).returncode == 1
    assert "first due" in good("--database", database, "--key-file", chief, *words)
    assert "due now" not in good("--database", database, "due", "gull-plant")
    assert key not in leadline("--database", database, "doctor").stdout


def test_the_schema_names_the_members() -> None:
    """JSON Schema, of the shape; the sense is checked on import."""
    told = json.loads(good("vessel", "schema"))
    assert told["$schema"].startswith("https://json-schema.org/")
    assert {"id", "name", "imo", "plants"} <= set(told["properties"])
