"""Capacity of pumps, the minimum over ship time, how many may be out."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from scheduler.domain.capacity.minimum import (
    Concession,
    Free,
    Outage,
    Swept,
    absolute_kpa,
    available,
    capacities_at,
    check_outage,
    free_from_fixtures,
    hands_at,
    litres_down,
    litres_up,
    minimum_agreed,
    minimum_at,
    provisional_capacity,
    pump_capacity,
)
from scheduler.domain.vessel.crew import Crew, MinimumBlock
from scheduler.domain.vessel.document import Pump, Stay
from scheduler.errors import Refused
from tests.unit.domain.plants import AT, SET_UP_AT, plant


def wall(year: int, month: int, day: int, hour: int, minute: int = 0) -> datetime:
    """A ship's wall-clock time: no offset, it is what the clock in the mess says."""
    return datetime(year, month, day, hour, minute)  # noqa: DTZ001


PUMP = Pump(id="u1", serial="A-101", rated_swept_m3_per_h=60.0, derate=0.9)


def test_a_pump_counts_for_its_passed_test_else_for_rated_times_derate():
    """54 m3/h without a test; with one of 51.5 that figure, whatever the derate."""
    assert pump_capacity(PUMP) == Swept(54.0)
    assert pump_capacity(replace(PUMP, measured_swept_m3_per_h=51.5)) == Swept(51.5)


def test_a_pump_not_proved_counts_for_the_provisional_share():
    """A pump returned and not proved counts for 0.8 of its capacity by default."""
    assert provisional_capacity(plant(), Swept(50.0)) == Swept(40.0)


@pytest.mark.parametrize("vacuum_kpa", [-50.0, 101.325, 500.0, float("nan")])
def test_a_vacuum_that_cannot_be_is_refused_in_words(vacuum_kpa):
    """A minus sign, a whole atmosphere or more, and no number are refused with what was expected."""
    with pytest.raises(Refused, match="kPa below atmosphere"):
        absolute_kpa(vacuum_kpa)


def test_fixtures_add_the_leak_and_refuse_a_negative_figure():
    """The leak comes on top of the flushes; less than no closets is refused."""
    assert free_from_fixtures(10, 6, 50.0, Free(0.5)) == Free(3.5)
    with pytest.raises(Refused, match="water closets is -1"):
        free_from_fixtures(-1, 6, 50.0)
    with pytest.raises(Refused, match="litres a flush is nan"):
        free_from_fixtures(1, 6, float("nan"))


@pytest.mark.parametrize(
    ("hour", "expected"),
    [
        (5, "minimum"),
        (6, "busy hours"),
        (8, "busy hours"),
        (9, "minimum"),
        (22, "minimum"),
        (23, "night"),
        (0, "night"),
        (4, "night"),
    ],
)
def test_hours_of_a_block_end_excluded_and_may_run_over_midnight(hour, expected):
    """6 to 9 covers 8:59 and not 9:00; 23 to 5 covers midnight."""
    assert minimum_at(plant(), wall(2027, 3, 1, hour, 59))[1] == expected


def test_the_last_block_that_matches_counts():
    """A later full-ship stretch overrules busy hours, on its first and last date and on no other."""
    blocks = (
        *plant().minimum_blocks,
        MinimumBlock(minimum_swept_m3_per_h=150.0, label="full ship", from_on=date(2027, 3, 2), to_on=date(2027, 3, 4)),
    )
    full = plant(minimum_blocks=blocks)
    labels = [minimum_at(full, wall(2027, 3, day, 7))[1] for day in range(1, 6)]
    assert labels == ["busy hours", "full ship", "full ship", "full ship", "busy hours"]
    assert minimum_at(full, wall(2027, 3, 3, 2)) == (Swept(150.0), "full ship")


def test_outages_lower_what_is_available_only_while_they_last():
    """A pump down counts for nothing from its first instant to its last, excluded; open-ended means until told."""
    down = Outage(pump="u1", from_at=AT, to_at=AT + timedelta(hours=2), counts_for=Swept(0.0), reason="open")
    seen = [available(plant(), [down], AT + timedelta(hours=h)).m3_per_h for h in (-1, 0, 1, 2)]
    assert seen == [180.0, 120.0, 120.0, 180.0]
    assert available(plant(), [replace(down, to_at=None)], AT + timedelta(days=900)) == Swept(120.0)


def test_of_two_outages_the_lower_counts_and_none_makes_a_pump_larger():
    """Provisional 48 and down 0 at once: 0. An outage that says 90 leaves a 60 pump at 60."""
    proving = Outage(pump="u1", from_at=AT, to_at=None, counts_for=Swept(48.0), reason="not proved")
    down = replace(proving, counts_for=Swept(0.0), reason="open")
    assert capacities_at(plant(), [proving, down], AT)["u1"] == Swept(0.0)
    assert capacities_at(plant(), [down, proving], AT)["u1"] == Swept(0.0)
    assert capacities_at(plant(), [replace(proving, counts_for=Swept(90.0))], AT)["u1"] == Swept(60.0)


def test_a_pump_on_the_shelf_does_not_count():
    """Only pumps in a position give capacity."""
    two = plant(stays=tuple(Stay(pump=f"u{n}", position=f"vp{n}", from_at=SET_UP_AT) for n in (1, 3)))
    assert list(capacities_at(two, [], AT)) == ["u1", "u3"]


