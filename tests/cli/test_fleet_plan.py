"""`leadline plan` for the fleet, its check, and the outlook."""

import json

import pytest

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


def test_the_fleet_in_lines_and_in_json(ship: Ship) -> None:
    """A line a plant on stdout, the sum on stderr, no bar where no terminal is; the same in figures as JSON."""
    told = leadline(*ship.words("plan", "--fleet", "--processes", "1"))
    assert told.returncode == 0
    assert told.stdout.startswith(("plover-plant: planned, ", "plover-plant: unchanged, "))
    assert told.stderr.startswith("1 plant in ")
    assert "\r" not in told.stderr
    found = json.loads(good(*ship.words("plan", "--fleet", "--json")))
    (plant,) = found["plants"]
    assert found["planned"] + found["unchanged"] == 1
    shown = json.loads(good(*ship.words("plan", "plover-plant", "--json")))["proposed"]
    assert (plant["digest"], plant["slots"]) == (shown["digest"], len(shown["slots"]))
    assert plant["least_margin_swept_m3_per_h"] == shown["least_margin_swept_m3_per_h"]


@pytest.mark.long
def test_the_check_is_5_when_a_plan_leaves_something_short(ship: Ship) -> None:
    """With a minimum that lets no pump out its jobs have no place: 5 for the plant and for the fleet, which plans nothing."""
    before = json.loads(good(*ship.words("plan", "plover-plant", "--json")))["proposed"]["digest"]
    words = ["minimum", "plover-plant", "--closets", "180", "--flushes", "9", "--litres", "60", "--label", "all pumps"]
    good(*ship.words(*words))
    checked = leadline(*ship.words("plan", "--fleet", "--check"))
    assert "plover-plant: to be planned" in checked.stdout
    assert json.loads(good(*ship.words("plan", "plover-plant", "--json")))["proposed"]["digest"] == before
    told = leadline(*ship.words("plan", "plover-plant", "--new", "--check"))
    assert told.returncode == 5
    assert "without a place" in told.stderr
    assert leadline(*ship.words("plan", "--fleet", "--check")).returncode == 5


@pytest.mark.long
def test_an_outlook_says_that_it_is_one(ship: Ship) -> None:
    """Its words, its days, and no plan kept for it."""
    before = good(*ship.words("plan", "plover-plant"))
    told = json.loads(good(*ship.words("plan", "plover-plant", "--outlook", "--days", "20", "--json")))
    assert told["outlook"] is True
    assert told["days"] == 20
    assert "not kept" in told["says"]
    assert told["plan"]["lawful"]
    assert good(*ship.words("plan", "plover-plant")) == before
