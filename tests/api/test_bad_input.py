"""Bad input gets an answer a second engineer can act on, and nothing good is lost beside it."""

import json
from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

VP1 = "plover-vp1-hours"


def _counter(stage: Stage) -> str:
    return stage.runs["demo-plover"].ship.counter(0)


def _newest(stage: Stage) -> tuple[float, str]:
    book = stage.ask("GET", f"/api/v1/counters/{_counter(stage)}").json()
    return book["newest_value"], book["newest_at"]


def _one(stage: Stage, **item: Any) -> dict[str, Any]:
    answer = stage.post({"counter": _counter(stage), **item})
    assert answer.status_code == 207, answer.text
    return answer.json()["items"][0]


def test_a_reading_that_goes_backwards_is_stored_and_held(fresh: Stage) -> None:
    """A drop is kept as posted, credits nothing, and is flagged in words for the engineer."""
    value, _ = _newest(fresh)
    before = fresh.pump("plover-pump-a")["hours"]["running_hours"]
    fresh.clock.at = AT + timedelta(hours=1)
    item = _one(fresh, observed_at=stamp(fresh.clock.at), value=value - 40)
    assert item["status"] == "stored"
    assert item["verdict"].startswith("held: decrease")
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == before
    flags = fresh.ask("GET", f"/api/v1/counters/{_counter(fresh)}").json()["flags"]
    assert any(flag["code"] == "held" and "The counter of VP1 fell" in flag["says"] for flag in flags)


def test_a_reading_in_the_future_is_held(fresh: Stage) -> None:
    """More than five minutes ahead of the server is held as future; two minutes ahead is taken."""
    value, _ = _newest(fresh)
    near = _one(fresh, observed_at=stamp(AT + timedelta(minutes=2)), value=value)
    far = _one(fresh, observed_at=stamp(AT + timedelta(hours=3)), value=value + 2)
    assert near["status"] == far["status"] == "stored"
    assert "future" not in (near["verdict"] or "")
    assert far["verdict"] == "held: future"


@pytest.mark.parametrize(
    ("item", "words"),
    [
        ({"observed_at": stamp(AT), "value": -5}, "below 0"),
        ({"observed_at": "2026-10-20T07:00:00", "value": 5}, "no offset"),
        ({"observed_at": "yesterday", "value": 5}, "observed_at"),
        ({"observed_at": stamp(AT), "value": "12"}, "not a number"),
        ({"observed_at": stamp(AT), "value": None}, "no value"),
        ({"observed_at": stamp(AT)}, "no value"),
        ({"observed_at": stamp(AT), "delta": 3}, "cumulative"),
        ({"observed_at": stamp(AT), "value": True}, "not a number"),
    ],
)
def test_an_item_that_cannot_be_a_reading_is_refused_in_words(stage: Stage, item: dict[str, Any], words: str) -> None:
    """The refusal names the counter or the member, and says what to send instead."""
    told = _one(stage, **item)
    assert told["status"] == "refused"
    assert words in told["why"]
    assert "send" in told["why"]


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_figure_is_refused_item_by_item(stage: Stage, figure: str) -> None:
    """NaN and infinities, which are no JSON but come from careless senders, are refused for their item alone."""
    body = f'{{"readings": [{{"counter": "{_counter(stage)}", "observed_at": "{stamp(AT)}", "value": {figure}}}]}}'
    answer = stage.ask(
        "POST",
        "/api/v1/readings",
        role=Role.COUNTER,
        content=body,
        headers={"Content-Type": "application/json"},
    )
    assert answer.status_code in (207, 400)
    if answer.status_code == 207:
        assert answer.json()["items"][0]["status"] == "refused"


def test_an_unknown_counter_is_refused_and_named(stage: Stage) -> None:
    """The refusal names the counter; a counter of another vessel is as unknown as one that is not there."""
    foreign = stage.runs["demo-avocet"].ship.counter(0)
    told = stage.post(
        {"counter": "plover-vp9-hours", "observed_at": stamp(AT), "value": 1},
        {"counter": foreign, "observed_at": stamp(AT), "value": 1},
    ).json()["items"]
    assert [item["status"] for item in told] == ["refused", "refused"]
    assert "plover-vp9-hours" in told[0]["why"]


