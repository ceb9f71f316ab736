"""What a person reads on a page names things as people do: no id, no key of a job or file, no instant in UTC."""

import re
from html import unescape

import pytest

from api.server.access import DOORS
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp
from tests.api.test_doors import WALKS

ANSWERS = (
    "/api/",
    "/cal/",
    "/docs",
    "/openapi",
    "/livez",
    "/readyz",
    "/metrics",
    "/problems/",
    "/manual",
    "/enter",
    "/sign-in",
)
SET_UP = ("/first-run", "/feeds", "/people", "/you")
"""Pages on which keys, counters and ids are set up: there they may stand."""
KEY = re.compile(r"\b[a-z][a-z_]+:[a-z0-9-]+:\d+\b")
UTC_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d|\d\d:\d\d(:\d\d)?Z\b")
HIDDEN = re.compile(r"<(script|style|head)\b.*?</\1>|<input[^>]*type=\"hidden\"[^>]*>", re.S)


def _read(page: str) -> str:
    """All that is seen or heard of it: its text, and what stands in fields and names."""
    body = HIDDEN.sub(" ", page)
    said = re.findall(r'(?:aria-label|title|placeholder|alt)="([^"]*)"', body)
    return unescape(" ".join([re.sub(r"<[^>]+>", " ", body), *said]))


def _ids(stage: Stage) -> set[str]:
    """Every id of the ship's document that is not also a word, and the codes of its kinds that no person would write."""
    document, _ = stage.document()
    found = {document["id"]}
    for plant in document["plants"]:
        found.add(plant["id"])
        for name in ("positions", "pumps", "parts", "counters"):
            found |= {one["id"] for one in plant[name]}
        found |= {one["code"] for one in plant["job_kinds"]}
    return {one for one in found if "-" in one or "_" in one}


def _fill(stage: Stage) -> None:
    """Something in every list."""
    pump, knife = "plover-pump-a", "knife_inspection:plover-pump-b-knives:1"
    later = {
        "to_at": stamp(AT.replace(year=2027)),
        "reason": "no seal aboard",
        "risk": "leak",
        "mitigation": "looked at",
    }
    lower = {
        "from_at": stamp(AT),
        "to_at": stamp(AT.replace(day=24)),
        "reason": "few aboard",
        "minimum_swept_m3_per_h": 40,
    }
    for path, body in (
        ("/jobs/alarm_test:plover-plant:1/close", {"done_at": stamp(AT), "done_by": "Demo hand", "test": "passed"}),
        (f"/pumps/{pump}/breakdowns", {"at": stamp(AT), "reason": "seal leaks"}),
        (f"/pumps/{pump}/points", {"point": "flushing or seal water", "reason": "dry running seal"}),
        ("/vessels/demo-plover/clogs", {"at": stamp(AT), "object": "wipe", "riser": "R4", "deck": "5"}),
        ("/vessels/demo-plover/handovers", {"text": "VP2 runs warm."}),
        (f"/jobs/{knife}/postponements", later),
        (f"/jobs/{knife}/steps", {"step": {"kind": "opened", "at": stamp(AT), "by": "A. Second"}, "fact": True}),
        ("/plants/plover-plant/concessions", lower),
    ):
        answer = stage.ask("POST", f"/api/v1{path}", json=body)
        assert answer.status_code < 300, (path, answer.text)


@pytest.mark.long
def test_no_page_shows_an_id_a_key_or_utc(fresh: Stage) -> None:
    """Every page of the ship with something in each list, as the chief and as the engineer read it."""
    _fill(fresh)
    ids = _ids(fresh)
    counters = {
        one["id"] for plant in fresh.document()[0]["plants"] for one in plant["counters"]
    }  # where they are set up
    more = (
        "/vessels/demo-plover/non-conformities/1",
        "/vessels/demo-plover/decide/1",
        "/vessels/demo-plover/months/2026-09",
    )
    paths = [
        WALKS["GET", door].path
        for method, door in DOORS
        if method == "GET" and not door.startswith((*ANSWERS, *SET_UP)) and not door.endswith(".csv")
    ]
    shown: dict[str, list[str]] = {}
    chief = fresh.enter("chief-plover")
    for path in dict.fromkeys(
        [*paths, *more, "/plants/plover-plant/dock?from_at=2026-11-01 08:00&to_at=2026-11-12 08:00"]
    ):
        answer = chief.get(path, headers={"Accept": "text/html"})
        if answer.status_code in (302, 303):
            continue
        said = _read(answer.text)
        may_stand = counters if path.endswith("/counters") else set()
        wrong = [one for one in sorted(ids - may_stand) if re.search(rf"(?<![\w-]){re.escape(one)}(?![\w-])", said)]
        wrong += [found[0] for pattern in (KEY, UTC_INSTANT) if (found := pattern.search(said))]
        if wrong:
            shown[path] = wrong
    assert shown == {}
    assert fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities", role=Role.CHIEF).json()["non_conformities"]
