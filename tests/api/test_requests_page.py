"""What the office asks of a ship, at its doors: the page at the office, the page aboard, and the API."""

import re
from hashlib import sha256
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from scheduler.actions.shore import requests
from scheduler.actions.shore.applying import take_in
from scheduler.domain.base.enums import Role
from scheduler.storage.database import INSTALLATION
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp

SHIP, API = PLOVER.vessel, "/api/v1/vessels/demo-plover"
PAGE = f"/vessels/{SHIP}/requests"
JOB = "knife_inspection:plover-pump-b-knives:1"


@pytest.fixture
def stage(tmp_path: Path) -> Any:
    """Demo Plover aboard."""
    with staged(tmp_path, (PLOVER,)) as stage:
        yield stage


@pytest.fixture
def office(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> Stage:
    """The same, looked at as the office looks at a ship that keeps her own records."""
    monkeypatch.setattr(requests, "name_of_mirror", lambda *_: "Demo Plover")
    return stage


def handed(stage: Stage) -> list[dict[str, Any]]:
    with stage.context.db.write(INSTALLATION) as session:
        return requests.not_fetched(session, SHIP, stage.clock.at)


def seen(browser: TestClient, path: str = PAGE) -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2])).split())


def send(browser: TestClient, page: str, /, **typed: str) -> Any:
    """The form of that page sent, with its token and key."""
    text = browser.get(page).text
    token = re.search(r'name="csrf" value="([^"]+)"', text)
    assert token is not None
    key = sha256(repr(sorted(typed.items())).encode()).hexdigest()
    return browser.post(page, data={"csrf": token[1], "idempotency_key": key, **typed})


def figure_form(stage: Stage) -> dict[str, str]:
    document, etag = stage.document()
    plant = document["plants"][0]
    kind = next(one for one in plant["job_kinds"] if one["interval_days"])
    return {
        "do": "figure",
        "version": etag,
        "path": f"{plant['id']}/{kind['code']}/interval_days",
        "value": "11",
        "reason": "wear seen",
    }


