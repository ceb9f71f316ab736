"""Locks off, running, relief, striking and closing: what contradicts the state is refused, what is skipped is named."""

from datetime import timedelta

import pytest

from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.isolation import POINTS
from scheduler.domain.vessel.sheets import MeasureAsked, Phase, SheetStep
from scheduler.domain.work.acts import (
    MeasureAccepted,
    Note,
    Noted,
    PeopleClear,
    PersonalLockOff,
    PersonalLockOn,
    Returned,
    StartedLocally,
    Struck,
    TagPlaced,
    TagRemoved,
    TagTakenOver,
)
from scheduler.domain.work.against import Against, Procedure, from_plain, to_plain
from scheduler.domain.work.closing import ASKED, measures_left, skipped
from scheduler.domain.work.rules import objections, stop_reasons
from scheduler.domain.work.state import Counts, replay
from scheduler.domain.work.striking import STRIKE_WITHIN, strike_objections
from scheduler.wording.work import against_words
from tests.acts import OFF, PROVED, back, opened
from tests.unit.domain.work.test_opening import AT, SHIP, told

LATER = AT + timedelta(hours=2)


def codes(acts, step, procedure=SHIP):
    return {one.code for one in objections(replay(told(acts)), step, procedure)}


def test_locks_come_off_one_by_one_in_the_sheets_order_the_suction_last():
    """In the order each goes; any other first is refused with what comes before it."""
    acts = [*opened(), (20, "people clear", {}), (21, "personal lock off", {})]
    for n, point in enumerate(OFF):
        for other in OFF[n + 1 :]:
            step = TagRemoved(at=LATER, by="A. Second", point=other)
            assert codes(acts, step) == {Against.NOT_ITS_TURN}, other
        assert codes(acts, TagRemoved(at=LATER, by="A. Second", point=point)) == set()
        acts = [*acts, (22 + n, "tag removed", {"point": point})]


def test_no_lock_comes_off_while_people_or_personal_locks_are_there():
    """Open and not clear; clear with a personal lock on the box; by another hand."""
    first = TagRemoved(at=LATER, by="A. Second", point=OFF[0])
    assert codes(opened(), first) == {Against.NOT_CLEAR, Against.PERSONAL_LOCKS_HANG}
    clear = [*opened(), (20, "people clear", {})]
    assert codes(clear, first) == {Against.PERSONAL_LOCKS_HANG}
    off = [*clear, (21, "personal lock off", {})]
    assert codes(off, TagRemoved(at=LATER, by="B. Fitter", point=OFF[0])) == {Against.OTHER_HAND}


@pytest.mark.parametrize("step", [StartedLocally(at=LATER, by="A"), Returned(at=LATER, by="A")])
def test_nothing_runs_under_a_lock(step):
    """Neither the local start nor AUTO, while any lock or personal lock hangs."""
    assert Against.TAG_HANGS in codes(opened(), step)


def test_auto_comes_after_people_were_told_and_the_local_start():
    """Told first, then started locally and watched, then AUTO."""
    acts = back(at=20)
    off = [*opened(), *acts[:8]]
    assert codes(off, Returned(at=LATER, by="A")) == {Against.NOBODY_TOLD, Against.NOT_STARTED_LOCALLY}
    assert codes([*off, acts[8]], Returned(at=LATER, by="A")) == {Against.NOT_STARTED_LOCALLY}
    assert codes([*off, *acts[8:10]], Returned(at=LATER, by="A")) == set()


def test_a_step_of_the_sheet_that_contradicts_the_state_is_refused():
    """Each place of the work: before isolating, isolated, open, closed up, back; and an act is never a tick."""
    sheet = tuple(SheetStep(text=phase.value, when=phase) for phase in Phase)
    act = SheetStep(text="rinse", when=Phase.BEFORE, act="rinsed")
    procedure = Procedure(points=POINTS, sheet=(*sheet, act))
    reached = {
        "nothing": [],
        "isolated": opened()[:-2],
        "open": opened(),
        "closed": [*opened(), (20, "people clear", {})],
        "back": [*opened(), *back(at=20)],
    }
    goes = {
        "nothing": {Phase.BEFORE},
        "isolated": {Phase.ISOLATED},
        "open": {Phase.ISOLATED, Phase.OPEN},
        "closed": {Phase.ISOLATED, Phase.CLOSED},
        "back": {Phase.BEFORE, Phase.CLOSED, Phase.BACK},
    }
    for name, acts in reached.items():
        for phase in Phase:
            note = Noted(at=LATER, by="A", about=Note.STEP, name=phase.value)
            assert (codes(acts, note, procedure) == set()) == (phase in goes[name]), (name, phase)
    tick = objections(replay([]), Noted(at=AT, by="A", about=Note.STEP, name="rinse"), procedure)
    assert [(one.code, one.impossible) for one in tick] == [(Against.BY_ITS_ACT, True)]


