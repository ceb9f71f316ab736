"""The operating calendar as kept: laying stretches over it, contradictions, and the CSV file with every bad cell named."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.voyage.from_csv import read_sheet, write_sheet
from scheduler.domain.voyage.stretches import (
    KindOfDay,
    Source,
    Spell,
    VoyageDays,
    clear,
    day_kind_faults,
    difference,
    lay,
    spell_faults,
)

TODAY = date(2026, 11, 25)
DAY_0 = date(2026, 11, 1)


def spell(first: int, last: int, kind: str = "port", source: Source = Source.PLAN, note: str = "") -> Spell:
    """Days counted from 1 November 2026."""
    return Spell(
        from_on=DAY_0 + timedelta(days=first), to_on=DAY_0 + timedelta(days=last), kind=kind, source=source, note=note
    )


def day_by_day(book: VoyageDays) -> dict[date, tuple[str, Source]]:
    return {s.from_on + timedelta(days=n): (s.kind, s.source) for s in book.spells for n in range(s.days)}


SPELLS = st.builds(
    lambda first, days, kind, source: spell(first, first + days, kind, source),
    st.integers(0, 40),
    st.integers(0, 9),
    st.sampled_from(["sea", "port", "yard"]),
    st.sampled_from(Source),
)


@given(st.lists(SPELLS, max_size=12))
def test_laid_stretches_never_overlap_and_the_log_stands(spells: list[Spell]) -> None:
    """Sorted, disjoint, as few as can be; each day is what its last log entry says, else its last plan entry."""
    book = VoyageDays()
    for one in spells:
        book = lay(book, [one]).book
    wanted: dict[date, tuple[str, Source]] = {}
    for source in (Source.PLAN, Source.LOG):
        for one in spells:
            if one.source is source:
                wanted |= {one.from_on + timedelta(days=n): (one.kind, source) for n in range(one.days)}
    assert day_by_day(book) == wanted
    for before, after in zip(book.spells, book.spells[1:], strict=False):
        assert before.to_on < after.from_on
        assert before.to_on + timedelta(days=1) < after.from_on or (before.kind, before.source) != (
            after.kind,
            after.source,
        )


@given(st.lists(SPELLS, max_size=8), st.lists(SPELLS, max_size=4))
def test_what_changes_is_said_day_by_day(old: list[Spell], new: list[Spell]) -> None:
    """The changes named are just the days whose kind differs; laying the same again changes nothing."""
    book = lay(VoyageDays(), old).book
    laid = lay(book, new)
    before, after = day_by_day(book), day_by_day(laid.book)
    differ = {d for d in before.keys() | after.keys() if before.get(d, ("",))[0] != after.get(d, ("",))[0]}
    named = {c.from_on + timedelta(days=n) for c in laid.changes for n in range((c.to_on - c.from_on).days + 1)}
    assert named == differ
    assert laid.changes == difference(book, laid.book)
    assert lay(laid.book, laid.book.spells).book == laid.book


def test_a_plan_does_not_overrule_the_log() -> None:
    """The logged days stay, and the answer names them."""
    book = lay(VoyageDays(), [spell(3, 5, "port", Source.LOG)]).book
    laid = lay(book, [spell(1, 8, "sea")])
    assert [(s.kind, s.source, s.days) for s in laid.book.spells] == [
        ("sea", Source.PLAN, 2),
        ("port", Source.LOG, 3),
        ("sea", Source.PLAN, 3),
    ]
    (kept,) = laid.kept
    assert (kept.from_on, kept.to_on, kept.was, kept.now) == (date(2026, 11, 4), date(2026, 11, 6), "port", "sea")


def test_days_can_be_cleared() -> None:
    """What was entered for them is gone, the rest of the stretch stays."""
    laid = clear(lay(VoyageDays(), [spell(0, 9)]).book, date(2026, 11, 4), date(2026, 11, 5))
    assert [s.days for s in laid.book.spells] == [3, 5]
    assert laid.changes[0].now is None


def test_contradictions_are_named() -> None:
    """Two kinds on one day from the same origin: both stretches and the days are named; log against plan is none."""
    spells = [spell(0, 5, "sea"), spell(4, 8, "port"), spell(2, 3, "yard", Source.LOG)]
    (fault,) = spell_faults(spells, ["sea", "port", "yard"], TODAY, lambda place: f"row {place + 2}")
    assert (fault.place, fault.column) == (1, "kind")
    assert fault.says.startswith("port on 2026-11-05 to 2026-11-06, where row 2 says sea")


@pytest.mark.parametrize(
    ("one", "column", "says"),
    [
        (spell(5, 4), "to", "on or after its first"),
        (spell(0, 30, source=Source.LOG), "to", "still to come"),
        (spell(0, 1, "harbour"), "kind", "no kind of day here: sea, port"),
        (spell(0, 4000), "to", "at most 3660 days"),
        (Spell(from_on=date(226, 1, 1), to_on=TODAY, kind="sea"), "from", "check the year"),
        (spell(0, 1, note="x" * 121), "note", "at most 120"),
    ],
)
def test_a_stretch_that_makes_no_sense(one: Spell, column: str, says: str) -> None:
    """Which column, and what was expected."""
    (fault,) = spell_faults([one], ["sea", "port"], TODAY, str)
    assert fault.column == column
    assert says in fault.says


def test_kinds_of_day_are_checked() -> None:
    """A name, a weight, each once, sea among them, none left out that a stretch has."""
    kinds = [KindOfDay(code="Canal!", weight=9), KindOfDay(code="port", weight=0.3), KindOfDay(code="port", weight=1)]
    said = dict(day_kind_faults(kinds, ["yard"]))
    assert set(said) == {"/kinds/0/code", "/kinds/0/weight", "/kinds/2/code", "/kinds"}
    assert day_kind_faults([*VoyageDays().kinds, KindOfDay(code="canal transit", weight=1.2)], ["sea"]) == []


GOOD = "from,to,kind,source,note\r\n2026-11-01,2026-11-04,sea,log,\r\n2026-11-28,2026-11-30,port,,bunkers\r\n"


@pytest.mark.parametrize(
    "text", [GOOD, "\ufeff" + GOOD, GOOD.replace(",", ";"), GOOD.replace(",", "\t"), GOOD + "\n,,,\n"]
)
def test_a_sheet_is_read_as_spreadsheets_write_it(text: str) -> None:
    """Commas, semicolons and tabs, a byte order mark, empty rows."""
    sheet = read_sheet(text, VoyageDays(), TODAY)
    assert sheet.faults == ()
    assert [(s.kind, s.source, s.days, s.note) for s in sheet.spells] == [
        ("sea", Source.LOG, 4, ""),
        ("port", Source.PLAN, 3, "bunkers"),
    ]


@given(st.lists(SPELLS, min_size=1, max_size=8))
def test_a_written_sheet_is_read_back(spells: list[Spell]) -> None:
    """Whatever a daybook holds."""
    book = lay(VoyageDays(), spells).book
    assert read_sheet(write_sheet(book.spells), VoyageDays(), date(2027, 1, 1)).spells == book.spells


def test_every_bad_cell_is_named() -> None:
    """Row as a spreadsheet shows it, column, what was there, what was expected; good rows beside them change nothing."""
    text = (
        "from,to,kind,source\n"
        "25/11/2026,2026-11-30,harbour,plan\n"
        "2026-11-01,2026-11-05,sea,log\n"
        "\n"
        "2026-12-10,2026-12-01,port,guess\n"
        "2026-12-10,2026-12-31,port,log,3\n"
        "2026-02-30,,sea,\n"
    )
    sheet = read_sheet(text, VoyageDays(), TODAY)
    assert sheet.spells == ()
    assert [(f.row, f.column, f.found) for f in sheet.faults] == [
        (2, "from", "25/11/2026"),
        (2, "kind", "harbour"),
        (5, "to", "2026-12-01"),
        (5, "source", "guess"),
        (6, "to", "2026-12-31"),
        (6, "after the last", "3"),
        (7, "from", "2026-02-30"),
        (7, "to", ""),
    ]
    assert sheet.faults[0].sentence() == (
        "row 2, column from: '25/11/2026'; a date written year-month-day was expected, such as 2026-11-25."
    )
    assert [row.number for row in sheet.rows] == [2, 3, 5, 6, 7]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "this column is missing"),
        ("from,to,sort\n", "this is no column here"),
        ("from,to,kind,kind\n", "twice"),
        ("from,to,kind\n", "no row below the names"),
        ('from,to,kind\n"2026', "year-month-day"),
    ],
)
def test_a_file_that_is_no_calendar(text: str, says: str) -> None:
    """It says what was expected, and nothing is read."""
    sheet = read_sheet(text, VoyageDays(), TODAY)
    assert sheet.spells == ()
    assert any(says in fault.says for fault in sheet.faults)
