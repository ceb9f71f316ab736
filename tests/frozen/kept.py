"""Reads and writes the frozen material, and says in a few words where something differs from it.

A sentence is frozen as «text» and a plan's digest as «64 hex»: that there is one stays, what it says may change.
"""

import gzip
import json
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

KEPT = Path(__file__).parent / "kept"
TEXT, DIGEST, SECRET, EITHER = "«text»", "«64 hex»", "«secret»", "«text or null»"
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?Z")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")
_HEX = re.compile(r"[0-9a-f]{64}")
_ADDRESS = re.compile(r"(?<=/cal/)[\w-]{43}(?=/)")

SENTENCES = re.compile(
    # members that are prose wherever they stand
    r"(.*\.)?(agent|caution|cautions\[\]|check|completeness|description|detail|do|flags\[\]|price|reasons\[\]|remark|"
    r"remarks\[\]|request_id|says|sentence|solver|stop_work\[\]|title|to_go|trend|why)"
    # members that are prose there and a word or figure elsewhere
    r"|against\[\]|changes\[\]|changes\[\]\.what|definitions\..*|faults\[\]\.found|forbidden\[\]\.reason|"
    r"non_conformities\[\]\.what|sheet\[\]\.text|steps\[\]|.*\.tiers\[\]\.name|plan|version"
)
"""Places of strings that a person reads and no program: they will be worded anew. A word without a space is kept."""
_KEPT_WORDS = ("version", "plan", "check")
"""Of these, only what has a space or a dot in it is a sentence."""
_BY_THE_WALL_CLOCK = "items[].verdict"
"""The provisional verdict on a reading is there or not by how long ago the server last looked, by the machine."""


def load(name: str) -> Any:
    """A frozen JSON value."""
    raw = (KEPT / name).read_bytes()
    return json.loads(gzip.decompress(raw) if name.endswith(".gz") else raw)


def store(name: str, value: Any) -> None:
    """Writes a JSON value so that the same value gives the same file."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, indent=None if name.endswith(".gz") else 1)
    store_text(name, text + "\n")


def store_text(name: str, text: str) -> None:
    """Writes a text, packed where the name says so."""
    raw = text.encode()
    (KEPT / name).write_bytes(gzip.compress(raw, 9, mtime=0) if name.endswith(".gz") else raw)


def masked(value: Any, place: str = "") -> Any:
    """The value with its sentences, digests and secrets taken out."""
    if isinstance(value, Mapping):
        return {name: masked(inner, f"{place}.{name}".lstrip(".")) for name, inner in value.items()}
    if isinstance(value, list):
        return [masked(inner, f"{place}[]") for inner in value]
    if place == _BY_THE_WALL_CLOCK:
        return EITHER
    if not isinstance(value, str):
        return value
    if _HEX.fullmatch(value) and not place.endswith("sha256"):
        return DIGEST
    name = place.rpartition(".")[2]
    if SENTENCES.fullmatch(place) and not (name in _KEPT_WORDS and not re.search(r"[ .]", value)):
        return TEXT
    return _ADDRESS.sub(SECRET, value)


def kind_of(value: Any) -> str:
    """What kind of JSON value it is, with what a string holds where that is more than words."""
    if value is None or isinstance(value, bool):
        return "null" if value is None else "boolean"
    if isinstance(value, int | float):
        return "integer" if isinstance(value, int) else "number"
    if value in (DIGEST, EITHER):
        return "string, digest" if value == DIGEST else "null | string"
    if isinstance(value, str):
        shapes = (("instant", _INSTANT), ("date", _DATE), ("digest", _HEX))
        return next((f"string, {name}" for name, shape in shapes if shape.fullmatch(value)), "string")
    return "object" if isinstance(value, Mapping) else "array"


def members(value: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """(place, kind) of every value in it; a list's items share their place."""
    yield place, kind_of(value)
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from members(inner, f"{place}.{name}".lstrip("."))
    elif isinstance(value, list):
        for inner in value:
            yield from members(inner, f"{place}[]")


def differences(kept: Any, found: Any, place: str = "") -> Iterator[str]:
    """Where `found`, masked, is not what was kept. Members that were not there before are no difference."""
    if kept in (TEXT, DIGEST):
        if not isinstance(found, str) or (kept == DIGEST and found != DIGEST):
            yield f"{place}: {kept} expected, found {found!r}"
    elif kind_of(kept) != kind_of(found):
        yield f"{place}: {kind_of(kept)} {kept!r} expected, found {kind_of(found)} {found!r}"[:300]
    elif isinstance(kept, Mapping):
        for name, inner in kept.items():
            if name in found:
                yield from differences(inner, found[name], f"{place}.{name}")
            else:
                yield f"{place}.{name}: gone"
    elif isinstance(kept, list):
        if len(kept) != len(found):
            yield f"{place}: {len(kept)} expected, found {len(found)}"
        for number, (one, other) in enumerate(zip(kept, found, strict=False)):
            yield from differences(one, other, f"{place}[{number}]")
    elif not (math.isclose(kept, found, rel_tol=1e-9) if isinstance(kept, float) else kept == found):
        yield f"{place}: {kept!r} expected, found {found!r}"
