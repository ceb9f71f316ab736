"""What was set changes with its reason, a class item with the class's agreement too; both stand in the exports."""

import io
from typing import Any

import openpyxl

from scheduler.domain.words import Role
from tests.api.stage import Stage

VESSEL = "/api/v1/vessels/demo-plover"


def _put(stage: Stage, change: Any, query: str = "") -> Any:
    document, etag = stage.document()
    change(document["plants"][0])
    return stage.ask("PUT", VESSEL + query, role=Role.OFFICE, json=document, headers={"If-Match": etag})


def _kind(plant: Any, code: str) -> Any:
    return next(kind for kind in plant["job_kinds"] if kind["code"] == code)


def test_an_interval_changes_with_its_reason_and_a_class_item_with_the_class(fresh: Stage) -> None:
    """Refused in words that say what is lacking, for what; nothing is stored; given, both are on record and exported."""

    def mark(plant: Any) -> None:
        _kind(plant, "overhaul")["class_item"] = True

    def longer(plant: Any) -> None:
        _kind(plant, "overhaul")["interval_running_hours"] += 500

    assert [one["pointer"] for one in _put(fresh, mark).json()["errors"]] == ["/reason"]
    assert _put(fresh, mark, "?reason=survey").status_code == 200
    refused = _put(fresh, longer)
    assert refused.status_code == 422
    assert [one["pointer"] for one in refused.json()["errors"]] == ["/reason", "/class_agreed"]
    assert "overhaul interval_running_hours" in refused.json()["detail"]
    assert "who, when, reference" in refused.json()["detail"]
    half = _put(fresh, longer, "?reason=little+wear")
    assert [one["pointer"] for one in half.json()["errors"]] == ["/class_agreed"]
    assert _put(fresh, longer, "?reason=little+wear&class_agreed=letter+12").status_code == 200
    out = _put(fresh, lambda plant: _kind(plant, "overhaul").update(class_item=False), "?reason=gone")
    assert [one["pointer"] for one in out.json()["errors"]] == ["/class_agreed"]
    answer = fresh.ask("GET", "/api/v1/history?vessel=demo-plover&format=xlsx", role=Role.CHIEF)
    rows = list(openpyxl.load_workbook(io.BytesIO(answer.content))["Changes"].iter_rows(min_row=2, values_only=True))
    assert [row[4:] for row in rows] == [("survey", None), ("little wear", "letter 12")]


def test_the_minimum_changes_with_its_reason_and_what_is_new_or_no_rule_needs_none(fresh: Stage) -> None:
    """A new job kind, a pump's serial number and the crew are put as ever."""

    def higher(plant: Any) -> None:
        plant["minimum_swept_m3_per_h"] += 1

    def added(plant: Any) -> None:
        kind = {**_kind(plant, "alarm_test"), "code": "lamp_test", "name": "Lamp test"}
        plant["job_kinds"].append(kind)
        plant["pumps"][0]["serial"] = "X-1"

    assert _put(fresh, higher).status_code == 422
    assert _put(fresh, higher, "?reason=%20").status_code == 422
    assert _put(fresh, higher, "?reason=two+more+cabins").status_code == 200
    assert _put(fresh, added).status_code == 200
