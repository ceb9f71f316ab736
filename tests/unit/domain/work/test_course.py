"""The course of the work: one act comes next, in the order of the work, and nothing that is missing is passed over unseen."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.isolation import PointRole
from scheduler.domain.vessel.sheets import MeasureAsked, Phase, SheetStep
from scheduler.domain.work.acts import AnyStep, Note, Noted, Returned, StartedLocally, Tested
from scheduler.domain.work.against import Against
from scheduler.domain.work.course import CourseAct, Stand, WorkAct, course, isolation_order, measures_asked, next_act
from scheduler.domain.work.numbering import box_of, number_after, proposed_numbers
from scheduler.domain.work.rules import objections
from scheduler.domain.work.state import replay
from tests.acts import GOOD_GAS, OFF, Act, back, isolated, opened, tagged
from tests.unit.domain.work.test_opening import AT, SHIP, told

MINUTE = timedelta(minutes=1)
STEPS = ("cover off", "cloth out", "measure", "cover on")
KNIFE = replace(
    SHIP,
    sheet=tuple(SheetStep(text=one, when=Phase.OPEN) for one in STEPS),
    nameplate=frozenset({"motor current"}),
)
GAP = MeasureAsked(name="gap", unit="mm", high=0.5)
CURRENT = MeasureAsked(name="motor current", unit="A", high=12.0, nameplate=True)


def acts_of(*acts: Act) -> list[AnyStep]:
    return told(acts)


def at_end(entries: Sequence[AnyStep]) -> CourseAct:
    """What comes next at the instant of the last entry."""
    last = max((one.at for one in entries), default=AT)
    return next_act(course(entries, KNIFE, last))


def note(minutes: int, name: str, about: str = "step", **more: object) -> Act:
    return minutes, "noted", {"about": about, "name": name, **more}


def test_each_act_is_asked_for_when_those_before_it_are_done() -> None:
    """From nothing to the close: every act of the whole job is next once, in the order of the work."""
    every = [*opened(), *(note(20 + n, one) for n, one in enumerate(STEPS)), *back()]
    seen = [at_end(acts_of(*every[:n])).act for n in range(len(every) + 1)]
    order = list(dict.fromkeys(seen))
    assert order == [
        WorkAct.READY,
        WorkAct.ROOM_GAS,
        WorkAct.RINSED,
        WorkAct.LOCKED,
        WorkAct.START_TRIED,
        WorkAct.NO_VOLTAGE,
        WorkAct.VACUUM_OUT,
        WorkAct.ON_BOX,
        WorkAct.COVER_GAS,
        WorkAct.OPENED,
        WorkAct.STEP,
        WorkAct.CLEAR,
        WorkAct.OFF_BOX,
        WorkAct.UNLOCKED,
        WorkAct.LOCAL_START,
        WorkAct.AUTO,
        WorkAct.CLOSE,
    ]


def test_exactly_one_act_comes_next_and_what_is_behind_it_is_done() -> None:
    """At every stage of a whole job; what was never recorded stands as passed over."""
    every = acts_of(*opened(), *back())
    for n in range(len(every) + 1):
        acts = course(every[:n], KNIFE, every[n - 1].at if n else AT)
        following = [i for i, one in enumerate(acts) if one.stand is Stand.NEXT]
        assert len(following) == 1
        behind = {one.stand for one in acts[: following[0]]}
        assert behind <= {Stand.DONE, Stand.PASSED_OVER}
        assert Stand.PASSED_OVER not in behind or n > len(opened())
    over = [one.name for one in acts if one.stand is Stand.PASSED_OVER]
    assert over == list(STEPS)


def test_the_start_is_tried_before_the_control_supply_is_locked_and_voltage_read_after() -> None:
    """The points in three parts: the supply breaker; selector and control supply; the rest. Not fitted is not asked."""
    first, electric, rest = isolation_order(SHIP, ("blank flange",))
    assert first == ("supply breaker",)
    assert set(electric) == {"selector to OFF", "control and heater supply"}
    assert rest[-1] == "blank flange"
    fewer = replace(SHIP, points=tuple(one for one in SHIP.points if one.role is not PointRole.FLUSHING))
    assert "flushing or seal water" not in isolation_order(fewer)[2]


@pytest.mark.parametrize(("minutes", "again"), [(30, False), (31, True)])
def test_gas_older_than_the_ship_allows_is_asked_for_again_while_the_pump_is_open(minutes: int, again: bool) -> None:
    """At its last minute it holds; a minute on, nothing else comes next until it is read again."""
    entries = acts_of(*opened())
    following = next_act(course(entries, KNIFE, AT + (11 + minutes) * MINUTE))
    assert (following.act is WorkAct.COVER_GAS, following.again) == (again, again)
    [read] = acts_of((11 + minutes, "gas checked", {"place": "slackened cover", **GOOD_GAS}))
    assert next_act(course([*entries, read], KNIFE, read.at)).act is WorkAct.STEP


def test_a_permit_that_ended_comes_before_everything_on_the_open_pump() -> None:
    """It is asked for anew, before the gas, and the work goes on where it was."""
    entries = acts_of(*opened())
    late = AT + timedelta(days=2)
    following = next_act(course(entries, KNIFE, late))
    assert (following.act, following.again) == (WorkAct.READY, True)


def test_gas_out_of_its_limits_is_read_again_before_anything_else() -> None:
    """In the room and at the cover: the bad reading stays, and no next act takes its place."""
    bad = {**GOOD_GAS, "h2s_ppm": 11}
    room = acts_of(*isolated()[:2], (2, "gas checked", {"place": "room", **bad}))
    assert at_end(room).act is WorkAct.ROOM_GAS
    cover = acts_of(*isolated(), (11, "gas checked", {"place": "slackened cover", **bad}))
    assert at_end(cover).act is WorkAct.COVER_GAS


def test_what_a_struck_entry_leaves_is_asked_for_again() -> None:
    """A tag struck: its point comes next, whatever was done after the same instant."""
    entries = acts_of(*isolated()[:5])
    assert at_end(entries).act is WorkAct.START_TRIED
    struck = [*entries, *acts_of((6, "entry struck", {"number": 5}))]
    assert (at_end(struck).act, at_end(struck).name) == (WorkAct.LOCKED, "supply breaker")


def test_a_proof_made_before_its_point_was_locked_is_asked_for_again() -> None:
    """A valve locked after the gauge was looked at: the gauge is looked at again."""
    entries = acts_of(
        *[one for one in isolated() if one[2].get("point") != "suction valve"],
        (12, "tag placed", tagged("suction valve")),
    )
    assert at_end(entries).act is WorkAct.VACUUM_OUT


def test_after_a_failed_test_everything_is_asked_for_anew() -> None:
    """A new permit first; steps ticked before the failure are asked again."""
    every = acts_of(*opened(), *(note(20, one) for one in STEPS), *back())
    failed = [*every, Tested(at=AT + 60 * MINUTE, by="A. Second", result=Test.FAILED)]
    assert at_end(failed).act is WorkAct.READY
    again = [*failed, *acts_of(*opened("CW-8", at=70))]
    assert (at_end(again).act, at_end(again).name) == (WorkAct.STEP, STEPS[0])


@pytest.mark.parametrize(("ampere", "act"), [(12.0, WorkAct.AUTO), (12.01, WorkAct.LOCAL_START)])
def test_a_current_above_the_nameplate_keeps_the_pump_out_of_auto(ampere: float, act: WorkAct) -> None:
    """At the limit it goes on; above it the local start is asked for again, and AUTO is objected to until a better figure."""
    first = [*acts_of(*opened(), *back()[:-1])]
    read = Noted(
        at=AT + 54 * MINUTE, by="A. Second", about=Note.MEASURE, name="motor current", value=ampere, unit="A", high=12.0
    )
    entries = [*first, read]
    assert at_end(entries).act is act
    returned = Returned(at=AT + 55 * MINUTE, by="A. Second")
    codes = {one.code for one in objections(replay(entries), returned, KNIFE)}
    assert (Against.NAMEPLATE in codes) is (act is WorkAct.LOCAL_START)
    better = replace(read, at=AT + 56 * MINUTE, value=11.0)
    started = StartedLocally(at=better.at, by="A. Second", no_leak=True, turns_right=True)
    assert at_end([*entries, started, better]).act is WorkAct.AUTO


def test_figures_are_asked_from_the_step_before_the_last_on_and_the_current_at_the_local_start() -> None:
    """Not before; one that was taken is not asked again; what the nameplate limits is asked at each local start."""

    def asked(*more: Act) -> set[str]:
        entries = acts_of(*opened(), *more)
        acts = course(entries, KNIFE, max(one.at for one in entries))
        return {one.name for one in measures_asked(acts, entries, (GAP, CURRENT))}

    assert asked() == asked(note(13, STEPS[0])) == set()
    two = [note(13, STEPS[0]), note(14, STEPS[1])]
    assert asked(*two) == {"gap"}
    taken = note(15, "gap", "measure", value=0.3)
    assert asked(*two, taken) == set()
    assert asked(*two, note(15, STEPS[2])) == {"gap"}
    ended = back(at=30)[: 2 + len(OFF)]
    assert asked(*two, *ended) == {"gap", "motor current"}
    assert asked(*two, taken, *ended) == {"motor current"}


def test_numbers_follow_those_hung_last_and_never_one_that_hangs() -> None:
    """By the box for the first; from the last time out of that box where it is known; empty where nothing is."""
    hanging = replay(acts_of(*isolated()[:5])).hanging
    assert proposed_numbers("suction valve", "", (), {}) == ("", "")
    assert proposed_numbers("suction valve", "L4", (), {}) == ("L4-1", "L4-1")
    assert proposed_numbers("suction valve", "4", hanging, {}) == ("L2", "T-2")
    assert proposed_numbers("suction valve", "4", hanging, {"suction valve": ("L1", "T-6")}) == ("L2", "T-6")
    assert number_after("T-99") == "T-100"


def test_the_box_is_that_of_the_locks_else_the_one_noted() -> None:
    """A struck note says nothing."""
    noted = acts_of(note(3, "lock box", "other", text="L4"))
    assert box_of(replay(noted), noted) == "L4"
    hung = [*noted, *acts_of(*isolated()[:5])]
    assert box_of(replay(hung), hung) == "4"
    struck = [*noted, *acts_of((4, "entry struck", {"number": 1}))]
    assert box_of(replay(struck), struck) == ""