@pytest.mark.long
def test_the_office_asks_and_the_chief_engineer_accepts_by_page(office: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sent from the form; then, aboard, in the strip of the plant page with what would change; accepted, the office reads it."""
    desk = office.enter("office")
    assert "Nothing is on its way to Demo Plover." in seen(desk)
    assert send(desk, PAGE, **figure_form(office)).headers["location"] == f"{PAGE}?done=sent"
    assert "1 request is on its way" in seen(desk).lower().replace("one", "1")
    assert "sent, not fetched yet" in seen(desk)
    sent = handed(office)
    monkeypatch.undo()
    take_in(office.context, SHIP, sent)
    chief, engineer = office.enter("chief-plover"), office.enter("engineer-plover")
    strip = seen(chief, "/plants/plover-plant")
    assert "The office asks" in strip
    assert "The office asks" not in seen(engineer, "/plants/plover-plant")
    assert "interval days: " in seen(chief)
    assert ", now 11" in seen(chief)
    assert "Accept" not in seen(engineer)
    form = {"do": "answer", "number": "1", "accept": "no", "reason": ""}
    refused = send(chief, PAGE, **form)
    assert (refused.status_code, "this is empty" in refused.text) == (422, True)
    assert send(engineer, PAGE, **{**form, "accept": "yes"}).status_code == 403
    assert send(chief, PAGE, **{**form, "accept": "yes"}).headers["location"] == f"{PAGE}?done=done"
    assert "done, record" in seen(chief)
    assert "The office asks for nothing." in seen(chief)
    kinds = office.document()[0]["plants"][0]["job_kinds"]
    assert 11 in {kind["interval_days"] for kind in kinds}


def test_a_declined_request_says_why_and_by_whom(office: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """On both pages."""
    desk = office.enter("office")
    send(desk, PAGE, **figure_form(office))
    sent = handed(office)
    with monkeypatch.context() as aboard:
        aboard.setattr(requests, "name_of_mirror", lambda *_: None)
        take_in(office.context, SHIP, sent)
        chief = office.enter("chief-plover")
        form = {"do": "answer", "number": "1", "accept": "no", "reason": "the seals are new"}
        assert send(chief, PAGE, **form).headers["location"] == f"{PAGE}?done=declined"
        assert "declined by Demo chief, chief: the seals are new" in seen(chief)
    assert "declined by Demo chief, chief: the seals are new" in seen(desk)


def test_what_was_typed_is_kept_when_it_is_refused(office: Stage) -> None:
    """A figure that is none, an empty reason, a figure of no list, an old version."""
    desk, form = office.enter("office"), figure_form(office)
    for wrong, status in (
        ({"value": "eleven"}, 422),
        ({"value": ""}, 422),
        ({"value": "9" * 30}, 422),
        ({"reason": ""}, 422),
        ({"path": "nobody/x/interval_days"}, 422),
        ({"path": "plover-plant/overhaul/name"}, 422),
        ({"version": '"99"'}, 412),
        ({"value": "0"}, 422),
    ):
        refused = send(desk, PAGE, **{**form, **wrong})
        assert (refused.status_code, wrong) == (status, wrong)
        assert 'role="alert"' in refused.text or 'aria-invalid="true"' in refused.text
        if "reason" not in wrong:
            assert "wear seen" in refused.text
    assert requests.requests_asked(office.context, SHIP) == []


def test_a_request_is_taken_back_by_page(office: Stage) -> None:
    """While nobody has it; after that the page offers it no more, and the door refuses."""
    desk, chief = office.enter("office"), office.enter("chief-plover")
    form = figure_form(office)
    send(desk, PAGE, **form)
    assert "Take it back" not in seen(chief)
    assert send(desk, PAGE, do="withdraw", number="1").headers["location"] == f"{PAGE}?done=withdrawn"
    assert "withdrawn by Demo office, office" in seen(desk)
    send(desk, PAGE, **{**form, "value": "12"})
    handed(office)
    assert "Take it back" not in seen(desk)
    assert send(desk, PAGE, do="withdraw", number="2").status_code == 409


@pytest.mark.long
def test_decisions_on_their_pages_become_requests_at_the_office(office: Stage) -> None:
    """A postponement is decided on its own page; it goes to the ship, and is not decided here."""
    body = {"to_at": stamp(AT.replace(year=2028)), "reason": "no part", "risk": "wear"}
    number = office.ask("POST", f"/api/v1/jobs/{JOB}/postponements", json=body).json()["postponement"]
    desk = office.enter("office")
    sent = send(desk, f"/vessels/{SHIP}/decide/{number}", granted="yes", note="part comes")
    assert sent.headers["location"] == f"{PAGE}?done=sent"
    assert f"Postponement {number}: yes" in seen(desk)
    assert office.ask("GET", f"{API}/postponements").json()["postponements"][0]["state"] == "asked"


def test_the_doors_of_the_api(office: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked, listed, taken back; aboard listed and answered; who may not is refused, and a repetition is the same answer."""
    ask = {"what": "set part date", "job": JOB, "from_on": "2026-12-12", "version": 0}
    first = office.ask("POST", f"{API}/requests", role=Role.OFFICE, once="one", json=ask)
    again = office.ask("POST", f"{API}/requests", role=Role.OFFICE, once="one", json=ask)
    assert (first.status_code, again.json()) == (201, first.json())
    for role in (Role.CHIEF, Role.ENGINEER, Role.ADMIN, Role.COUNTER, None):
        assert office.ask("POST", f"{API}/requests", role=role, json=ask).status_code in (401, 403)
    never = office.ask("POST", f"{API}/requests", role=Role.OFFICE, json={"what": "take work step"})
    assert (never.status_code, "never from the office" in never.json()["detail"]) == (403, True)
    stale = {"what": "change document", "version": 99, "patch": {"plants": []}, "reason": "x"}
    assert office.ask("POST", f"{API}/requests", role=Role.OFFICE, json=stale).status_code == 412
    listed = office.ask("GET", f"{API}/requests").json()
    assert [(one["stage"], one["says"]) for one in listed["asked"]] == [("sent", "sent, not fetched yet")]
    assert listed["taken"] == []
    headers = {"Idempotency-Key": "away"}
    away = office.ask("DELETE", f"{API}/requests/1", role=Role.OFFICE, headers=headers)
    assert (away.status_code, away.json()["stage"]) == (200, "withdrawn")
    document, etag = office.document()
    patch = {"plants": [{**document["plants"][0], "crew": {**document["plants"][0]["crew"], "hands": 3}}]}
    change = {"what": "change document", "version": int(etag.strip('"')), "patch": patch, "reason": "one more"}
    assert office.ask("POST", f"{API}/requests", role=Role.OFFICE, json=change).status_code == 201
    sent = handed(office)
    monkeypatch.undo()
    take_in(office.context, SHIP, sent)
    (waiting,) = office.ask("GET", f"{API}/requests").json()["taken"]
    assert (waiting["state"], waiting["against"]) == ("waiting", "")
    assert [one["at"].rpartition("/")[2] for one in waiting["differences"]] == ["hands"]
    answer = {"accept": True}
    assert office.ask("POST", f"{API}/requests/2/answer", role=Role.OFFICE, json=answer).status_code == 403
    done = office.ask("POST", f"{API}/requests/2/answer", role=Role.CHIEF, json=answer)
    assert (done.status_code, done.json()["state"]) == (200, "done")
    assert office.ask("POST", f"{API}/requests/9/answer", role=Role.CHIEF, json=answer).status_code == 404


def test_a_ship_that_is_written_here_is_asked_nothing(stage: Stage) -> None:
    """Whoever may ask may do it here."""
    ask = {"what": "set part date", "job": JOB, "from_on": "2026-12-12", "version": 0}
    refused = stage.ask("POST", f"{API}/requests", role=Role.OFFICE, json=ask)
    assert (refused.status_code, "keeps her records here" in refused.json()["detail"]) == (409, True)
    assert "Ask for another figure" not in seen(stage.enter("office"))
