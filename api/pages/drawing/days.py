"""The ship's days as a strip: as high as the pumps run on such a day, a pattern and a word for each kind."""

from collections.abc import Sequence
from datetime import date, timedelta

from markupsafe import Markup

from api.pages.shared.svg import join, tag, text, width_of
from scheduler.domain.voyage.stretches import KindOfDay, Source, Spell
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import day_label

TOP, HEIGHT, AXIS = 22.0, 48.0, 26
_PATTERNS = 5
_KINDS = {
    "sea": marked("sea"),
    "port": marked("port"),
    "anchor": marked("anchor"),
    "yard": marked("yard"),
    "lay-up": marked("lay-up"),
}


def kind_label(kind: str) -> str:
    """A kind of day in one word, as it is written into a strip; a ship's own kind by its code."""
    return _(_KINDS[kind]) if kind in _KINDS else kind


def day_patterns() -> Markup:
    """The hatchings of the kinds of day after the first, once a page: none needs its colour to be told."""
    shapes = (
        ("M0 0v8", 45, 8),
        ("M0 4h8", 0, 8),
        ("M0 0v8M0 4h8", 45, 8),
        ("M3 3h2", 0, 6),
        ("M0 0v4", -45, 4),
    )
    found = [
        tag(
            "pattern",
            tag("path", d=d, class_="h-bed"),
            id=f"p-day-{n}",
            width=size,
            height=size,
            patternUnits="userSpaceOnUse",
            patternTransform=f"rotate({turned})" if turned else None,
        )
        for n, (d, turned, size) in enumerate(shapes)
    ]
    return tag("svg", tag("defs", join(found)), class_="defs", width=0, height=0, aria_hidden="true")


def day_swatch(kinds: Sequence[KindOfDay], kind: str) -> Markup:
    """The sign of a kind of day, to stand beside its word."""
    body = join([*_filled("M1 1h22v12h-22z", _place(kinds, kind)), tag("path", d="M1 1h22v12h-22z", class_="s-tick")])
    return tag("svg", body, viewBox="0 0 24 14", width=24, height=14, aria_hidden="true", class_="swatch")


def days_strip(
    spells: Sequence[Spell],
    kinds: Sequence[KindOfDay],
    *,
    first: date,
    last: date,
    today: date,
    width: int,
    name: str,
) -> Markup:
    """The days `first` to `last`, both included, `width` px wide; a day nobody entered is a gap over a dotted line.

    Args:
        spells: by date, none overlapping. kinds: with their weights; the height is the weight, a day at sea 1.
        name: what the picture says in words.
    """
    step = (width - 2.0) / ((last - first).days + 1)
    base = TOP + HEIGHT
    highest = max([kind.weight for kind in kinds], default=1.0)
    weights = {kind.code: kind.weight for kind in kinds}

    def x(on: date) -> float:
        return 1.0 + (on - first).days * step

    parts = [tag("path", d=f"M1 {base}H{width - 1}", class_="s-now open")]
    for spell in spells:
        start, end = max(spell.from_on, first), min(spell.to_on, last)
        if start > end:
            continue
        a, b = x(start), x(end + timedelta(days=1))
        y = base - max(HEIGHT * weights.get(spell.kind, 1.0) / highest, 3.0)
        parts += _filled(f"M{a:.1f} {base}V{y:.1f}H{b:.1f}V{base}z", _place(kinds, spell.kind))
        edge = "s-surf" if spell.source is Source.LOG else "s-now open"
        parts.append(tag("path", d=f"M{a:.1f} {y:.1f}H{b:.1f}", class_=edge))
        parts.append(tag("path", d=f"M{a:.1f} {base}V{y:.1f}M{b:.1f} {base}V{y:.1f}", class_="s-tick"))
        words = kind_label(spell.kind)
        if b - a > width_of(words, 11.5) + 1:
            high = base - y > 20
            look = "tiny in-bed" if high and _place(kinds, spell.kind) else "tiny"
            parts.append(text((a + b) / 2, base - 6 if high else y - 5, words, look, "middle"))
    parts += _axis(first, last, step, base, width)
    if first <= today <= last:
        a, b = x(today), x(today + timedelta(days=1))
        parts.append(tag("path", d=f"M{a:.1f} {base + 2}H{b:.1f}", class_="s-day"))
        parts.append(tag("path", d=f"M{a:.1f} {TOP - 6}V{base}", class_="s-lead"))
        flip = a > width - 50
        parts.append(text(a - 4 if flip else a + 4, TOP - 6, _("today"), "tiny b halo", "end" if flip else None))
    height = int(base) + AXIS
    return tag("svg", join(parts), viewBox=f"0 0 {width} {height}", class_="chart", role="img", aria_label=name)


def _axis(first: date, last: date, step: float, base: float, width: int) -> list[Markup]:
    parts: list[Markup] = []
    clear = 0.0
    for n in range((last - first).days + 1):
        on = first + timedelta(days=n)
        x = 1.0 + n * step
        if on.weekday() == 0 or n == 0:
            parts.append(tag("path", d=f"M{x:.1f} {base}v8", class_="s-tick"))
            words = day_label(on)
            if x >= clear and x + width_of(words) < width:
                parts.append(text(x, base + 21, words, "t2"))
                clear = x + width_of(words) + 8
    return parts


def _place(kinds: Sequence[KindOfDay], kind: str) -> int:
    return next((n for n, known in enumerate(kinds) if known.code == kind), len(kinds))


def _filled(d: str, place: int) -> list[Markup]:
    if place == 0:
        return [tag("path", d=d, class_="s-water")]
    return [tag("path", d=d, class_="s-bed"), tag("path", d=d, fill=f"url(#p-day-{(place - 1) % _PATTERNS})")]
