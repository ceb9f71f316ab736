"""The strip of the ship's days: true to the book, told by height, pattern and word, never by colour alone."""

from datetime import date, timedelta
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from api.pages.drawing import day_patterns, day_swatch, days_strip
from api.pages.voyage.page import strip_words
from scheduler.domain.voyage.stretches import FIRST_KINDS, KindOfDay, Source, Spell, VoyageDays

FIRST = date(2026, 11, 11)
TODAY = FIRST + timedelta(days=3)
LAST = FIRST + timedelta(days=20)


def _spell(first: int, last: int, kind: str, source: Source = Source.LOG) -> Spell:
    return Spell(from_on=FIRST + timedelta(days=first), to_on=FIRST + timedelta(days=last), kind=kind, source=source)


BOOK = VoyageDays(
    spells=(
        _spell(-5, 1, "sea"),
        _spell(2, 4, "port"),
        _spell(5, 6, "yard", Source.PLAN),
        _spell(9, 30, "sea", Source.PLAN),
    )
)


def _strip(book: VoyageDays, width: int = 800) -> ElementTree.Element:
    drawn = days_strip(book.spells, book.kinds, first=FIRST, last=LAST, today=TODAY, width=width, name="days")
    assert "style=" not in drawn
    return ElementTree.fromstring(drawn)


def test_log_and_plan_have_another_edge_and_each_kind_its_height_and_word() -> None:
    """Solid from the log, dashed as planned; a day at sea is highest; the words stand in the picture; today is marked."""
    root = _strip(BOOK)
    edges = [path.get("class") for path in root.iter("path") if path.get("class") in ("s-surf", "s-now open")]
    assert edges.count("s-surf") == 2
    assert edges.count("s-now open") == 3
    words = [one.text for one in root.iter("text")]
    assert {"sea", "port", "yard", "today"} <= set(words)
    fills = {path.get("fill") for path in root.iter("path")}
    assert {"url(#p-day-0)", "url(#p-day-2)"} <= fills


def test_the_words_count_every_day_once() -> None:
    """Days of each kind, those nobody entered too, and how she stands today."""
    assert strip_words(BOOK, FIRST, LAST, TODAY) == (
        "The days from Wed\u00a011\u00a0Nov to Tue\u00a01\u00a0Dec: at sea 14, in port 3, in the yard 2, "
        "nothing entered 2. Today: in port."
    )


def test_no_two_of_the_first_kinds_look_alike() -> None:
    """Their signs differ by pattern; each pattern is there."""
    signs = {day_swatch(FIRST_KINDS, kind.code) for kind in FIRST_KINDS}
    assert len(signs) == len(FIRST_KINDS)
    assert day_patterns().count("<pattern") >= len(FIRST_KINDS) - 1


@given(st.lists(st.sampled_from(["sea", "port", "odd", None]), min_size=1, max_size=40), st.integers(200, 1300))
def test_any_book_is_drawn_inside_its_frame(days: list[str | None], width: int) -> None:
    """Whatever is entered, kinds gone from the book too: well-formed, and no text or edge lies outside."""
    spells = tuple(_spell(n, n, kind) for n, kind in enumerate(days) if kind)
    kinds = (*FIRST_KINDS, KindOfDay(code="canal", weight=3.0))
    root = _strip(VoyageDays(kinds=kinds, spells=spells), width)
    for one in root.iter("text"):
        assert 0 <= float(one.get("x", "-1")) <= width
