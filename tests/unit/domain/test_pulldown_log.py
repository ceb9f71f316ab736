"""A logged pull-down and hold test is read with each bad cell named."""

import pytest

from scheduler.domain.capacity.test_log import read_log
from scheduler.domain.capacity.tests import Sample, compare_band, measured
from scheduler.errors import Refused


def test_a_log_is_parted_at_its_lowest_pressure():
    """What stands before the last highest pressure is left out; the hold starts at the lowest."""
    lines = ["seconds,vacuum_kpa", "0,10", "5,10", "10,20", "20,50", "30,49", "90,45"]
    log = read_log(lines)
    assert [one.seconds for one in log.pull] == [5, 10, 20]
    assert [one.seconds for one in log.hold] == [20, 30, 90]
    assert log.pull[0] == Sample(5, pytest.approx(91.325))


@pytest.mark.parametrize(
    ("header", "cell"),
    [("vacuum_mbar", "500"), ("vacuum_bar", "0.5"), ("pressure_kpa", "51.325"), ("pressure_mbar", "513.25")],
)
def test_each_unit_means_the_same_pressure(header, cell):
    """Half a bar below atmosphere, however it is written."""
    other = "0" if header.startswith("vacuum") else "101.325" if header.endswith("kpa") else "1013.25"
    log = read_log([f"at,{header}", f"2026-11-03T14:00:00Z,{other}", f"2026-11-03T14:01:00Z,{cell}"])
    assert log.pull[-1].seconds == 60
    assert log.pull[-1].kpa == pytest.approx(51.325)


def test_a_spreadsheet_s_semicolons_and_decimal_commas_are_taken():
    """And its byte order mark is passed over."""
    log = read_log(["\ufeffseconds;vacuum_bar", "0;0,10", "1,5;0,50"])
    assert log.pull[-1].seconds == 1.5


def test_every_bad_cell_is_named():
    """Line, column, what was there."""
    lines = ["seconds,vacuum_kpa", "0,x", "5,", "4,200", "3,10", "3,12", "nan,5"]
    with pytest.raises(Refused) as refused:
        read_log(lines)
    told = dict(refused.value.faults)
    assert set(told) == {
        "line 2, vacuum_kpa",
        "line 3, vacuum_kpa",
        "line 4, vacuum_kpa",
        "line 6, seconds",
        "line 7, seconds",
    }
    assert "check unit and sign" in told["line 4, vacuum_kpa"]


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ([], "empty"),
        (["time,vacuum_kpa", "0,1"], "seconds or at"),
        (["seconds,vacuum", "0,1"], "unit in the name"),
        (["at,vacuum_kpa", "2026-11-03T14:00:00,5"], "no offset"),
    ],
)
def test_a_wrong_head_says_what_was_expected(lines, says):
    """The words name what to change."""
    with pytest.raises(Refused, match=says):
        read_log(lines)


def test_without_a_hold_the_leak_is_not_determinable_and_no_figure_is_made_up():
    """The swept volume is then net of any leak."""
    log = read_log(["seconds,vacuum_kpa", *(f"{10 * i},{30 + 2 * i}" for i in range(12))])
    found = measured(2.0, log.pull, log.hold, band=compare_band(50.0))
    assert found.leak is None
    assert found.leak_spread_pa_m3_per_s is None
    assert found.samples == 8


def test_too_few_samples_in_the_band_are_refused():
    """A coarse log is not stretched into a figure."""
    log = read_log(["seconds,vacuum_kpa", "0,0", "60,30", "90,45", "100,52"])
    with pytest.raises(Refused, match="Log more often"):
        measured(2.0, log.pull, band=compare_band(50.0))
