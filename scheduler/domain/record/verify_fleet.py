"""Check the histories of many vessels in one file, offline: standard library and `verify` alone.

The first line says whose file it is; then follows each vessel's history, a whole export of its own that `verify` can check by
itself; the last line lists all of them with head and until when each is known, so that none can be missing.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scheduler.domain.record.verify import FORMAT, Broken, Verified, hash_of, spelled, verify_lines

FLEET_FORMAT = "leadline fleet history 1"
FLEET_END = "leadline fleet history 1, end"
_GENESIS = "0" * 64
_BEGINS = f'"format":"{FORMAT}"'
_ENDS = f'"format":"{FLEET_END}"'


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetPart:
    """A vessel's history in the file, and what was found of it. complete_until: the instant until which all was known of her."""

    vessel: str
    complete_until: str
    found: Verified | Broken


def checked_line(members: Mapping[str, Any]) -> str:
    """A line of the file about all vessels: `members` with a `check` over them."""
    return spelled({**members, "check": hash_of(spelled(members), _GENESIS)})


def is_fleet(first_line: str | bytes) -> bool:
    """Whether a file that begins with this line holds the histories of many vessels."""
    text = first_line.decode("ascii", "replace") if isinstance(first_line, bytes) else first_line
    return f'"format":"{FLEET_FORMAT}"' in text


def verify_fleet(lines: Iterable[str | bytes]) -> tuple[list[FleetPart], Broken | None]:
    """What was found of each vessel, in the file's order, and what is wrong with the file as a whole, or none.

    One vessel's lines are in memory at a time. lines: as `verify.verify_lines` has them.
    """
    found: list[tuple[str, Verified | Broken]] = []
    end, iterator = "", iter(lines)
    first = next(iterator, "")
    if _stated(_plain(first), FLEET_FORMAT) is None:
        return [], Broken(number=None, says="the first line was changed, or the file is another one.")
    for part in _parts(iterator):
        if _ENDS in part[0]:
            end = part[0]
            break
        found.append((str(_members(part[0]).get("vessel", "?")), verify_lines(part)))
    stated = _stated(end, FLEET_END)
    if stated is None:
        says = "the last line, which lists all vessels, is missing or was changed; the file is cut short."
        return [FleetPart(vessel=name, complete_until="", found=one) for name, one in found], Broken(
            number=None, says=says
        )
    more = None if next(iterator, None) is None else Broken(number=None, says="lines stand after the last one.")
    listed = stated["vessels"]
    parts = [_part(one, found) for one in listed]
    if [name for name, _ in found] != [one["name"] for one in listed if one["says"] is None]:
        more = Broken(
            number=None, says="the vessels in the file are not those, or not in the order, that its last line lists."
        )
    return parts, more


def _part(one: Mapping[str, Any], found: Sequence[tuple[str, Verified | Broken]]) -> FleetPart:
    """What was found of a vessel that the last line lists."""
    here: Verified | Broken | None = next((result for name, result in found if name == one["name"]), None)
    if one["says"] is not None:
        here = Broken(number=None, says=f"not in the file: {one['says']}")
    elif here is None:
        here = Broken(number=None, says="the last line lists this vessel, and the file does not hold her.")
    elif isinstance(here, Verified) and (here.head, here.records) != (one["head"], one["records"]):
        here = Broken(number=here.last_number, says="this is not the history whose end the last line states.")
    return FleetPart(vessel=str(one["name"]), complete_until=str(one["complete_until"]), found=here)


def _plain(line: str | bytes) -> str:
    return line.decode("ascii", "replace") if isinstance(line, bytes) else line


def _parts(lines: Iterator[str | bytes]) -> Iterator[list[str]]:
    """The lines from each header on; the last line of the file begins a part too."""
    part: list[str] = []
    for line in map(_plain, lines):
        if part and (_BEGINS in line or _ENDS in line):
            yield part
            part = []
        part.append(line)
        if _ENDS in line:
            break
    if part:
        yield part


def _members(line: str) -> dict[str, Any]:
    try:
        members = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return members if isinstance(members, dict) else {}


def _stated(line: str, form: str) -> dict[str, Any] | None:
    """The members of a line about all vessels that says that form and matches its own check, or none."""
    members = _members(line)
    body = {name: value for name, value in members.items() if name != "check"}
    if members.get("format") != form or not line.endswith("\n"):
        return None
    try:
        holds = line == f"{checked_line(body)}\n"
    except ValueError:
        return None
    return members if holds else None
