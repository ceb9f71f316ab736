"""What was set changes with its reason, a class item with the class's agreement too; both stand in the exports."""

import io
import json
import pathlib
from dataclasses import replace
from typing import Any

import openpyxl
import pytest

from api.pages.shared import layout
from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.actions.record.history import export_extras, records_of
from scheduler.actions.vessel.document import VESSEL as VESSEL_SHAPE
from scheduler.domain.base.enums import Role
from scheduler.domain.vessel.changes import change_faults, notable_changes
from scheduler.storage.record import record_rows
from tests.api.stage import Stage

VESSEL = "/api/v1/vessels/demo-plover"


def _put(stage: Stage, change: Any, query: str = "") -> Any:
    document, etag = stage.document()
    change(document["plants"][0])
    return stage.ask("PUT", VESSEL + query, role=Role.OFFICE, json=document, headers={"If-Match": etag})


def _kind(plant: Any, code: str) -> Any:
    return next(kind for kind in plant["job_kinds"] if kind["code"] == code)


@pytest.mark.long
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
    assert [(row[2], *row[4:6]) for row in rows] == [
        ("survey", None, "not approved"),
        ("little wear", "letter 12", "not approved"),
    ]


def test_the_minimum_changes_with_its_reason_and_what_is_new_or_no_rule_needs_none(fresh: Stage) -> None:
    """A new job kind, a new pump and the crew are put as ever."""

    def higher(plant: Any) -> None:
        plant["minimum_swept_m3_per_h"] += 1

    def added(plant: Any) -> None:
        kind = {**_kind(plant, "alarm_test"), "code": "lamp_test", "name": "Lamp test"}
        plant["job_kinds"].append(kind)
        plant["pumps"].append({**plant["pumps"][0], "id": "plover-pump-spare", "serial": "X-1"})

    assert _put(fresh, higher).status_code == 422
    assert _put(fresh, higher, "?reason=%20").status_code == 422
    assert _put(fresh, higher, "?reason=two+more+cabins").status_code == 200
    assert _put(fresh, added).status_code == 200


def _first(plant: Any, name: str) -> Any:
    return plant[name][0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda plant: _first(plant, "last_done").update(done_at="2026-10-01T09:00:00Z"), "last done of"),
        (lambda plant: plant["last_done"].pop(0), "last done of"),
        (lambda plant: _first(plant, "stays").update(opening_running_hours=1), "stay of plover-pump-a"),
        (lambda plant: _first(plant, "fittings").update(opening_running_hours=1), "fitting of"),
        (lambda plant: _first(plant, "pumps").update(serial="X-9"), "serial number of plover-pump-a DP-1041 to X-9"),
        (
            lambda plant: (
                plant["parts"].pop(0),
                plant["fittings"].pop(0),
                plant.update(last_done=[one for one in plant["last_done"] if not one["subject"].endswith("a-knives")]),
            ),
            "taken out",
        ),
    ],
)
def test_what_the_ship_had_changes_with_its_reason_and_the_record_shows_each_member(
    fresh: Stage, change: Any, says: str
) -> None:
    """Refused without one, naming what; with it the record holds the member as it was and as it is."""
    refused = _put(fresh, change)
    assert refused.status_code == 422, refused.text
    assert [one["pointer"] for one in refused.json()["errors"]] == ["/reason"]
    assert says in refused.json()["detail"]
    assert _put(fresh, change, "?reason=a+wrong+entry").status_code == 200
    (record,) = _stored(fresh)[1:]
    assert record["differences"]
    assert all(set(one) == {"at", "was", "now"} for one in record["differences"])
    assert record["not_approved"] == []


def _stored(stage: Stage) -> list[dict[str, Any]]:
    with stage.context.db.read() as session:
        kept = record_rows(session, "demo-plover", kind="vessel document stored")
        return [json.loads(one.text) for one in kept]


