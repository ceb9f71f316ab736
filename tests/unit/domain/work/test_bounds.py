"""Rules of the work at their bounds: the minute an act happens, one condition of two, the one lock that is left."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.isolation import POINTS, IsolationPoint, PointRole, off_order
from scheduler.domain.work.acts import (
    AnyStep,
    GasChecked,
    GasPlace,
    MadeReady,
    MeasureAccepted,
    Note,
    Noted,
    NoVoltage,
    Opened,
    OtherHand,
    PeopleClear,
    PeopleWarned,
    PermitClosed,
    PermitIssued,
    PersonalLockOn,
    Returned,
    Rinsed,
    StartedLocally,
    StartTried,
    Struck,
    TagPlaced,
    TagRemoved,
    TagTakenOver,
    Tested,
    VacuumLetOut,
)
from scheduler.domain.work.against import Against, BelowMinimum, Procedure
from scheduler.domain.work.closing import measures_left, skipped
from scheduler.domain.work.late import late_objections
from scheduler.domain.work.rules import close_objections, objections, stop_reasons
from scheduler.domain.work.state import UNENDED, Counts, WorkState, replay
from scheduler.domain.work.testing import BAND_KPA, serves_as_periodic
from tests.acts import OFF, PROVED, Act, back, isolated, opened, tagged
from tests.unit.domain.plants import plant
from tests.unit.domain.work.test_opening import AT, SHIP, told
from tests.unit.domain.work.test_order import strike

MINUTE = timedelta(minutes=1)
LATER = AT + 120 * MINUTE
ONE = "A. Second"


def _codes(
    work: WorkState, step: AnyStep, procedure: Procedure = SHIP, below: BelowMinimum | None = None
) -> set[Against]:
    return {one.code for one in objections(work, step, procedure, below_minimum=below)}


def _work(*acts: Act) -> WorkState:
    return replay(told(acts))


def _off_but(*left: str) -> list[Act]:
    """Opened, closed up, and every lock off but those."""
    off = [("tag removed", {"point": point}) for point in OFF if point not in left]
    return [
        *opened(),
        (20, "people clear", {}),
        (21, "personal lock off", {}),
        *((22, kind, more) for kind, more in off),
    ]


# --- the order of locks ---


def test_the_suction_comes_off_last_whatever_number_it_has():
    """The others as the sheet numbers them, else as it lists them."""
    points = (
        IsolationPoint(name="suction", role=PointRole.SUCTION, off=0),
        IsolationPoint(name="second", off=2),
        IsolationPoint(name="first", off=1),
        IsolationPoint(name="second too", off=2),
    )
    assert off_order(points) == ("first", "second", "second too", "suction")


# --- people clear, at tag-off ---


def test_no_lock_comes_off_before_people_are_clear():
    """Open: refused. Clear at that minute: not any more. Never opened: nobody is in it."""
    off = TagRemoved(at=LATER, by=ONE, point=OFF[0])
    open_now = [*opened(), (13, "personal lock off", {})]
    assert _codes(_work(*open_now), off) == {Against.NOT_CLEAR}
    assert _codes(_work(*open_now, (120, "people clear", {})), off) == set()
    assert _codes(_work(*isolated(), (11, "personal lock off", {})), off) == set()


def test_no_lock_comes_off_while_nobody_knows_whether_the_pump_is_open():
    """An opening that was struck leaves it not known, until people are said to be clear."""
    acts = told([*opened(), (13, "personal lock off", {})])
    number = next(n for n, step in enumerate(acts, 1) if isinstance(step, Opened))
    struck = [*acts, Struck(at=AT + 14 * MINUTE, by=ONE, number=number)]
    off = TagRemoved(at=LATER, by=ONE, point=OFF[0])
    assert _codes(replay(struck), off) == {Against.NOT_CLEAR}
    assert _codes(replay([*struck, PeopleClear(at=AT + 15 * MINUTE, by=ONE)]), off) == set()


def test_opened_again_people_are_not_clear_any_more():
    """What was said before the pump was opened again is of before."""
    again = [*opened(), (13, "people clear", {}), (14, "opened", {}), (15, "personal lock off", {})]
    assert _codes(_work(*again), TagRemoved(at=LATER, by=ONE, point=OFF[0])) == {Against.NOT_CLEAR}


# --- reliefs ---


def test_who_relieves_hangs_an_own_lock():
    """Not the number that hangs there."""
    for lock, found in (("L20", set()), ("L6", {Against.LOCK_TWICE})):
        step = TagTakenOver(at=LATER, by="B. Third", point="suction valve", lock_no=lock, tag_no="T-20")
        assert _codes(_work(*opened()), step) == found


@pytest.mark.parametrize(("by", "left"), [(ONE, "B. Third"), ("B. Third", ONE)])
def test_of_two_locks_at_a_point_everybody_takes_the_own_one(by, left):
    """Whoever comes first; the point stays locked."""
    relief = TagTakenOver(at=AT + 20 * MINUTE, by="B. Third", point="suction valve", lock_no="L20", tag_no="T-20")
    off = TagRemoved(at=AT + 21 * MINUTE, by=by, point="suction valve")
    work = replay([*told(opened()), relief, off])
    assert [tag.placed_by for tag in work.hanging if tag.point == "suction valve"] == [left]


# --- permits ---


@pytest.mark.parametrize(("seconds", "holds"), [(-1, False), (0, True), (60, True), (61, False)])
def test_a_permit_holds_from_its_first_to_its_last_second(seconds, holds):
    """Valid for a minute."""
    work = replay([PermitIssued(at=AT, by=ONE, number="CW-1", valid_to=AT + MINUTE)])
    assert (work.permit_at(AT + timedelta(seconds=seconds)) is not None) is holds


@pytest.mark.parametrize(("seconds", "holds"), [(0, True), (1, False)])
def test_a_permit_without_an_end_holds_for_a_day(seconds, holds):
    """Common practice, no source."""
    work = replay([PermitIssued(at=AT, by=ONE, number="CW-1")])
    assert timedelta(days=1) == UNENDED
    assert (work.permit_at(AT + timedelta(days=1, seconds=seconds)) is not None) is holds


@pytest.mark.parametrize(("seconds", "found"), [(0, {Against.NOT_VALID}), (1, set())])
def test_a_permit_ends_after_it_was_issued(seconds, found):
    """One that ends at that second is none."""
    step = PermitIssued(at=AT, by=ONE, number="CW-1", valid_to=AT + timedelta(seconds=seconds))
    assert _codes(replay([]), step) == found


@pytest.mark.parametrize(
    ("other", "found"),
    [
        (None, {Against.TAG_HANGS, Against.PERSONAL_LOCKS_HANG}),
        ({"number": "CW-8"}, set()),
        ({"number": "CW-8", "valid_to": LATER - MINUTE}, {Against.TAG_HANGS, Against.PERSONAL_LOCKS_HANG}),
    ],
)
def test_a_permit_is_handed_back_with_locks_hanging_only_for_another_that_holds(other, found):
    """One that ran out a minute ago is none."""
    acts = [*opened(), *([(13, "permit issued", other)] if other else [])]
    assert _codes(_work(*acts), PermitClosed(at=LATER, by=ONE, number="CW-7")) == found


def test_a_permit_issued_at_the_minute_of_a_failure_or_a_relief_is_of_after_it():
    """A minute before it is of before."""
    failed = [*opened(), *back(at=20), (60, "tested", {"result": "failed"})]
    lock = TagPlaced(at=LATER, by=ONE, **tagged("supply breaker"))
    relief = (60, "tag taken over", {"point": "suction valve", "lock_no": "L20", "tag_no": "T-20"})
    for acts, code in ((failed, Against.PERMIT_BEFORE_FAILURE), ([*opened(), relief], Against.PERMIT_BEFORE_RELIEF)):
        for minute, stands in ((59, True), (60, False)):
            renewed = [*acts, (minute, "permit issued", {"number": "CW-8"})]
            assert (code in _codes(_work(*renewed), lock)) is stands


@pytest.mark.parametrize("struck", [False, True])
def test_work_stops_for_its_permit_where_the_pump_is_open_or_may_be(struck):
    """Not where it is closed, and known to be."""
    acts = told(opened())
    entries = [*acts, Struck(at=AT + 13 * MINUTE, by=ONE, number=len(acts))] if struck else acts
    after = AT + timedelta(days=1, minutes=1)
    assert Against.NO_PERMIT in {one.code for one in stop_reasons(replay(entries), after, SHIP)}
    assert stop_reasons(_work(*isolated()), after, SHIP) == []


# --- below the minimum ---

BELOW = BelowMinimum(hours=3, lacking_m3_per_h=20.0, label="full ship", at=AT)


def test_below_the_minimum_the_first_lock_is_refused_and_a_second_is_not_asked():
    """The first takes the pump out; with a reason of the chief engineer's it may hang all the same."""
    first, second = TagPlaced(at=LATER, by=ONE, **tagged("supply breaker")), tagged("suction valve")
    ready = _work(*isolated()[:4])
    assert _codes(ready, first, below=BELOW) == {Against.BELOW_MINIMUM}
    assert _codes(ready, first) == set()
    assert _codes(ready, replace(first, override="leak, must be shut"), below=BELOW) == set()
    hanging = _work(*isolated()[:5])
    assert _codes(hanging, TagPlaced(at=LATER, by=ONE, **second), below=BELOW) == set()


