"""What presses a plant most, in which order plants are listed, and for whom something waits."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import Role
from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.feed.summary import (
    RANKS_OF_A_TROUBLE,
    SHOWN,
    MarginPiece,
    OpenTo,
    PlantSummary,
    Trouble,
    Waiting,
    first_below,
    least_piece,
    waits_for,
)
from scheduler.domain.people.persons import Person

AT = datetime(2026, 10, 20, 7, tzinfo=UTC)
HOUR = timedelta(hours=1)
CALM = PlantSummary(from_at=AT, turns_at=AT + HOUR)

counts = st.sampled_from((0, 1, 2, 998, 999, 1000, 5000))
summaries = st.builds(
    PlantSummary,
    from_at=st.just(AT),
    turns_at=st.just(AT + HOUR),
    past_limit=counts,
    past_due=counts,
    not_known=counts,
    window_open=counts,
    postponed=counts,
    no_plan=st.booleans(),
    below_at=st.sampled_from((None, AT, AT + SHOWN)),
)


def test_what_presses_most_comes_first() -> None:
    """Short within 28 days, past limit, short later, past due, last time not known, no plan, window open, postponed, nothing: each
    before all after it."""
    worst_first = (
        replace(CALM, below_at=AT + timedelta(days=28) - HOUR),
        replace(CALM, past_limit=1, below_at=AT + SHOWN),
        replace(CALM, below_at=AT + SHOWN, past_due=5),
        replace(CALM, past_due=2, not_known=9),
        replace(CALM, past_due=1, window_open=4),
        replace(CALM, past_due=1, window_open=3),
        replace(CALM, not_known=1, no_plan=True),
        replace(CALM, no_plan=True, window_open=7),
        replace(CALM, window_open=1, postponed=3),
        replace(CALM, postponed=1),
        CALM,
    )
    assert [one.trouble for one in (*worst_first[:4], *worst_first[6:])] == list(Trouble)[1:]
    assert all(one.rank < other.rank for one, other in pairwise(worst_first))


@given(summaries, summaries)
def test_a_rank_sorts_as_its_parts(one: PlantSummary, other: PlantSummary) -> None:
    """By trouble, then the more past limit, past due and in their window; more than 999 count as 999; its trouble is read off it."""

    def parts(summary: PlantSummary) -> tuple[int, ...]:
        many = (summary.past_limit, summary.past_due, summary.window_open)
        return (summary.trouble, *(-min(count, 999) for count in many))

    assert (one.rank < other.rank) is (parts(one) < parts(other))
    assert one.rank // RANKS_OF_A_TROUBLE == one.trouble
    assert 0 <= one.rank < 2**53


def test_a_stretch_counts_until_it_is_over() -> None:
    """Up to its last moment the first below and the least; exactly at its end not any more. At the minimum is not below it."""
    pieces = [
        MarginPiece(AT, AT + HOUR, 9, 10),
        MarginPiece(AT + HOUR, AT + 2 * HOUR, 10, 10),
        MarginPiece(AT + 2 * HOUR, AT + 3 * HOUR, 30, 10),
        MarginPiece(AT + 3 * HOUR, AT + 4 * HOUR, 10, 10),
    ]
    last = AT + HOUR - timedelta(microseconds=1)
    assert first_below(pieces, last) is least_piece(pieces, last) is pieces[0]
    assert first_below(pieces, AT + HOUR) is None
    assert least_piece(pieces, AT + HOUR) is pieces[1]
    assert least_piece(pieces, AT + 2 * HOUR) is pieces[3]
    assert least_piece(pieces, AT + 4 * HOUR) is None


def waiting(code: MatterCode, number: int, *open_to: OpenTo) -> Waiting:
    """A matter of that code and number."""
    return Waiting(matter=Matter(code=code, vessel_id="v", plant_id="p", number=number), open_to=open_to)


ASKER = Person("a", "A. Asker")
OTHER = Person("o", "O. Other")


@pytest.mark.parametrize(
    ("role", "person", "waits"),
    [
        (Role.CHIEF, OTHER, True),
        (Role.CHIEF, ASKER, False),
        (Role.CHIEF, Person("b", "A. Asker, chief engineer"), False),
        (Role.MASTER, ASKER, True),
        (Role.ENGINEER, OTHER, False),
    ],
)
def test_a_matter_waits_for_who_may_and_did_not_ask(role: Role, person: Person, waits: bool) -> None:
    """By role, and by person for that role; the same name is the same person."""
    one = waiting(MatterCode.POSTPONEMENT, 1, OpenTo(Role.CHIEF, (ASKER,)), OpenTo(Role.MASTER))
    assert waits_for([one], role, person) == ((one,) if waits else ())


def test_what_waits_is_listed_by_code_and_number_with_non_conformities_in_one() -> None:
    """The oldest of those that wait for this person stands for all of them; of other codes each stands for itself."""
    mine, not_mine = OpenTo(Role.CHIEF), OpenTo(Role.CHIEF, (OTHER,))
    given = [
        waiting(MatterCode.NON_CONFORMITY_ANSWERED, 5, mine),
        waiting(MatterCode.NON_CONFORMITY_ANSWERED, 3, not_mine),
        waiting(MatterCode.NON_CONFORMITY, 9, mine),
        waiting(MatterCode.NON_CONFORMITY, 7, mine),
        waiting(MatterCode.POSTPONEMENT, 2, mine),
        waiting(MatterCode.POSTPONEMENT, 1, mine),
    ]
    found = [(one.matter.code, one.matter.number, one.matter.count) for one in waits_for(given, Role.CHIEF, OTHER)]
    assert found == [
        (MatterCode.POSTPONEMENT, 1, 1),
        (MatterCode.POSTPONEMENT, 2, 1),
        (MatterCode.NON_CONFORMITY, 7, 2),
        (MatterCode.NON_CONFORMITY_ANSWERED, 5, 1),
    ]


def test_those_to_be_closed_are_gathered_too() -> None:
    """Answered ones in one, the oldest's; beside them those to be answered, in one of their own."""
    mine = OpenTo(Role.CHIEF)
    given = [
        waiting(code, number, mine)
        for code in (MatterCode.NON_CONFORMITY_ANSWERED, MatterCode.NON_CONFORMITY)
        for number in (6, 4, 5)
    ]
    found = [(one.matter.code, one.matter.number, one.matter.count) for one in waits_for(given, Role.CHIEF, OTHER)]
    assert found == [(MatterCode.NON_CONFORMITY, 4, 3), (MatterCode.NON_CONFORMITY_ANSWERED, 4, 3)]


def test_the_ships_clock_is_that_of_the_instant() -> None:
    """Before a change as before it, from it on as after it."""
    there = replace(CALM, clock_first=60, clock_changes=((AT, 120), (AT + HOUR, -300)))
    for at, minutes in ((AT - HOUR, 60), (AT, 120), (AT + HOUR - timedelta(seconds=1), 120), (AT + HOUR, -300)):
        clock = there.clock(at)
        assert int(clock) == minutes
        assert clock.at(AT + HOUR) == -300
