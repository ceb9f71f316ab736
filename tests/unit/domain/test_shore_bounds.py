"""Ship and office at the bounds: when a line is looked at, what the office may ask, how long is waited, which rows are raised."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from scheduler.domain.shore.asking import EFFECTS, OPEN_STATES, Effect, RequestKind, RequestState, foreign_members
from scheduler.domain.shore.line_state import LineStatus, ShoreState, of_line
from scheduler.domain.shore.merge_patch import json_depth, merge_patch_between
from scheduler.domain.shore.pace import fewer_bytes, more_bytes, wait_after
from scheduler.domain.shore.taking import raised_rows

AT = datetime(2026, 11, 30, 12, tzinfo=UTC)
DAY = timedelta(days=1)
SECOND = timedelta(seconds=1)


def line(state: ShoreState, *, joining: bool = False, **more: Any) -> LineStatus:
    """A line that was joined ten days ago."""
    given = {"reached_at": None, "tried_at": None, "since_at": None, "oldest_at": None, **more}
    return LineStatus(
        vessel_id="plover",
        address="https://office.example",
        state=state,
        joining=joining,
        waits=0,
        joined_at=AT - 10 * DAY,
        life="a",
        number=3,
        acknowledged=3,
        **given,
    )


@pytest.mark.parametrize("state", [ShoreState.NEW, ShoreState.REACHED, ShoreState.AWAY])
def test_an_office_not_reached_for_more_than_a_day_is_a_note(state: ShoreState) -> None:
    """Since it was last reached, or since joining where it never was; just a day is nothing to look at."""
    assert of_line(line(state, reached_at=AT - DAY), "Plover", AT) is None
    found = of_line(line(state, reached_at=AT - DAY - SECOND), "Plover", AT)
    assert found is not None
    assert (found.note, found.since_at) == (True, AT - DAY - SECOND)
    never = of_line(line(state), "Plover", AT)
    assert never is not None
    assert never.since_at == AT - 10 * DAY


@pytest.mark.parametrize("state", [ShoreState.KEY, ShoreState.PARTED, ShoreState.REFUSED])
def test_what_waits_for_a_person_is_looked_at_at_once(state: ShoreState) -> None:
    """And is more than a note; since it waits, or else since the office was reached."""
    for since_at, said in ((AT - SECOND, AT - SECOND), (None, AT - 2 * SECOND)):
        found = of_line(line(state, reached_at=AT - 2 * SECOND, since_at=since_at), "Plover", AT)
        assert found is not None
        assert (found.note, found.since_at) == (False, said)


def test_a_ship_that_is_joining_is_looked_at_whatever_came_of_the_last_post() -> None:
    """Until a person has said how it goes on."""
    found = of_line(line(ShoreState.REACHED, joining=True, reached_at=AT, since_at=AT - DAY), "Plover", AT)
    assert found is not None
    assert (found.note, found.since_at) == (False, AT - DAY)


def test_what_is_done_by_hand_aboard_is_never_asked_from_ashore() -> None:
    """Steps of the work, closing, tests, readings and signatures; a changed document waits for the chief engineer; all else
    takes effect when it is read aboard."""
    by_effect = {effect: {kind for kind in RequestKind if EFFECTS[kind] is effect} for effect in Effect}
    assert by_effect[Effect.NEVER] == {
        RequestKind.TAKE_STEP,
        RequestKind.CLOSE_JOB,
        RequestKind.RECORD_TEST,
        RequestKind.GIVE_READINGS,
        RequestKind.SIGN_ABOARD,
    }
    assert by_effect[Effect.AFTER_CHIEF] == {RequestKind.CHANGE_DOCUMENT}
    assert {RequestState.TAKEN, RequestState.WAITING} == OPEN_STATES


@pytest.mark.parametrize(
    ("at", "foreign"),
    [
        ("plants/plover-plant/job_kinds", False),
        ("plants/plover-plant/crew/hands", False),
        ("plants/plover-plant/minimum_blocks/0", False),
        ("plants/plover-plant/pumps", True),
        ("plants/plover-plant/counters/0", True),
        ("plants/plover-plant", True),
        ("plants", True),
        ("crew/of/crew", True),
        ("name", True),
    ],
)
def test_the_office_asks_for_kinds_minimum_and_crew_of_a_plant_alone(at: str, foreign: bool) -> None:
    """What is set up aboard is named; a whole member may be asked for as well as what stands in it."""
    assert foreign_members([{"at": at}]) == ([at] if foreign else [])


@pytest.mark.parametrize(
    ("failures", "asked", "chance", "seconds"),
    [
        (1, None, 1.0, 1.0),
        (1, None, 0.0, 0.5),
        (2, None, 1.0, 2.0),
        (9, None, 1.0, 256.0),
        (10, None, 1.0, 300.0),
        (10**6, None, 1.0, 300.0),
        (10, 100.0, 1.0, 300.0),
        (1, 60.0, 0.0, 60.0),
        (1, 60.0, 1.0, 66.0),
        (1, 3600.0, 0.0, 3600.0),
        (1, 3601.0, 0.0, 3600.0),
    ],
)
def test_a_wait_doubles_up_to_five_minutes_and_is_never_shorter_than_asked(
    failures: int, asked: float | None, chance: float, seconds: float
) -> None:
    """What the office asks counts up to an hour; chance spreads ships, by half of their own wait and a tenth of what was asked."""
    assert wait_after(failures, asked, chance) == pytest.approx(seconds)


def test_a_post_doubles_and_halves_within_its_bounds() -> None:
    """4 kB to 3 MB."""
    assert [more_bytes(size) for size in (32_000, 1_500_000, 1_500_001)] == [64_000, 3_000_000, 3_000_000]
    assert [fewer_bytes(size) for size in (32_000, 8_000, 7_999)] == [16_000, 4_000, 4_000]


def test_a_post_grows_in_small_steps_only_where_twice_as_much_did_not_come_through() -> None:
    """Up to the size that failed and no further; never above what the office takes."""
    sizes = [
        (15_999, 32_000),
        (16_000, 32_000),
        (31_999, 32_000),
        (32_000, 32_000),
        (16_000, None),
        (2_999_999, 3_000_000),
    ]
    assert [more_bytes(*one) for one in sizes] == [31_998, 20_000, 35_999, 64_000, 32_000, 3_000_000]


@pytest.mark.parametrize(
    ("failures", "seconds"), [(1, 1.0), (4, 1.0), (5, 2.0), (8, 2.0), (9, 4.0), (36, 256.0), (37, 300.0)]
)
def test_a_link_that_breaks_off_is_tried_again_soon_and_not_for_ever(failures: int, seconds: float) -> None:
    """Four cuts count as one failure; what the office asks for counts all the same."""
    assert wait_after(failures, None, 1.0, cut=True) == pytest.approx(seconds)
    assert wait_after(failures, 600.0, 0.0, cut=True) == pytest.approx(600.0)


def test_rows_are_raised_by_the_steps_after_their_own_in_order() -> None:
    """Not by the step of the ship that wrote them, nor by one before it; a step may make several rows of one, or none."""

    def adds(letter: str) -> Any:
        return lambda table, act, values: [(table, act, {"said": values["said"] + letter})]

    raisers = {"0003": adds("c"), "0001": adds("a"), "0002": adds("b"), "0004": lambda *row: [row, row]}
    row = ("job", "put", {"said": ""})
    assert raised_rows([row], "0001", raisers) == [("job", "put", {"said": "bc"})] * 2
    assert raised_rows([row], "0004", raisers) == [row]
    assert raised_rows([row], "0003", {"0004": lambda *_: []}) == []


def test_a_value_that_python_finds_equal_is_another_in_json() -> None:
    """True is not 1, nor is either in a list or an object; numbers are as they are."""
    was = {"a": 1, "b": [1], "c": {"d": 0}, "e": 2}
    now = {"a": True, "b": [True], "c": {"d": False}, "e": 2}
    assert merge_patch_between(was, now) == {"a": True, "b": [True], "c": {"d": False}}


def test_depth_is_counted_to_one_beyond_the_most() -> None:
    """A bare value has none; a list and an object one each; what is far too deep is not walked to its end."""
    assert [json_depth(value, 2) for value in (1, [1], [{"a": 1}], [[[1]]], [[[[[[1]]]]]])] == [0, 1, 2, 3, 3]
