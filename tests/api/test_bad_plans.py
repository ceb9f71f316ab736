"""What leaves no room for a plan, as a user meets it: refused in the document in words, or a plan that says why. Never a stack
trace, and never an empty plan without a reason."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

VESSEL, PLANT = "/api/v1/vessels/demo-plover", "/api/v1/plants/plover-plant"
Change = Callable[[dict[str, Any]], object]


def _put(stage: Stage, change: Change) -> Any:
    document, etag = stage.document()
    change(document["plants"][0])
    path = f"{VESSEL}?reason=the ship is another now"
    return stage.ask("PUT", path, role=Role.OFFICE, json=document, headers={"If-Match": etag})


def _kind(plant: dict[str, Any], code: str) -> dict[str, Any]:
    found: dict[str, Any] = next(kind for kind in plant["job_kinds"] if kind["code"] == code)
    return found


def _ring(plant: dict[str, Any]) -> None:
    _kind(plant, "knife_inspection")["renews"] = ["seal_inspection"]
    _kind(plant, "seal_inspection")["renews"] = ["knife_inspection"]


REFUSED: dict[str, tuple[Change, str, str, str]] = {
    "a minimum above all pumps": (
        lambda p: p.update(minimum_swept_m3_per_h=900.0),
        "/plants/0/minimum_swept_m3_per_h",
        "no more than that was expected",
        "Correct the minimum",
    ),
    "a negative capacity": (
        lambda p: p["pumps"][0].update(rated_swept_m3_per_h=-5.0),
        "/plants/0/pumps/0/rated_swept_m3_per_h",
        "above 0 to 5000 swept m3/h was expected",
        "Correct the figure",
    ),
    "a negative minimum": (
        lambda p: p.update(minimum_swept_m3_per_h=-1.0),
        "/plants/0/minimum_swept_m3_per_h",
        "0 or more was expected",
        "Give 0 for lay-up",
    ),
    "no pumps": (lambda p: p.update(stays=[]), "/plants/0/stays", "1 to 8 was expected", "Give each pump"),
    "no start hour": (
        lambda p: p["crew"].update(start_hours=[]),
        "/plants/0/crew/start_hours",
        "at least one was expected",
        "Give 8",
    ),
    "a start when nobody works": (
        lambda p: p["crew"].update(start_hours=[3]),
        "/plants/0/crew/start_hours/0",
        "outside the working hours",
        "Move the start",
    ),
    "kinds that renew each other": (_ring, "/plants/0/job_kinds", "one direction was expected", "Let only the larger"),
    "a kind that renews itself": (
        lambda p: _kind(p, "overhaul").update(renews=["overhaul"]),
        "/plants/0/job_kinds/0/renews/0",
        "only others were expected",
        "Take it out",
    ),
    "an interval shorter than the job": (
        lambda p: _kind(p, "overhaul").update(interval_running_hours=8, window_running_hours=0, tolerance_running_hours=0),
        "/plants/0/job_kinds/0/interval_running_hours",
        "longer than the job was expected",
        "Lengthen the interval",
    ),
    "a job of a hundred hours": (
        lambda p: _kind(p, "overhaul").update(takes_hours=100),
        "/plants/0/job_kinds/0/takes_hours",
        "1 to 72 whole hours was expected",
        "split a longer job",
    ),
    "a crew block that ends before it begins": (
        lambda p: p["crew"].update(
            blocks=[{"hands": 1, "label": "squad", "from_on": "2026-12-09", "to_on": "2026-12-01"}]
        ),
        "/plants/0/crew/blocks/0/from_on",
        "the first date was expected before the second",
        "Exchange",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("change", "pointer", "expected", "do"), REFUSED.values(), ids=REFUSED)
def test_a_document_that_leaves_no_room_is_refused_in_words(
    stage: Stage, change: Change, pointer: str, expected: str, do: str
) -> None:
    """Where it stands, what was expected, what to do; and the plant is still there as it was."""
    before = stage.document()
    answer = _put(stage, change)
    assert answer.status_code == 422, answer.text
    told = {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}
    (detail,) = [text for at, text in told.items() if at.startswith(pointer)][:1]
    assert expected in detail
    assert do in detail
    assert stage.document() == before


def _planned(stage: Stage, change: Change) -> dict[str, Any]:
    put = _put(stage, change)
    assert put.status_code == 200, put.text
    answer = stage.ask("POST", f"{PLANT}/plan/previews")
    assert answer.status_code == 201, answer.text
    plan: dict[str, Any] = answer.json()["proposed"]
    assert plan["lawful"]
    placed = {slot["job"] for slot in plan["slots"]}
    named = {short["job"] for short in plan["shortfalls"] if short["job"]}
    assert placed | named
    assert not placed & named
    assert all(short["says"].endswith(".") and len(short["says"]) > 40 for short in plan["shortfalls"])
    return plan


def _alone(plant: dict[str, Any]) -> None:
    plant["stays"] = [stay for stay in plant["stays"] if stay["pump"] == "plover-pump-a"]
    plant["fittings"] = [one for one in plant["fittings"] if one["pump"] == "plover-pump-a"]
    plant.update(minimum_blocks=[], minimum_swept_m3_per_h=50.0)


def _busy_every_day(plant: dict[str, Any]) -> None:
    _kind(plant, "knife_inspection").update(takes_hours=12)
    busy = {"minimum_swept_m3_per_h": 200.0, "label": "busy hours", "from_hour": 11, "to_hour": 12}
    plant.update(minimum_blocks=[busy], minimum_swept_m3_per_h=50.0)


NO_ROOM: dict[str, tuple[Change, str]] = {
    "a single pump that is needed": (_alone, "the minimum would be broken"),
    "a job longer than any opening": (_busy_every_day, "the minimum (busy hours) would be broken"),
    "hands only in a block that is over": (
        lambda p: p["crew"].update(
            blocks=[{"hands": 0, "label": "laid off", "from_on": "2026-01-01", "to_on": "2028-01-01"}]
        ),
        "nobody is at work (laid off)",
    ),
    "crew blocks that overlap, the last with nobody": (
        lambda p: p["crew"].update(
            blocks=[{"hands": 3, "label": "squad"}, {"hands": 0, "label": "leave", "from_on": "2026-10-01"}]
        ),
        "nobody is at work (leave)",
    ),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize(("change", "says"), NO_ROOM.values(), ids=NO_ROOM)
def test_a_plan_without_room_says_why(fresh: Stage, change: Change, says: str) -> None:
    """A lawful plan in which each job has a slot or a sentence that ends in the reason."""
    plan = _planned(fresh, change)
    assert any(says in short["says"] for short in plan["shortfalls"]), plan["shortfalls"]


@pytest.mark.long
def test_blocks_that_contradict_each_other_are_pointed_out(fresh: Stage) -> None:
    """A full ship that a later "few aboard" covers never counts: the plan takes the last, and what to look at says so."""
    blocks = [
        {"minimum_swept_m3_per_h": 150.0, "label": "full ship", "from_on": "2026-10-20", "to_on": "2026-10-30"},
        {"minimum_swept_m3_per_h": 30.0, "label": "few aboard", "from_on": "2026-10-01", "to_on": "2026-12-30"},
    ]
    _planned(fresh, lambda p: p.update(minimum_blocks=blocks))
    diagnoses = fresh.ask("GET", f"{VESSEL}/looks").json()
    (one,) = [look for look in diagnoses["looks"] if look["about"] == "block that never counts"]
    assert 'The minimum of 150 m3/h "full ship"' in one["says"]
    assert '"few aboard"' in one["says"]
    assert "put the one that shall count last" in one["do"]


@pytest.mark.long
def test_two_frozen_slots_that_no_longer_go_together_keep_one_and_say_why_the_others_moved(fresh: Stage) -> None:
    """Jobs taken for one hour of several pumps, then only one may be out: one keeps its date, the others have another and the
    plan says what forbade theirs."""
    due = fresh.due()
    done = [(key, job) for key, job in due.items() if key[0] == "knife_inspection"]
    assert done

    def soon(plant: dict[str, Any]) -> None:
        plant.update(minimum_blocks=[], minimum_swept_m3_per_h=0.0, crew={"hands": 6, "start_hours": [8]})
        for last in plant["last_done"]:
            if last["kind"] == "knife_inspection":
                last["running_hours"] = None
                last["done_at"] = stamp(AT - timedelta(days=200))

    plan = _planned(fresh, soon)
    first = [
        slot
        for slot in plan["slots"]
        if slot["job"].startswith("knife") and slot["from"] < stamp(AT + timedelta(days=6))
    ]
    assert len(first) >= 2
    taken = fresh.ask("POST", f"{PLANT}/plan", role=Role.CHIEF, json={"digest": plan["digest"]})
    assert taken.status_code == 200, taken.text
    again = _planned(fresh, lambda p: p.update(minimum_swept_m3_per_h=100.0))
    dates = {one["job"]: one["from"] for one in first}
    kept = [slot["job"] for slot in again["slots"] if dates.get(slot["job"]) == slot["from"]]
    assert len(kept) == 1
    moved = {fact["job"]: fact for fact in again["facts"] if fact["code"] == "frozen date moved"}
    assert moved.keys() == dates.keys() - set(kept)
    assert {fact["because"] for fact in moved.values()} == {"capacity"}
    assert all("cannot keep" in fact["says"] for fact in moved.values())


@pytest.mark.long
def test_a_job_thirty_years_past_its_date_is_planned_and_said_to_be_late(fresh: Stage) -> None:
    """One open turn, not one for each interval since: it has a slot and the days it is past its limit."""

    def old(plant: dict[str, Any]) -> None:
        for last in plant["last_done"]:
            if last["kind"] in ("overhaul", "alarm_test"):
                last["running_hours"] = None
                last["done_at"] = "1996-05-01T10:00:00Z"

    plan = _planned(fresh, old)
    alarms = [slot for slot in plan["slots"] if slot["job"].startswith("alarm_test")]
    assert 1 <= len(alarms) <= 2
    told = fresh.ask("GET", f"{PLANT}/plan/why/{alarms[0]['job']}").json()
    assert told["days_late"] > 365 * 29
    assert "past its limit" in told["reasons"][0]
