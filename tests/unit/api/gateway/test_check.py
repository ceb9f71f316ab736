"""Proof at commissioning: the panel's figure against every kind, order and scale."""

import pytest

from api.gateway.check import CheckResult, Fit, check_counter, read_panel, shown_lines
from api.gateway.registers import Layout, RegisterKind, WordOrder, layouts
from api.gateway.settings import RegisterCounter
from tests.end_to_end.automation import encode

HIGH, LOW = Layout(RegisterKind.U32), Layout(RegisterKind.U32, WordOrder.LOW_FIRST)


def counter(layout: Layout = HIGH, scale: int = 3600, modulus: int | None = None) -> RegisterCounter:
    return RegisterCounter(
        name="vp1", device="er", table="holding", register=10, layout=layout, seconds_per_count=scale, modulus=modulus
    )


def look(
    one: RegisterCounter, words: list[int], panel: str | None, around: dict[int, int] | None = None
) -> CheckResult:
    return check_counter(one, words, around or dict(enumerate(words, 10)), None if panel is None else read_panel(panel))


def test_70000_in_swapped_words_is_292552705() -> None:
    """The registers of 70000 read in the other order; told, with the setting that fits."""
    verdict = look(counter(), encode(LOW, 70_000), "70000")
    assert {(one.layout, one.counts) for one in verdict.candidates} >= {(HIGH, 292_552_705), (LOW, 70_000)}
    assert not verdict.proven
    assert verdict.fits == [Fit(10, LOW, 3600)]
    assert verdict.says[-1].endswith("This does: u32, low first with seconds_per_count 3600.")


@pytest.mark.parametrize("layout", [*layouts(1), *layouts(2)])
def test_the_right_settings_are_proven(layout: Layout) -> None:
    """In every kind and order, with a figure large enough to tell them apart."""
    verdict = look(counter(layout, 360), encode(layout, 8_145), "814.5")
    assert verdict.proven, verdict.says
    assert "Proven: 814.5 h" in " ".join(verdict.says)


@pytest.mark.parametrize(
    ("panel", "proven"), [("70000", True), ("70001", True), ("69999.5", True), ("70002", False), ("7000.0", False)]
)
def test_the_panel_may_be_a_count_off(panel: str, proven: bool) -> None:
    """The panel cuts or rounds, and the pump may run between the look and the reading; more is another figure."""
    assert look(counter(), encode(HIGH, 70_000), panel).proven is proven


def test_a_wrong_scale_is_named() -> None:
    """Tenths of an hour taken for hours."""
    verdict = look(counter(HIGH, 3600), encode(HIGH, 81_145), "8114.5")
    assert verdict.fits == [Fit(10, HIGH, 360)]
    assert "u32, high first with seconds_per_count 360" in verdict.says[-1]


def test_a_figure_that_cannot_tell_proves_nothing() -> None:
    """0 looks alike in every order; 5 is the same in BCD; equal words are the same both ways round."""
    assert not look(counter(), [0, 0], "0").proven
    small = look(counter(Layout(RegisterKind.U16)), [5], "5")
    assert not small.proven
    assert "just as well: bcd16" in " ".join(small.says)
    assert not look(counter(), [1, 1], "65537").proven


def test_a_neighbour_register_is_looked_at() -> None:
    """A manual that counts from 1, or a 16-bit setting for a 32-bit counter."""
    words = encode(HIGH, 70_000)
    off_by_one = look(counter(), [words[1], 0], "70000", {9: words[0], 10: words[1], 11: 0, 12: 0})
    assert "This does: register 9, u32, high first" in off_by_one.says[-1]
    narrow = look(counter(Layout(RegisterKind.U16)), [words[0]], "70000", {9: 7, 10: words[0], 11: words[1], 12: 0})
    assert "u32, high first with seconds_per_count 3600" in narrow.says[-1]


def test_nothing_fits_no_panel_no_count_and_over_modulus_are_told() -> None:
    """Each in words, none called proven."""
    assert "no kind, order or scale fits" in look(counter(), encode(HIGH, 70_000), "123").says[-1]
    assert "--panel vp1=HOURS" in look(counter(), encode(HIGH, 70_000), None).says[-1]
    assert "show no count" in look(counter(Layout(RegisterKind.BCD16)), [0xABCD], "5").says[0]
    over = look(counter(modulus=10_000), encode(HIGH, 70_000), "70000")
    assert not over.proven
    assert "modulus 10000 does not allow" in over.says[0]
    assert "set modulus 65536" in look(counter(Layout(RegisterKind.U16)), [400], "400").says[0]


def test_it_reads_as_a_table() -> None:
    """Every layout with counts and hours, the one set marked."""
    one = counter()
    lines = list(shown_lines(look(one, encode(HIGH, 70_000), "70000"), one))
    assert lines[0] == "vp1: holding registers 10 and 11 of er (words 0001 1170)"
    assert sum(line.endswith("<- set") for line in lines) == 1
    assert len(lines) == 1 + len(layouts(2)) + 2
    assert any("292552705 counts" in line for line in lines)


@pytest.mark.parametrize("text", ["", "x", "nan", "inf", "-5", "12,5", "1e5", "1e-999999", "999999999999"])
def test_what_is_no_panel_figure_is_refused(text: str) -> None:
    """Figures as a panel shows them."""
    with pytest.raises(ValueError):
        read_panel(text)
