"""Minimum capacity and pumps that may be out, against a published sizing example and hand arithmetic."""

import pytest

from scheduler.domain.capacity.minimum import Free, free_from_fixtures, swept_of


def test_hundred_closets_five_flushes_sixty_litres_need_thirty_free():
    """Source: a maker's public sizing example: 100 water closets x 5 flushes an hour x 60 litres = 30 m3/h free air."""
    assert free_from_fixtures(100, 5, 60.0) == Free(30.0)


@pytest.mark.parametrize(("vacuum_kpa", "swept"), [(50.0, 59.226), (42.5, 51.674), (35.0, 45.831)])
def test_the_same_air_is_a_larger_swept_volume_the_deeper_the_vacuum(vacuum_kpa, swept):
    """Source: the example above turned into swept volume by hand (derived, p_atm 101.325 kPa)."""
    assert swept_of(Free(30.0), vacuum_kpa).m3_per_h == pytest.approx(swept, abs=0.001)


def test_fifty_closets_six_flushes():
    """Source: derived by hand: 50 x 6 x 60 litres = 18.0 free, 35.535 swept m3/h at 50 kPa below atmosphere."""
    free = free_from_fixtures(50, 6, 60.0)
    assert free == Free(18.0)
    assert swept_of(free, 50.0).m3_per_h == pytest.approx(35.535, abs=0.001)
