"""Signing in at a browser, and that no secret is left lying about."""

import csv
import io
import logging
import sqlite3
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from api.server.deps import COOKIE
from api.server.middleware import HEADERS
from api.server.try_limiter import TryLimiter
from scheduler.actions.people import people, sessions
from scheduler.domain.base.enums import Role
from scheduler.storage.database import Database
from tests.api.stage import AT, Stage, stamp

PAGE = {"Accept": "text/html"}


def _browser(stage: Stage) -> TestClient:
    return TestClient(stage.client.app, raise_server_exceptions=False, follow_redirects=False)


def _csrf(stage: Stage, browser: TestClient) -> str:
    found = sessions.at_browser(stage.context, browser.cookies[COOKIE])
    assert found is not None
    return found.csrf


def test_a_link_works_once_and_looking_at_it_spends_nothing(stage: Stage) -> None:
    """A preview that fetches the address leaves the link good; the first confirmation spends it for everyone."""
    path = f"/enter/{people.make_link(stage.context, 'engineer-plover')}"
    for _ in range(2):
        looked = _browser(stage).get(path, headers=PAGE)
        assert looked.status_code == 200
        assert "set-cookie" not in looked.headers
    assert _browser(stage).post(path).status_code == 303
    again = _browser(stage).post(path)
    assert again.status_code == 401
    assert "set-cookie" not in again.headers
    assert "one" in again.json()["detail"]


def test_a_link_goes_out_of_date(stage: Stage) -> None:
    """After its half hour a link opens nothing."""
    path = f"/enter/{people.make_link(stage.context, 'engineer-plover')}"
    stage.clock.at = AT.replace(minute=30)
    assert _browser(stage).post(path).status_code == 401


def test_the_cookie_is_kept_from_scripts_and_other_sites(stage: Stage) -> None:
    """HttpOnly and SameSite=Lax, for the whole site, as long as a session lasts. Source: RFC 6265 section 4.1.2."""
    path = f"/enter/{people.make_link(stage.context, 'engineer-plover')}"
    parts = {part.strip().lower() for part in _browser(stage).post(path).headers["set-cookie"].split(";")}
    assert parts >= {"httponly", "samesite=lax", "path=/", f"max-age={12 * 3600}"}


def test_a_session_ends_by_itself(stage: Stage) -> None:
    """After its hours the cookie is nobody's."""
    browser = stage.enter("engineer-plover")
    assert browser.get("/plants/plover-plant").status_code == 200
    stage.clock.at = AT.replace(hour=19)
    assert browser.get("/plants/plover-plant").status_code == 401


@pytest.mark.parametrize("token", [None, "", "wrong", "é"])
@pytest.mark.parametrize(
    "path",
    ["/sign-out", "/plants/plover-plant/plan", "/vessels/demo-plover/jobs/alarm_test:plover-plant:1/close"],
)
def test_a_form_without_its_pages_token_does_nothing(stage: Stage, path: str, token: str | None) -> None:
    """No token or another is refused, and the person stays signed in. Another's token is another."""
    browser = stage.enter("engineer-plover")
    form = {"done_at": "2026-10-20 07:00", "done_by": "Demo Hand", "test": "passed", "idempotency_key": "forged"}
    sent = form if token is None else {**form, "csrf": token}
    assert browser.post(path, data=sent).status_code == 403
    other = stage.enter("chief-plover")
    assert browser.post(path, data={**form, "csrf": _csrf(stage, other)}).status_code == 403
    assert browser.get("/plants/plover-plant").status_code == 200
    assert stage.due()["alarm_test", "plover-plant"]["sequence"] == 1


def test_signing_out_ends_the_session_for_the_cookie_too(stage: Stage) -> None:
    """Whoever kept the cookie has nothing after the sign-out."""
    browser = stage.enter("engineer-plover")
    kept = browser.cookies[COOKIE]
    assert browser.post("/sign-out", data={"csrf": _csrf(stage, browser)}).status_code == 303
    thief = _browser(stage)
    thief.cookies.set(COOKIE, kept)
    assert thief.get("/plants/plover-plant").status_code == 401