@pytest.mark.parametrize(
    ("acts", "asked"),
    [
        ([], True),
        (isolated(), False),
        ([(0, "tested", {"result": "failed"})], False),
    ],
)
def test_opening_a_pump_that_nothing_isolates_is_asked_of_the_minimum(acts, asked):
    """With a lock on it, or counting for nothing already, opening takes nothing away."""
    assert (Against.BELOW_MINIMUM in _codes(_work(*acts), Opened(at=LATER, by=ONE), below=BELOW)) is asked


# --- before the first lock ---


@pytest.mark.parametrize(
    ("seen", "names", "lacks"), [(True, "bridge", False), (False, "bridge", True), (True, " ", True)]
)
def test_ready_is_the_stand_by_seen_and_people_told(seen, names, lacks):
    """Either that lacks is named."""
    found = _codes(replay([]), MadeReady(at=AT, by=ONE, standby_seen=seen, told=names))
    assert (Against.STANDBY_NOT_SEEN in found) is lacks


def test_a_lock_asks_for_the_stand_by_seen_not_only_told_of():
    """Told that it runs, nobody saw it."""
    acts = [(m, k, {**more, "standby_seen": False} if k == "made ready" else more) for m, k, more in isolated()[:4]]
    assert _codes(_work(*acts), TagPlaced(at=LATER, by=ONE, **tagged("supply breaker"))) == {Against.STANDBY_NOT_SEEN}


