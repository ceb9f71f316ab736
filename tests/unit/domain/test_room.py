"""Room for an opening, to the litre and to the hour."""

from datetime import timedelta

import pytest

from scheduler.domain.capacity.minimum import Outage, Swept
from scheduler.domain.capacity.room import Need, closed_spans, longest_room, room_stretches
from tests.unit.domain.plants import AT, OVERHAUL, plant

H = timedelta(hours=1)
PLANT = plant(OVERHAUL)
PUMPS = [pump.id for pump in PLANT.pumps if PLANT.position_of(pump.id, AT)]
WHOLE = {pump: Swept(40.0 + 10 * n) for n, pump in enumerate(PUMPS)}
ALL = sum(round(one.m3_per_h * 1000) for one in WHOLE.values())
SMALLEST, LARGEST = 40_000, 40_000 + 10_000 * (len(PUMPS) - 1)


def _need(litres: int, hours: int = 4, first: int = 0, pumps: int = 0) -> Need:
    return Need(from_at=AT + first * H, to_at=AT + (first + hours) * H, litres_per_h=litres, pumps=pumps)


@pytest.mark.parametrize(
    ("litres", "any_pump", "some_pump"),
    [
        (ALL - LARGEST, True, True),
        (ALL - LARGEST + 1, len(PUMPS) == 1, True),
        (ALL - SMALLEST, len(PUMPS) == 1, True),
        (ALL - SMALLEST + 1, False, False),
    ],
)
def test_any_pump_may_be_open_while_the_largest_is_not_needed(litres: int, any_pump: bool, some_pump: bool) -> None:
    """And some pump while the smallest is not."""
    (one,) = room_stretches(PLANT, [_need(litres)], (), WHOLE)
    assert (one.any_pump, one.some_pump) == (any_pump, some_pump)


@pytest.mark.parametrize(("pumps", "room"), [(len(PUMPS) - 1, True), (len(PUMPS), False)])
def test_so_many_pumps_must_be_left(pumps: int, room: bool) -> None:
    """Whatever they give."""
    (one,) = room_stretches(PLANT, [_need(0, pumps=pumps)], (), WHOLE)
    assert (one.any_pump, one.some_pump) == (room, room)


def test_a_pump_that_is_out_gives_nothing_until_it_is_back() -> None:
    """Stretches are cut where it goes and comes, and joined where they are alike."""
    out = Outage(pump=PUMPS[-1], from_at=AT + H, to_at=AT + 3 * H, counts_for=Swept(0.0), reason="down")
    need = ALL - LARGEST
    rooms = room_stretches(PLANT, [_need(need, 2), _need(need, 3, 2)], [out], WHOLE)
    assert [(one.from_at - AT, one.to_at - AT, one.any_pump) for one in rooms] == [
        (0 * H, H, True),
        (H, 3 * H, False),
        (3 * H, 5 * H, True),
    ]
    assert longest_room(rooms, AT, AT + 5 * H) == 2 * H
    assert longest_room(rooms, AT, AT + 3 * H + H) == H
    assert longest_room(rooms, AT + H, AT + 3 * H) == timedelta(0)
    assert closed_spans(rooms, AT, AT + 5 * H) == ((AT + H, AT + 3 * H),)
    assert closed_spans(rooms, AT + 2 * H, AT + 5 * H) == ((AT + 2 * H, AT + 3 * H),)
    assert closed_spans(rooms, AT + 3 * H, AT + 5 * H) == ()


def test_a_plant_with_every_pump_out_has_no_room() -> None:
    """Also where nothing has to hold."""
    outs = [Outage(pump=one, from_at=AT, to_at=None, counts_for=Swept(0.0), reason="down") for one in PUMPS]
    (one,) = room_stretches(PLANT, [_need(0)], outs, WHOLE)
    assert not one.any_pump
    assert not one.some_pump
