"""May I open: six answers, each at its edge, from one reckoning with the gate of the work. Figures invented."""

import itertools
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.capacity.may_open import (
    CounterDoubt,
    OpeningAnswer,
    OpeningCode,
    WorkInHand,
    may_open,
    open_stretches,
)
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, check_outage
from scheduler.domain.vessel.crew import MinimumBlock
from scheduler.shiptime import ShipOffset
from scheduler.wording.capacity import OpeningWords
from tests.unit.domain.plants import AT, plant

H = timedelta(hours=1)
BUSY = MinimumBlock(minimum_swept_m3_per_h=120.0, label="busy hours", from_hour=17, to_hour=20)
WHOLE = {"u1": Swept(70.0), "u2": Swept(60.0), "u3": Swept(60.0)}


def ask(at: datetime = AT, hours: int = 3, **more: Any) -> OpeningAnswer:
    """u1 opened: 120 is left of 190; 100 must be there."""
    ship = plant(minimum_blocks=more.pop("blocks", ()), minimum_pumps=more.pop("pumps", 0))
    usual: dict[str, Any] = {"now_at": AT, "offset_minutes": 0, "whole": WHOLE}
    return may_open(ship, more.pop("outages", ()), "u1", at=at, hours=hours, **(usual | more))


def words(answer: OpeningAnswer) -> tuple[str, str]:
    """Its first sentence, and the rest."""
    said = OpeningWords(answer, plant(), AT, 0)
    return said.first().replace("\u00a0", " "), " ".join(said.rest()).replace("\u00a0", " ")


def test_it_holds_says_until_when_by_how_much_what_ends_it_and_one_trip_more():
    """From 8 for three hours; at 13 VP2 is planned open: then 40 too little. One trip now: 60 of 120 go."""
    planned = Outage(pump="u2", from_at=AT + 5 * H, to_at=AT + 8 * H, counts_for=Swept(0.0), reason="planned")
    answer = ask(outages=[planned], vacuum_kpa=44.0)
    assert (answer.code, answer.until_at, answer.margin_litres_per_h) == (OpeningCode.HOLDS, AT + 5 * H, 20_000)
    first, rest = words(answer)
    assert first == "Capacity holds until 13:00, 20 over the minimum. Not a permit."
    assert "VP1 back before VP2 at 13:00: with both open it would be short by 40." in rest
    assert "If one more pump trips: short by 40." in rest


@pytest.mark.parametrize(
    ("hours", "code"), [(8, OpeningCode.HOLDS), (9, OpeningCode.HOLDS), (10, OpeningCode.LESS_LATER)]
)
def test_busy_hours_within_the_work_take_the_plain_yes_away(hours, code):
    """Busy from 17 leaves 0: nine hours from 8 end just there, ten run into it."""
    answer = ask(hours=hours, blocks=(BUSY,))
    assert (answer.code, answer.until_at) == (code, AT + 9 * H)
    if code is OpeningCode.LESS_LATER:
        assert words(answer)[0] == "Capacity holds: 20 over the minimum until 17:00, then 0. Not a permit."


def test_where_it_is_short_it_says_by_how_much_and_from_when_it_holds():
    """At 17 121 must be there: 1 too little. For three hours it holds from 20 on."""
    block = MinimumBlock(minimum_swept_m3_per_h=121.0, label="busy hours", from_hour=17, to_hour=20)
    answer = ask(AT + 9 * H, blocks=(block,))
    assert answer.code is OpeningCode.SHORT
    first, rest = words(answer)
    assert first == "Short by 1 m³/h while VP1 is open."
    assert rest.startswith("It holds from Mon 1 Mar 20:00 until Tue 2 Mar 17:00, 20 over the minimum.")
    later = ask(AT + 7 * H, blocks=(block,))
    assert words(later)[0] == "Capacity holds only until 17:00: then short by 1 m³/h while VP1 is open."
    assert ask(AT + 6 * H, blocks=(block,)).code is OpeningCode.HOLDS


def test_too_few_pumps_is_short_whatever_they_give():
    """Three of three must be there: with one open, one is lacking; two of three is kept."""
    assert words(ask(pumps=3))[0] == "One pump too few while VP1 is open."
    assert words(ask(pumps=3))[1] == "No time in the next two weeks holds for 3 h."
    assert ask(pumps=2).code is OpeningCode.HOLDS


@pytest.mark.parametrize(
    ("gauge", "code"), [(34.9, OpeningCode.POOR_VACUUM), (35.0, OpeningCode.HOLDS), (None, OpeningCode.HOLDS)]
)
def test_a_vacuum_poorer_than_the_start_takes_the_yes_away_now(gauge, code):
    """Pumps start at 35 kPa: 35 is not poorer. Nothing was given: it says so. It counts for now, not for tomorrow."""
    answer = ask(vacuum_kpa=gauge)
    assert answer.code is code
    said = " ".join(words(answer))
    assert ("34.9 kPa gauge is poorer than the start at 35" in said) == (code is OpeningCode.POOR_VACUUM)
    assert ("The vacuum was not given" in said) == (gauge is None)
    assert ask(AT + H, vacuum_kpa=10.0).code is OpeningCode.POOR_VACUUM
    assert ask(AT + H + timedelta(seconds=1), vacuum_kpa=10.0).code is OpeningCode.HOLDS