@pytest.mark.parametrize(("box", "found"), [("4", set()), ("5", {Against.TWO_BOXES}), ("", set())])
def test_all_keys_of_a_pump_lie_in_one_box(box, found):
    """One of which the box is not told is no second box."""
    step = TagPlaced(at=LATER, by=ONE, **{**tagged("suction valve"), "box_no": box})
    assert _codes(_work(*isolated()[:5]), step) == found


@pytest.mark.parametrize("same", ["lock_no", "tag_no"])
def test_neither_a_lock_nor_a_tag_hangs_at_two_points(same):
    """The number of either that hangs elsewhere is enough."""
    step = TagPlaced(at=LATER, by=ONE, **{**tagged("suction valve"), same: tagged("supply breaker")[same]})
    assert _codes(_work(*isolated()[:5]), step) == {Against.LOCK_TWICE}


# --- proofs ---

TWO = Procedure(points=(*POINTS, IsolationPoint(name="second breaker", role=PointRole.SUPPLY)))


def test_a_start_is_tried_with_every_breaker_locked_and_the_control_alive():
    """One of two breakers is not enough; nor is a supply that is off, or locked."""
    tried = StartTried(at=LATER, by=ONE, control_alive=True)
    acts = isolated()[:5]
    assert _codes(_work(*acts), tried) == set()
    assert _codes(_work(*acts), tried, TWO) == {Against.BREAKER_NOT_LOCKED}
    assert _codes(_work(*acts), replace(tried, control_alive=False)) == {Against.CONTROL_OFF}
    locked = [*acts, (6, "tag placed", tagged("control and heater supply"))]
    assert _codes(_work(*locked), tried) == {Against.CONTROL_OFF}