def test_work_stops_when_the_permit_runs_out_or_the_gas_reading_is_old():
    """To the minute; only while the pump is open."""
    acts = [
        (m, k, {**g, "valid_to": AT + timedelta(minutes=40)} if k == "permit issued" else g) for m, k, g in opened()
    ]
    work = replay(told(acts))

    def at(minute):
        return {one.code for one in stop_reasons(work, AT + timedelta(minutes=minute), SHIP)}

    assert at(40) == set()
    assert at(41) == {Against.NO_PERMIT}
    assert at(42) == {Against.NO_PERMIT, Against.GAS_OLD}
    closed = replay(told([*acts, (20, "people clear", {})]))
    assert stop_reasons(closed, LATER, SHIP) == []


def test_a_relief_hangs_a_lock_before_the_leavers_comes_off():
    """The leaver's comes off while the pump stays isolated and open; the permit is issued anew; nobody relieves oneself."""
    own = TagTakenOver(at=LATER, by="A. Second", point="suction valve", lock_no="L20", tag_no="T-20")
    assert codes(opened(), own) == {Against.RELIEVES_NOBODY}
    leaver_off = TagRemoved(at=LATER, by="A. Second", point="suction valve")
    assert Against.NOT_CLEAR in codes(opened(), leaver_off)
    steps = told(opened())
    relief = TagTakenOver(
        at=AT + timedelta(minutes=20), by="B. Third", point="suction valve", lock_no="L20", tag_no="T-20"
    )
    work = replay([*steps, relief])
    assert objections(work, leaver_off, SHIP) == []
    after = replay([*steps, relief, TagRemoved(at=AT + timedelta(minutes=21), by="A. Second", point="suction valve")])
    assert after.locked("suction valve")
    assert [tag.placed_by for tag in after.hanging if tag.point == "suction valve"] == ["B. Third"]
    again = PeopleClear(at=AT + timedelta(minutes=22), by="B. Third")
    reopened = replay([*steps, relief, again])
    opening = objections(reopened, told([(25, "opened", {})])[0], SHIP)
    assert Against.PERMIT_BEFORE_RELIEF in {one.code for one in opening}


def test_a_contractor_stands_on_the_permit_before_a_personal_lock_is_hung():
    """Company named on the permit: taken; else refused."""
    lock = PersonalLockOn(at=LATER, by="C. Fitter", lock_no="P-9", company="Demo Pumps")
    assert codes(opened(), lock) == {Against.COMPANY_NOT_ON_PERMIT}
    named = [(m, k, {**g, "company": "demo  pumps"} if k == "permit issued" else g) for m, k, g in opened()]
    assert codes(named, lock) == set()
    assert codes(opened(), PersonalLockOff(at=LATER, by="C. Fitter")) == {Against.NO_PERSONAL_LOCK}


def test_a_test_slower_than_its_limit_leaves_the_pump_provisional_and_both_stay():
    """At the limit it passes, above it does not; the failed and the later good one both stay."""
    run = [*opened(), *back(at=20)]
    slow = (60, "tested", {**PROVED, "pull_down_seconds": 61})
    assert codes(run, told([slow])[0]) == {Against.SLOWER}
    assert codes(run, told([(60, "tested", {**PROVED, "pull_down_seconds": 60})])[0]) == set()
    work = replay(told([*run, slow]))
    assert (work.counts, work.test) == (Counts.PROVISIONAL, Test.NONE)
    both = replay(told([*run, slow, (90, "tested", PROVED)]))
    assert both.counts is Counts.FULL
    assert [one.pull_down_seconds for one in both.tests] == [61, 45]


def test_after_a_failed_test_the_next_lock_asks_for_a_new_permit():
    """The permit of before the failure does not serve the second round."""
    failed = [*opened(), *back(at=20), (60, "tested", {"result": "failed"})]
    lock = TagPlaced(at=LATER, by="A", point="supply breaker", lock_no="L1", tag_no="T1")
    assert Against.PERMIT_BEFORE_FAILURE in codes(failed, lock)
    renewed = [*failed, (70, "permit issued", {"number": "CW-8"})]
    assert Against.PERMIT_BEFORE_FAILURE not in codes(renewed, lock)


def test_a_measure_out_of_its_limits_is_accepted_with_a_reason_and_never_above_the_nameplate():
    """Only the newest figure, only when out, with a reason; above nameplate nobody; the failed figure stays."""
    wide = Noted(at=AT, by="A", about=Note.MEASURE, name="gap", value=0.9, low=0.1, high=0.5, unit="mm")
    assert [one.code for one in measures_left(replay([wide]))] == [Against.OUT_OF_LIMIT]
    accept = MeasureAccepted(at=LATER, by="Chief", name="gap", reason="set on order")
    assert objections(replay([wide]), accept, SHIP) == []
    assert measures_left(replay([wide, accept])) == []
    good = Noted(at=AT + timedelta(minutes=5), by="A", about=Note.MEASURE, name="gap", value=0.5, low=0.1, high=0.5)
    assert measures_left(replay([wide, good])) == []
    assert [one.value for one in replay([wide, good]).measures] == [0.9, 0.5]
    assert codes([], MeasureAccepted(at=LATER, by="Chief", name="gap", reason="x")) == {Against.NO_MEASURE}
    plate = Procedure(nameplate=frozenset({"gap"}))
    assert {one.code for one in objections(replay([wide]), accept, plate)} == {Against.NAMEPLATE}
    worse = Noted(at=LATER + timedelta(hours=1), by="A", about=Note.MEASURE, name="gap", value=1.0, low=0.1, high=0.5)
    assert measures_left(replay([wide, accept, worse])) != []


