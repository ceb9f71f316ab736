"""Long lists come in pages: each thing once, in the order of the whole list, with a Link from page to page."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged, stamp
from tests.api.test_doors import API
from tests.storage.stores import kinds_where_required, ready_url

NEXT = re.compile(r'<([^>]+)>; rel="next"')
PLANT, PUMP, VESSEL = f"{API}/plants/plover-plant", f"{API}/pumps/plover-pump-b", f"{API}/vessels/demo-plover"


def pages(stage: Stage, path: str, member: str) -> Iterator[list[Any]]:
    """Page after page, as Link leads."""
    where: str | None = path
    while where is not None:
        answer = stage.ask("GET", where, role=Role.OFFICE)
        assert answer.status_code == 200, answer.text
        yield answer.json()[member]
        link = NEXT.fullmatch(answer.headers.get("link", ""))
        where = link[1] if link else None


def made(stage: Stage) -> None:
    """Three of each thing that is listed."""
    for number in range(3):
        at = stamp(stage.clock.at)
        for path, body in (
            (f"{VESSEL}/clogs", {"at": at, "object": f"wipe {number}", "riser": "R4"}),
            (f"{VESSEL}/handovers", {"text": f"note {number}"}),
            (
                f"{PLANT}/concessions",
                {
                    "from_at": f"2026-11-0{number + 1}T00:00:00Z",
                    "to_at": f"2026-11-0{number + 2}T00:00:00Z",
                    "minimum_swept_m3_per_h": 50,
                    "reason": "paged",
                },
            ),
        ):
            assert stage.ask("POST", path, json=body).status_code == 201
        assert stage.post({"counter": "nobody", "observed_at": at, "value": number}).status_code == 207
    for point in ("suction valve", "discharge valve", "flushing or seal water"):
        answer = stage.ask("POST", f"{PUMP}/points", json={"point": point, "reason": "paged"})
        assert answer.status_code == 201, answer.text
    for month in ("2026-07", "2026-08", "2026-09"):
        answer = stage.ask("POST", f"{VESSEL}/reviews", role=Role.CHIEF, json={"month": month})
        assert answer.status_code == 201, answer.text
    for number in range(3):
        document, tag = stage.document()
        document["name"] = f"Demo Plover {number}"
        put = stage.ask("PUT", VESSEL, role=Role.OFFICE, json=document, headers={"If-Match": tag})
        assert put.status_code == 200, put.text


@pytest.fixture(scope="module", params=kinds_where_required())
def listed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """An application in which three of each are listed."""
    folder = tmp_path_factory.mktemp("listed")
    with (
        ready_url(request.param, folder) as url,
        staged(folder, (PLOVER,), url=None if "sqlite" in url else url) as stage,
    ):
        made(stage)
        yield stage


LISTS = {
    f"{VESSEL}/clogs": "clogs",
    f"{VESSEL}/handovers": "handovers",
    f"{PLANT}/concessions": "concessions",
    f"{VESSEL}/intake": "items",
    f"{PUMP}/points": "not_fitted",
    f"{VESSEL}/reviews": "reviews",
    f"{VESSEL}/versions": "versions",
    f"{API}/people": "people",
    f"{API}/keys": "keys",
}


@pytest.mark.parametrize("limit", [1, 2, 3, 4])
def test_pages_put_together_are_the_whole_list(listed: Stage, limit: int) -> None:
    """With one, two, all or more than all on a page; a full last page has no next one."""
    for path, member in LISTS.items():
        whole = listed.ask("GET", path, role=Role.OFFICE)
        assert "link" not in whole.headers
        rows = whole.json()[member]
        assert len(rows) >= 3, path
        found = list(pages(listed, f"{path}?limit={limit}", member))
        assert [len(page) for page in found] == [
            min(limit, len(rows) - begun) for begun in range(0, len(rows), limit)
        ], path
        assert [row for page in found for row in page] == rows, path


def test_what_comes_meanwhile_moves_no_page(listed: Stage) -> None:
    """A note written between two pages is on neither, and none is shown twice."""
    reader = pages(listed, f"{VESSEL}/handovers?limit=2", "handovers")
    first = next(reader)
    listed.ask("POST", f"{VESSEL}/handovers", json={"text": "written meanwhile"})
    texts = [row["text"] for row in (*first, *(row for page in reader for row in page))]
    assert "written meanwhile" not in texts
    assert len(texts) == len(set(texts))


def test_vessels_come_in_pages_by_id(stage: Stage) -> None:
    """One on a page: two pages."""
    found = list(pages(stage, f"{API}/vessels?limit=1", "vessels"))
    assert [[one["vessel"] for one in page] for page in found] == [["demo-avocet"], ["demo-plover"]]


def test_addresses_and_other_values_of_the_query_are_led_on(fresh: Stage) -> None:
    """Lists that are cut from the whole; the other values asked for stay in the Link."""
    for number in range(3):
        body = {"vessel": PLOVER.vessel, "label": f"of {number}"}
        assert fresh.ask("POST", f"{API}/feeds", json=body).status_code == 201
    asked = fresh.ask("GET", f"{API}/feeds?limit=2&more=1")
    link = NEXT.fullmatch(asked.headers["link"])
    assert link is not None
    assert "more=1" in link[1]
    assert len(fresh.ask("GET", link[1]).json()["feeds"]) == 1
    assert fresh.ask("GET", f"{API}/feeds?cursor=gone").json()["feeds"] == []


@pytest.mark.parametrize(("limit", "status"), [(0, 422), (1, 200), (500, 200), (501, 422)])
def test_a_page_holds_one_to_five_hundred(stage: Stage, limit: int, status: int) -> None:
    """At the boundaries and just beyond."""
    assert stage.ask("GET", f"{VESSEL}/handovers?limit={limit}").status_code == status