def test_voltage_is_read_and_vacuum_let_out_with_every_point_of_theirs_locked():
    """The breaker alone is not enough for the one, a valve that is free too much for the other."""
    read = NoVoltage(at=LATER, by=ONE, all_phases=True, meter="V-1", meter_proved_before=True, meter_proved_after=True)
    out = VacuumLetOut(at=LATER, by=ONE, gauge_stays_at_zero=True, drained=True)
    assert _codes(_work(*isolated()), read) == _codes(_work(*isolated()), out) == set()
    assert _codes(_work(*isolated()[:5]), read) == {Against.POINT_NOT_LOCKED}
    assert _codes(_work(*isolated()[:5]), out) == {Against.VALVES_NOT_LOCKED}


@pytest.mark.parametrize("minute", [5, 7])
def test_a_proof_told_after_a_lock_of_its_own_minute_stands(minute):
    """Within a minute the order is that of telling. A start tried as the control supply is locked proves nothing."""
    acts = [(minute if kind == "start tried" else at, kind, more) for at, kind, more in opened()[:-1]]
    found = _codes(_work(*acts), Opened(at=AT + 12 * MINUTE, by=ONE))
    assert found == ({Against.CONTROL_OFF} if minute == 7 else set())


@pytest.mark.parametrize(("minute", "found"), [(8, {Against.NO_GAS_CHECK}), (9, set())])
def test_gas_read_at_the_minute_the_vacuum_was_let_out_counts(minute, found):
    """A minute before it does not."""
    acts = [(minute if more.get("place") == "slackened cover" else at, kind, more) for at, kind, more in opened()[:-1]]
    assert _codes(_work(*acts), Opened(at=AT + 12 * MINUTE, by=ONE)) == found


def test_the_permit_that_names_a_point_that_passes_is_open():
    """One that was handed back names nothing any more."""
    passes = (10, "point passes", {"point": "suction valve", "instead": "selector to OFF"})
    named = (1, "permit issued", {"number": "CW-8", "passing": ("suction valve",)})
    acts = [named, *opened()[:-1], passes]
    step = Opened(at=AT + 12 * MINUTE, by=ONE)
    assert _codes(_work(*acts), step) == set()
    assert _codes(_work(*acts, (11, "permit closed", {"number": "CW-8"})), step) == {Against.NOT_ON_PERMIT}


# --- back in use ---


def test_a_pump_with_a_lock_on_it_is_not_in_use_whatever_was_said():
    """Nor one of which nobody knows whether a lock hangs."""
    said = Returned(at=LATER, by=ONE)
    for acts in (
        told(_off_but("suction valve")),
        [*told(isolated()[:5]), Struck(at=AT + 6 * MINUTE, by=ONE, number=5)],
    ):
        work = replay([*acts, said])
        assert (work.counts, work.returned_at) == (Counts.NOTHING, None)
    assert replay([*told(_off_but()), said]).counts is Counts.PROVISIONAL


def test_a_pump_is_proved_only_after_it_was_returned():
    """A test passed before proves nothing; of a pump that was never out it is a test."""
    passed = Tested(at=LATER, by=ONE, result=Test.PASSED)
    assert replay([*told(_off_but()), passed]).counts is Counts.NOTHING
    assert replay([*told(_off_but()), Returned(at=LATER, by=ONE), passed]).counts is Counts.FULL
    assert replay([passed]).test is Test.PASSED
    for result, found in ((Test.PASSED, {Against.NOT_RETURNED}), (Test.FAILED, set())):
        assert _codes(_work(*_off_but()), replace(passed, result=result)) == found


