"""The operating calendar through the real doors: conditions, records, contradictions, files, undo; and its page."""

from collections.abc import Iterator
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged
from tests.api.test_doors import csrf_of

API, PAGE = "/api/v1/vessels/demo-plover/calendar", "/vessels/demo-plover/calendar"
SEA = {"from_on": "2026-10-01", "to_on": "2026-10-12", "kind": "sea", "source": "log"}
PORT = {"from_on": "2026-10-25", "to_on": "2026-10-27", "kind": "port", "note": "bunkers"}


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with staged(tmp_path_factory.mktemp("days"), (PLOVER,), days=1) as stage:
        yield stage


@pytest.fixture
def ship(one: Stage) -> Stage:
    """The ship with no days entered, whatever was before."""
    put(one, {"stretches": [], "kinds": KINDS})
    one.client.cookies.clear()
    return one


KINDS = [{"code": "sea", "weight": 1}, {"code": "port", "weight": 0.3}]


def held(stage: Stage) -> tuple[dict[str, Any], str]:
    answer = stage.ask("GET", API)
    return answer.json(), answer.headers["etag"]


def put(stage: Stage, body: dict[str, Any]) -> Response:
    return stage.ask("PUT", API, json=body, headers={"If-Match": held(stage)[1]})


def patch(stage: Stage, body: dict[str, Any], etag: str | None = None) -> Response:
    return stage.ask("PATCH", API, json=body, headers={"If-Match": etag or held(stage)[1]})


def test_days_are_entered_corrected_and_taken_back(ship: Stage) -> None:
    """Each change is a new version and a record; taken back, the days are as before."""
    first = patch(ship, {"stretches": [SEA, PORT], "reason": "first"})
    assert first.status_code == 200, first.text
    assert [c["now"] for c in first.json()["changes"]] == ["sea", "port"]
    before = held(ship)
    second = patch(ship, {"stretches": [{**PORT, "from_on": "2026-10-26", "kind": "sea"}]})
    assert second.json()["record"] > first.json()["record"]
    kinds = [(s["from_on"], s["to_on"], s["kind"]) for s in held(ship)[0]["stretches"]]
    assert kinds[1:] == [("2026-10-25", "2026-10-25", "port"), ("2026-10-26", "2026-10-27", "sea")]
    undone = ship.ask("POST", f"{API}/undo", json={}, headers={"If-Match": held(ship)[1]})
    assert undone.status_code == 200, undone.text
    assert held(ship)[0]["stretches"] == before[0]["stretches"]
    told = ship.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.OFFICE).text
    assert told.count("operating calendar changed") >= 3


def test_the_version_is_asked_for(ship: Stage) -> None:
    """Without If-Match 428, with an old one 412; what changes nothing makes no version and no record."""
    assert ship.ask("PATCH", API, json={"stretches": [SEA]}).status_code == 428
    etag = held(ship)[1]
    assert patch(ship, {"stretches": [SEA]}).headers["etag"] != etag
    assert patch(ship, {"stretches": [PORT]}, etag).status_code == 412
    now = held(ship)[1]
    again = patch(ship, {"stretches": [SEA]})
    assert again.json()["record"] is None
    assert again.headers["etag"] == held(ship)[1] == now


def test_contradictions_and_faults_point_into_the_body(ship: Stage) -> None:
    """Every fault at once, each with its pointer; nothing is stored."""
    wrong = [
        SEA,
        {**SEA, "kind": "port"},
        {**PORT, "kind": "harbour"},
        {**PORT, "source": "log"},
        {**PORT, "to_on": "2026-10-01"},
    ]
    answer = patch(ship, {"stretches": wrong})
    assert answer.status_code == 422
    found = {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}
    assert set(found) == {"/stretches/1/kind", "/stretches/2/kind", "/stretches/3/to_on", "/stretches/4/to_on"}
    assert "stretch 1 says sea" in found["/stretches/1/kind"]
    assert patch(ship, {"stretches": [{**SEA, "from_on": 20261001}]}).status_code == 422
    assert held(ship)[0]["stretches"] == []


def test_a_further_kind_with_its_weight(ship: Stage) -> None:
    """A kind of one's own is kept with its weight; one that stretches have cannot be left out."""
    canal = {"code": "canal transit", "weight": 1.2}
    stretch = {**PORT, "kind": "canal transit"}
    assert patch(ship, {"stretches": [stretch], "kinds": [*KINDS, canal]}).status_code == 200
    assert held(ship)[0]["kinds"][-1] == canal
    refused = patch(ship, {"kinds": KINDS})
    assert refused.status_code == 422
    assert "canal transit" in refused.json()["detail"]


def test_a_file_is_looked_at_then_taken_in(ship: Stage) -> None:
    """The preview names bad cells or says what would change; the file is taken in whole or not at all."""
    bad = "from,to,kind\n2026-10-01,12/10/2026,sea\n"
    seen = ship.ask("POST", f"{API}/previews", json={"csv": bad}).json()
    assert (seen["good"], seen["faults"][0]["row"], seen["faults"][0]["found"]) == (False, 2, "12/10/2026")
    refused = ship.ask("POST", f"{API}/file", json={"csv": bad}, headers={"If-Match": held(ship)[1]})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/csv/2/to"
    good = bad.replace("12/10/2026", "2026-10-12")
    assert ship.ask("POST", f"{API}/previews", json={"csv": good}).json()["changes"] == [
        "2026-10-01 to 2026-10-12: nothing entered, now sea"
    ]
    assert held(ship)[0]["stretches"] == []
    assert ship.ask("POST", f"{API}/file", json={"csv": good}, headers={"If-Match": held(ship)[1]}).status_code == 200
    assert len(held(ship)[0]["stretches"]) == 1


