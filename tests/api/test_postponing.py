"""Postponements are asked by one and decided by another; a job past its limit opens a non-conformity, once."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

VESSEL = "/api/v1/vessels/demo-plover"


def _jobs(stage: Stage) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = stage.ask("GET", "/api/v1/plants/plover-plant/due").json()["jobs"]
    return found


def _job(stage: Stage, key: str) -> dict[str, Any]:
    return next(job for job in _jobs(stage) if job["job"] == key)


def _ask(stage: Stage, key: str, **more: Any) -> Any:
    body = {"to_at": stamp(AT + timedelta(days=500)), "reason": "no seal aboard", "risk": "leak", **more}
    return stage.ask("POST", f"/api/v1/jobs/{key}/postponements", json=body)


def _decide(stage: Stage, number: int, role: Role, **body: Any) -> Any:
    return stage.ask("POST", f"{VESSEL}/postponements/{number}/decision", role=role, json=body)


def _kinds(stage: Stage, **change: Any) -> None:
    """Changes every job kind of the smaller ship."""
    held = stage.ask("GET", VESSEL, role=Role.OFFICE)
    document = held.json()
    for plant in document["plants"]:
        plant["job_kinds"] = [kind | change for kind in plant["job_kinds"]]
    path = f"{VESSEL}?reason=tried&class_agreed=tried"
    answer = stage.ask("PUT", path, role=Role.OFFICE, json=document, headers={"If-Match": held.headers["etag"]})
    assert answer.status_code == 200, answer.text


@pytest.mark.long
def test_granted_by_another_the_limit_moves_and_the_due_point_does_not(fresh: Stage) -> None:
    """Asked by the engineer, decided by the chief; a second one waits until the first is decided."""
    _kinds(fresh, critical=False)
    key = next(job["job"] for job in _jobs(fresh) if job["kind"] == "overhaul")
    before = _job(fresh, key)
    asked = _ask(fresh, key)
    assert asked.status_code == 201, asked.text
    number = asked.json()["postponement"]
    assert _ask(fresh, key).status_code == 409
    assert _decide(fresh, number, Role.ENGINEER, granted=True).status_code == 403
    assert _decide(fresh, number, Role.CHIEF, granted=True, note="seal on order").status_code == 200
    after = _job(fresh, key)
    assert after["due_at"] == before["due_at"]
    assert after["limit_at"] == stamp(AT + timedelta(days=500))
    assert after["state"] == "postponed"
    assert _decide(fresh, number, Role.CHIEF, granted=False, note="no").status_code == 409
    told = fresh.ask("GET", f"{VESSEL}/postponements").json()["postponements"]
    assert [one["state"] for one in told] == ["granted"]


@pytest.mark.long
def test_a_critical_job_is_the_office_s_and_a_class_item_needs_the_class(fresh: Stage) -> None:
    """The chief may not grant a critical one; the office may, with the class's agreement where it is a class item."""
    _kinds(fresh, critical=True, class_item=True)
    key = next(job["job"] for job in _jobs(fresh) if job["kind"] == "overhaul")
    number = _ask(fresh, key).json()["postponement"]
    chief = _decide(fresh, number, Role.CHIEF, granted=True)
    assert chief.status_code == 403
    assert "the office decides" in chief.json()["detail"]
    lacking = _decide(fresh, number, Role.OFFICE, granted=True)
    assert lacking.status_code == 422
    assert "class's agreement" in lacking.json()["detail"]
    assert _decide(fresh, number, Role.OFFICE, granted=True, class_agreed="surveyor, mail of 3 Nov").status_code == 200


def test_a_request_without_reason_risk_or_a_later_date_is_refused(stage: Stage) -> None:
    """Each is named."""
    key = _jobs(stage)[0]["job"]
    answer = _ask(stage, key, reason=" ", risk="", to_at=stamp(AT - timedelta(days=400)))
    assert answer.status_code == 422
    assert {one["pointer"] for one in answer.json()["errors"]} >= {"/reason", "/risk", "/to_at"}


def test_past_its_limit_a_job_opens_one_non_conformity_which_two_people_end(fresh: Stage) -> None:
    """However often the watch looks; answered with cause and action, closed by someone else; all of it on record."""
    fresh.clock.at = AT + timedelta(days=60)
    assert open_where_due(fresh.context) == ["demo-plover"]
    assert open_where_due(fresh.context) == []
    told = fresh.ask("GET", f"{VESSEL}/non-conformities").json()["non_conformities"]
    assert {one["state"] for one in told} == {"open"}
    number = told[0]["non_conformity"]
    close = f"{VESSEL}/non-conformities/{number}/close"
    assert fresh.ask("POST", close, role=Role.CHIEF).status_code == 409
    answer = f"{VESSEL}/non-conformities/{number}/answer"
    assert fresh.ask("POST", answer, json={"cause": "", "corrective_action": ""}).status_code == 422
    told = {"cause": "no seal aboard", "corrective_action": "two kept"}
    assert fresh.ask("POST", answer, role=Role.CHIEF, json=told).status_code == 200
    assert fresh.ask("POST", close, role=Role.CHIEF).status_code == 403
    assert fresh.ask("POST", close, role=Role.OFFICE).status_code == 200
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    for words in ("non-conformity opened", "non-conformity answered", "non-conformity closed", "two kept"):
        assert words in history


def test_at_its_limit_a_job_opens_no_non_conformity_and_a_second_later_it_does(fresh: Stage) -> None:
    """For itself alone: what is past due and not past its limit opens none."""
    job = min((one for one in _jobs(fresh) if one["limit_at"]), key=lambda one: one["limit_at"])
    fresh.clock.at = datetime.fromisoformat(job["limit_at"])
    assert _job(fresh, job["job"])["state"] == "past due"
    assert open_where_due(fresh.context) == []
    fresh.clock.at += timedelta(seconds=1)
    assert open_where_due(fresh.context) == ["demo-plover"]
    told = fresh.ask("GET", f"{VESSEL}/non-conformities").json()["non_conformities"]
    late = {one["job"] for one in _jobs(fresh) if one["state"] == "past limit"}
    assert {one["job"] for one in told} == late
    assert job["job"] in late


def test_beside_one_past_its_limit_what_is_past_due_opens_none(fresh: Stage) -> None:
    """Forty days on there are jobs of both: a non-conformity for each past its limit, for none that is past due."""
    fresh.clock.at = AT + timedelta(days=40)
    states = {one["job"]: one["state"] for one in _jobs(fresh)}
    assert {"past due", "past limit"} <= set(states.values())
    assert open_where_due(fresh.context) == ["demo-plover"]
    told = fresh.ask("GET", f"{VESSEL}/non-conformities").json()["non_conformities"]
    assert {one["job"] for one in told} == {job for job, state in states.items() if state == "past limit"}