@pytest.mark.parametrize(("header", "status"), [(None, 403), ("wrong", 403), ("", 403), ("own", 409)])
def test_a_change_by_cookie_needs_the_token_in_a_header(stage: Stage, header: str | None, status: int) -> None:
    """Reading by cookie is free; a change through the API carries X-CSRF-Token as well."""
    browser = stage.enter("engineer-plover")
    assert browser.get("/api/v1/plants/plover-plant").status_code == 200
    headers = {"Idempotency-Key": f"by cookie {header}"}
    if header is not None:
        headers["X-CSRF-Token"] = _csrf(stage, browser) if header == "own" else header
    told = {"at": stamp(AT), "test": "none", "reason": "tried"}
    answer = browser.post("/api/v1/pumps/plover-pump-b/back", json=told, headers=headers)
    assert answer.status_code == status


@pytest.mark.parametrize(
    "path",
    ["/", "/sign-in", "/livez", "/docs", "/openapi.json", "/static/app.css", "/static/none", "/api/v1/vessels", "/x"],
)
def test_every_answer_has_the_security_headers(stage: Stage, path: str) -> None:
    """Page, file, error: the same headers; scripts come from this server alone, and nothing may frame a page."""
    answer = stage.ask("GET", path, role=None)
    for name, value in HEADERS.items():
        if name != "Content-Security-Policy":
            assert answer.headers[name] == value
    policy = answer.headers["content-security-policy"]
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-inline" not in policy.partition("script-src")[2].partition(";")[0]
    assert "unsafe-eval" not in policy
    assert "http:" not in policy
    assert "https:" not in policy


def test_the_light_switch_leads_nowhere_else(stage: Stage) -> None:
    """Day or night goes back to a page of this server, whatever the form says."""
    for here in ("https://example.invalid/", "//example.invalid", "/\\example.invalid", "/a\r\nSet-Cookie: x=y"):
        answer = stage.ask("POST", "/light", role=None, data={"light": "night", "here": here})
        assert answer.headers["location"] == "/"


