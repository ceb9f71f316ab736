"""Proof of a counter's register settings at commissioning, against the figure an engineer reads off the panel. Pure.

The same two words make 70000 in one order and 292552705 in the other. Proven means: the settings fit the panel's figure,
and no other kind, order or scale fits it too.
"""

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from api.gateway.registers import Layout, RegisterKind, decode, layouts
from api.gateway.settings import RegisterCounter

SCALES = {3600: "whole hours", 360: "tenths of an hour", 60: "minutes", 36: "hundredths of an hour", 1: "seconds"}
"""Seconds a count that are tried (common practice, no source)."""
_FIGURE = re.compile(r"\d{1,9}(\.\d{1,4})?", re.ASCII)
_THOUSAND_YEARS = 8_766_000.0
_MEANWHILE_HOURS = Decimal("0.2")
"""The pump may run between the look at the panel and the reading."""


class Panel(NamedTuple):
    """A figure read off a panel. step: worth of its last digit."""

    hours: Decimal
    step: Decimal


class Fit(NamedTuple):
    """Settings under which registers show the panel's figure."""

    register: int
    layout: Layout
    seconds_per_count: int


class LayoutShown(NamedTuple):
    """What the registers show in one layout. hours: at the scale set; none where it shows no count."""

    layout: Layout
    counts: int | float | None
    hours: float | None
    is_set: bool


class CheckResult(NamedTuple):
    """What came of one counter. fits: every setting that fits. elsewhere: fits at registers beside. says: in words."""

    counter: str
    words: list[int]
    candidates: list[LayoutShown]
    panel: Panel | None
    proven: bool
    fits: list[Fit]
    elsewhere: list[Fit]
    says: list[str]

    def as_json(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "counter": self.counter,
            "words": self.words,
            "panel_hours": None if self.panel is None else float(self.panel.hours),
            "proven": self.proven,
            "candidates": [
                {"layout": one.layout.says(), "counts": one.counts, "hours": one.hours, "set": one.is_set}
                for one in self.candidates
            ],
            "fits": [
                {"register": fit.register, "layout": fit.layout.says(), "seconds_per_count": fit.seconds_per_count}
                for fit in (*self.fits, *self.elsewhere)
            ],
            "says": self.says,
        }


def read_panel(text: str) -> Panel:
    """The figure as it stands on the panel, such as 12345 or 8114.5.

    Raises:
        ValueError: it is none.
    """
    if not _FIGURE.fullmatch(text):
        raise ValueError(text)
    _, _, decimals = text.partition(".")
    return Panel(Decimal(text), Decimal(1).scaleb(-len(decimals)))


def layouts_fitting(counts: int | float | None, seconds_per_count: int, panel: Panel) -> bool:
    """True when these counts are the panel's figure, to its last digit or to one count, and a little running meanwhile."""
    if counts is None:
        return False
    hours = Decimal(counts) * seconds_per_count / 3600
    return abs(hours - panel.hours) <= max(panel.step, Decimal(seconds_per_count) / 3600) + _MEANWHILE_HOURS


def check_counter(
    counter: RegisterCounter, words: list[int], around: Mapping[int, int], panel: Panel | None
) -> CheckResult:
    """What these registers prove.

    Args:
        words: the counter's own registers, as read in one request.
        around: word by register, of those and of their neighbours as far as they can be read.
        panel: the figure on the panel; none was given.
    """
    shown = [_candidate(counter, layout, words) for layout in layouts(len(words))]
    counts = decode(counter.layout, words)
    says = list(_hints(counter, counts))
    if panel is None:
        says.append(f"Not proven: give the figure on its panel, --panel {counter.name}=HOURS.")
        return CheckResult(counter.name, words, shown, None, False, [], [], says)
    scales = [counter.seconds_per_count, *(scale for scale in SCALES if scale != counter.seconds_per_count)]
    fitting = [
        Fit(counter.register, layout, scale)
        for layout in layouts(len(words))
        for scale in scales
        if layouts_fitting(decode(layout, words), scale, panel)
    ]
    own = Fit(counter.register, counter.layout, counter.seconds_per_count)
    over = counter.modulus is not None and counts is not None and counts >= counter.modulus
    elsewhere = [] if own in fitting else _elsewhere(counter, around, scales, panel)
    proven = fitting == [own] and not over
    says.extend(_conclusion(counter, own, fitting, elsewhere, panel, over))
    return CheckResult(counter.name, words, shown, panel, proven, fitting, elsewhere, says)


