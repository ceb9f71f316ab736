"""Whoever changes what another has changed meanwhile is told 412 and what is there now, at every door that takes If-Match."""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp
from tests.api.test_first_dates import KEY, forget

JOB = "alarm_test:plover-plant:1"


def _match(stage: Stage, method: str, path: str, version: int, role: Role = Role.ENGINEER, **sent: Any) -> Any:
    once = {"Idempotency-Key": f"{method} {version} {sent}"[:100].replace(" ", "")}
    return stage.ask(method, path, role=role, headers={"If-Match": f'"{version}"', **once}, **sent)


def _next_day(days: int) -> str:
    return (AT + timedelta(days=days)).date().isoformat()


@pytest.mark.long
def test_when_the_parts_come(fresh: Stage) -> None:
    """0 while none is given; then the record that gave it; one before and one after are refused alike, and nothing is stored."""
    door = f"/api/v1/jobs/{JOB}/part-date"
    given = _match(fresh, "PUT", door, 0, json={"from_on": _next_day(5), "note": "agent"})
    assert given.status_code == 200, given.text
    version = given.json()["record"]
    for wrong in (0, version - 1, version + 1):
        late = _match(fresh, "PUT", door, wrong, json={"from_on": _next_day(9)})
        body = late.json()
        assert (late.status_code, body["version"], body["parts_from"]) == (412, version, _next_day(5))
        assert body["note"] == "agent"
        assert "by now, as Demo engineer" in body["detail"]
    gone = _match(fresh, "PUT", door, version, json={"from_on": None})
    assert gone.status_code == 200
    late = _match(fresh, "PUT", door, version, json={"from_on": _next_day(9)})
    assert (late.status_code, late.json()["version"], late.json()["parts_from"]) == (412, 0, None)
    assert _match(fresh, "PUT", door, 0, json={"from_on": _next_day(9)}).status_code == 200
    page = fresh.enter("engineer-plover").get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert 'name="version" value="0"' in page


@pytest.mark.long
def test_when_a_pump_is_back(fresh: Stage) -> None:
    """0 since it went out; then the record that said so."""
    pump = next(one["id"] for one in fresh.document()[0]["plants"][0]["pumps"])
    out = fresh.ask("POST", f"/api/v1/pumps/{pump}/breakdowns", json={"at": stamp(AT), "reason": "knives"})
    assert out.status_code == 201, out.text
    door = f"/api/v1/pumps/{pump}/expected-return"
    later = stamp(AT + timedelta(days=3))
    said = _match(fresh, "PUT", door, 0, json={"expected_at": later})
    assert said.status_code == 200, said.text
    version = said.json()["record"]
    for wrong in (0, version + 1):
        late = _match(fresh, "PUT", door, wrong, json={"expected_at": None})
        assert (late.status_code, late.json()["version"], late.json()["expected_at"]) == (412, version, later)
    assert _match(fresh, "PUT", door, version, json={"expected_at": None}).status_code == 200
    assert (
        fresh.ask("PUT", door, headers={"Idempotency-Key": "without"}, json={"expected_at": later}).status_code == 200
    ), "without If-Match the last one counts"


def test_a_first_date(fresh: Stage) -> None:
    """0 while none is set; then the newest record about it."""
    forget(fresh)
    door = f"/api/v1/jobs/{KEY}/first-date"
    body = {"on": _next_day(4), "reason": "looked well", "class_agreed": "yes"}
    given = _match(fresh, "PUT", door, 0, Role.CHIEF, json=body)
    assert given.status_code in (200, 202), given.text
    version = given.json()["record"]
    late = _match(fresh, "PUT", door, 0, Role.OFFICE, json={**body, "on": _next_day(3)})
    assert (late.status_code, late.json()["version"], late.json()["first_due_on"]) == (412, version, _next_day(4))
    assert late.json()["by"] in late.json()["detail"]
    assert _match(fresh, "PUT", door, version, Role.OFFICE, json={**body, "on": _next_day(3)}).status_code < 300


@pytest.mark.long
def test_the_document_the_days_and_the_plan_tell_what_is_there_now(fresh: Stage) -> None:
    """The document itself, the stretches of days, the slots of the plan proposed."""
    document, etag = fresh.document()
    stale = _match(fresh, "PUT", "/api/v1/vessels/demo-plover", 99, Role.OFFICE, json=document)
    assert (stale.status_code, stale.json()["version"]) == (412, int(etag.strip('"')))
    assert stale.json()["document"]["name"] == document["name"]
    days = "/api/v1/vessels/demo-plover/calendar"
    stretch = {"from_on": _next_day(2), "to_on": _next_day(3), "kind": "port"}
    first = _match(fresh, "PATCH", days, 0, json={"stretches": [stretch]})
    assert first.status_code == 200, first.text
    late = _match(fresh, "PATCH", days, 0, json={"stretches": [{**stretch, "kind": "sea"}]})
    assert late.status_code == 412
    assert late.json()["stretches"] == [stretch]
    plan = fresh.ask("POST", "/api/v1/plants/plover-plant/plan/previews", json={})
    assert plan.status_code < 300, plan.text
    other = fresh.ask("POST", "/api/v1/plants/plover-plant/plan", role=Role.CHIEF, json={"digest": "0" * 64})
    assert other.status_code == 412
    assert {"job", "starts_at", "ends_at"} == other.json()["slots"][0].keys()
