"""A slot of the plan aboard is moved by command: shown first, set when asked, listed and put back."""

import json
import re
from datetime import datetime, timedelta

import pytest

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


@pytest.mark.long
def test_a_slot_is_tried_set_listed_and_put_back(ship: Ship) -> None:
    """Without --set nothing changes; exit 1 when it does not hold, with the times that do; ship time needs no offset."""
    shown = json.loads(good(*ship.words("plan", "plover-plant", "--json")))["proposed"]
    good(*ship.words("plan", "plover-plant", "--take", shown["digest"][:12]))
    slot = next(slot for slot in reversed(shown["slots"]) if slot["job"].startswith("standby_start"))
    start = datetime.fromisoformat(slot["from"])
    offset = timedelta(minutes=ship.document["utc_offset_minutes"])
    words = ("move", "plover-plant", slot["job"], "--to")
    told = leadline(*ship.words(*words, (start + timedelta(days=9)).isoformat(), "--json"))
    at = next(
        datetime.fromisoformat(one["start_at"]) for one in json.loads(told.stdout)["times"] if not one["as_planned"]
    )
    ship_time = f"{at + offset:%Y-%m-%dT%H:%M}"
    shown_there = good(*ship.words(*words, ship_time))
    assert "It holds" in shown_there
    assert "as planned" in shown_there
    done = json.loads(good(*ship.words(*words, ship_time, "--set", "--reason", "port call moved", "--json")))
    assert (done["move"], done["version"]) == (1, 3)
    assert f"{at + offset:%d %b %Y %H:%M}" in good(*ship.words("plan", "plover-plant"))
    assert "is back on" in good(*ship.words("move", "plover-plant", "--undo", "1"))
    assert re.search("port call moved; undone by", good(*ship.words("move", "plover-plant", "--list")))
