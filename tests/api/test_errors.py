"""Every error is a problem document that helps, with the headers of every other answer."""

import logging
from collections.abc import Iterator
from typing import Any

import pytest

from api.pages.error.page import NOT_HERE
from api.server.errors import STATUS, slug
from api.server.middleware import HEADERS
from scheduler import errors
from scheduler.actions.care import health
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

CLOSE = "/api/v1/jobs/alarm_test:plover-plant:1/close"
DOWN = "/api/v1/pumps/plover-pump-a/down"
EVENTS = "/api/v1/counters/plover-vp1-hours/events"


def _kinds(kind: type[errors.SchedulerError] = errors.SchedulerError) -> Iterator[type[errors.SchedulerError]]:
    """The tree of scheduler.errors; what other programs of this project raise among themselves no door answers."""
    yield kind
    for below in kind.__subclasses__():
        if below.__module__ == errors.__name__:
            yield from _kinds(below)


def _is_problem(answer: Any, status: int) -> dict[str, Any]:
    """The members of RFC 9457 (section 3.1) and the request id are there and agree with the answer."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    body: dict[str, Any] = answer.json()
    assert body.keys() >= {"type", "title", "status", "detail", "request_id"}
    assert body["status"] == status
    assert body["request_id"] == answer.headers["x-request-id"]
    assert body["title"]
    assert body["detail"]
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    return body


def test_the_table_of_statuses_is_complete() -> None:
    """Each error of the tree has its own status, and nothing else is in the table."""
    assert set(STATUS) == set(_kinds())
    numbers = [status for status, _ in STATUS.values()]
    assert len(numbers) == len(set(numbers))


@pytest.mark.parametrize("kind", sorted(STATUS, key=slug), ids=slug)
def test_each_problem_type_can_be_looked_up(stage: Stage, kind: type[errors.SchedulerError]) -> None:
    """The address in `type` answers with the status, the title and what it means."""
    answer = stage.ask("GET", f"/problems/{slug(kind)}", role=None)
    assert answer.status_code == 200
    assert (answer.json()["status"], answer.json()["title"]) == STATUS[kind]
    assert len(answer.json()["meaning"]) > 10


REFUSALS: list[tuple[str, str, str, Role | None, dict[str, Any], int]] = [
    ("nobody", "GET", "/api/v1/vessels", None, {}, 401),
    ("not a bearer key", "GET", "/api/v1/vessels", None, {"headers": {"Authorization": "Basic eA=="}}, 401),
    ("role", "GET", "/api/v1/history?vessel=demo-plover", Role.ENGINEER, {}, 403),
    ("foreign", "GET", "/api/v1/plants/avocet-plant", Role.ENGINEER, {}, 404),
    ("no such door", "GET", "/api/v1/nothing", Role.ENGINEER, {}, 404),
    ("no such look", "GET", "/static/nothing.css", None, {}, 404),
    ("no such problem", "GET", "/problems/nothing", None, {}, 404),
    ("no such calendar", "GET", "/cal/unknown/plan.ics", None, {}, 404),
    ("method", "DELETE", "/api/v1/vessels", Role.ENGINEER, {}, 405),
    ("no JSON", "POST", DOWN, Role.ENGINEER, {"content": "{at", "headers": {"Content-Type": "application/json"}}, 400),
    ("plain text", "POST", DOWN, Role.ENGINEER, {"content": "{}", "headers": {"Content-Type": "text/plain"}}, 400),
    ("no body", "POST", DOWN, Role.ENGINEER, {}, 400),
    ("a list", "POST", DOWN, Role.ENGINEER, {"json": []}, 422),
    ("bad query", "GET", "/api/v1/plants/plover-plant/capacity?from=noon", Role.ENGINEER, {}, 422),
    ("stale plan", "POST", "/api/v1/plants/plover-plant/plan", Role.CHIEF, {"json": {"digest": "0" * 64}}, 412),
    ("no key", "POST", DOWN, Role.CHIEF, {"json": {"at": stamp(AT), "reason": "stuck"}, "once": ""}, 428),
    (
        "not out",
        "POST",
        DOWN[:-4] + "back",
        Role.CHIEF,
        {"json": {"at": stamp(AT), "test": "none", "reason": "ok"}},
        409,
    ),
]


@pytest.mark.parametrize(
    ("name", "method", "path", "role", "sent", "status"), REFUSALS, ids=[one[0] for one in REFUSALS]
)
def test_every_refusal_is_a_problem_document(
    stage: Stage, name: str, method: str, path: str, role: Role | None, sent: dict[str, Any], status: int
) -> None:
    """Whatever is refused, by whichever layer, has one form. Source: RFC 9457 section 3.1."""
    if name == "stale plan":
        assert stage.ask("POST", f"{path}/previews", role=role).status_code == 201
    body = _is_problem(stage.ask(method, path, role=role, **sent), status)
    if status not in (405,):
        assert stage.ask("GET", body["type"], role=None).status_code == 200


def test_the_wrong_media_type_says_which_is_right(stage: Stage) -> None:
    """A JSON text sent as text/plain, or nothing at all, is told to be sent as application/json."""
    for headers in ({"Content-Type": "text/plain"}, {}):
        answer = stage.ask("POST", DOWN, content='{"reason": "x"}', headers=headers)
        if headers:
            assert "application/json" in _is_problem(answer, 400)["detail"]


@pytest.mark.parametrize("announced", [True, False])
def test_any_door_refuses_a_body_over_its_limit(stage: Stage, announced: bool) -> None:
    """4 MiB is the limit of a hand action too, whether the length is announced or only counted as it arrives."""
    big = b'{"reason": "' + b"x" * 4_300_000 + b'"}'
    pieces = iter([big[:2_000_000], big[2_000_000:4_200_000], big[4_200_000:]])
    kind = {"Content-Type": "application/json"}
    answer = stage.ask("POST", DOWN, content=big if announced else pieces, headers=kind)
    assert "4194304" in _is_problem(answer, 413)["detail"]


def test_an_unforeseen_fault_tells_nothing_and_keeps_its_headers(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault of the program is a 500 problem with the request id and every header; the cause is in the log alone."""

    def broken(*_: object, **__: object) -> object:
        raise ZeroDivisionError("inner workings")

    monkeypatch.setattr(health, "health", broken)
    with caplog.at_level(logging.ERROR, "leadline"):
        answer = stage.ask("GET", "/readyz", role=None)
    body = _is_problem(answer, 500)
    assert "inner workings" not in answer.text
    assert "ZeroDivisionError" in caplog.text
    assert body["request_id"] in caplog.text


