"""A ship's document from one typed table: it makes sense, and each job is due at the counter's figure that the table names."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from api.pages.vessel.first_page import columns, entered, example_kinds, pasted_values
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.checks.document import faults_of
from scheduler.domain.checks.first_run import (
    PumpEntered,
    ShipEntered,
    asked_kinds,
    due_at_counter,
    first_document,
    slug,
)
from scheduler.errors import Refused

AT = datetime(2026, 11, 29, 20, 10, tzinfo=UTC)
SHIP = ShipEntered(
    name="Demo Dunlin",
    imo="0000012",
    utc_offset_minutes=60,
    plant="Vacuum plant",
    receiver_m3=2,
    start_vacuum_kpa=36,
    stop_vacuum_kpa=50,
    minimum_swept_m3_per_h=70,
)
PUMP = PumpEntered(
    position="VP1",
    serial="DN-3301",
    rated_swept_m3_per_h=71,
    shows=18_000,
    last={"knife_inspection": (17_455, date(2026, 9, 1)), "overhaul": (12_000, date(2025, 3, 1))},
)
KNIFE = next(kind for kind in example_kinds() if kind["code"] == "knife_inspection")
TYPED = {
    "ship": "Demo Dunlin",
    "imo": "0000012",
    "offset": "1",
    "plant": "",
    "receiver": "2",
    "start": "36",
    "stop": "50",
    "minimum": "70",
    "r0-name": "VP1",
    "r0-serial": "DN-3301",
    "r0-rated": "71",
    "r0-shows": "18 000",
    "r0-unit": "3600",
    "r0-knife_inspection-at": "17455",
    "r0-knife_inspection-on": "2026-09-01",
}


def imo() -> str:
    """An invented number with a leading 0 whose check digit holds."""
    six = "000001"
    return six + str(sum(int(d) * w for d, w in zip(six, range(7, 1, -1), strict=True)) % 10)


def test_it_makes_a_document_that_makes_sense() -> None:
    """Shape and sense hold for three pumps, one of tenths, one with nothing known."""
    pumps = [
        PUMP,
        replace(PUMP, position="VP2", serial="DN-3302", seconds_per_count=360, shows=180_000, last={}),
        replace(PUMP, position="VP3", serial="DN-2988", shows=0, last={}),
    ]
    document = first_document(replace(SHIP, imo=imo()), pumps, example_kinds(), AT)
    assert not faults_of(VESSEL.validate_python(document))
    (plant,) = document["plants"]
    assert [stay["opening_running_hours"] for stay in plant["stays"]] == [18_000, 18_000, 0]
    assert {one["kind"]: one["running_hours"] for one in plant["last_done"]} == {
        "overhaul": 12_000,
        "knife_inspection": 17_455,
    }


def test_due_at_the_counter_is_the_last_figure_and_the_interval() -> None:
    """17 455 and 1 500 h; in tenths ten times as many counts; not known is none."""
    interval = int(KNIFE["interval_running_hours"])
    assert due_at_counter(PUMP, KNIFE, example_kinds(), AT) == (17_455 + interval) * 1000
    tenths = replace(PUMP, seconds_per_count=360, last={"knife_inspection": (174_550, date(2026, 9, 1))})
    assert due_at_counter(tenths, KNIFE, example_kinds(), AT) == (174_550 + 10 * interval) * 1000
    assert due_at_counter(replace(PUMP, last={}), KNIFE, example_kinds(), AT) is None


def test_a_later_overhaul_counts_for_what_it_renews() -> None:
    """Knives of before the overhaul were renewed with it."""
    later = replace(PUMP, last={"knife_inspection": (11_000, date(2025, 1, 1)), "overhaul": (12_000, date(2025, 3, 1))})
    renewed = "knife_inspection" in next(k for k in example_kinds() if k["code"] == "overhaul").get("renews", ())
    expected = 12_000 if renewed else 11_000
    assert due_at_counter(later, KNIFE, example_kinds(), AT) == (expected + int(KNIFE["interval_running_hours"])) * 1000


def test_what_was_typed_is_read() -> None:
    """Spaces, ship time in hours; the plant has a name of its own."""
    read = entered(TYPED, AT)
    assert dict(read.faults) == {}
    assert read.ship == replace(SHIP, imo="0000012")
    assert read.pumps[0].last == {"knife_inspection": (17_455, date(2026, 9, 1))}


@pytest.mark.parametrize(
    ("cell", "text", "says"),
    [
        ("r0-serial", "", "the number on the pump's plate is expected"),
        ("r0-rated", "0", "more than 0 is expected"),
        ("r0-shows", "12o4", "a figure is expected"),
        ("r0-shows", "-1", "0 or more is expected"),
        ("r0-shows", "17454", ""),
        ("r0-unit", "7", "one of hours, 0.1 h"),
        ("r0-knife_inspection-at", "18000.001", "is more than the counter shows"),
        ("r0-knife_inspection-at", "", "give both, or leave both empty"),
        ("r0-knife_inspection-on", "", "give both, or leave both empty"),
        ("r0-knife_inspection-on", "2026-11-30", "this is still to come"),
        ("r0-knife_inspection-on", "last May", "a date as 2026-11-25 is expected"),
        ("offset", "14.5", "-12 to 14 hours are expected"),
        ("ship", " - ", "the ship's name is expected"),
        ("receiver", "1e9", "a figure is expected"),
        ("minimum", "", "a figure is expected"),
    ],
)
def test_what_does_not_fit_is_named_at_its_cell(cell: str, text: str, says: str) -> None:
    """One fault a cell, in words."""
    faults = entered({**TYPED, cell: text}, AT).faults
    if not says:
        assert "is more than the counter shows" in faults["r0-knife_inspection-at"]
    else:
        assert says in faults[cell]


def test_at_the_edges_it_fits() -> None:
    """Done today, at what the counter shows."""
    edges = {"r0-knife_inspection-at": "18000", "r0-knife_inspection-on": "2026-11-29", "offset": "14"}
    assert dict(entered({**TYPED, **edges}, AT).faults) == {}


def test_two_rows_with_one_serial_are_named() -> None:
    """A plate is on one pump."""
    twice = {**TYPED, "r1-name": "VP2", "r1-serial": "dn-3301", "r1-rated": "71", "r1-shows": "5"}
    assert entered(twice, AT).faults == {"r1-serial": "another row has the same"}


def test_rows_are_taken_from_a_spreadsheet() -> None:
    """Tabs between cells, a line of headings left out, units by their words, cells that are missing empty."""
    text = "Pump\tSerial\tRated\nVP1\tDN-1\t71\t18 000\thours\nVP2\tDN-2\t71\t180 000\t0.1 h\t12 000\t2025-03-01\n"
    found = pasted_values(text)
    assert (found["r0-serial"], found["r0-unit"], found["r1-unit"]) == ("DN-1", "3600", "360")
    first = columns()[5][0]
    assert found[f"r1-{first}"] == "12 000"
    assert f"r0-{first}" not in found
    for bad in ("", "Pump\tSerial", "x\n" * 25):
        with pytest.raises(Refused, match="one a pump"):
            pasted_values(bad)


def test_only_kinds_by_hours_are_asked_for() -> None:
    """What only the calendar makes due is not known at first."""
    assert all(kind["interval_running_hours"] for kind in asked_kinds(example_kinds()))
    assert slug("Demo Dunlin II ") == "demo-dunlin-ii"
