"""What /openapi.json says of a door is what the door answers: every status, every member."""

import inspect
import json
from collections.abc import Iterator, Mapping
from copy import deepcopy
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from starlette.responses import JSONResponse, Response

from tests.frozen import doors
from tests.frozen.conftest import Told
from tests.frozen.kept import EITHER
from tests.frozen.make import template

pytestmark = pytest.mark.long

PROBLEM = "application/problem+json"
LIVE = ("GET /api/v1/history/schema", "GET /api/v1/jobs/{key}/photos/{digest}")


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The document that /openapi.json gives."""
    folder = tmp_path_factory.mktemp("described")
    with doors.serving(f"sqlite:///{folder}/empty.db", doors.system_clock, folder / "photos") as client:
        found: dict[str, Any] = client.get("/openapi.json").json()
    return found


def operations(described: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """`METHOD /path` and what is said of it, of every door of the API."""
    for path, methods in described["paths"].items():
        for method, said in methods.items():
            yield f"{method.upper()} {path}", said


def answered(told: Told) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """(name, door, answer) of all that the frozen world was asked and did."""
    for name, answer in told.said["answers"].items():
        yield name, f"GET {answer['door']}", answer
    for name, answer in told.said["acts"].items():
        method, path = name.split()[1:3]
        yield name, template(method, f"/api/v1{path}"), answer


def closed(schema: Any) -> Any:
    """The schema with no member allowed that it does not name, so that a member it forgot is found."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, Mapping):
        return schema
    found = {name: closed(inner) for name, inner in schema.items()}
    if isinstance(found.get("properties"), Mapping):
        found.setdefault("additionalProperties", False)
    return found


def unmasked(value: Any) -> Any:
    """A frozen answer with the mask that stands for text or null taken as null."""
    if isinstance(value, Mapping):
        return {name: unmasked(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [unmasked(one) for one in value]
    return None if value == EITHER else value


def test_no_door_of_the_api_answers_a_bare_dict() -> None:
    """Each has a model for its answer, or another media type than JSON."""
    for route in doors.routes_of_the_app():
        if route.path.startswith("/api/v1") and route.include_in_schema:
            model = route.response_model
            assert inspect.signature(route.endpoint).return_annotation is not JSONResponse, route.path
            assert not str(model).startswith(("dict", "<class 'dict'")), route.path
            other = isinstance(route.response_class, type) and issubclass(route.response_class, Response)
            assert model is not None or other, f"{route.path} says nothing of its answer"


def test_every_answer_and_problem_of_every_door_has_its_schema(described: dict[str, Any]) -> None:
    """Statuses below 300 with a schema; those above with that of a problem document; doors for roles with 401 and 403."""
    for door, said in operations(described):
        if "/api/v1/" not in door:
            continue
        statuses = said["responses"]
        for status, one in statuses.items():
            if status == "304":
                continue
            content = one["content"]
            if int(status) >= 400:
                assert content.keys() == {PROBLEM}, (door, status)
                assert content[PROBLEM]["schema"] == {"$ref": "#/components/schemas/ProblemDocument"}, (door, status)
            else:
                assert all(form["schema"] for form in content.values()), (door, status)
        assert {"422", "500", "503"} <= statuses.keys(), door
        assert {"401", "403"} <= statuses.keys() or "/history/schema" in door, door
        if not door.startswith("GET"):
            assert {"400", "404", "409", "413", "428", "507"} <= statuses.keys() or door == "POST /api/v1/readings", (
                door
            )


def test_every_answer_of_the_frozen_world_is_as_described(told: Told, described: dict[str, Any]) -> None:
    """Status, media type and every member, of what was taken and of what was refused."""
    components = closed(deepcopy(described["components"]))
    said = dict(operations(described))
    wrong, validators = [], dict[str, Draft202012Validator]()
    for name, door, answer in answered(told):
        status, media = str(answer["status"]), answer["content_type"]
        one = said[door]["responses"].get(status)
        if one is None:
            wrong.append(f"{name}: {status} is not declared at {door}")
            continue
        forms = {form.partition(";")[0]: what["schema"] for form, what in one["content"].items()}
        if media not in forms:
            wrong.append(f"{name}: {media} is not declared at {door}, {status}")
        elif media.endswith("json") and door not in LIVE:
            key = json.dumps(forms[media], sort_keys=True)
            if key not in validators:
                validators[key] = Draft202012Validator({**closed(forms[media]), "components": components})
            wrong += [
                f"{name}: {'.'.join(map(str, fault.absolute_path))}: {fault.message[:200]}"
                for fault in validators[key].iter_errors(unmasked(answer["body"]))
            ]
    assert not wrong, "\n".join([*wrong[:40], f"{len(wrong)} in all"])