@pytest.mark.parametrize(
    ("told", "pointer"),
    [
        ({"kind": "adjustment", "at": "2026-10-20T07:00:00", "hours": 1, "reason": "x"}, "/at"),
        ({"kind": "adjustment", "at": stamp(AT), "reason": "x"}, "/hours"),
        ({"kind": "adjustment", "at": stamp(AT), "hours": 1, "reason": "x", "why": "y"}, "/why"),
        ({"at": stamp(AT), "hours": 1, "reason": "x"}, "/"),
    ],
)
def test_pointers_point_into_the_body_that_was_sent(stage: Stage, told: dict[str, Any], pointer: str) -> None:
    """A fault of a counter event is named by where it stands in the body. Source: RFC 6901."""
    body = _is_problem(stage.ask("POST", EVENTS, json=told), 422)
    assert pointer in [fault["pointer"] for fault in body["errors"]]


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "1e999"])
def test_a_figure_that_is_none_is_refused_by_hand_actions_too(stage: Stage, figure: str) -> None:
    """NaN and infinities never reach an action."""
    content = f'{{"kind": "adjustment", "at": "{stamp(AT)}", "hours": {figure}, "reason": "x"}}'
    answer = stage.ask("POST", EVENTS, content=content, headers={"Content-Type": "application/json"})
    assert "/hours" in [fault["pointer"] for fault in _is_problem(answer, 422)["errors"]]


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "1899-12-31T00:00:00Z"])
def test_an_instant_outside_all_sense_is_refused(stage: Stage, at: str) -> None:
    """The first and last instants of the calendar are slips of the pen: refused in words, never a fault of the program."""
    told = {"at": at, "reason": "x"}
    assert stage.ask("POST", DOWN, json=told).status_code == 422
    assert stage.ask("POST", EVENTS, json={**told, "kind": "adjustment", "hours": 1}).status_code == 422
    job = {"done_at": stamp(AT), "opened_at": at, "done_by": "Demo Hand", "test": "passed"}
    assert stage.ask("POST", CLOSE, json=job).status_code == 422
    clock = {"from_at": at, "utc_offset_minutes": 60, "reason": "x"}
    assert stage.ask("POST", "/api/v1/vessels/demo-plover/clock", json=clock).status_code == 422
    for asked in ({"from": at}, {"to": at}):
        answer = stage.ask("GET", "/api/v1/plants/plover-plant/capacity", params=asked)
        assert answer.status_code == 422