def _conclusion(
    counter: RegisterCounter, own: Fit, fitting: list[Fit], elsewhere: list[Fit], panel: Panel, over: bool
) -> Iterator[str]:
    if own in fitting:
        others = [fit for fit in fitting if fit != own]
        if others:
            yield f"Not proven: {panel.hours} h on the panel fits the settings, and just as well: {_list(others, own)}."
            yield "This figure cannot tell them apart. Check again when the counter shows more."
        elif not over:
            modulus = "" if counter.modulus is None else f", modulus {counter.modulus}"
            yield f"Proven: {panel.hours} h on the panel fits {own.layout.says()} and nothing else."
            yield f"The vessel's document needs: seconds_per_count {counter.seconds_per_count}{modulus}."
        else:
            yield "Not proven: the modulus set is too small."
    elif fitting or elsewhere:
        found = fitting or elsewhere
        yield f"Not proven: the settings do not fit {panel.hours} h. This does: {_list(found, own)}."
    else:
        yield f"Not proven: no kind, order or scale fits {panel.hours} h, here or one register beside. Check table and register."


def _elsewhere(counter: RegisterCounter, around: Mapping[int, int], scales: list[int], panel: Panel) -> list[Fit]:
    return [
        Fit(start, layout, scale)
        for size in (counter.layout.kind.words, 3 - counter.layout.kind.words)
        for start in sorted(around, key=lambda register: (abs(register - counter.register), register))
        if (size, start) != (counter.layout.kind.words, counter.register)
        and all(start + more in around for more in range(size))
        for layout in layouts(size)
        for scale in scales
        if layouts_fitting(decode(layout, [around[start + more] for more in range(size)]), scale, panel)
    ]


def _candidate(counter: RegisterCounter, layout: Layout, words: list[int]) -> LayoutShown:
    counts = decode(layout, words)
    hours = None if counts is None else counts * counter.seconds_per_count / 3600
    return LayoutShown(layout, counts, hours, layout == counter.layout)


def _hints(counter: RegisterCounter, counts: int | float | None) -> Iterator[str]:
    if counts is None:
        yield f"As {counter.layout.says()} the registers show no count."
    elif counter.modulus is not None and counts >= counter.modulus:
        yield f"It shows {counts} counts, which modulus {counter.modulus} does not allow."
    if counter.layout.kind is RegisterKind.U16 and (counter.modulus is None or counter.modulus > 65_536):
        yield "16 bits start again at 0 after 65535 counts: set modulus 65536, unless the device starts again earlier."


def _list(found: list[Fit], own: Fit) -> str:
    told = []
    for fit in found[:4]:
        where = "" if fit.register == own.register else f"register {fit.register}, "
        told.append(f"{where}{fit.layout.says()} with seconds_per_count {fit.seconds_per_count}")
    more = f" or {len(found) - 4} more" if len(found) > 4 else ""
    return " or ".join(told) + more


def shown_lines(verdict: CheckResult, counter: RegisterCounter) -> Iterator[str]:
    """The verdict as lines for a person."""
    words = " ".join(f"{word:04x}" for word in verdict.words)
    yield f"{counter.name}: {counter.says()} (words {words})"
    for one in verdict.candidates:
        counts = (
            "no count" if one.counts is None else f"{one.counts:.{10 if isinstance(one.counts, int) else 4}g} counts"
        )
        hours = "" if one.hours is None else f"{one.hours:.1f} h" if one.hours < _THOUSAND_YEARS else "over 1000 years"
        yield f"  {one.layout.says():<36}{counts:>18}{hours:>18}{'   <- set' if one.is_set else ''}"
    for says in verdict.says:
        yield f"  {says}"