@pytest.mark.parametrize("silent", [True, False])
def test_a_silent_counter_or_a_held_reading_takes_the_yes_away(silent):
    """Of the pump itself and of those counted on; one that counts for nothing takes nothing away."""
    doubt = CounterDoubt(pump="u2", silent=silent, since_at=AT - 30 * H)
    answer = ask(doubts=[doubt])
    assert answer.code is OpeningCode.NOT_KNOWN
    assert words(answer)[0] == (
        "Not known: VP2 is silent since Sun 28 Feb 02:00." if silent else "Not known: a reading of VP2 is held."
    )
    assert "As reckoned 20 would be left" in words(answer)[1]
    out = Outage(pump="u2", from_at=AT - H, to_at=None, counts_for=Swept(0.0), reason="down")
    assert ask(doubts=[doubt], outages=[out]).doubts == ()


def test_where_somebody_is_in_it_nothing_else_is_said():
    """Open since 44 minutes ago, two locks: go there. For a time to come capacity is answered."""
    work = WorkInHand(job_key="knives:k1:1", open_since_at=AT - timedelta(minutes=44), locks=2)
    answer = ask(work=work, vacuum_kpa=1.0)
    assert words(answer) == (
        "VP1 is open since 07:16, two personal locks on the box.",
        "Go on in the job VP1 knife inspection, or see there who is on the locks.",
    )
    assert ask(AT + 2 * H, work=work).code is OpeningCode.HOLDS


def test_a_pump_that_is_out_is_not_counted_on_whatever_was_expected():
    """Expected back in an hour, asked for tomorrow: it is still out."""
    out = Outage(pump="u2", from_at=AT - H, to_at=None, counts_for=Swept(0.0), reason="down", expected_at=AT + H)
    assert ask(AT + 24 * H, outages=[out]).code is OpeningCode.SHORT
    own = Outage(pump="u1", from_at=AT - H, to_at=None, counts_for=Swept(0.0), reason="down")
    answer = ask(outages=[own], vacuum_kpa=40.0)
    assert (answer.code, answer.takes_nothing) == (OpeningCode.HOLDS, True)
    assert "VP1 counts for nothing already" in words(answer)[1]


def test_a_lower_minimum_agreed_counts_for_what_it_covers_whole():
    """Agreed at 60 from 8:30 to 10:30: 40 more are over only in between, to the minute."""
    agreed = Concession(
        from_at=AT + H / 2, to_at=AT + 2.5 * H, minimum=Swept(60.0), chief="Demo chief", hotel="Demo hotel"
    )
    spans = ask(concessions=[agreed]).stretches
    assert [(one.from_at, one.margin_litres_per_h) for one in spans] == [
        (AT, 20_000),
        (AT + H / 2, 60_000),
        (AT + 2.5 * H, 20_000),
    ]


def test_hours_of_the_minimum_are_the_ships_also_after_its_clock_changes():
    """Half an hour ahead from noon on: busy hours begin at 16:30 UTC."""
    clock = ShipOffset(0, [(AT + 4 * H, 30)])
    assert ask(hours=9, blocks=(BUSY,), offset_minutes=clock).until_at == AT + 8.5 * H


@given(
    st.integers(0, 60),
    st.integers(1, 12),
    st.lists(st.tuples(st.sampled_from(["u2", "u3"]), st.integers(0, 60), st.integers(1, 30)), max_size=4),
    st.integers(60, 130),
)
def test_it_says_no_exactly_where_the_gate_of_the_work_does(start, hours, planned, minimum):
    """At whole hours the least margin is that of `check_outage`, so a yes here is never refused there, nor a no let through."""
    outages = [
        Outage(pump=pump, from_at=AT + a * H, to_at=AT + (a + n) * H, counts_for=Swept(0.0), reason="planned")
        for pump, a, n in planned
    ]
    ship = plant(minimum_swept_m3_per_h=float(minimum))
    answer = may_open(ship, outages, "u1", at=AT + start * H, now_at=AT, hours=hours, offset_minutes=0, whole=WHOLE)
    gate = check_outage(
        ship, outages, "u1", at=AT + start * H, hours=hours, offset_minutes=0, whole=WHOLE, look_ahead_days=14
    )
    assert answer.least_litres_per_h == gate.least_margin_litres_per_h
    assert (answer.code is OpeningCode.SHORT) == (gate.least_margin_litres_per_h < 0)
    if gate.least_margin_litres_per_h < 0:
        found = answer.next_hold
        assert (None if found is None else found.from_at) == next((a for a, _ in gate.holds), None)


def test_stretches_touch_and_differ():
    """From end to end without a gap, and none like the one before."""
    spans = open_stretches(plant(), (), None, from_at=AT, to_at=AT + 50 * H, offset_minutes=0)
    assert (spans[0].from_at, spans[-1].to_at) == (AT, AT + 50 * H)
    for one, after in itertools.pairwise(spans):
        assert one.to_at == after.from_at
        assert (one.margin_litres_per_h, one.label) != (after.margin_litres_per_h, after.label)
