"""What each request of the office says, checked for shape: at the office's door, and again when it comes in aboard."""

import hashlib
import json
from datetime import date
from math import isfinite
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from scheduler.domain.shore.asking import RequestKind
from scheduler.domain.shore.merge_patch import json_depth
from scheduler.errors import Refused

MOST_NUMBER = 2**31 - 1
MOST_DEPTH = 24
"""Objects and lists in one another in a patch; the document has 6."""
MOST_BYTES = 500_000
"""Of a request's arguments as text."""


def _storable(text: str) -> str:
    if "\x00" in text:
        raise ValueError("the character NUL is no part of a text")
    try:
        text.encode()
    except UnicodeEncodeError:
        raise ValueError("half a surrogate pair is no character") from None
    return text


def _plain_json(value: dict[str, Any]) -> dict[str, Any]:
    """A JSON object no deeper than `MOST_DEPTH` and no longer than `MOST_BYTES`, each text and figure of it one that can be stored."""
    if json_depth(value, MOST_DEPTH) > MOST_DEPTH:
        raise ValueError(f"at most {MOST_DEPTH} objects and lists in one another are expected")
    if len(json.dumps(value)) > MOST_BYTES:
        raise ValueError(f"at most {MOST_BYTES} characters are expected")
    waiting: list[Any] = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += [*one, *one.values()]
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, str):
            _storable(one)
        elif isinstance(one, float) and not isfinite(one):
            raise ValueError("a finite figure is expected")
    return value


PlainJson = Annotated[dict[str, Any], AfterValidator(_plain_json)]
Number = Annotated[int, Field(ge=0, le=MOST_NUMBER, strict=True)]
AskedText = Annotated[str, Field(max_length=1000), AfterValidator(_storable)]
AskedName = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_storable)]


WholeSeconds = Annotated[int, Field(ge=0, le=7_258_118_400, strict=True)]
"""Epoch seconds, up to the year 2200."""


class Arguments(BaseModel):
    """What one kind of request says."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class DecidePostponement(Arguments):
    """A postponement granted or refused; class_agreed as of the decision."""

    postponement: Number
    granted: Annotated[bool, Field(strict=True)]
    note: AskedText = ""
    class_agreed: AskedText = ""


class CloseNonConformity(Arguments):
    """An answered non-conformity closed."""

    non_conformity: Number


class ConfirmHours(Arguments):
    """An event by which hours are taken away, confirmed. event: its id."""

    counter: AskedName
    event: AskedName
    reason: AskedText = ""


class SetPartDate(Arguments):
    """From which ship's date the parts of a job are aboard, none takes it back. version: as of the date looked at, 0 for none."""

    job: AskedName
    from_on: date | None
    note: AskedText = ""
    version: Annotated[int, Field(ge=0, le=2**53, strict=True)]


class ApproveVersion(Arguments):
    """The changes that a stored version of the document brought, approved ashore."""

    version: Number


class ChangeDocument(Arguments):
    """A merge patch (RFC 7396) of the vessel document's version that was looked at, with its reason, and the class's agreement where a
    class item changes."""

    version: Number
    patch: PlainJson
    reason: AskedText
    class_agreed: AskedText = ""


ARGUMENTS: dict[RequestKind, TypeAdapter[Any]] = {
    RequestKind.DECIDE_POSTPONEMENT: TypeAdapter(DecidePostponement),
    RequestKind.CLOSE_NON_CONFORMITY: TypeAdapter(CloseNonConformity),
    RequestKind.CONFIRM_HOURS: TypeAdapter(ConfirmHours),
    RequestKind.SET_PART_DATE: TypeAdapter(SetPartDate),
    RequestKind.APPROVE_VERSION: TypeAdapter(ApproveVersion),
    RequestKind.CHANGE_DOCUMENT: TypeAdapter(ChangeDocument),
}
"""How each kind that may be asked is read."""


class Handed(BaseModel):
    """A request as it travels down; members that a newer office adds are let through."""

    model_config = ConfigDict(frozen=True)

    number: Annotated[int, Field(ge=1, le=MOST_NUMBER, strict=True)]
    what: AskedName
    arguments: PlainJson
    seen: PlainJson
    by_id: AskedName
    by: AskedName
    role: AskedName
    vouched_id: AskedText
    vouched: AskedText
    asked_s: WholeSeconds
    until_s: WholeSeconds

    @property
    def fingerprint(self) -> str:
        """SHA-256 of all it says, but the number: by it a repetition is told from another request of the same number."""
        said = self.model_dump(mode="json", exclude={"number"})
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def read_arguments(what: RequestKind, arguments: dict[str, Any]) -> Arguments:
    """What a request says. Raises Refused with each fault, by pointer."""
    try:
        found: Arguments = ARGUMENTS[what].validate_python(arguments)
    except ValidationError as error:
        faults = [
            ("/".join(("", "arguments", *map(str, one["loc"]))), str(one["msg"])[:200]) for one in error.errors()[:20]
        ]
        raise Refused(f"{faults[0][0].lstrip('/')}: {faults[0][1]}", faults=faults) from error
    return found
