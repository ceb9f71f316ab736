"""A plan far ahead through its door."""

import pytest

from tests.api.stage import Stage

DOOR = "/api/v1/plants/plover-plant/plan/outlook"


@pytest.mark.long
def test_an_outlook_is_answered_and_not_kept(fresh: Stage) -> None:
    """Its words and its days; no plan is proposed for it; more days than two years are refused."""
    told = fresh.ask("GET", DOOR, params={"days": 30})
    assert told.status_code == 200, told.text
    found = told.json()
    assert (found["plant"], found["days"], found["outlook"]) == ("plover-plant", 30, True)
    assert "not kept" in found["says"]
    assert found["plan"]["lawful"]
    assert found["plan"]["slots"]
    assert fresh.ask("GET", "/api/v1/plants/plover-plant/plan").json()["proposed"] is None
    for days in (1, 731):
        assert fresh.ask("GET", DOOR, params={"days": days}).status_code in (400, 422)
    with fresh.context.looking_far:
        assert fresh.ask("GET", DOOR, params={"days": 30}).status_code == 503
