"""The calendar door and the API's own manual."""

import gzip
import re
from html.parser import HTMLParser
from urllib.parse import urlsplit

import pytest
from httpx2 import Response
from icalendar import Calendar

from api.server.access import DOORS
from scheduler.actions.feed import refresh
from scheduler.storage.feed import feed_body_rows
from tests.api.stage import Stage


def _path(stage: Stage) -> str:
    answer = stage.ask("POST", "/api/v1/feeds", json={"vessel": "demo-plover"})
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    return urlsplit(answer.json()["address"]).path


def _get(stage: Stage, path: str, method: str = "GET", **headers: str) -> Response:
    told = {name.replace("_", "-"): value for name, value in headers.items()}
    return stage.client.request(method, path, headers={"Accept-Encoding": "identity", **told})


def _summaries(answer: Response) -> list[str]:
    return [str(event["SUMMARY"]) for event in Calendar.from_ical(answer.content).walk("VEVENT")]


def _lose_the_body(stage: Stage) -> None:
    with stage.context.db.write("") as session:
        for kept in feed_body_rows(session, "demo-plover"):
            session.delete(kept)


def _broken(*_: object, **__: object) -> None:
    raise RuntimeError("no calendar can be written")


def test_head_is_get_without_its_body(stage: Stage) -> None:
    """HEAD answers the headers of GET, the length too. Source: RFC 9110 section 9.3.2."""
    path = _path(stage)
    got, head = _get(stage, path), _get(stage, path, "HEAD")
    assert (got.status_code, head.status_code) == (200, 200)
    assert head.content == b""
    own = {"x-request-id", "date"}
    assert {k: v for k, v in head.headers.items() if k not in own} == {
        k: v for k, v in got.headers.items() if k not in own
    }
    assert int(got.headers["content-length"]) == len(got.content)


def test_an_unchanged_calendar_is_304(stage: Stage) -> None:
    """With its own ETag the answer is 304, empty, under the same ETag. Source: RFC 9110 sections 13.1.2 and 15.4.5."""
    path = _path(stage)
    got = _get(stage, path)
    same = _get(stage, path, If_None_Match=got.headers["etag"])
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", got.headers["etag"])
    assert _get(stage, path, If_None_Match='"other"').status_code == 200
    assert _get(stage, path, "HEAD", If_None_Match=got.headers["etag"]).status_code == 304


def test_compressed_is_the_same_calendar(stage: Stage) -> None:
    """Gzip decodes to the very bytes of the plain answer, and the answer says that it varies."""
    path = _path(stage)
    plain = _get(stage, path)
    with stage.client.stream("GET", path, headers={"Accept-Encoding": "gzip"}) as answer:
        assert answer.headers["content-encoding"] == "gzip"
        packed = b"".join(answer.iter_raw())
    assert gzip.decompress(packed) == plain.content
    assert "accept-encoding" in plain.headers["vary"].lower()


def test_a_calendar_whatever_is_asked_for(stage: Stage) -> None:
    """A client that says it accepts HTML gets the calendar all the same, and an unknown address a 404 that tells nothing."""
    path = _path(stage)
    assert _get(stage, path, Accept="text/html").headers["content-type"].startswith("text/calendar")
    unknown = _get(stage, "/cal/unknown/plan.ics", Accept="text/html")
    assert unknown.status_code == 404
    assert "unknown" not in unknown.json()["detail"]
    assert "Plover" not in unknown.text


def test_the_last_good_calendar_is_served_while_none_can_be_written(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A renderer that fails leaves the calendar as it was written last."""
    path = _path(stage)
    good = _get(stage, path)
    monkeypatch.setattr(refresh, "write_vessel", _broken)
    again = _get(stage, path)
    assert (again.status_code, again.content) == (200, good.content)


def test_a_first_failure_serves_the_status_alone(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """When none was ever written there is one entry, that of the plan's state; it gives way to the whole one later."""
    path = _path(stage)
    _lose_the_body(stage)
    with monkeypatch.context() as patch:
        patch.setattr(refresh, "write_vessel", _broken)
        bare = _get(stage, path)
    assert bare.status_code == 200
    assert bare.headers["content-type"].startswith("text/calendar")
    assert len(_summaries(bare)) == 1
    assert len(_summaries(_get(stage, path))) > 1


@pytest.mark.long
def test_the_manual_lists_every_door_of_the_api(stage: Stage) -> None:
    """OpenAPI names each /api/v1 door of the table, but for the two that carry frames, and the calendar, each with a summary and an id
    of its own."""
    paths = stage.ask("GET", "/openapi.json", role=None).json()["paths"]
    there = {(method.upper(), path) for path, methods in paths.items() for method in methods}
    frames = "/api/v1/ships/{vessel_id}/changes"
    assert {d for d in DOORS if d[1].startswith("/api/v1") and d[1] != frames} <= there
    assert ("GET", "/cal/{token}/plan.ics") in there
    told = [operation for methods in paths.values() for operation in methods.values()]
    assert all(operation["summary"] for operation in told)
    ids = [operation["operationId"] for operation in told]
    assert len(ids) == len(set(ids))


class _Loads(HTMLParser):
    """Every address that a page loads something from."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        wanted = {"src", "srcset", "poster", "data"} | ({"href"} if tag in ("link", "use", "image") else set())
        self.found += [value for name, value in attrs if name in wanted and value]


def test_the_manual_loads_nothing_from_outside(stage: Stage) -> None:
    """Every script and style of /docs is this server's own and is there; its policy allows no other."""
    answer = stage.ask("GET", "/docs", role=None)
    loads = _Loads()
    loads.feed(answer.text)
    for address in loads.found:
        assert not urlsplit(address).netloc, address
        if not address.startswith("data:"):
            assert stage.ask("GET", address, role=None).status_code == 200, address
    assert not re.search(r"(?:url\(|@import|fetch\(|import\()\s*['\"]?(?:https?:)?//", answer.text)
    assert "http" not in answer.headers["content-security-policy"]
