"""Pull-down: the inverse is an inverse, and more pump, less leak or less volume is never slower."""

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.capacity.tests import Band, Leak, effective_swept, pull_down_seconds

volumes = st.floats(0.2, 50)
swepts = st.floats(5, 500)
bands = st.tuples(st.floats(55, 101), st.floats(20, 54)).map(lambda b: Band(*b))


@given(volumes, swepts, bands, st.floats(0, 0.9))
def test_the_swept_volume_comes_back_from_the_seconds_it_gave(volume, swept, band, share):
    """effective_swept undoes pull_down_seconds, with any leak that the pump can carry."""
    leak = Leak(share * swept / 3600 * band.to_kpa * 1000)
    seconds = pull_down_seconds(volume, Swept(swept), band, leak=leak)
    back = effective_swept(volume, seconds, band, leak=leak)
    assert abs(back.m3_per_h - swept) < 1e-6 * swept


@given(volumes, swepts, bands, st.floats(1.0, 3.0))
def test_a_stronger_pump_is_never_slower_and_a_larger_receiver_never_quicker(volume, swept, band, times):
    """Time falls with swept volume and grows with the receiver."""
    seconds = pull_down_seconds(volume, Swept(swept), band)
    assert (
        pull_down_seconds(volume, Swept(swept * times), band)
        <= seconds
        <= pull_down_seconds(volume * times, Swept(swept), band)
    )
