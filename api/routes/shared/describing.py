"""What /openapi.json says of a door beside its shapes: who may pass, and on which conditions."""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from api.server.access import DOORS, NoRole
from api.server.deps import COOKIE
from scheduler.domain.people.roles import MACHINES

SCHEMES: Mapping[str, Mapping[str, str]] = {
    "key": {"type": "http", "scheme": "bearer", "description": "A key of a person, a counter or the office: `ll_...`."},
    "session": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": "A person signed in at a browser."},
    "page": {
        "type": "apiKey",
        "in": "header",
        "name": "X-CSRF-Token",
        "description": "The token of that person's own page, needed for a change.",
    },
}
"""How one says who one is, as OpenAPI's security schemes."""

_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "description": "A new one for each thing you do: sent again with the same key, it is done once and answered the same.",
    "schema": {"type": "string", "pattern": "^[!-~]{1,100}$"},
}
_IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "description": "The version that was looked at, as the ETag gave it; 412 with what is newer when it has gone on.",
    "schema": {"type": "string", "pattern": '^"[0-9]{1,18}"$'},
}
_IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "description": "An ETag, or several: 304 without a body when the answer would still be that one.",
    "schema": {"type": "string", "pattern": "^[!-~ ]{0,500}$"},
}


ETAG = {"ETag": {"description": "of this answer, for If-None-Match or If-Match", "schema": {"type": "string"}}}
LINK = {"Link": {"description": 'the next page, rel="next"; none on the last', "schema": {"type": "string"}}}
"""Headers of answers, as OpenAPI describes them."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a change asks for in its headers. It stands beside the type of the argument that reads them."""

    key: Literal["needed", "optional", "none"] = "needed"
    if_match: Literal["needed", "optional", "none"] = "none"


@dataclass(frozen=True, slots=True)
class StateTag:
    """The ETag is the version of what a change would name, of which the answer shows more than that: no 304 by it."""


class InPages:
    """Marks the argument of a door whose list comes in pages, with a Link to the next."""


Mark = TypeVar("Mark", Conditions, StateTag, InPages)


_NO_NUL = r"^[^\x00]*$"
_OUR_YEARS = r"^(197[1-9]|19[89][0-9]|20[0-9]{2}|21[0-8][0-9]|219[0-8])-"


def said_in_full(document: dict[str, Any]) -> None:
    """Adds to the schemas of all that is sent what every door refuses: text with a NUL, an instant of a wrong century, a
    thing of several kinds that does not say which it is."""
    schemas, seen = document["components"]["schemas"], set[str]()

    def walk(found: Any) -> None:
        if isinstance(found, list):
            for one in found:
                walk(one)
        elif isinstance(found, dict):
            name = str(found.get("$ref", "")).rpartition("/")[2]
            if name and name not in seen:
                seen.add(name)
                walk(schemas[name])
            if found.get("type") == "string" and not found.keys() & {"enum", "const", "pattern"}:
                if found.get("format") == "date-time":
                    found["pattern"] = _OUR_YEARS
                elif "format" not in found:
                    found["pattern"] = _NO_NUL
            kind = found.get("properties", {}).get("kind", {})
            if "const" in kind and kind.pop("default", None) is not None:
                found["required"] = [*found.get("required", []), "kind"]
            for inner in found.values():
                walk(inner)

    for operations in document["paths"].values():
        for operation in operations.values():
            walk([operation.get("requestBody"), operation.get("parameters")])


def mark_of(endpoint: Callable[..., Any], kind: type[Mark]) -> Mark | None:
    """The mark that stands beside the type of one of a door's arguments, or none."""
    hints = (one.annotation for one in inspect.signature(endpoint).parameters.values())
    return next((one for hint in hints for one in getattr(hint, "__metadata__", ()) if isinstance(one, kind)), None)


def header_parameters(conditions: Conditions | None, *, tagged: bool) -> list[dict[str, Any]]:
    """The headers of a door as OpenAPI's parameters. tagged: what it answers carries the ETag of its content."""
    found = [{**_IF_NONE_MATCH, "required": False}] if tagged else []
    if conditions is not None:
        pairs = ((_KEY, conditions.key), (_IF_MATCH, conditions.if_match))
        found += [{**header, "required": need == "needed"} for header, need in pairs if need != "none"]
    return found


def security_of(method: str, path: str) -> list[dict[str, list[str]]]:
    """Who may pass that door: schemes to the roles that pass, empty where it is open or the address is the secret."""
    roles = DOORS.get((method, path), NoRole.OPEN)
    if isinstance(roles, NoRole):
        return []
    named = sorted(role.value for role in roles)
    if roles <= MACHINES:
        return [{"key": named}]
    return [{"key": named}, {"session": named} if method == "GET" else {"session": named, "page": []}]
