"""Job kinds from a spreadsheet: what is taken in, and each bad cell named."""

from scheduler.domain.checks.document import faults_of
from scheduler.domain.checks.kinds_table import read_kinds
from tests.unit.domain.plants import plant, vessel


def test_a_row_changes_a_kind_by_its_code_and_adds_one_that_is_new() -> None:
    """Only the columns of the sheet change; kinds without a row stay; the document still makes sense."""
    at = plant()
    code = at.job_kinds[1].code
    rows = [
        ["Code", "name", "subject", "takes hours", "interval months", "steps"],
        [code, "Knives looked at", "", "", "5", "cover off|gap read"],
        [],
        ["valve_check", "Valve check", "plant", "2", "6", ""],
    ]
    found = read_kinds(rows, at)
    assert found.faults == ()
    assert (found.added, found.changed) == (("valve_check",), (code,))
    kept = found.plant.kind(code)
    assert (kept.name, kept.interval_months, kept.steps) == ("Knives looked at", 5, ("cover off", "gap read"))
    assert kept.takes_hours == at.kind(code).takes_hours
    assert len(found.plant.job_kinds) == len(at.job_kinds) + 1
    assert faults_of(vessel(found.plant)) == ()


def test_every_bad_cell_is_named_and_nothing_is_taken_in() -> None:
    """Row as the spreadsheet counts, column by name, what was there, what was expected."""
    rows = [
        ["code", "name", "subject", "takes_hours", "interval_days", "critical"],
        ["lamp", "Lamp", "ship", "two", "30", "maybe"],
        ["lamp2", "", "plant", "1", "0", ""],
        ["breakdown", "Mine", "pump", "1", "30", "no"],
    ]
    found = read_kinds(rows, plant())
    named = {(one.row, one.column) for one in found.faults}
    assert {(2, "subject"), (2, "takes_hours"), (2, "critical"), (3, "name"), (4, "code")} <= named
    assert found.plant == plant()
    assert "'two'; a whole number was expected" in " ".join(one.sentence() for one in found.faults)


def test_a_sheet_that_does_not_name_its_columns_is_told_so() -> None:
    """An unknown column, one that stands twice, none called code, and no sheet at all."""
    said = " ".join(one.sentence() for one in read_kinds([["name", "name", "colour"]], plant()).faults)
    assert "no such column" in said
    assert "stands twice" in said
    assert "code is needed" in said
    assert read_kinds([], plant()).faults