def strike(entries, number, *, by="A. Second", minutes=5, flagged=frozenset(), recorded="A. Second"):
    known = range(1, len(entries) + 1)
    return [
        one.code
        for one in strike_objections(
            entries,
            Struck(at=LATER, by=by, number=number),
            recorded_at=dict.fromkeys(known, AT),
            recorded_by=dict.fromkeys(known, recorded),
            flagged=flagged,
            by=by,
            now=AT + timedelta(minutes=minutes),
            within=STRIKE_WITHIN,
        )
    ]


def test_only_the_newest_entry_is_struck_within_ten_minutes_by_who_recorded_it():
    """Ten minutes hold, eleven do not; nobody else's; not one before it; never a permit, a decision or a flag."""
    steps = told(opened())
    newest = len(steps)
    assert strike(steps, newest) == []
    assert strike(steps, newest, minutes=10) == []
    assert strike(steps, newest, minutes=11) == [Against.TOO_LATE]
    assert strike(steps, newest, by="B. Third") == [Against.NOT_THE_NEWEST]
    assert strike(steps, newest - 1) == [Against.NOT_THE_NEWEST]
    assert strike(steps, newest, flagged=frozenset({newest})) == [Against.STAYS]
    assert strike(steps[:1], 1) == [Against.STAYS]
    assert strike(steps, 99) == [Against.NOTHING_TO_STRIKE]
    gone = [*steps, Struck(at=LATER, by="A. Second", number=newest)]
    assert strike(gone, newest) == [Against.NOTHING_TO_STRIKE]


def test_a_struck_lock_is_not_known_and_counts_for_nothing():
    """It is neither locked nor off: no opening, no running, until somebody looked and said which."""
    steps = told(opened()[:5])
    work = replay([*steps, Struck(at=LATER, by="A. Second", number=5)])
    assert work.not_known == {"supply breaker"}
    assert work.counts is Counts.NOTHING
    assert not work.locked("supply breaker")
    for step in (Returned(at=LATER, by="A"), told([(60, "opened", {})])[0]):
        assert Against.POINT_NOT_KNOWN in {one.code for one in objections(work, step, SHIP)}
    looked = [*steps, Struck(at=LATER, by="A. Second", number=5)]
    off = TagRemoved(at=LATER, by="A. Second", point="supply breaker")
    assert objections(replay(looked), off, SHIP) == []
    assert replay([*looked, off]).not_known == frozenset()


def test_a_removal_that_was_struck_leaves_the_lock_hanging_and_not_known():
    """The pump does not run on an undo."""
    steps = told([*opened(), *back(at=20)[:3]])
    work = replay([*steps, Struck(at=LATER, by="A. Second", number=len(steps))])
    assert OFF[0] in work.not_known
    assert any(tag.point == OFF[0] for tag in work.hanging)


def test_what_was_never_recorded_is_named_in_the_order_of_the_work():
    """Nothing recorded: all of it; all recorded: nothing; one point left out: that point."""
    asked = (MeasureAsked(name="gap"),)
    procedure = Procedure(points=POINTS, sheet=(SheetStep(text="look", when=Phase.OPEN),))
    nothing = skipped([], procedure, asked, takes_pump_out=True)
    assert [one.act for one in nothing] == [*ASKED, "step", "measure"]
    whole = told(
        [
            *opened(),
            (13, "noted", {"about": "step", "name": "look"}),
            (14, "noted", {"about": "measure", "name": "gap", "value": 0.2}),
            *back(at=20),
            (60, "tested", PROVED),
        ]
    )
    assert skipped(whole, procedure, asked, takes_pump_out=True) == []
    one_less = [step for step in whole if not (isinstance(step, TagPlaced) and step.point == "suction valve")]
    assert [(one.act, one.names) for one in skipped(one_less, procedure, asked, takes_pump_out=True)] == [
        ("tag placed", ("suction valve",))
    ]
    struck = [*whole, Struck(at=LATER, by="A", number=len(whole))]
    assert [one.act for one in skipped(struck, procedure, asked, takes_pump_out=True)] == ["tested"]
    assert [one.act for one in skipped([], procedure, asked, takes_pump_out=False)] == ["step", "measure"]


def test_every_fact_goes_into_a_record_and_comes_out_the_same():
    """Code and figures survive JSON, and its words are whole sentences without an id or UTC in them."""
    for acts in ([], opened()[:6], opened()):
        for one in objections(replay(told(acts)), told([(200, "opened", {})])[0], SHIP):
            again = from_plain(to_plain(one))
            assert again.code is one.code
            assert dict(again.facts) == dict(one.facts)
            words = against_words(again)
            assert words.endswith(".")
            assert "UTC" not in words
