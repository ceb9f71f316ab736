"""The palette of the pages: every pair of colours that is used can be read, by day and by night."""

import re

import pytest

from api.pages.shared import layout

CSS = (layout.STATIC / "app.css").read_text(encoding="utf-8")
BLOCKS = [
    dict(re.findall(r"--(\w+):(#[0-9A-Fa-f]{6})", block))
    for block in re.findall(r"\{(color-scheme:[^}]*--paper[^}]*)\}", CSS)
]
LIGHTS = dict(zip(("day", "night", "night by the system"), BLOCKS, strict=True))

TEXT = (
    "ink/paper",
    "ink/sheet",
    "ink2/paper",
    "ink2/sheet",
    "water/paper",
    "water/sheet",
    "brass/paper",
    "brass/sheet",
    "boot/paper",
    "boot/sheet",
    "onact/act",
    "ink/fill",
    "ink/bed",
    "ink/brassfill",
    "ink/bootfill",
    "ink2/bed",
    "ink2/fill",
)
GRAPHIC = (
    "edge/paper",
    "edge/sheet",
    "water/fill",
    "water/sheet",
    "bedline/bed",
    "bedline/sheet",
    "brass/sheet",
    "boot/sheet",
    "boot/bed",
    "boot/fill",
    "focus/paper",
    "focus/sheet",
    "water/bed",
    "actedge/paper",
)


def luminance(colour: str) -> float:
    """Relative luminance of #RRGGBB, 0 to 1. Source: WCAG 2.2, "relative luminance"."""
    shares = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21. Source: WCAG 2.2, "contrast ratio"."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_ends() -> None:
    """Black on white is 21 to 1 and a colour on itself 1 to 1. Source: WCAG 2.2, "contrast ratio" (1:1 to 21:1)."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#17626F", "#17626F") == 1


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize(("pair", "need"), [(p, 4.5) for p in TEXT] + [(p, 3.0) for p in GRAPHIC])
def test_every_pair_in_use_can_be_read(light: str, pair: str, need: float) -> None:
    """Text has 4.5 to 1 and graphics 3 to 1. Source: WCAG 2.2, success criteria 1.4.3 and 1.4.11."""
    front, back = pair.split("/")
    assert contrast(LIGHTS[light][front], LIGHTS[light][back]) >= need


def test_both_ways_into_the_night_are_the_same() -> None:
    """The night that is chosen and the night by the system's setting have the same colours as each other."""
    assert LIGHTS["night"] == LIGHTS["night by the system"]
    assert LIGHTS["night"].keys() == LIGHTS["day"].keys()


def test_every_colour_named_is_defined() -> None:
    """No rule uses a colour the palette does not have."""
    assert set(re.findall(r"var\(--(\w+)\)", CSS)) <= LIGHTS["day"].keys()
