"""Histories of many vessels in one file of JSON Lines: each a whole export that verifies by itself, and a last line that lists all."""

import json
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime

from scheduler.domain.base.canonical import instant_text
from scheduler.domain.record.verify_fleet import FLEET_END, FLEET_FORMAT, checked_line
from scheduler.errors import Refused
from scheduler.version import VERSION


def fleet_jsonl(
    vessels: Iterable[tuple[str, str]], export: Callable[[str], Iterator[str]], *, made_by: str, at: datetime
) -> Iterator[str]:
    """Line by line, each with its line feed; one vessel is read at a time.

    Args:
        vessels: (id, name), in the order of the file. export: the lines of a vessel's own export by her id; where it refuses her, the
            file goes on without her and says why.
    """
    yield checked_line({"format": FLEET_FORMAT, "made_by": made_by, "at": instant_text(at), "version": VERSION}) + "\n"
    listed: list[dict[str, object]] = []
    for vessel_id, name in vessels:
        about: dict[str, object] = {"vessel": vessel_id, "name": name, "says": None}
        try:
            lines = export(vessel_id)
            head = next(lines)
        except Refused as error:
            listed.append({**about, "says": error.says, "records": 0, "head": "", "complete_until": ""})
            continue
        stated = json.loads(head)
        yield head
        yield from lines
        about |= {"records": stated["records"], "head": stated["head"], "name": stated["vessel"]}
        listed.append({**about, "complete_until": stated["to"] or stated["as_of"]})
    yield checked_line({"format": FLEET_END, "vessels": listed}) + "\n"
