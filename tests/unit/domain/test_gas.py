"""Gas limits at their value, just under, just over; and the limit that is named."""

import pytest

from scheduler.domain.work.gas import Gas, GasFault, gas_faults
from scheduler.errors import Refused


@pytest.mark.parametrize(
    ("oxygen", "found"),
    [
        (19.4, [GasFault(Gas.OXYGEN, 19.4, 19.5)]),
        (19.5, []),
        (23.5, []),
        (23.6, [GasFault(Gas.OXYGEN, 23.6, 23.5)]),
    ],
)
def test_oxygen_at_its_limits_is_in_range_and_beyond_them_the_broken_one_is_named(oxygen, found):
    """Source: 29 CFR 1910.146(b) (from memory)."""
    assert gas_faults(oxygen, 0.0, 0.0) == found


@pytest.mark.parametrize(("percent", "found"), [(9.9, []), (10.0, [Gas.LEL]), (10.1, [Gas.LEL])])
def test_flammable_gas_at_its_limit_speaks_against(percent, found):
    """Source: 29 CFR 1910.146(b): in excess of 10 % is hazardous; at the value it is refused here too (from memory)."""
    assert [one.code for one in gas_faults(20.9, percent, 0.0)] == found


@pytest.mark.parametrize(
    ("ppm", "found"),
    [
        (5.0, []),
        (5.1, [GasFault(Gas.H2S_SHIP, 5.1, 5.0)]),
        (10.0, [GasFault(Gas.H2S_SHIP, 10.0, 5.0)]),
        (10.1, [GasFault(Gas.H2S_NIOSH, 10.1, 10.0)]),
        (20.0, [GasFault(Gas.H2S_NIOSH, 20.0, 10.0)]),
        (20.1, [GasFault(Gas.H2S_OSHA, 20.1, 20.0)]),
    ],
)
def test_hydrogen_sulphide_at_a_limit_does_not_exceed_it(ppm, found):
    """The ship's own limit of 5 ppm first. Source of the ceilings: OSHA and NIOSH hydrogen sulfide pages."""
    assert gas_faults(20.9, 0.0, ppm, 5.0) == found


@pytest.mark.parametrize(("lel", "h2s"), [(100.0, 0.0), (0.0, 10_000.0)])
def test_the_last_figure_of_a_meter_and_nought_are_figures(lel, h2s):
    """What is more, or less than nought, is refused: no meter shows it."""
    assert Gas.NOT_READ not in {one.code for one in gas_faults(100.0, lel, h2s)}
    for beyond in ((100.1, lel, h2s), (20.9, 100.1, h2s), (20.9, lel, 10_000.1), (20.9, -0.1, h2s)):
        with pytest.raises(Refused, match="cannot be"):
            gas_faults(*beyond)


def test_what_was_not_read_is_named():
    """Nought is a reading; nothing is none."""
    assert gas_faults(20.9, None, None) == [GasFault(Gas.NOT_READ, names=("LEL", "H2S"))]
    assert gas_faults(20.9, 0.0, 0.0) == []
