"""A lower minimum counts when chief and hotel, two people, have signed; parts that come on a date hold a job back."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduler.actions.base.pending import plans_asked
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plan.planning import propose
from scheduler.actions.plant_state.load import plant_state
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

PLANT = "/api/v1/plants/plover-plant"
LIST = f"{PLANT}/concessions"


def _ask(stage: Stage, **more: Any) -> Any:
    body = {
        "from_at": stamp(AT - timedelta(hours=1)),
        "to_at": stamp(AT + timedelta(days=2)),
        "minimum_swept_m3_per_h": 40,
        "reason": "few aboard",
    }
    return stage.ask("POST", LIST, json={**body, **more})


def _sign(stage: Stage, number: int, as_: str, role: Role, **more: Any) -> Any:
    return stage.ask("POST", f"{LIST}/{number}/signature", role=role, json={"as": as_, **more})


def _least(stage: Stage) -> int:
    """The lowest minimum in the first day of the planner's problem, litres/h."""
    problem = problem_of(plant_state(stage.context, PLOVER.vessel, "plover-plant"), stage.context)
    return min(m.litres_per_h for m in problem.minimum if m.from_step < 24)


def _wanted(stage: Stage) -> list[tuple[str, str]]:
    with stage.context.db.read() as session:
        return plans_asked(session)


def test_a_lower_minimum_counts_once_two_people_have_signed_and_until_it_is_withdrawn(fresh: Stage) -> None:
    """In the planner's problem, in what a pump going down is answered, and in the margin; a plan is asked for each time."""
    own = _least(fresh)
    asked = _ask(fresh)
    assert asked.status_code == 201, asked.text
    number = asked.json()["concession"]
    assert asked.json()["says"] == "It counts once signed as chief and as hotel."
    assert _sign(fresh, number, "chief", Role.CHIEF).json()["state"] == "asked"
    assert _least(fresh) == own > 40_000
    assert _wanted(fresh) == []
    signed = _sign(fresh, number, "hotel", Role.HOTEL)
    assert signed.status_code == 200, signed.text
    assert signed.json()["state"] == "agreed"
    assert _least(fresh) == 40_000
    assert _wanted(fresh) == [(PLOVER.vessel, "plover-plant")]
    down = {"at": stamp(AT), "reason": "seal leaks"}
    margin = fresh.ask("POST", "/api/v1/pumps/plover-pump-a/down", json=down).json()
    assert margin["minimum_swept_m3_per_h"] == 40
    assert "lower as agreed" in fresh.ask("GET", f"{PLANT}/capacity").text
    gone = fresh.ask("POST", f"{LIST}/{number}/withdrawal")
    assert gone.status_code == 200, gone.text
    assert _least(fresh) == own
    assert [one["state"] for one in fresh.ask("GET", LIST).json()["concessions"]] == ["withdrawn"]
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    for words in (
        "concession asked",
        "concession signed as chief",
        "concession signed as hotel",
        "concession withdrawn",
    ):
        assert words in history


def test_one_person_does_not_sign_for_both(fresh: Stage) -> None:
    """Neither under the own name nor under another's, nor an engineer as chief; nothing is signed twice or after its end."""
    number = _ask(fresh).json()["concession"]
    assert _sign(fresh, number, "chief", Role.ENGINEER).status_code == 403
    assert _sign(fresh, number, "hotel", Role.ENGINEER, name=" ").status_code == 403
    assert _sign(fresh, number, "chief", Role.CHIEF).status_code == 200
    for role, name, status in ((Role.CHIEF, "B. Hotel", 422), (Role.CHIEF, "", 403), (Role.OFFICE, "", 403)):
        refused = _sign(fresh, number, "hotel", role, name=name)
        assert refused.status_code == status
        assert "own key" in refused.json()["detail"]
    again = _sign(fresh, number, "chief", Role.OFFICE)
    assert again.status_code == 409
    assert "already, by Demo chief" in again.json()["detail"]
    fresh.clock.at = AT + timedelta(days=3)
    assert _sign(fresh, number, "hotel", Role.HOTEL).status_code == 409
    assert _sign(fresh, 999, "hotel", Role.HOTEL).status_code == 404


def test_what_is_no_lower_minimum_is_refused_in_words(stage: Stage) -> None:
    """No reason, a figure that is not lower or below none, a time that is past or ends before it begins."""
    for wrong, pointer in (
        ({"reason": " "}, "/reason"),
        ({"minimum_swept_m3_per_h": 4000}, "/minimum_swept_m3_per_h"),
        ({"minimum_swept_m3_per_h": -1}, "/minimum_swept_m3_per_h"),
        ({"to_at": stamp(AT - timedelta(days=1))}, "/to_at"),
        ({"from_at": stamp(AT - timedelta(days=3)), "to_at": stamp(AT - timedelta(days=2))}, "/to_at"),
    ):
        answer = _ask(stage, **wrong)
        assert answer.status_code == 422
        assert [one["pointer"] for one in answer.json()["errors"]] == [pointer]
    assert stage.ask("GET", LIST).json()["concessions"] == []


def _put(stage: Stage, key: str, once: str, **body: Any) -> Any:
    return stage.ask("PUT", f"/api/v1/jobs/{key}/part-date", json=body, headers={"Idempotency-Key": once})


def _start(stage: Stage, key: str) -> datetime:
    return propose(stage.context, PLOVER.vessel, "plover-plant").times()[key][0]


@pytest.mark.long
def test_the_plan_puts_a_job_no_earlier_than_its_parts_come_even_a_pinned_one(fresh: Stage) -> None:
    """Taken and within the days that are kept, it still moves; the date taken back, it may go where it was."""
    slots = propose(fresh.context, PLOVER.vessel, "plover-plant")
    key, (start, _) = min(slots.times().items(), key=lambda item: item[1])
    assert start < AT + timedelta(days=7)
    took = fresh.ask("POST", f"{PLANT}/plan", json={"digest": slots.digest})
    assert took.status_code == 200, took.text
    on = (start + timedelta(days=2)).date()
    told = _put(fresh, key, "a", from_on=on.isoformat(), note="with the agent")
    assert told.status_code == 200, told.text
    midnight = datetime(on.year, on.month, on.day, tzinfo=AT.tzinfo)
    offset = timedelta(minutes=plant_state(fresh.context, PLOVER.vessel, "plover-plant").offset_minutes)
    assert _start(fresh, key) >= midnight - offset
    assert _wanted(fresh) == []
    assert _put(fresh, key, "b", from_on=None).json()["before"] == on.isoformat()
    assert _wanted(fresh) == [(PLOVER.vessel, "plover-plant")]
    assert _start(fresh, key) == start
    gone = _put(fresh, key, "c", from_on=None)
    assert gone.status_code == 409
    assert "nothing to take back" in gone.json()["detail"]
    assert _put(fresh, key, "d", from_on="soon").status_code == 422
    assert _put(fresh, "overhaul:nobody:1", "e", from_on=None).status_code == 404