def send(stage: Stage, browser: TestClient, path: str, values: dict[str, str], **more: Any) -> Response:
    token = csrf_of(stage, browser)
    version = str(held(stage)[0]["version"])
    stage.client.cookies.clear()
    data = {"csrf": token, "version": version, "idempotency_key": "k", **values}
    return browser.post(path, data=data, **more)


@pytest.mark.long
def test_the_page_enters_corrects_and_takes_back(ship: Stage) -> None:
    """By plain forms; a refusal keeps what was typed and names each field."""
    browser = ship.enter("chief-plover")
    typed = {
        "do": "enter",
        "from_on": "2026-10-28",
        "to_on": "28/10",
        "kind": "port",
        "source": "plan",
        "note": "pilot",
    }
    refused = send(ship, browser, PAGE, typed)
    assert refused.status_code == 422
    assert all(text in refused.text for text in ('value="pilot"', 'value="28/10"', "a date as 2026-11-25"))
    assert send(ship, browser, PAGE, {**typed, "to_on": "2026-10-29", "idempotency_key": "a"}).status_code == 303
    shown = browser.get(f"{PAGE}?edit=2026-10-28").text
    assert 'name="was_from" value="2026-10-28"' in shown
    was = {"was_from": "2026-10-28", "was_to": "2026-10-29"}
    correct = {**typed, **was, "from_on": "2026-10-29", "to_on": "2026-10-30", "idempotency_key": "b"}
    assert send(ship, browser, PAGE, correct).status_code == 303
    assert [(s["from_on"], s["to_on"]) for s in held(ship)[0]["stretches"]] == [("2026-10-29", "2026-10-30")]
    assert send(ship, browser, PAGE, {"do": "undo", "idempotency_key": "c"}).status_code == 303
    assert [(s["from_on"], s["to_on"]) for s in held(ship)[0]["stretches"]] == [("2026-10-28", "2026-10-29")]
    clear = {**typed, **was, "do": "clear", "idempotency_key": "d"}
    assert send(ship, browser, PAGE, clear).status_code == 303
    assert held(ship)[0]["stretches"] == []


def test_a_form_sent_twice_counts_once_and_an_old_one_is_told(ship: Stage) -> None:
    """The same key gets the first answer; a form of before somebody's change says so and keeps what was typed."""
    browser = ship.enter("chief-plover")
    version = str(held(ship)[0]["version"])
    typed = {"do": "enter", **{k: str(v) for k, v in PORT.items()}, "source": "plan", "version": version}
    for _ in range(2):
        assert send(ship, browser, PAGE, {**typed, "idempotency_key": "twice"}).status_code == 303
    stale = send(ship, browser, PAGE, {**typed, "note": "kept words", "idempotency_key": "old"})
    assert stale.status_code == 412
    assert "somebody changed it" in stale.text
    assert "kept words" in stale.text


def test_the_page_takes_a_file(ship: Stage) -> None:
    """A chosen file with a bad cell is shown with the cell marked and its text kept; put right, it is taken in."""
    browser = ship.enter("chief-plover")
    bad = b"from;to;kind\r\n2026-10-01;2026-10-1x;sea\r\n"
    seen = send(ship, browser, f"{PAGE}/file", {"do": "look"}, files={"upload": ("days.csv", bad, "text/csv")})
    assert seen.status_code == 422
    assert "row 2, column to:" in seen.text
    assert "2026-10-01;2026-10-1x;sea" in seen.text
    good = bad.decode().replace("1x", "12")
    looked = send(ship, browser, f"{PAGE}/file", {"do": "look", "csv": good})
    assert looked.status_code == 200
    assert "Take it in" in looked.text
    assert held(ship)[0]["stretches"] == []
    assert send(ship, browser, f"{PAGE}/file", {"do": "take", "csv": good}).status_code == 303
    text = browser.get(f"{PAGE}.csv").text
    assert text == "from,to,kind,source,note\r\n2026-10-01,2026-10-12,sea,plan,\r\n"
    wrong = send(ship, browser, f"{PAGE}/file", {"do": "look"}, files={"upload": ("x.xls", b"\xff\xfe\x00", "x")})
    assert wrong.status_code == 422
    assert "plain text in UTF-8" in wrong.text


def test_weights_by_the_page(ship: Stage) -> None:
    """A figure that is none is named and kept; a further kind is added."""
    browser = ship.enter("chief-plover")
    refused = send(ship, browser, PAGE, {"do": "kinds", "w-0": "1", "w-1": "lots"})
    assert refused.status_code == 422
    assert 'value="lots"' in refused.text
    typed = {"do": "kinds", "w-0": "1", "w-1": "0,4", "new_code": "anchor", "new_weight": "0.6", "idempotency_key": "w"}
    assert send(ship, browser, PAGE, typed).status_code == 303
    assert [k["weight"] for k in held(ship)[0]["kinds"]] == [1, 0.4, 0.6]