@pytest.mark.long
def test_who_approved_an_interval_ashore_is_on_record_and_its_lack_is_flagged(fresh: Stage) -> None:
    """Kept either way; the difference says which member went from what to what."""

    def longer(plant: Any) -> None:
        _kind(plant, "overhaul")["interval_running_hours"] += 500

    assert _put(fresh, longer, "?reason=little+wear").status_code == 200
    assert _put(fresh, longer, "?reason=less+still&approved_by=C.+Superintendent").status_code == 422
    assert _put(fresh, longer, "?reason=less+still").status_code == 200
    first, second = _stored(fresh)[1:]
    for one in (first, second):
        assert (one["approved_by"], len(one["not_approved"])) == ("", 1)
    at = "plants/plover-plant/job_kinds/overhaul/interval_running_hours"
    assert first["differences"] == [{"at": at, "was": "8000", "now": "8500"}]
    assert second["differences"] == [{"at": at, "was": "8500", "now": "9000"}]
    people.add_person(
        fresh.context,
        Actor("set up", "set up", Role.ADMIN),
        person_id="desk",
        name="C. Superintendent",
        rank="office",
        role=Role.OFFICE,
        vessel_id=None,
    )
    desk, office = fresh.enter("desk"), fresh.enter("office")
    assert "two changes of the document to approve" in desk.get("/vessels/demo-plover/decisions").text.lower()
    second_page, third_page = (f"/vessels/demo-plover/versions/{number}" for number in (2, 3))
    page = desk.get(second_page).text
    assert "Overhaul, interval running hours: 8000, now 8500" in page
    form = {"csrf": page.split('name="csrf" value="')[1].split('"')[0], "do": "approve", "number": "2"}
    assert desk.post(second_page, data={**form, "idempotency_key": "a"}).status_code == 303
    own = office.get(third_page).text
    form = {"csrf": own.split('name="csrf" value="')[1].split('"')[0], "do": "approve", "number": "3"}
    refused = office.post(third_page, data={**form, "idempotency_key": "b"})
    assert (refused.status_code, "another person approves it" in refused.text) == (403, True)
    versions = fresh.ask("GET", "/api/v1/vessels/demo-plover/versions").json()["versions"]
    assert [one["approved_by"] for one in versions] == ["", "C. Superintendent, office", ""]
    ranged = export_extras(fresh.context, records_of(fresh.context, "demo-plover"))
    assert [one.approved for one in ranged.changes] == ["C. Superintendent, office", "not approved"]


def test_every_version_is_kept_as_it_was_stored(fresh: Stage) -> None:
    """With who, when, why and the record; a plant that is given another id hides nothing of what it had."""
    first, _ = fresh.document()

    def renamed(plant: Any) -> None:
        plant["name"] = "Aft plant"

    assert _put(fresh, renamed).status_code == 200
    told = fresh.ask("GET", f"{VESSEL}/versions", role=Role.CHIEF).json()["versions"]
    assert [one["version"] for one in told] == [2, 1]
    assert all(one["by"] and one["record"] for one in told)
    assert fresh.ask("GET", f"{VESSEL}/versions/1", role=Role.CHIEF).json() == first
    assert fresh.ask("GET", f"{VESSEL}/versions/2", role=Role.CHIEF).json()["plants"][0]["name"] == "Aft plant"
    assert fresh.ask("GET", f"{VESSEL}/versions/3", role=Role.CHIEF).status_code == 404


def test_a_plant_taken_out_asks_for_a_reason() -> None:
    """So does one that comes back under another id."""
    ship = VESSEL_SHAPE.validate_json((pathlib.Path(layout.STATIC) / "example-ship.json").read_bytes())
    other = replace(ship, plants=(replace(ship.plants[0], id="another"),))
    assert "gull-plant: plant taken out" in notable_changes(ship, other)
    assert [at for at, _ in change_faults(ship, other, reason=" ", class_agreed="")] == ["/reason"]
