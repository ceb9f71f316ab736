"""Findings picked from a list and parts counted: what stands behind the words, and what a job leaves aboard."""

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

JOB = "knife_inspection:plover-pump-b-knives:1"
PARTS = "/api/v1/plants/plover-plant/parts"


def _note(stage: Stage, **told: object) -> dict[str, object]:
    step = {"kind": "noted", "at": stamp(AT), "by": "A. Second", **told}
    answer = stage.ask("POST", f"/api/v1/jobs/{JOB}/steps", json={"step": step})
    assert answer.status_code == 201, answer.text
    body: dict[str, object] = answer.json()
    return body


@pytest.mark.long
def test_a_finding_that_was_picked_carries_mode_mechanism_and_cause_into_the_record(fresh: Stage) -> None:
    """Only what is seen is told; the rest is filled in from the plant's list. Other words are kept as they are."""
    _note(fresh, about="finding", name="Knife edges dull")
    told = _note(fresh, about="finding", name="smells of burnt sugar")
    first, second = [step for step in told["steps"] if step["kind"] == "noted"]  # type: ignore[attr-defined]
    assert (first["mode"], first["mechanism"], first["cause"]) == ("low output", "wear", "running hours")
    assert (second["name"], second["mode"]) == ("smells of burnt sugar", "")
    assert fresh.close(JOB, checked_by="A. Chief").status_code == 200
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert "knife edges dull (low output, wear, running hours); smells of burnt sugar" in history


@pytest.mark.long
def test_a_part_counted_by_hand_goes_down_when_one_is_used(fresh: Stage) -> None:
    """Not counted is said so; a count is a record; a used part takes from it, never below none; the sheet shows it."""
    before = {one["part"]: one["aboard"] for one in fresh.ask("GET", PARTS).json()["parts"]}
    assert before["knife set"] is None
    assert fresh.ask("POST", PARTS, json={"name": "knife set", "aboard": 2}).json()["before"] is None
    _note(fresh, about="part used", name="knife set", value=1)
    _note(fresh, about="part used", name="mechanical seal", value=1)
    after = {one["part"]: one["aboard"] for one in fresh.ask("GET", PARTS).json()["parts"]}
    assert (after["knife set"], after["mechanical seal"]) == (1, None)
    _note(fresh, about="part used", name="knife set", value=5)
    assert next(one for one in fresh.ask("GET", PARTS).json()["parts"] if one["part"] == "knife set")["aboard"] == 0
    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    csrf = browser.get(path).text.split('name="csrf" value="')[1].split('"')[0]
    form = {"csrf": csrf, "here": path, "name": "knife set", "aboard": "7", "idempotency_key": "count-7"}
    assert browser.post("/plants/plover-plant/parts", data=form).headers["location"] == path
    assert '<td class="r">7</td>' in browser.get(path).text


def test_a_count_that_cannot_be_is_refused_in_words(fresh: Stage) -> None:
    """A part on no sheet, and a count below none."""
    ghost = fresh.ask("POST", PARTS, json={"name": "anchor", "aboard": 2})
    assert ghost.status_code == 422
    assert "knife set" in ghost.json()["detail"]
    assert fresh.ask("POST", PARTS, json={"name": "knife set", "aboard": -1}).status_code == 422