def test_no_secret_is_stored_or_logged(stage: Stage, caplog: pytest.LogCaptureFixture) -> None:
    """Keys, links, cookies and calendar addresses stand neither in the database nor in any log line."""
    with caplog.at_level(logging.DEBUG):
        link = people.make_link(stage.context, "engineer-plover")
        browser = _browser(stage)
        browser.post(f"/enter/{link}")
        address = stage.ask("POST", "/api/v1/feeds", json={"vessel": "demo-plover"}).json()["address"]
        token = address.split("/cal/")[1].split("/")[0]
        assert stage.ask("GET", f"/cal/{token}/plan.ics", role=None).status_code == 200
        stage.ask("GET", "/api/v1/vessels", role=None, headers={"Authorization": f"Bearer {stage.key(Role.CHIEF)}x"})
    secrets = [link, browser.cookies[COOKIE], token, *(key.split("_", 2)[2] for key in stage.keys.values())]
    assert all(len(secret) > 20 for secret in secrets)
    with sqlite3.connect(f"file:{stage.database}?mode=ro", uri=True) as base:
        dump = "\n".join(base.iterdump())
    base.close()
    said = "\n".join(logging.Formatter().format(record) for record in caplog.records if record.name != "httpx2")
    assert "demo-plover" in dump
    for secret in secrets:
        assert secret not in dump
        assert secret not in said


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_formulas_are_defused_in_the_exported_table(stage: Stage, start: str) -> None:
    """A reason that a spreadsheet would run as a formula comes out as text through the door. Source: OWASP, CSV Injection."""
    evil = f'{start}HYPERLINK("http://example.invalid")'
    told = {"kind": "adjustment", "at": stamp(AT), "hours": 1, "reason": evil}
    assert stage.ask("POST", "/api/v1/counters/plover-vp2-hours/events", json=told).status_code == 201
    answer = stage.ask("GET", "/api/v1/history", role=Role.CHIEF, params={"vessel": "demo-plover", "format": "csv"})
    assert answer.headers["content-disposition"].startswith("attachment")
    cells: list[Any] = [cell for row in csv.reader(io.StringIO(answer.text, newline="")) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    assert not [cell for cell in cells if cell[:1] in "=+@\t\r" and "HYPERLINK" in cell and cell]
    assert not [cell for cell in cells if cell.startswith(evil)]


def test_the_link_of_an_event_on_a_phone_that_is_not_signed_in_leads_there_in_the_end(fresh: Stage) -> None:
    """It says what helps; after the one-time link the page that was asked for opens, and no page of another server."""
    page = "/vessels/demo-plover/jobs/alarm_test:plover-plant:1"
    phone = fresh.client
    phone.cookies.clear()
    asked = phone.get(page, headers={"Accept": "text/html"}, follow_redirects=False)
    assert asked.status_code == 401
    assert "sign in on this device once: the page opens then" in asked.text
    assert "alarm" not in asked.text.casefold()
    for odd in ("/plants/%E2%82%AC", "/vessels/x/jobs/a:%E4%BD%A0:1", f"/plants/{'x' * 900}"):
        assert phone.get(odd, headers={"Accept": "text/html"}).status_code == 401
    for then, there in ((page, page), ("//elsewhere.example", "/"), ("", "/")):
        phone.cookies.clear()
        phone.cookies.set("then", then)
        link = people.make_link(fresh.context, "engineer-plover")
        entered = phone.post(f"/enter/{link}", follow_redirects=False)
        assert (entered.status_code, entered.headers["location"]) == (303, there)


GUESSES = {
    "a link": ("POST", "/enter/{}", {}, 401),
    "a key": ("GET", "/api/v1/vessels", {"Authorization": "Bearer ll_0000000{}_x"}, 401),
    "a key for readings": ("POST", "/api/v1/readings", {"Authorization": "Bearer ll_0000000{}_x"}, 401),
    "a calendar": ("GET", "/cal/{}/plan.ics", {}, 404),
}


@pytest.mark.parametrize("kind", GUESSES)
def test_guessing_is_slowed_down_and_writes_nothing(stage: Stage, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Past thirty wrong ones comes 429 with Retry-After (RFC 6585 section 4); no guess begins to write; the right one passes."""
    method, path, headers, wrong = GUESSES[kind]
    browser = _browser(stage)
    browser.get("/cal/none/plan.ics")  # the stage's own tick writes what earlier tests asked for
    stage.client.app.state.try_limiter = TryLimiter(lambda: 0.0)  # type: ignore[attr-defined]
    monkeypatch.setattr(Database, "write", lambda *_: pytest.fail("a guess began to write"))

    def guess(number: int) -> Response:
        told = {name: value.format(number % 10) for name, value in headers.items()}
        return browser.request(method, path.format(number), headers=told)

    assert {guess(number).status_code for number in range(30)} == {wrong}
    last = guess(30)
    assert (last.status_code, last.headers["retry-after"]) == (429, "2")
    monkeypatch.undo()
    assert stage.ask("GET", "/api/v1/vessels").status_code == 200
    assert browser.post(f"/enter/{people.make_link(stage.context, 'engineer-plover')}").status_code == 303
    stage.client.app.state.try_limiter = TryLimiter()  # type: ignore[attr-defined]


def test_a_person_who_guesses_sees_a_page_with_the_seconds(stage: Stage) -> None:
    """A browser gets the same status and header with words to read."""
    stage.client.app.state.try_limiter = TryLimiter(lambda: 0.0)  # type: ignore[attr-defined]
    answers = [_browser(stage).post("/enter/none", headers=PAGE) for _ in range(31)]
    assert (answers[-1].status_code, answers[-1].headers["retry-after"]) == (429, "2")
    assert "Wait 2 s" in answers[-1].text
    stage.client.app.state.try_limiter = TryLimiter()  # type: ignore[attr-defined]
