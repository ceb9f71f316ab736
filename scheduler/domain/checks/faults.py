"""Faults of single figures, names and instants, as (JSON Pointer, sentence) pairs; the words every check shares.

A sentence says what, which one, what was expected and what to do now. `what` names the thing, `at` points to it.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from math import isfinite

from scheduler.domain.vessel.document import Fitting, Stay
from scheduler.language import gettext as _

Fault = tuple[str, str]
"""(JSON Pointer, sentence)."""

ID = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
CODE = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
LONGEST_NAME = 200
MOST_RUNNING_HOURS = 200_000
FIRST_YEAR, LAST_YEAR = 1970, 2199


def id_faults(at: str, what: str, text: str, pattern: re.Pattern[str] = ID) -> Iterator[Fault]:
    """One, unless `text` is an id (or, with CODE, a job kind code)."""
    if not pattern.fullmatch(text):
        also = _(", hyphens and underscores") if pattern is CODE else _(" and hyphens")
        yield (
            at,
            _(
                "{what} {shortened} cannot be used: 1 to 63 small letters a-z, digits{also}, a "
                "letter or digit first, was expected. Write it so.",
                what=what,
                shortened=shortened(text),
                also=also,
            ),
        )


def text_faults(
    at: str, what: str, text: str, longest: int = LONGEST_NAME, *, may_be_empty: bool = False
) -> Iterator[Fault]:
    """Of a text: empty, too long, or with control characters in it."""
    if not text.strip() and not may_be_empty:
        yield at, _("{what} is empty: a few words were expected. Write them.", what=what)
    if len(text) > longest:
        yield (
            at,
            _(
                "{what} has {count} characters: at most {longest} was expected. Shorten it.",
                what=what,
                count=len(text),
                longest=longest,
            ),
        )
    if any(ord(c) < 32 or 127 <= ord(c) < 160 or 0xD800 <= ord(c) < 0xE000 or c in "\u2028\u2029" for c in text):
        yield (
            at,
            _(
                "{what} {shortened} contains control characters: plain text was expected. Type it again.",
                what=what,
                shortened=shortened(text),
            ),
        )


def figure_faults(
    at: str, what: str, figure: float, most: float, unit: str, *, least: float | None = None
) -> Iterator[Fault]:
    """A figure from `least` to `most`; without `least`, above 0."""
    if not isfinite(figure) or figure > most or (figure <= 0 if least is None else figure < least):
        low = "above 0" if least is None else f"{least:g}"
        yield (
            at,
            _(
                "{what} is {figure}: {low} to {most} {unit} was expected. Correct the figure.",
                what=what,
                figure=f"{figure:g}",
                low=low,
                most=f"{most:g}",
                unit=unit,
            ),
        )


def name_faults(at: str, what: str, name: str, known: set[str], sort: str) -> Iterator[Fault]:
    """One, unless `name` is among the `known` of its sort."""
    if name not in known:
        there = ", ".join(sorted(known)[:12]) or "none"
        yield (
            at,
            _(
                "{what} names {sort} {shortened}, which is not in the plant ({there}). Correct the name or add it.",
                what=what,
                sort=sort,
                shortened=shortened(name),
                there=there,
            ),
        )


def twice_faults(pairs: Iterable[tuple[str, str]], what: str) -> Iterator[Fault]:
    """One for each (pointer, name) whose name came before."""
    seen: set[str] = set()
    for at, name in pairs:
        if name in seen:
            yield (
                at,
                _(
                    "{what} {shortened} is used twice: once was expected. Give this one another, or take it out.",
                    what=what,
                    shortened=shortened(name),
                ),
            )
        seen.add(name)


def span_faults(at: str, what: str, span: Stay | Fitting) -> Iterator[Fault]:
    """Of the instants and the opening hours of a stay or fitting."""
    yield from stretch_faults(at, what, span.from_at, span.to_at)
    opening = span.opening_running_hours
    yield from figure_faults(
        f"{at}/opening_running_hours",
        _("{what}: opening hours", what=what),
        opening,
        MOST_RUNNING_HOURS,
        "running hours",
        least=0,
    )


def stretch_faults(at: str, what: str, from_at: datetime, to_at: datetime | None) -> Iterator[Fault]:
    """Of two instants, the second after the first or open."""
    yield from instant_faults(f"{at}/from_at", f"{what}: from_at", from_at)
    if to_at is None:
        return
    yield from instant_faults(f"{at}/to_at", f"{what}: to_at", to_at)
    if is_aware(from_at) and is_aware(to_at) and from_at >= to_at:
        yield (
            f"{at}/to_at",
            _(
                "{what} runs from {from_at} to {to_at}: an end after the beginning was expected. "
                "Exchange or correct the two.",
                what=what,
                from_at=from_at.isoformat(),
                to_at=to_at.isoformat(),
            ),
        )


def instant_faults(at: str, what: str, instant: datetime) -> Iterator[Fault]:
    """One, unless the instant has an offset from UTC and a year in which a ship with this software can sail."""
    if not is_aware(instant):
        yield (
            at,
            _(
                "{what} {instant} has no offset from UTC: an instant like 2027-03-01T08:00:00Z was "
                "expected. Add Z or the offset.",
                what=what,
                instant=instant.isoformat(),
            ),
        )
    if not FIRST_YEAR <= instant.year <= LAST_YEAR:
        yield (
            at,
            _(
                "{what} {instant} cannot be: a year from {first_year} to {last_year} was expected. Correct the date.",
                what=what,
                instant=instant.isoformat(),
                first_year=FIRST_YEAR,
                last_year=LAST_YEAR,
            ),
        )


def is_aware(instant: datetime) -> bool:
    """Whether the instant has an offset from UTC."""
    return instant.utcoffset() is not None


def before_end(at: datetime, end: datetime | None) -> bool:
    """Whether `at` lies before an end that may be open."""
    return end is None or at < end


def shortened(text: str) -> str:
    """`text` quoted in ASCII, cut to 40 characters, safe inside a sentence."""
    return ascii(text if len(text) <= 40 else text[:37] + "...")
