"""Reliability of pumps from the record: breakdowns as told, hours as counted, and refusals where the data are few."""

from datetime import timedelta

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp


def test_breakdowns_are_counted_against_the_hours_run(fresh: Stage) -> None:
    """Two breakdowns of one pump: its mean is its hours halved, within bounds; the others have a lower bound only."""
    for days in (2, 1):
        at = AT - timedelta(days=days)
        for verb, more in (("down", {}), ("back", {"test": "passed"})):
            body = {"at": stamp(at), "reason": "clog", **more}
            assert fresh.ask("POST", f"/api/v1/pumps/plover-pump-b/{verb}", json=body).status_code == 200
    told = fresh.ask("GET", "/api/v1/vessels/demo-plover/reliability", role=Role.CHIEF).json()
    rows = {row["pump"]: row for row in told["pumps"]}
    hit, well = rows["plover-pump-b"], rows["plover-pump-a"]
    assert hit["breakdowns"] == 2
    assert abs(hit["mtbf_running_hours"] - hit["observed_running_hours"] / 2) < 0.1
    assert hit["mtbf_low_running_hours"] < hit["mtbf_running_hours"] < hit["mtbf_high_running_hours"]
    assert well["mtbf_running_hours"] is None
    assert well["mtbf_low_running_hours"] > 0
    assert "no trend either way" in told["trend"]
    assert "carry no life distribution" in told["life"]["says"]
    assert len(told["mean_breakdowns"]) == 2