def test_litres_round_against_the_plant_but_forgive_a_float():
    """Pumps round down and the minimum up; 0.1 + 0.2 m3/h is 300 litres both ways."""
    assert (litres_down(Swept(59.9999)), litres_up(Swept(59.9991))) == (59999, 60000)
    assert litres_down(Swept(0.1 + 0.2)) == litres_up(Swept(0.1 + 0.2)) == 300


def test_a_lower_minimum_agreed_counts_from_its_beginning_up_to_its_end_and_only_signed() -> None:
    """At an instant as long as it runs; while a pump is out only for the hours that it covers whole."""
    own, label = minimum_agreed(plant(), AT, 0)
    agreed = Concession(
        from_at=AT, to_at=AT + timedelta(minutes=90), minimum=Swept(0.0), chief="A. Chief", hotel="B. Hotel"
    )
    assert minimum_agreed(plant(), AT, 0, [agreed]) == (Swept(0.0), f"{label}, lower as agreed")
    for when in (AT - timedelta(seconds=1), agreed.to_at):
        assert minimum_agreed(plant(), when, 0, [agreed]) == minimum_agreed(plant(), when, 0)
    assert minimum_agreed(plant(), AT, 0, [replace(agreed, hotel="")]) == (own, label)
    assert minimum_agreed(plant(), AT, 0, [replace(agreed, minimum=Swept(own.m3_per_h + 1))]) == (own, label)
    bare = replace(plant(), minimum_blocks=())
    nothing = {pump.id: Swept(1.0) for pump in bare.pumps}
    pump = bare.pumps[0].id
    for hours, holds in ((1, True), (2, False)):
        found = check_outage(bare, (), pump, at=AT, hours=hours, offset_minutes=0, whole=nothing, concessions=[agreed])
        assert (found.least_margin_litres_per_h >= 0) is holds


@pytest.mark.parametrize(("minutes", "counts"), [(59, False), (60, True), (61, True)])
def test_a_lower_minimum_counts_for_an_hour_that_it_covers_just_whole(minutes, counts):
    """A minute less and the hour is not covered."""
    agreed = Concession(
        from_at=AT, to_at=AT + timedelta(minutes=minutes), minimum=Swept(0.0), chief="A. Chief", hotel="B. Hotel"
    )
    found, _ = minimum_agreed(plant(minimum_blocks=()), AT, 0, [agreed], timedelta(hours=1))
    assert found == Swept(0.0 if counts else 100.0)


def test_of_two_lower_minima_the_lowest_counts():
    """In either order."""
    two = [
        Concession(from_at=AT, to_at=AT + timedelta(days=1), minimum=Swept(m3), chief="A. Chief", hotel="B. Hotel")
        for m3 in (50.0, 80.0)
    ]
    for agreed in (two, two[::-1]):
        assert minimum_agreed(plant(minimum_blocks=()), AT, 0, agreed)[0] == Swept(50.0)


@pytest.mark.parametrize(
    ("first", "last", "hour", "hands"),
    [
        (8, 17, 7, 0),
        (8, 17, 8, 2),
        (8, 17, 16, 2),
        (8, 17, 17, 0),
        (20, 4, 19, 0),
        (20, 4, 20, 2),
        (20, 4, 3, 2),
        (20, 4, 4, 0),
    ],
)
def test_hands_are_there_from_the_first_working_hour_to_before_the_last(first, last, hour, hands):
    """Also over midnight."""
    crew = Crew(hands=2, work_from_hour=first, work_to_hour=last)
    assert hands_at(crew, wall(2027, 3, 1, hour, 59)) == hands


BUSY = (MinimumBlock(minimum_swept_m3_per_h=101.0, label="busy", from_hour=10, to_hour=12),)
WHOLE = {"u1": Swept(60.0), "u2": Swept(50.0), "u3": Swept(50.0)}


def _check(at, hours=3, blocks=BUSY, outages=()):
    ship = plant(minimum_blocks=blocks)
    return check_outage(ship, outages, "u1", at=at, hours=hours, offset_minutes=0, whole=WHOLE, look_ahead_days=1)


@pytest.mark.parametrize(("at_hour", "least", "held"), [(6, 0, True), (7, 0, True), (8, -1000, False), (12, 0, True)])
def test_just_the_minimum_holds_while_a_pump_is_out_for_its_hours_alone(at_hour, least, held):
    """100 is left of 160; from 10 to 12 the minimum is 101. Three hours from 7 end at 10, and hold."""
    found = _check(AT.replace(hour=at_hour))
    assert (found.least_margin_litres_per_h, found.holds == ()) == (least, held)


def test_where_it_breaks_the_starts_that_hold_are_named_from_the_first_to_the_last():
    """From 8 on it breaks at 10; from 12 to 7 the next morning every start holds for all its three hours."""
    found = _check(AT)
    assert (found.least_at, found.label) == (AT.replace(hour=10), "busy")
    assert found.holds == ((AT.replace(hour=12), AT.replace(hour=7) + timedelta(days=1)),)


def test_a_second_pump_is_out_only_where_the_first_one_out_leaves_enough():
    """With u2 out for two hours 50 is left of the 100 that must be there; after that 100 again."""
    first = Outage(pump="u2", from_at=AT, to_at=AT + timedelta(hours=2), counts_for=Swept(0.0), reason="open")
    found = _check(AT, hours=1, blocks=(), outages=[first])
    assert found.least_margin_litres_per_h == -50_000
    assert found.holds[0][0] == AT + timedelta(hours=2)
    assert _check(AT + timedelta(hours=2), hours=1, blocks=(), outages=[first]).least_margin_litres_per_h == 0