def test_text_that_cannot_be_written_is_refused(stage: Stage) -> None:
    """Half a character (a lone surrogate) is refused at the door."""
    content = f'{{"at": "{stamp(AT)}", "reason": "\\ud800"}}'
    answer = stage.ask("POST", DOWN, content=content, headers={"Content-Type": "application/json"})
    assert "/reason" in [fault["pointer"] for fault in _is_problem(answer, 422)["errors"]]


def test_a_person_gets_a_page(stage: Stage) -> None:
    """A browser that asks for HTML is shown the error as a page, without id or key, under the same status and headers."""
    browser = stage.enter("engineer-plover")
    for path in ("/plants/nothing-here", "/vessels/nothing-here/handover", "/nothing-here"):
        answer = browser.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 404
        assert NOT_HERE in answer.text
        assert "nothing-here" not in answer.text.partition("<main")[2]
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.headers["x-content-type-options"] == "nosniff"


def _is_page(answer: Any, status: int) -> str:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith("text/html")
    for name in HEADERS:
        assert name in answer.headers
    assert f"Answer {status}" in answer.text
    assert 'href="/"' in answer.text
    assert answer.headers["x-request-id"] in answer.text
    return str(answer.text)


def test_whatever_goes_wrong_a_person_gets_a_page(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of the program, a wrong method, a body too large, a NUL: in the own look, with the ways on; the API keeps JSON."""

    def broken(*_: object, **__: object) -> object:
        raise ZeroDivisionError("inner workings")

    browser, html = stage.enter("engineer-plover"), {"Accept": "text/html,*/*;q=0.8"}
    method = browser.delete("/plants/plover-plant", headers=html)
    assert "does not take DELETE" in _is_page(method, 405)
    assert "GET" in method.headers["allow"]
    big = {"text": "x" * 4_300_000}
    _is_page(browser.post("/vessels/demo-plover/notes", data=big, headers=html), 413)
    _is_page(browser.get("/plants/%00", headers=html), 422)
    _is_problem(browser.get("/api/v1/plants/%00", headers=html), 422)
    monkeypatch.setattr(health, "health", broken)
    page = _is_page(browser.get("/readyz", headers={**html, "Referer": "http://testserver/people?a=1"}), 500)
    assert 'href="/people?a=1"' in page
    assert "inner workings" not in page
    for foreign in ("http://other.example/people", "http://testserver//other.example", "javascript:alert(1)"):
        told = _is_page(browser.get("/readyz", headers={**html, "Referer": foreign}), 500)
        assert "page before" not in told
    stage.client.app.state.error_page, draws = broken, stage.client.app.state.error_page  # type: ignore[attr-defined]
    try:
        _is_problem(browser.get("/readyz", headers=html), 500)
    finally:
        stage.client.app.state.error_page = draws  # type: ignore[attr-defined]
