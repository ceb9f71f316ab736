"""`leadline doctor`: what it finds, what it does not, and its exit code."""

import json
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest

from seed_fleet.ships import PLOVER
from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


def looked(ship: Ship, *more: str, **own: str) -> tuple[int, dict[str, list[str]]]:
    """Exit code, and what is told (notes left out) by what it is about."""
    told = leadline(*ship.words("doctor", *more, "--json"), **own)
    found: dict[str, list[str]] = {}
    for one in json.loads(told.stdout)["looks"]:
        if not one["note"]:
            found.setdefault(one["about"], []).append(one["which"])
    return told.returncode, found


@pytest.mark.long
def test_a_ship_in_order_is_well(ship: Ship) -> None:
    """With every counter read and a plan taken nothing is told, and it ends 0; notes do not change that."""
    for n in range(3):
        good(*ship.words("reading", PLOVER.counter(n), "102"))
    digest = json.loads(good(*ship.words("plan", "plover-plant", "--json")))["proposed"]["digest"]
    good(*ship.words("plan", "plover-plant", "--take", digest))
    assert looked(ship) == (0, {})
    assert "All well." in leadline(*ship.words("doctor", "demo-plover")).stderr


@pytest.mark.long
def test_what_is_odd_is_told_line_by_line(ship: Ship) -> None:
    """Never read, held, conflicting and refused readings, and a plan nobody took: each with what to do, and it ends 1."""
    at = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=5)
    good(*ship.words("reading", PLOVER.counter(0), "90000", "--at", at.isoformat()))
    assert leadline(*ship.words("reading", PLOVER.counter(0), "7", "--at", at.isoformat())).returncode == 1
    code, found = looked(ship, "demo-plover")
    assert code == 1
    assert found["never read"] == [PLOVER.counter(1), PLOVER.counter(2)]
    assert found["held reading"] == [PLOVER.counter(0)]
    assert found["conflict readings"] == [f"demo-plover: {PLOVER.counter(0)}"]
    assert found["plan not taken"] == ["plover-plant"]
    plain = leadline(*ship.words("doctor"))
    assert "replaced, misread, or preset" in plain.stdout
    assert "to look at." in plain.stderr


def test_settings_that_cannot_work_are_told(ship: Ship) -> None:
    """Listening on every address without base_url, a cookie that plain http does not send back, days all frozen."""
    own = {
        "LEADLINE_HOST": "0.0.0.0",
        "LEADLINE_FROZEN_DAYS": "30",
        "LEADLINE_HORIZON_DAYS": "20",
    }
    assert looked(ship, **own)[1]["setting"] == ["base_url", "frozen_days"]
    own = {"LEADLINE_BASE_URL": "http://x", "LEADLINE_INSECURE_COOKIE": "no"}
    assert looked(ship, **own)[1]["setting"] == ["insecure_cookie"]
    own = {"LEADLINE_BASE_URL": "http://ship.example.com"}
    assert looked(ship, **own)[1]["setting"] == ["open network"]
    refused = leadline(*ship.words("key", "link", "chief"), LEADLINE_HOST="0.0.0.0")
    assert (refused.returncode, "base_url" in refused.stderr, refused.stdout) == (1, True, "")


def test_tables_of_another_version_are_told_and_nothing_else_is_touched(ship: Ship) -> None:
    """An older step names the command that mends it; no vessel is looked at then."""
    with sqlite3.connect(ship.database) as file:
        file.execute("UPDATE alembic_version SET version_num = 'v0001'")
    file.close()
    code, found = looked(ship)
    assert (code, set(found)) == (1, {"tables"})
    assert "leadline upgrade" in leadline(*ship.words("doctor")).stdout


def test_an_unknown_ship_is_told(ship: Ship) -> None:
    """With the ones that are here."""
    told = leadline(*ship.words("doctor", "demo-gannet"))
    assert (told.returncode, "Known: demo-plover" in told.stderr) == (1, True)
