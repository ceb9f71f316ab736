"""A batch of jobs for a dock: asked of days without a minimum, planned there, on record, taken back."""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.actions.base.pending import plans_asked
from scheduler.actions.plan.planning import propose
from scheduler.actions.plant_state.load import plant_state
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

PLANT = "/api/v1/plants/plover-plant"
FROM, TO = AT + timedelta(days=10), AT + timedelta(days=18)
DAYS = {"from_at": stamp(FROM), "to_at": stamp(TO)}


def _no_minimum(stage: Stage) -> None:
    """A lower minimum of nothing in the dock's days, signed by both sides."""
    body = {**DAYS, "minimum_swept_m3_per_h": 0, "reason": "in dock"}
    asked = stage.ask("POST", f"{PLANT}/concessions", json=body)
    assert asked.status_code == 201, asked.text
    sign = f"{PLANT}/concessions/{asked.json()['concession']}/signature"
    assert stage.ask("POST", sign, role=Role.CHIEF, json={"as": "chief"}).status_code == 200
    assert stage.ask("POST", sign, role=Role.HOTEL, json={"as": "hotel"}).status_code == 200


def _jobs(stage: Stage, **days: str) -> dict[str, Any]:
    answer = stage.ask("GET", f"{PLANT}/dock", params={**DAYS, **days})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


@pytest.mark.long
def test_a_batch_is_planned_in_its_dock_and_as_any_other_once_taken_back(fresh: Stage) -> None:
    """Offered by due point with its name and hours; refused while a minimum holds; its slot in the days; records of both."""
    offered = _jobs(fresh)
    assert not offered["without_minimum"]
    assert offered["jobs"]
    assert all({"job", "name", "due_at", "takes_hours"} <= set(one) for one in offered["jobs"])
    key = offered["jobs"][0]["job"]
    early = fresh.ask("POST", f"{PLANT}/dock", json={**DAYS, "jobs": [key]})
    assert early.status_code == 422
    assert "a minimum holds in these days" in early.text
    _no_minimum(fresh)
    assert _jobs(fresh)["without_minimum"]
    over_the_end = {**DAYS, "to_at": stamp(TO + timedelta(hours=1)), "jobs": [key]}
    assert fresh.ask("POST", f"{PLANT}/dock", json=over_the_end).status_code == 422
    propose(fresh.context, PLOVER.vessel, "plover-plant")
    chosen = fresh.ask("POST", f"{PLANT}/dock", json={**DAYS, "jobs": [key]})
    assert chosen.status_code == 201, chosen.text
    assert (PLOVER.vessel, "plover-plant") in _wanted(fresh)
    held = propose(fresh.context, PLOVER.vessel, "plover-plant")
    start, end = held.times()[key]
    assert FROM <= start < end <= TO
    assert _jobs(fresh)["batches"][0]["jobs"] == [key]
    send = f"{PLANT}/dock/{chosen.json()['batch']}/withdrawal"
    assert fresh.ask("POST", send, json={}).status_code == 200
    assert fresh.ask("POST", send, json={}).status_code == 409
    assert plant_state(fresh.context, PLOVER.vessel, "plover-plant").docks == ()
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert "dock batch chosen" in history
    assert "dock batch withdrawn" in history


def _wanted(stage: Stage) -> list[tuple[str, str]]:
    with stage.context.db.read() as session:
        return plans_asked(session)


@pytest.mark.parametrize(
    ("hours_from", "hours_to", "status"),
    [(0, 12, 200), (0, 11.99, 422), (0, 180 * 24, 200), (0, 180 * 24 + 1, 422), (24 * 1099, 24 * 1100, 200), (-30, 0, 422),
     (24 * 1099, 24 * 1100 + 1, 422), (-24, 0.01, 200), (48, 24, 422)],
)  # fmt: skip
def test_days_that_make_no_sense_are_refused(stage: Stage, hours_from: float, hours_to: float, status: int) -> None:
    """Twelve hours to 180 days, an end to come and within 1100 days."""
    days = {"from_at": stamp(AT + timedelta(hours=hours_from)), "to_at": stamp(AT + timedelta(hours=hours_to))}
    assert stage.ask("GET", f"{PLANT}/dock", params=days).status_code == status


def test_jobs_that_are_not_offered_are_not_chosen(fresh: Stage) -> None:
    """None, a stranger, one of another ship."""
    _no_minimum(fresh)
    for keys in ([], ["overhaul:nobody:1"], ["overhaul:avocet-pump-a:1"]):
        assert fresh.ask("POST", f"{PLANT}/dock", json={**DAYS, "jobs": keys}).status_code == 422
