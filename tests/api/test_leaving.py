"""Whoever is withdrawn leaves no lock behind, and what still waits in the name is told."""

from datetime import timedelta

import pytest

from scheduler.domain.base.enums import Role
from tests.acts import back, opened
from tests.api.stage import AT, Stage, stamp

JOB = "knife_inspection:plover-pump-b-knives:1"
LEAVES = "/api/v1/people/engineer-plover/withdrawal"
NAME = "Demo engineer"


def _work(stage: Stage, acts: list[tuple[int, str, dict[str, object]]]) -> None:
    for minutes, kind, said in acts:
        at = AT + timedelta(minutes=minutes)
        stage.clock.at = max(stage.clock.at, at)
        step = {"kind": kind, "at": stamp(at), "by": NAME, **said}
        answer = stage.ask("POST", f"/api/v1/jobs/{JOB}/steps", role=Role.CHIEF, json={"step": step})
        assert answer.status_code == 201, (kind, answer.text)


@pytest.mark.long
def test_nobody_is_withdrawn_whose_lock_hangs(fresh: Stage) -> None:
    """Refused with where, as long as a lock, a tag or a personal lock hangs; the person can still sign in; then it goes."""
    name = next(
        one["name"]
        for one in fresh.ask("GET", "/api/v1/people", role=Role.CHIEF).json()["people"]
        if one["id"] == "engineer-plover"
    )
    assert name == NAME
    _work(fresh, opened())
    refused = fresh.ask("POST", LEAVES, role=Role.CHIEF, json={})
    assert refused.status_code == 409
    assert {"suction valve", "supply breaker", "the lock box"} <= set(refused.json()["hang_at"])
    assert "suction valve" in refused.json()["detail"]
    fresh.enter("engineer-plover")
    _work(fresh, back()[:-4])  # one tag still hangs
    assert fresh.ask("POST", LEAVES, role=Role.CHIEF, json={}).json()["hang_at"] == ["suction valve"]
    _work(fresh, back()[-4:])
    done = fresh.ask("POST", LEAVES, role=Role.CHIEF, json={})
    assert (done.status_code, done.json()) == (200, {"person": "engineer-plover"})


def test_what_waits_in_the_name_is_told(fresh: Stage) -> None:
    """A postponement nobody decided, a minimum not signed, a point not signed: by API, and on the page."""
    job = "alarm_test:plover-plant:1"
    ask = {"to_at": stamp(AT + timedelta(days=60)), "reason": "port", "risk": "small", "mitigation": "watched"}
    assert fresh.ask("POST", f"/api/v1/jobs/{job}/postponements", json=ask).status_code == 201
    lower = {
        "from_at": stamp(AT + timedelta(days=1)),
        "to_at": stamp(AT + timedelta(days=2)),
        "minimum_swept_m3_per_h": 50,
        "reason": "night",
    }
    assert fresh.ask("POST", "/api/v1/plants/plover-plant/concessions", json=lower).status_code == 201
    point = {"point": "flushing or seal water", "reason": "none there"}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/points", json=point).status_code == 201
    browser = fresh.enter("chief-plover")
    page = browser.get("/people").text
    form = {
        "csrf": page.split('name="csrf" value="')[1].split('"')[0],
        "do": "withdraw",
        "who": "demo-plover/engineer-plover",
        "idempotency_key": "go",
    }
    said = browser.post("/people", data=form)
    assert said.status_code == 200
    for words in (
        f"Still waits in the name of {NAME}",
        "postponement 1, asked",
        "lower minimum 1, not signed by both",
        "point flushing or seal water said not to be fitted, not signed",
    ):
        assert words in said.text