def test_one_bad_reading_never_stops_ninety_nine_good_ones(fresh: Stage) -> None:
    """Of a hundred with one bad, ninety-nine are stored, in one answer."""
    fresh.clock.at = AT + timedelta(days=2)
    value, _ = _newest(fresh)
    items = [
        {"counter": _counter(fresh), "observed_at": stamp(AT + timedelta(minutes=10 * n)), "value": value}
        for n in range(1, 101)
    ]
    items[41] = {"counter": _counter(fresh), "observed_at": "noon", "value": value}
    told = fresh.post(*items).json()["items"]
    assert [item["index"] for item in told] == list(range(100))
    assert [item["status"] for item in told].count("stored") == 99
    assert told[41]["status"] == "refused"
    again = fresh.post(*items).json()["items"]
    assert [item["status"] for item in again].count("duplicate") == 99


@pytest.mark.parametrize(
    ("content", "kind", "status", "words"),
    [
        ("{readings", "application/json", 400, "not JSON"),
        ("[]", "application/json", 400, "not a JSON object"),
        ('{"readings": 3}', "application/json", 422, "list of readings"),
        ('{"readings": []}', "text/plain", 400, "application/json"),
        ('{"readings": [], "sent_at": "noon"}', "application/json", 422, "sent_at"),
    ],
)
def test_a_body_that_cannot_be_read_is_a_problem_in_words(
    stage: Stage, content: str, kind: str, status: int, words: str
) -> None:
    """The problem document says what was expected; nothing is stored."""
    answer = stage.ask("POST", "/api/v1/readings", role=Role.COUNTER, content=content, headers={"Content-Type": kind})
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert words in answer.json()["detail"]


def test_too_large_a_body_is_413_by_length_and_by_counting(stage: Stage) -> None:
    """A body over the limit is refused whether its length is announced or not, as a problem document."""
    big = b'{"readings": "' + b"x" * 1_100_000 + b'"}'
    kind = {"Content-Type": "application/json"}
    announced = stage.ask("POST", "/api/v1/readings", role=Role.COUNTER, content=big, headers=kind)

    def parts():
        for first in range(0, len(big), 65_536):
            yield big[first : first + 65_536]

    chunked = stage.ask("POST", "/api/v1/readings", role=Role.COUNTER, content=parts(), headers=kind)
    for answer in (announced, chunked):
        assert answer.status_code == 413
        assert answer.headers["content-type"] == "application/problem+json"
        assert "1048576" in answer.json()["detail"]
    many = [{"counter": VP1, "observed_at": stamp(AT), "value": 1}] * 1001
    assert stage.post(*many).status_code == 413


def _put(stage: Stage, change) -> Any:
    document, etag = stage.document()
    change(document["plants"][0])
    return stage.ask("PUT", "/api/v1/vessels/demo-plover", role=Role.OFFICE, json=document, headers={"If-Match": etag})


def test_a_document_that_makes_no_sense_is_refused_with_every_fault(stage: Stage) -> None:
    """Minimum above all pumps, an interval of 0, two positions with one pump: each is named by pointer, all at once."""

    def spoil(plant: dict[str, Any]) -> None:
        plant["minimum_swept_m3_per_h"] = 9_000
        plant["job_kinds"][0]["interval_running_hours"] = 0
        plant["stays"][1]["pump"] = plant["stays"][0]["pump"]

    answer = _put(stage, spoil)
    assert answer.status_code == 422
    pointers = [fault["pointer"] for fault in answer.json()["errors"]]
    assert any("minimum" in pointer for pointer in pointers)
    assert any("interval_running_hours" in pointer for pointer in pointers)
    assert any("stays" in pointer for pointer in pointers)
    assert all(len(fault["detail"]) > 20 for fault in answer.json()["errors"])


