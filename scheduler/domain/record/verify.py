"""Check an exported history offline: standard library only, nothing of this project, the JSON Lines file alone.

The first line states vessel, period, count, first and last number and head; every other line is one record. Each line
has exactly one spelling (`spelled`), so a single changed byte shows. A chain that was hashed anew from some record to
the end agrees with itself: only a head kept elsewhere (on paper, in the office) shows that, so hand it in if you have
it.
"""

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

FORMAT = "leadline history 1"
_GENESIS = "0" * 64
_HASH = re.compile(r"[0-9a-f]{64}")
_RECORD_MEMBERS = {"number", "previous_hash", "hash", "text"}
_COUNTS = ("records", "first_number", "last_number")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """The export is whole: `records` records from `first_number` to `last_number`, ending in `head`."""

    vessel: str
    records: int
    first_number: int
    last_number: int
    head: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """The first thing that is wrong. number: the record concerned, none when it is the file as a whole."""

    number: int | None
    says: str


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    previous_hash: str
    hash: str
    holds: bool


class _UnreadableError(Exception):
    """A line is not what the format says; the argument is the sentence."""


def spelled(members: Mapping[str, Any]) -> str:
    """The only spelling of an export line: JSON, ASCII, keys sorted, no spaces, no line end."""
    return json.dumps(members, ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))


def hash_of(text: str, previous_hash: str) -> str:
    """Lower-case hex SHA-256 over `previous_hash`, one line feed, then `text`. Source: FIPS 180-4 for the hash."""
    return hashlib.sha256(f"{previous_hash}\n{text}".encode("utf-8", "surrogatepass")).hexdigest()


def header_line(members: Mapping[str, Any]) -> str:
    """The first line: `members` with `format` and a `check` over them, chained to the head they state."""
    body = {**members, "format": FORMAT}
    return spelled({**body, "check": hash_of(spelled(body), str(members["head"]))})


def verify_lines(
    lines: Iterable[str | bytes], *, expected_head: str | None = None, expected_number: int | None = None
) -> Verified | Broken:
    """Whether the export is whole and unchanged, and if not, the first record that is changed, missing or out of order.

    Args:
        lines: the file's lines in order, each with its line feed; an open file will do.
        expected_head: a chain hash (record stamp) kept elsewhere.
        expected_number: the number of the record that carries it; none: the last one.
    """
    iterator = iter(lines)
    try:
        first_line = next(iterator, None)
        if first_line is None:
            raise _UnreadableError("the file is empty.")
        header = _header(_text(first_line, "the first line"))
    except _UnreadableError as wrong:
        return Broken(number=None, says=str(wrong))
    first, last = int(header["first_number"]), int(header["last_number"])
    rows: list[_Row] = []
    for line in iterator:
        awaited = first + len(rows)
        try:
            rows.append(_row(_text(line, f"the line of record {awaited}"), awaited))
        except _UnreadableError as wrong:
            return Broken(number=awaited, says=str(wrong))
    return (
        _wrong_order(rows, first, last)
        or _wrong_hash(rows, str(header["previous_hash"]))
        or _wrong_head(rows, header, expected_head, expected_number)
        or Verified(
            vessel=str(header["vessel"]),
            records=len(rows),
            first_number=first,
            last_number=last,
            head=str(header["head"]),
        )
    )


def _text(line: str | bytes, which: str) -> str:
    """The line without its line feed."""
    try:
        text = line.decode("ascii") if isinstance(line, bytes) else line
    except UnicodeDecodeError:
        raise _UnreadableError(f"{which} holds a byte that is not ASCII; it was changed after the export.") from None
    if not text.endswith("\n"):
        raise _UnreadableError(f"{which} has no line end; the file is cut short or was changed.")
    return text[:-1]


def _members(text: str, which: str) -> dict[str, Any]:
    try:
        members = json.loads(text)
    except (ValueError, RecursionError):
        raise _UnreadableError(
            f"{which} is not JSON; it was changed after the export, or the file is another one."
        ) from None
    if not isinstance(members, dict):
        raise _UnreadableError(f"{which} is not a JSON object; it was changed, or the file is another one.")
    try:
        exact = spelled(members) == text
    except ValueError:
        exact = False
    if not exact:
        raise _UnreadableError(f"{which} is not spelled as the export spells it; it was changed after the export.")
    return members


