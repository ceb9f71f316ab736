"""Every door gets the worst values in its path, its query and each member of its body: an answer below 500, on both databases."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import Stage, staged
from tests.api.test_doors import WALKS, Walk
from tests.storage.stores import kinds, ready_url

pytestmark = pytest.mark.long

PATHS = (str(2**31), str(2**63), str(10**40), "-1", "a%00b", "%F0%9F%9A%A2", "1e308")
NUMBERS = (1e308, -1e308, 2**31, 2**63, -(2**63) - 1, 10**40)
TEXTS = ("\x00", "a\x00b", "x" * 70_000, "9999-12-31T23:59:59Z", "0001-01-01T00:00:00+14:00", str(10**40))
QUERIES = frozenset(
    {
        "since",
        "limit",
        "days",
        "from",
        "to",
        "from_at",
        "to_at",
        "start_at",
        "after",
        "month",
        "at",
        "pump",
        "kind",
        "hours",
    }
)
"""Names that some door or other reads; a door that does not declare one gets it with the others at once."""
BAD_QUERIES = (*PATHS, "9999-12-31T23:59:59Z", "0001-01-01T00:00:00%2B14:00")


@pytest.fixture(scope="module", params=kinds())
def everywhere(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The application on each database."""
    folder: Path = tmp_path_factory.mktemp("worst")
    with ready_url(request.param, folder) as url, staged(folder, url=url) as stage:
        yield stage


def worse(told: Any) -> Iterator[Any]:
    """The body once for each of its members and each bad value in the member's place."""
    if isinstance(told, Mapping):
        for name, value in told.items():
            yield from ({**told, name: bad} for bad in worse(value))
        yield from ({**told, name: bad} for name in list(told) for bad in (None, [], {}, [[]] * 3))
        yield {**told, "a\x00b": 1}
    elif isinstance(told, list):
        for n, value in enumerate(told):
            yield from ([*told[:n], bad, *told[n + 1 :]] for bad in worse(value))
    elif isinstance(told, bool) or told is None:
        yield from ("\x00", 2**63)
    elif isinstance(told, int | float):
        yield from (*NUMBERS, "\x00", True)
    else:
        yield from (*TEXTS, 2**63, 1e308)


def sent(stage: Stage, method: str, walk: Walk, path: str, **more: Any) -> None:
    """The answer is no failure of the program."""
    answer = stage.ask(method, path, role=Role.ADMIN, headers={"Accept": "application/json", **walk.headers}, **more)
    assert answer.status_code < 500, (method, path, more, answer.text)


DOORS = [
    (method, route, walk) for (method, route), walk in WALKS.items() if route.startswith("/api/") and not walk.form
]


@pytest.mark.parametrize(("method", "route", "walk"), DOORS, ids=[f"{m} {r}" for m, r, _ in DOORS])
def test_no_value_makes_a_door_fail(everywhere: Stage, method: str, route: str, walk: Walk) -> None:
    """In each part of the path, in each query, in each member of the body."""
    plain = walk.path.partition("?")[0]
    parts, named = plain.split("/"), route.split("/")
    for n, name in enumerate(named):
        if re.fullmatch(r"{\w+}", name):
            for bad in PATHS:
                sent(everywhere, method, walk, "/".join([*parts[:n], bad, *parts[n + 1 :]]), json=walk.body)
    if method == "GET":
        said = everywhere.client.app.openapi()["paths"].get(route, {"get": {}})["get"].get("parameters", ())
        declared = {one["name"] for one in said if one["in"] == "query"}
        for bad in BAD_QUERIES:
            together = "&".join(f"{query}={bad}" for query in sorted(QUERIES - declared))
            for more in (together, *(f"{query}={bad}" for query in sorted(declared))):
                sent(everywhere, method, walk, f"{walk.path}{'&' if '?' in walk.path else '?'}{more}")
    if walk.body:
        for body in worse(walk.body):
            sent(everywhere, method, walk, walk.path, json=body)