def test_what_was_told_before_another_lock_is_not_of_what_comes_after():
    """Told and started with one lock left, then a second one: both again once all are off."""
    acts = told(_off_but("suction valve"))
    early = [PeopleWarned(at=AT + 30 * MINUTE, by=ONE, names="bridge"), StartedLocally(at=AT + 31 * MINUTE, by=ONE)]
    hung = TagPlaced(at=AT + 32 * MINUTE, by=ONE, **tagged("discharge valve"))
    off = [TagRemoved(at=AT + 33 * MINUTE, by=ONE, point=point) for point in ("discharge valve", "suction valve")]
    back_now = Returned(at=LATER, by=ONE)
    assert _codes(replay([*acts, *early, off[1]]), back_now) == set()
    assert _codes(replay([*acts, *early, hung, *off]), back_now) == {Against.NOBODY_TOLD, Against.NOT_STARTED_LOCALLY}


@pytest.mark.parametrize("tested", [False, True])
def test_a_round_ends_with_the_return_or_with_a_test(tested):
    """What is rinsed after either is rinsed for a new one: nothing proved before counts."""
    ended = [*opened(), *back(at=20), *([(60, "tested", PROVED)] if tested else [])]
    assert _work(*ended).start_tried is not None
    assert replay([*told(ended), Rinsed(at=LATER, by=ONE)]).start_tried is None
    assert replay([*told(opened()), Rinsed(at=LATER, by=ONE)]).start_tried is not None


def test_a_job_is_closed_with_its_pump_back_and_its_permit_closed():
    """Each that lacks is named by itself."""
    off = _off_but()
    closed = (23, "permit closed", {"number": "CW-7"})
    assert [one.code for one in close_objections(_work(*off, closed))] == [Against.NOT_RETURNED]
    returned = [*opened(), *back(at=20)]
    assert [one.code for one in close_objections(_work(*returned))] == [Against.PERMIT_OPEN]
    assert close_objections(_work(*returned, (30, "permit closed", {"number": "CW-7"}))) == []


# --- told late ---


def _late(step: AnyStep, *acts: Act, also: tuple[AnyStep, ...] = ()) -> list[tuple[Any, Any]]:
    found = late_objections([*told(acts), *also], step, SHIP)
    return [(one.facts["act"], one.facts["codes"]) for one in found]


@pytest.mark.parametrize(("minute", "found"), [(11, [("opened", ("no personal lock",))]), (12, []), (13, [])])
def test_an_act_told_late_takes_ground_only_from_what_came_after_its_minute(minute, found):
    """The pump was opened at 12."""
    off = told([(minute, "personal lock off", {})])[0]
    assert _late(off, *opened()) == found


def test_only_what_rests_on_it_and_was_not_struck_is_looked_at_again():
    """A second lock at a point does not matter to a lock told for later; a struck opening rests on nothing."""
    lock = TagPlaced(at=AT + 4 * MINUTE, by=ONE, **{**tagged("supply breaker"), "lock_no": "L77", "tag_no": "T-77"})
    assert [act for act, _ in _late(lock, *isolated()[:5])] == []
    off = told([(11, "personal lock off", {})])[0]
    struck = Struck(at=AT + 13 * MINUTE, by=ONE, number=len(opened()))
    assert _late(off, *opened(), also=(struck,)) == []


def test_only_what_the_late_act_adds_counts():
    """Opened with a permit that lacked already: the personal lock alone is told."""
    without = [act for act in opened() if act[1] != "permit issued"]
    assert _late(told([(11, "personal lock off", {})])[0], *without) == [("opened", ("no personal lock",))]


# --- struck ---


