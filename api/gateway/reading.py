"""What the sources hand over: readings, and lines that are none. Pure."""

import re
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SECOND = timedelta(seconds=1)
_LONGEST_LINE = 500
_EARLIEST_S, _LATEST_S = 946_684_800, 32_503_680_000
"""2000-01-01 and 3000-01-01: outside of them a clock was never set."""
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
_NUMBER = re.compile(r"\d{1,15}(\.\d{1,9})?", re.ASCII)
_FORM = "expected counter,observed_at,value such as plover-vp1-hours,2026-11-25T07:00:00Z,12006"
HEADER = "counter,observed_at,value"


class CounterReading(NamedTuple):
    """One value of one counter at one instant, as it will be sent.

    at_s: epoch seconds. value: the counter's own figure as a JSON number, nothing done to it. line: in its file, from 1.
    """

    counter: str
    at_s: int
    value: str
    line: int | None = None


class BadLine(NamedTuple):
    """A line that is no reading. number: from 1. text: the line itself. says: what is wrong with it."""

    number: int
    text: str
    says: str


def read_seconds(at: datetime) -> int:
    """Epoch seconds of an aware instant, floored."""
    return (at - EPOCH) // _SECOND


def utc_text_of(at_s: int) -> str:
    """RFC 3339 in UTC.

    >>> z(1793707200)
    '2026-11-03T12:00:00Z'
    """
    return (EPOCH + timedelta(seconds=at_s)).isoformat().replace("+00:00", "Z")


def read_number(counts: int | float) -> str:
    """Counts as a JSON number; a float with at most nine decimals, never in the form 1e9.

    >>> number(70000), number(215.5)
    ('70000', '215.5')
    """
    return str(counts) if isinstance(counts, int) else f"{counts:.9f}".rstrip("0").rstrip(".")


def read_line(raw: bytes, at_line: int) -> CounterReading | BadLine | None:
    """One line `counter,observed_at,value` without its line end; none for an empty line and for the header.

    Raises nothing: what cannot be read is a BadLine.

    >>> read_line(b"plover-vp1-hours,2026-11-03T14:00:00+02:00,12006", 1)
    Reading(counter='plover-vp1-hours', at_s=1793707200, value='12006', line=1)
    """
    try:
        text = (raw.removeprefix(b"\xef\xbb\xbf") if at_line == 1 else raw).decode().strip()
    except UnicodeDecodeError:
        return BadLine(at_line, raw.decode(errors="backslashreplace"), f"it is not UTF-8; {_FORM}")
    if not text or text.replace(" ", "").lower() == HEADER:
        return None
    if len(text) > _LONGEST_LINE:
        return BadLine(at_line, text, f"it is longer than {_LONGEST_LINE} characters; {_FORM}")
    fields = [field.strip().removeprefix('"').removesuffix('"').strip() for field in text.split(",")]
    if len(fields) != 3:
        return BadLine(at_line, text, f"it has {len(fields)} fields between commas; {_FORM}")
    counter, instant, value = fields
    if not counter:
        return BadLine(at_line, text, f"it names no counter; {_FORM}")
    if not _NUMBER.fullmatch(value):
        says = f'value "{value}" is not a figure of 0 or more with a decimal point; send what the counter shows'
        return BadLine(at_line, text, says)
    at_s = _instant_s(instant)
    if at_s is None:
        says = f'observed_at "{instant}" is not an instant with its offset from the year 2000 on, such as 2026-11-25T07:00:00Z'
        return BadLine(at_line, text, says)
    whole, dot, decimals = value.partition(".")
    return CounterReading(counter, at_s, (whole.lstrip("0") or "0") + dot + decimals, at_line)


def read_last(raw: bytes, at_line: int) -> BadLine | None:
    """The same for a last line that has no line end: it may have been cut short, and a figure cut short is a wrong figure."""
    found = read_line(raw, at_line)
    if isinstance(found, CounterReading):
        says = "it is the last and has no line end, so it may be cut short; send the whole line anew"
        return BadLine(at_line, raw.decode().strip(), says)
    return found


def _instant_s(text: str) -> int | None:
    if not _INSTANT.fullmatch(text):
        return None
    try:
        at_s = read_seconds(datetime.fromisoformat(text.upper()))
    except ValueError:
        return None
    return at_s if _EARLIEST_S <= at_s < _LATEST_S else None
