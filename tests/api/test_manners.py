"""Manners of every door alike: methods, entity tags, conditions, pages of a list."""

import pytest

from api.server.access import DOORS, NoRole
from scheduler.domain.base.enums import Role
from tests.api.stage import Stage
from tests.api.test_doors import API, WALKS

ALL = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
READS = sorted(route for method, route in DOORS if method == "GET" and route.startswith(f"{API}/"))


def methods_of(route: str) -> set[str]:
    """What the table of doors says, with what follows from it."""
    found = {method for method, path in DOORS if path == route} | {"OPTIONS"}
    return found | {"HEAD"} if "GET" in found else found


def path_of(route: str) -> str:
    """A path of that route, with something in each of its places."""
    method = next(method for method, path in DOORS if path == route)
    return WALKS[method, route].path.partition("?")[0]


@pytest.mark.parametrize("route", sorted({path for _, path in DOORS}))
def test_a_method_that_is_not_there_is_answered_405_with_all_that_are(stage: Stage, route: str) -> None:
    """By OPTIONS and by every other method that the path has not, in the same words; RFC 9110, 15.5.6 and 10.2.1."""
    there = methods_of(route)
    asked = stage.ask("OPTIONS", path_of(route), role=None)
    assert (asked.status_code, asked.content) == (204, b"")
    assert asked.headers["allow"].split(", ") == sorted(there)
    for method in set(ALL) - there:
        answer = stage.ask(method, path_of(route), role=None)
        assert answer.status_code == 405, method
        assert answer.headers["allow"].split(", ") == sorted(there), method


def test_static_files_and_unknown_paths_have_their_methods_too(stage: Stage) -> None:
    """GET and HEAD for a file; where nothing is, nothing is allowed: 404."""
    assert stage.ask("OPTIONS", "/static/site.css", role=None).headers["allow"] == "GET, HEAD, OPTIONS"
    assert stage.ask("POST", "/static/site.css", role=None).headers["allow"] == "GET, HEAD, OPTIONS"
    for method in ("OPTIONS", "HEAD", "GET"):
        assert stage.ask(method, "/api/v1/nowhere").status_code == 404


@pytest.mark.long
@pytest.mark.parametrize("route", READS)
def test_head_says_what_get_says_without_the_body(stage: Stage, route: str) -> None:
    """Status and headers alike, also where it is refused; RFC 9110, 9.3.2."""
    walk = WALKS["GET", route]
    for role in (Role.OFFICE, None):
        got, head = (stage.ask(method, walk.path, role=role) for method in ("GET", "HEAD"))
        assert head.status_code == got.status_code
        assert head.content == b""
        for name in ("content-type", "content-length", "etag", "allow", "www-authenticate"):
            assert head.headers.get(name) == got.headers.get(name), name


@pytest.mark.long
@pytest.mark.parametrize("route", READS)
def test_an_answer_that_is_had_already_is_not_sent_again(stage: Stage, route: str) -> None:
    """A strong ETag on each JSON answer; with it in If-None-Match 304 and no body, with another one the answer again."""
    walk = WALKS["GET", route]
    first = stage.ask("GET", walk.path, role=Role.OFFICE)
    if first.status_code != 200 or route.endswith(("/history", "/history/schema", "/work", "/times")):
        return
    tag = first.headers["etag"]
    assert tag.startswith('"')
    for asked, status in ((tag, 304), (f'"x", W/{tag}', 304), ("*", 304), ('"x"', 200)):
        again = stage.ask("GET", walk.path, role=Role.OFFICE, headers={"If-None-Match": asked})
        assert (again.status_code, again.headers["etag"]) == (status, tag), asked
        assert again.content == (b"" if status == 304 else first.content)


@pytest.mark.long
def test_every_door_says_who_may_pass_it(stage: Stage) -> None:
    """The roles of the table of doors are the roles of the security schemes; open doors say that they are."""
    said = stage.ask("GET", "/openapi.json", role=None).json()
    schemes = said["components"]["securitySchemes"]
    for path, operations in said["paths"].items():
        for method, operation in operations.items():
            roles = DOORS[method.upper(), path]
            wanted = [] if isinstance(roles, NoRole) else sorted(role.value for role in roles)
            assert [one["key"] for one in operation["security"] if "key" in one] == ([wanted] if wanted else [])
            assert {name for one in operation["security"] for name in one} <= set(schemes)
