"""The lead order over HTTP, and by whom it is worked out."""

from tests.api.stage import Stage


def test_the_pump_most_above_its_rung_leads_and_nothing_is_changed(stage: Stage) -> None:
    """Every pump of the plant stands on the ladder once, and the advice adds up to what they run."""
    told = stage.ask("GET", "/api/v1/plants/plover-plant/lead-order").json()
    ladder = told["ladder"]
    assert {rung["pump"] for rung in ladder} == {"plover-pump-a", "plover-pump-b", "plover-pump-c"}
    assert ladder == sorted(ladder, key=lambda rung: -rung["above_hours"])
    assert abs(sum(rung["h_per_day"] for rung in ladder) - sum(rung["now_h_per_day"] for rung in ladder)) < 0.4
    assert told["near"] or told["says"].startswith(f"Lead {ladder[0]['position']}")
