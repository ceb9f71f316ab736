"""A pull-down test makes a pump count for what it swept, and says what it can and cannot tell."""

import pytest

from tests.api.stage import AT, Stage
from tests.api.test_doors import PUMP_TEST, stamp

PATH = "/api/v1/pumps/plover-pump-c/test"


def _counts_for(stage: Stage) -> float:
    plant = stage.ask("GET", "/api/v1/plants/plover-plant").json()
    return next(p for p in plant["pumps"] if p["pump"] == "plover-pump-c")["counts_for_swept_m3_per_h"]


def test_a_passed_test_is_what_the_pump_counts_for(fresh: Stage) -> None:
    """3.2 m3 from 35 to 50 kPa in 45 s, and 2 kPa in 300 s held: swept, leak, both said and recorded."""
    figures = {**PUMP_TEST["figures"], "hold_rise_kpa": 2.0, "hold_seconds": 300}
    answer = fresh.ask("POST", PATH, json={**PUMP_TEST, "figures": figures})
    told = answer.json()
    assert answer.status_code == 200
    assert told["pump_state"] == "proved"
    assert abs(told["leak_pa_m3_per_s"] - 21.333) < 0.001
    assert abs(told["swept_m3_per_h"] - 66.97) < 0.1
    assert abs(_counts_for(fresh) - told["swept_m3_per_h"]) < 0.01


def test_a_log_without_a_hold_reports_the_leak_as_not_determinable(fresh: Stage) -> None:
    """No figure is made up for it."""
    log = "\n".join(["seconds,vacuum_kpa", *(f"{4 * i},{30 + 1.8 * i:.2f}" for i in range(14))])
    told = fresh.ask("POST", PATH, json={**PUMP_TEST, "figures": None, "log": log}).json()
    assert told["leak_pa_m3_per_s"] is None
    assert told["swept_spread_m3_per_h"] is not None
    assert "not determinable" in told["says"]


@pytest.mark.long
def test_a_failed_test_counts_nothing(fresh: Stage) -> None:
    """The pump is down from the test on."""
    assert fresh.ask("POST", PATH, json={**PUMP_TEST, "result": "failed"}).json()["pump_state"].startswith("down")
    assert _counts_for(fresh) == 0
    again = fresh.ask("POST", PATH, json=PUMP_TEST)
    assert again.status_code == 409
    assert "Bring it back first" in again.json()["detail"]


def test_what_cannot_be_is_refused_in_words_and_nothing_changes(stage: Stage) -> None:
    """Each says what was expected."""
    before = _counts_for(stage)
    figures = PUMP_TEST["figures"]
    for change, says in (
        ({"figures": {**figures, "seconds": 5}}, "Check seconds"),
        ({"figures": {**figures, "from_vacuum_kpa": 50, "to_vacuum_kpa": 35}}, "start and which is stop"),
        ({"figures": {**figures, "hold_seconds": 300}}, "both hold_rise_kpa and hold_seconds"),
        ({"figures": None}, "one of the two"),
        ({"log": "seconds,vacuum_kpa\n0,1\n"}, "one of the two"),
        ({"figures": None, "log": "seconds,vacuum_kpa\n0,30\n1,x"}, "line 3, vacuum_kpa"),
        ({"done_by": "  "}, "Say who"),
        ({"at": stamp(AT.replace(year=2027))}, "still to come"),
    ):
        answer = stage.ask("POST", PATH, json={**PUMP_TEST, **change})
        assert answer.status_code == 422, change
        assert says in answer.text, change
    assert _counts_for(stage) == before
