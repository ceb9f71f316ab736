"""Why a job stands where it stands, in words for people: positions and jobs by name, keys only where a program reads."""

import re
from datetime import timedelta
from typing import Any

import pytest

from scheduler.actions.plant_state.load import plant_state
from scheduler.domain.base.enums import Role
from scheduler.wording.names import job_words, pump_words
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

PLANT = "/api/v1/plants/plover-plant"
IDS = re.compile(r"plover-|[a-z]:\w|_inspection|\d{4}-\d\d-\d\d|\bUTC\b")
UTC_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT|\bUTC\b|\dZ\b")


def _put(stage: Stage, **changed: Any) -> None:
    document, etag = stage.document()
    document["plants"][0] |= changed
    put = stage.ask(
        "PUT",
        f"/api/v1/vessels/{PLOVER.vessel}?reason=tried",
        role=Role.OFFICE,
        json=document,
        headers={"If-Match": etag},
    )
    assert put.status_code == 200, put.text


def _sentences(told: Any) -> list[str]:
    """Every text of an answer that a person reads."""
    if isinstance(told, list):
        return [text for one in told for text in _sentences(one)]
    if not isinstance(told, dict):
        return []
    own = [told[k] for k in ("says", "reason", "name", "price") if isinstance(told.get(k), str)]
    own += [text for text in told.get("reasons", []) if isinstance(text, str)]
    return own + [text for one in told.values() for text in _sentences(one)]


@pytest.mark.long
def test_what_stands_in_the_way_is_said_by_position_and_job(fresh: Stage) -> None:
    """With pump B down VP1 cannot be opened: shortfall, reasons, forbidden starts, reliefs and the page name VP1's knife
    inspection; no key or id is in any sentence, and the key stands in its own field."""
    _put(fresh, minimum_blocks=[], minimum_swept_m3_per_h=150.0)
    down = {"at": stamp(AT - timedelta(hours=1)), "reason": "seal leaks"}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/down", json=down).status_code in (200, 201)
    plan = fresh.ask("POST", f"{PLANT}/plan/previews").json()["proposed"]
    short = next(s for s in plan["shortfalls"] if s["job"] is not None and s["pump"] == "plover-pump-a")
    told = fresh.ask("GET", f"{PLANT}/plan/why/{short['job']}").json()
    assert (told["job"], told["placed"]) == (short["job"], False)
    assert told["name"] == short["name"]
    assert told["name"].startswith("VP1 ")
    assert short["says"].startswith(f"{told['name']} has no place (")
    assert any("the minimum" in reason for reason in told["reasons"])
    said = _sentences(plan) + _sentences(told)
    for slot in plan["slots"][:12]:
        placed = fresh.ask("GET", f"{PLANT}/plan/why/{slot['job']}")
        assert placed.status_code == 200, placed.text
        said += _sentences(placed.json())
    assert len(said) > 10
    assert not [text for text in said if IDS.search(text)]
    page = fresh.enter("engineer-plover").get("/plants/plover-plant/figures", headers={"Accept": "text/html"})
    assert f"{told['name']} has no place" in page.text


def test_a_job_and_a_pump_are_called_by_their_position(fresh: Stage) -> None:
    """A pump's job and the plant's own; what is no key or id stays as it is."""
    now = plant_state(fresh.context, PLOVER.vessel, "plover-plant")
    keys = [job.job_id.key for job in now.jobs]
    key = next(key for key in keys if key.startswith("knife_inspection:plover-pump-a"))
    assert job_words(now.plant, now.at, key) == "VP1 knife inspection"
    plant_job = next(key for key in keys if ":plover-plant:" in key)
    assert job_words(now.plant, now.at, plant_job) in {"Standby start", "Alarm test", "Hold test"}
    assert job_words(now.plant, now.at, "knife:other:1") == "knife:other:1"
    assert (pump_words(now.plant, now.at, "plover-pump-b"), pump_words(now.plant, now.at, "x")) == ("VP2", "x")


@pytest.mark.long
def test_a_job_on_its_best_day_has_one_reason_and_nothing_that_bars_it(fresh: Stage) -> None:
    """Of every slot of the plan that stands on its best day; no line of the others has an instant in UTC."""
    plan = fresh.ask("POST", f"{PLANT}/plan/previews").json()["proposed"]
    best = 0
    for slot in plan["slots"]:
        told = fresh.ask("GET", f"{PLANT}/plan/why/{slot['job']}").json()
        if "on its best day" in told["reasons"][0]:
            best += 1
            assert (len(told["reasons"]), told["blocked"]) == (1, [])
        assert not [line for line in (*told["reasons"], *told["blocked"]) if UTC_INSTANT.search(line)]
        assert len(told["blocked"]) == len(set(told["blocked"]))
    assert best