def test_a_document_of_the_wrong_shape_says_where(stage: Stage) -> None:
    """A misspelt member, a missing one and a local time each have their JSON Pointer and a plain sentence."""

    def spoil(plant: dict[str, Any]) -> None:
        plant["reciever_m3"] = plant.pop("receiver_m3")
        plant["stays"][0]["from_at"] = "2026-01-01T00:00:00"

    answer = _put(stage, spoil)
    assert answer.status_code == 422
    told = {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}
    assert any("reciever_m3" in pointer for pointer in told)
    assert "https://" not in json.dumps(told)


def test_conditions_guard_the_document(stage: Stage) -> None:
    """No If-Match is 428, a stale one 412, If-None-Match: * on a vessel that is there 412, a broken one 400."""
    document, etag = stage.document()
    path = "/api/v1/vessels/demo-plover"

    def put(**headers: str) -> int:
        return stage.ask("PUT", path, role=Role.OFFICE, json=document, headers=headers).status_code

    assert put() == 428
    assert put(**{"If-Match": '"99"'}) == 412
    assert put(**{"If-Match": "yes"}) == 400
    assert put(**{"If-None-Match": "*"}) == 412
    assert put(**{"If-Match": etag}) == 200


def _open(stage: Stage, kind: str, subject: str) -> dict[str, Any]:
    return stage.due()[kind, subject]


def test_a_job_is_closed_once(fresh: Stage) -> None:
    """The same key and body give the same answer again; another close is a clash that says when it was done."""
    job = _open(fresh, "knife_inspection", "plover-pump-a-knives")["job"]
    first = fresh.close(job, once="one")
    assert first.status_code == 200, first.text
    assert fresh.close(job, once="one").json() == first.json()
    assert fresh.close(job, once="one", findings="other").status_code == 422
    twice = fresh.close(job)
    assert twice.status_code == 409
    assert "done already" in twice.json()["detail"]
    assert fresh.close(job, once="").status_code == 428


def test_a_close_that_cannot_be_true_is_refused_by_field(fresh: Stage) -> None:
    """Before the pump was fitted, in the future, by nobody, checked by the doer, hours the counter never reached."""
    job = _open(fresh, "overhaul", "plover-pump-a")["job"]
    for told, pointer in (
        ({"done_at": "2001-01-01T00:00:00Z"}, "/done_at"),
        ({"done_at": stamp(AT + timedelta(days=1))}, "/done_at"),
        ({"done_by": "   "}, "/done_by"),
        ({"checked_by": "demo hand"}, "/checked_by"),
        ({"running_hours": 999_999}, "/running_hours"),
        ({"opened_at": stamp(AT)}, "/opened_at"),
        ({"test": "maybe"}, "/test"),
        ({"done_at": "2026-10-19T10:00:00"}, "/done_at"),
    ):
        answer = fresh.close(job, **told)
        assert answer.status_code == 422, (told, answer.text)
        assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]
    assert _open(fresh, "overhaul", "plover-pump-a")["job"] == job


def test_a_close_entered_late_with_fewer_hours_than_today_is_right(fresh: Stage) -> None:
    """A paper from two days ago carries the hours of that day; it is accepted, and the next interval starts there."""
    part = "plover-pump-a-knives"
    job = _open(fresh, "knife_inspection", part)
    pump = fresh.ask("GET", "/api/v1/pumps/plover-pump-a").json()
    now_h = next(p["hours"]["running_hours"] for p in pump["parts"] if p["part"] == part)
    answer = fresh.close(job["job"], done_at=stamp(AT - timedelta(days=2)), running_hours=now_h - 15)
    assert answer.status_code == 200, answer.text
    assert answer.json()["hours_source"] == "by hand"
    after = _open(fresh, "knife_inspection", part)
    assert after["sequence"] == job["sequence"] + 1
    assert after["running_hours_left"] == pytest.approx(1500 - 15, abs=1)