def _header(text: str) -> dict[str, Any]:
    which = "the first line"
    members = _members(text, which)
    if members.get("format") != FORMAT:
        raise _UnreadableError(f"{which} does not say format {FORMAT!r}; this is not a history export of that format.")
    if members.get("filter") is not None:
        raise _UnreadableError(
            "the export is filtered; only an unfiltered one can be verified. Export without a filter."
        )
    body = {name: value for name, value in members.items() if name != "check"}
    if members.get("check") != hash_of(spelled(body), str(members.get("head"))):
        raise _UnreadableError(f"{which} does not match its own check; vessel, period, count or head was changed.")
    if not all(type(members.get(name)) is int for name in _COUNTS):
        raise _UnreadableError(f"{which} does not state {', '.join(_COUNTS)} as whole numbers.")
    if not all(_HASH.fullmatch(str(members.get(name))) for name in ("head", "previous_hash")):
        raise _UnreadableError(f"{which} does not state head and previous_hash as 64 hex digits.")
    if members["records"] != members["last_number"] - members["first_number"] + 1 or members["first_number"] < 1:
        raise _UnreadableError(f"{which} states a count that does not go with its first and last number.")
    return members


def _row(text: str, awaited: int) -> _Row:
    which = f"the line of record {awaited}"
    members = _members(text, which)
    number, inner = members.get("number"), members.get("text")
    if set(members) != _RECORD_MEMBERS or type(number) is not int or not isinstance(inner, str):
        raise _UnreadableError(f"{which} does not have exactly number, text, previous_hash and hash; it was changed.")
    previous, own = str(members["previous_hash"]), str(members["hash"])
    try:
        payload = json.loads(inner)
        said = payload.get("number") if isinstance(payload, dict) else None
    except (ValueError, RecursionError):
        said = None
    return _Row(number, previous, own, said == str(number) and hash_of(inner, previous) == own)


def _wrong_order(rows: Sequence[_Row], first: int, last: int) -> Broken | None:
    present = {row.number for row in rows}
    for place, row in enumerate(rows):
        awaited = first + place
        if row.number == awaited:
            continue
        if awaited > last:
            return Broken(number=row.number, says=f"record {row.number} stands after the last one, {last}.")
        if awaited not in present:
            return Broken(number=awaited, says=f"record {awaited} is missing; record {row.number} stands in its place.")
        return Broken(
            number=awaited, says=f"record {awaited} is out of order; record {row.number} stands in its place."
        )
    if len(rows) < last - first + 1:
        gone = first + len(rows)
        span = f"record {gone} is" if gone == last else f"records {gone} to {last} are"
        return Broken(number=gone, says=f"{span} missing from the end; the first line states {last} as the last.")
    return None


def _wrong_hash(rows: Sequence[_Row], previous: str) -> Broken | None:
    if rows and rows[0].number == 1 and previous != _GENESIS:
        return Broken(number=1, says="record 1 is the first of its vessel, yet the first line names one before it.")
    for row in rows:
        if not row.holds:
            return Broken(number=row.number, says=f"record {row.number} was changed: its text does not give its hash.")
        if row.previous_hash != previous:
            return Broken(
                number=row.number,
                says=f"record {row.number} does not follow the record before it: one of the two was exchanged and "
                "hashed anew.",
            )
        previous = row.hash
    return None


def _wrong_head(
    rows: Sequence[_Row], header: Mapping[str, Any], expected_head: str | None, expected_number: int | None
) -> Broken | None:
    last_hash = rows[-1].hash if rows else str(header["previous_hash"])
    last_number = int(header["last_number"])
    if header["head"] != last_hash:
        return Broken(number=last_number, says=f"record {last_number} is not the one whose hash the first line states.")
    if expected_head is None:
        if expected_number is not None and expected_number > last_number:
            return Broken(
                number=last_number + 1,
                says=f"the export ends at record {last_number}; record {expected_number} was expected in it.",
            )
        return None
    number = last_number if expected_number is None else expected_number
    known = {row.number: row.hash for row in rows} or {last_number: last_hash}
    if number not in known:
        return Broken(
            number=number, says=f"record {number}, whose stamp you hold, is not in this export; export a longer period."
        )
    if known[number] != expected_head.strip().lower():
        return Broken(
            number=number,
            says=f"record {number} does not carry the stamp you hold: it, or a record before it, was changed and the "
            "chain hashed anew.",
        )
    return None