def test_what_somebody_decided_stays():
    """A lock below the minimum, and one taken off by another hand, are not struck; without that they are."""
    plain = TagPlaced(at=AT, by=ONE, **tagged("supply breaker"))
    assert strike([plain], 1) == []
    assert strike([replace(plain, override="must be shut")], 1) == [Against.STAYS]
    off = TagRemoved(at=AT, by=ONE, point="supply breaker")
    hand = OtherHand(reason="signed off", approved_by="A. Chief", absence_checked=True, contact_tried=True)
    assert strike([off], 1) == []
    assert strike([replace(off, other_hand=hand)], 1) == [Against.STAYS]


# --- measures, and the test after the work ---


@pytest.mark.parametrize(("value", "out"), [(0.09, True), (0.1, False), (0.5, False), (0.51, True)])
def test_a_measure_at_its_limit_is_within_it(value, out):
    """At either end."""
    assert Noted(at=AT, by=ONE, about=Note.MEASURE, name="gap", value=value, low=0.1, high=0.5).out_of_limit is out


@pytest.mark.parametrize(("minutes", "left"), [(-1, 1), (0, 0), (1, 0)])
def test_a_measure_accepted_at_its_own_minute_is_accepted(minutes, left):
    """One accepted before is not: that was of an older figure."""
    out = Noted(at=AT, by=ONE, about=Note.MEASURE, name="gap", value=0.9, low=0.1, high=0.5)
    accepted = MeasureAccepted(at=AT + minutes * MINUTE, by="A. Chief", name="gap", reason="set on order")
    assert len(measures_left(replay([out, accepted]))) == left


def test_without_any_lock_the_lock_is_named_where_the_sheet_has_no_points():
    """Of a sheet without points something is locked all the same; of one with points each is named."""
    bare = Procedure(points=())
    assert "tag placed" in [one.act for one in skipped([], bare, (), takes_pump_out=True)]
    one = told(isolated()[:5])
    assert "tag placed" not in [one.act for one in skipped(one, bare, (), takes_pump_out=True)]
    assert "tag placed" in [one.act for one in skipped(one, SHIP, (), takes_pump_out=True)]


@pytest.mark.parametrize(
    ("change", "serves"),
    [
        ({}, True),
        ({"from_vacuum_kpa": 35.0 + BAND_KPA}, True),
        ({"from_vacuum_kpa": 35.0 + BAND_KPA + 0.01}, False),
        ({"to_vacuum_kpa": 50.0 - BAND_KPA}, True),
        ({"to_vacuum_kpa": 50.0 - BAND_KPA - 0.01}, False),
        ({"quiet_hour": False}, False),
        ({"others_stopped": None}, False),
        ({"pull_down_seconds": 61.0}, False),
    ],
)
def test_a_pull_down_serves_as_the_periodic_one_over_the_plants_own_band_quiet_and_alone(change, serves):
    """35 to 50 kPa below atmosphere, each end to half a kPa. Common practice, no source."""
    test = Tested(at=AT, by=ONE, **{**PROVED, "from_vacuum_kpa": 35.0, "to_vacuum_kpa": 50.0, "result": Test.PASSED})
    assert serves_as_periodic(plant(), replay([replace(test, **change)])) is serves


def test_the_personal_lock_of_who_opens_it_hangs():
    """Somebody else's does not serve."""
    other = [act for act in opened()[:-1] if act[1] != "personal lock on"]
    steps = [*told(other), PersonalLockOn(at=AT + 10 * MINUTE, by="B. Third", lock_no="P-2")]
    assert _codes(replay(steps), Opened(at=AT + 12 * MINUTE, by=ONE)) == {Against.NO_PERSONAL_LOCK}


def test_gas_in_the_room_is_no_gas_at_the_cover():
    """The newest reading counts, wherever it was taken."""
    room = GasChecked(
        at=AT + 11 * MINUTE,
        by=ONE,
        place=GasPlace.ROOM,
        oxygen_percent=20.9,
        lel_percent=0.0,
        h2s_ppm=0.0,
        meter="G-2",
        bump_tested=True,
    )
    assert _codes(replay([*told(opened()[:-1]), room]), Opened(at=AT + 12 * MINUTE, by=ONE)) == {Against.NOT_AT_COVER}