@pytest.mark.long
def test_the_test_after_a_job_decides_what_the_pump_counts_for(fresh: Stage) -> None:
    """Failed: the job stays open and the pump counts nothing. None: closed, provisional derate. Passed: in full."""
    key = _open(fresh, "knife_inspection", "plover-pump-b-knives")["job"]
    whole = fresh.pump("plover-pump-b")["counts_for_swept_m3_per_h"]
    failed = fresh.close(key, test="failed")
    assert (failed.status_code, failed.json()["closed"]) == (200, False)
    assert fresh.pump("plover-pump-b")["counts_for_swept_m3_per_h"] == 0
    assert fresh.pump("plover-pump-b")["state"] == "down"
    assert _open(fresh, "knife_inspection", "plover-pump-b-knives")["job"] == key
    none = fresh.close(key, test="none", done_at=stamp(AT - timedelta(minutes=30)))
    assert none.json()["closed"] is True
    half = fresh.pump("plover-pump-b")
    assert half["state"] == "not proved"
    assert 0 < half["counts_for_swept_m3_per_h"] < whole
    back = fresh.ask(
        "POST", "/api/v1/pumps/plover-pump-b/back", json={"at": stamp(AT), "test": "passed", "reason": "pulled down"}
    )
    assert back.status_code == 200, back.text
    assert fresh.pump("plover-pump-b")["counts_for_swept_m3_per_h"] == whole


def test_an_overhaul_takes_knife_and_seal_with_it_and_nothing_else(fresh: Stage) -> None:
    """What the overhaul renews starts anew for its own pump; the other pumps' turns stand."""
    before = fresh.due()
    key = before["overhaul", "plover-pump-c"]["job"]
    renewed = fresh.close(key).json()["renewed"]
    assert {one.split(":")[0] for one in renewed} == {"knife_inspection", "seal_inspection"}
    after = fresh.due()
    for kind, subject in (("knife_inspection", "plover-pump-c-knives"), ("seal_inspection", "plover-pump-c-seal")):
        assert after[kind, subject]["sequence"] == before[kind, subject]["sequence"] + 1
    assert (
        after["knife_inspection", "plover-pump-a-knives"]["job"]
        == before["knife_inspection", "plover-pump-a-knives"]["job"]
    )


def test_a_pump_goes_down_once_and_says_what_is_left(fresh: Stage) -> None:
    """Down is a fact with the margin left; down twice is a clash; back without being out is a clash; no reason is refused."""
    told = {"at": stamp(AT), "reason": "knife blocked"}
    down = fresh.ask("POST", "/api/v1/pumps/plover-pump-a/down", json=told)
    assert down.status_code == 200
    assert "m3/h" in down.json()["says"]
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-a/down", json=told).status_code == 409
    back = {"at": stamp(AT), "test": "none", "reason": "cleared"}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/back", json=back).status_code == 409
    blank = fresh.ask("POST", "/api/v1/pumps/plover-pump-b/down", json={"at": stamp(AT), "reason": " "})
    assert blank.status_code == 422


@pytest.mark.long
def test_counter_events_are_checked_and_taking_hours_away_needs_two_people(fresh: Stage) -> None:
    """An unknown kind, no reason and no hours are refused; hours taken away wait for the chief or the office."""
    path = f"/api/v1/counters/{_counter(fresh)}/events"

    def event(role: Role = Role.ENGINEER, **told: Any) -> Any:
        return fresh.ask("POST", path, role=role, json={"at": stamp(AT), "reason": "found in the log book", **told})

    assert event(kind="guess").status_code == 422
    assert event(kind="adjustment", hours=0).status_code == 422
    assert event(kind="adjustment", hours=4, reason=" ").status_code == 422
    before = fresh.pump("plover-pump-a")["hours"]["running_hours"]
    assert event(kind="adjustment", hours=4).status_code == 201
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == pytest.approx(before + 4)
    asked = event(Role.CHIEF, kind="adjustment", hours=-4)
    assert asked.status_code == 202
    confirm = f"{path}/{asked.json()['id']}/confirm"
    assert fresh.ask("POST", confirm, role=Role.ENGINEER, json={}).status_code == 403
    own = fresh.ask("POST", confirm, role=Role.CHIEF, json={})
    assert (own.status_code, "cannot confirm it" in own.text) == (403, True)
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == pytest.approx(before + 4)
    assert fresh.ask("POST", confirm, role=Role.OFFICE, json={"reason": "seen"}).status_code == 201
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == pytest.approx(before)
    assert fresh.ask("POST", confirm, role=Role.OFFICE, json={}).status_code == 409


def test_a_held_jump_is_released_by_a_decision(fresh: Stage) -> None:
    """A false jump credits nothing, however long it goes on, until a person says what it was worth."""
    value, _ = _newest(fresh)
    before = fresh.pump("plover-pump-a")["hours"]["running_hours"]
    jump = AT + timedelta(hours=4)
    for hours, more in ((4, 500), (8, 503), (200, 560)):
        fresh.clock.at = AT + timedelta(hours=hours)
        _one(fresh, observed_at=stamp(fresh.clock.at), value=value + more)
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == before
    told = {"kind": "step decision", "at": stamp(jump), "hours": 3, "reason": "counter was preset at the exchange"}
    answer = fresh.ask("POST", f"/api/v1/counters/{_counter(fresh)}/events", json=told)
    assert answer.status_code == 201, answer.text
    assert fresh.pump("plover-pump-a")["hours"]["running_hours"] == pytest.approx(before + 3 + 60)


def test_a_stamp_from_the_end_of_the_calendar_spoils_nothing(fresh: Stage) -> None:
    """A reading of the year 3000 or later is refused in words, and the plant stands as before."""
    for at in ("3000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "9999-12-31T23:59:59-14:00"):
        told = _one(fresh, observed_at=at, value=5)
        assert (told["status"], "set the sender's clock" in told["why"]) == ("refused", True)
    assert fresh.ask("GET", "/api/v1/plants/plover-plant").status_code == 200


def test_one_future_stamp_does_not_keep_a_dead_counter_alive(fresh: Stage) -> None:
    """After a single reading stamped years ahead the counter still falls silent, and its hours are marked estimated."""
    assert _one(fresh, observed_at="2999-12-31T23:59:59Z", value=5)["verdict"] == "held: future"
    fresh.clock.at = AT + timedelta(days=5)
    plant = fresh.ask("GET", "/api/v1/plants/plover-plant").json()
    counter = next(c for c in plant["counters"] if c["counter"] == _counter(fresh))
    assert (counter["newest_at"], counter["silent"]) == (stamp(AT), True)
    assert fresh.pump("plover-pump-a")["hours"]["estimated"] is True
    assert plant["hours_as_of"] == stamp(AT)


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "/api/v1/plants/a%00b", None),
        ("GET", "/api/v1/plants/plover-plant/due/moved?since=%00", None),
        ("GET", f"/api/v1/plants/plover-plant/due/moved?since={2**63}", None),
        ("POST", f"/api/v1/plants/plover-plant/concessions/{2**31}/withdrawal", {}),
        ("POST", f"/api/v1/plants/plover-plant/concessions/{2**63}/withdrawal", {}),
        ("POST", "/api/v1/pumps/plover-pump-c/down", {"at": stamp(AT), "reason": "a\x00b"}),
        ("POST", "/api/v1/plants/plover-plant/parts", {"name": "knife set", "aboard": 2**63}),
        ("POST", "/api/v1/jobs/x/steps", {"step": {"kind": "opened", "by": "\x00", "at": stamp(AT)}}),
    ],
)
def test_no_nul_and_no_number_beyond_a_database_is_taken(stage: Stage, method: str, path: str, body: Any) -> None:
    """In address, query and body; `tests/api/test_worst_values.py` tries every door on both databases."""
    answer = stage.ask(method, path, role=Role.ADMIN, json=body)
    assert answer.status_code == 422, answer.text
    if body and "aboard" not in body:
        assert answer.json()["errors"] or answer.json()["detail"]
