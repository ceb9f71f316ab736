"""A slot is moved by hand: tried, refused with the times that hold or set, pinned from then on, and taken back."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from sqlmodel import select

from scheduler.actions.base.pending import plans_asked
from scheduler.actions.plan import planning
from scheduler.actions.plan.trial import planned_start
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.domain.base.enums import Role
from scheduler.domain.record.verify import Verified, verify_lines
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import plan_to_text, problem_to_text
from scheduler.planning.problem.values import Plan, Problem
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.storage.plan import SlotRow
from seed_fleet.ships import AVOCET, PLOVER
from tests.api.stage import AT, Stage, stamp
from tests.unit.planning.test_moving import pair

PLANT = "/api/v1/plants/plover-plant"
MOVES = f"{PLANT}/plan/moves"


def plan_again(stage: Stage) -> StoredPlan:
    """The plan proposed, worked out in this process."""
    return planning.bring_up(stage.context, PLOVER.vessel, "plover-plant", stagger)[0]


def quick_plan(stage: Stage) -> StoredPlan:
    """As `plan_again`, by the plain rule."""
    return planning.bring_up(stage.context, PLOVER.vessel, "plover-plant", greedy_plan)[0]


def plan_aboard(stage: Stage) -> dict[str, Any]:
    """The plan proposed and taken."""
    digest = quick_plan(stage).digest
    took = stage.ask("POST", f"{PLANT}/plan", json={"digest": digest})
    assert took.status_code == 200, took.text
    return aboard(stage)


def aboard(stage: Stage) -> dict[str, Any]:
    """The plan aboard as the door tells it."""
    found: dict[str, Any] = stage.ask("GET", f"{PLANT}/plan").json()["taken"]
    return found


def starts(plan: dict[str, Any]) -> dict[str, str]:
    """Start of each slot by job."""
    return {slot["job"]: slot["from"] for slot in plan["slots"]}


def tried(stage: Stage, key: str, at: datetime | str) -> Any:
    """The preview of a start."""
    text = at if isinstance(at, str) else stamp(at)
    return stage.ask("GET", f"{PLANT}/plan/slots/{key}/times", params={"start_at": text})


def set_(stage: Stage, key: str, at: datetime | str, version: int | None, **more: Any) -> Any:
    """The move itself."""
    headers = {} if version is None else {"If-Match": f'"{version}"'}
    body = {"job": key, "start_at": at if isinstance(at, str) else stamp(at), "reason": "port call moved"}
    return stage.ask("POST", MOVES, json=body, headers=headers, **more)


def start_of(plan: dict[str, Any], kind: str) -> tuple[str, datetime]:
    """First slot of a kind: its job, and when it starts."""
    slot = next(slot for slot in plan["slots"] if slot["job"].startswith(kind))
    return slot["job"], datetime.fromisoformat(slot["from"])


@pytest.mark.long
def test_a_slot_is_moved_its_event_with_it_and_planning_again_leaves_it_there(fresh: Stage) -> None:
    """The version of the plan that was looked at has to be sent. The rest stays; the move is on record and the history
    verifies; a new plan is asked for and moves nothing."""
    assert "No plan is taken" in tried(fresh, "alarm_test:plover-plant:1", AT + timedelta(days=1)).json()["detail"]
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "pull_down_test")
    at = start + timedelta(days=3)
    shown = tried(fresh, key, at).json()
    assert (shown["holds"], shown["against"], shown["version"]) == (True, [], plan["version"])
    assert (shown["from"], shown["start_at"], shown["along"]) == (stamp(start), stamp(at), [])
    assert set_(fresh, key, at, None).status_code == 428
    stale = set_(fresh, key, at, plan["version"] - 1)
    assert (stale.status_code, stale.json()["version"]) == (412, plan["version"])
    done = set_(fresh, key, at, shown["version"])
    assert done.status_code == 201, done.text
    told = done.json()
    assert done.headers["etag"] == f'"{told["version"]}"'
    after = aboard(fresh)
    assert starts(after) == {**starts(plan), key: stamp(at)}
    assert (after["digest"], after["version"]) == (told["plan"], told["version"])
    assert (after["lawful"], after["certificate"]["proven"], after["certificate"]["by"]) == (True, False, "hand")
    by_hand = {slot["job"]: slot["set_by_hand_by"] for slot in after["slots"] if slot["set_by_hand_by"]}
    assert by_hand == {key: "Demo engineer, engineer"}
    assert "Set by hand by Demo engineer, engineer" in after["certificate"]["remarks"][0]
    assert fresh.ask("GET", f"{PLANT}/plan").json()["proposed"] is None
    with fresh.context.db.read() as session:
        assert plans_asked(session) == [(PLOVER.vessel, "plover-plant")]
        pinned = select(SlotRow.job_key).where(SlotRow.plan_id == _id(fresh), SlotRow.pinned)
        assert list(session.exec(pinned)).count(key) == 1
    again = plan_again(fresh)
    assert again.digest != after["digest"]
    assert {key: stamp(times[0]) for key, times in again.times().items()} == starts(after)
    assert planning.slot_differences(plant_state(fresh.context, PLOVER.vessel, "plover-plant")) == ()
    address = fresh.ask("POST", "/api/v1/feeds", json={"vessel": PLOVER.vessel}).json()["address"]
    assert f"DTSTART:{at:%Y%m%dT%H%M%SZ}" in fresh.client.get(urlsplit(address).path).text
    history = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    assert "slot moved" in history
    assert isinstance(verify_lines(history.splitlines(keepends=True)), Verified)


def _id(stage: Stage) -> str:
    now = plant_state(stage.context, PLOVER.vessel, "plover-plant")
    assert now.taken is not None
    assert judge(now.taken.problem, now.taken.plan).lawful
    return now.taken.id


@pytest.mark.long
def test_what_does_not_hold_is_refused_with_what_stands_against_it_and_the_times_that_hold(fresh: Stage) -> None:
    """With another pump down the minimum would break; the door says what remains, and each time it offers is taken."""
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "knife_inspection")
    down = {"at": stamp(AT - timedelta(days=14)), "reason": "seal leaks"}  # so long that no return is assumed any more
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/down", json=down).status_code == 200
    at = start + timedelta(days=2)
    shown = tried(fresh, key, at).json()
    assert not shown["holds"]
    assert shown["against"][0].startswith("With VP1 open ")
    assert "below the minimum" in shown["against"][0]
    assert shown["against"][0].endswith("VP2 is down or not proved.")
    assert shown["times"] == []
    refused = set_(fresh, key, at, shown["version"])
    assert refused.status_code == 409
    assert refused.json()["against"] == shown["against"]
    test, due = start_of(plan, "standby_start")
    late = set_(fresh, test, due + timedelta(days=2), shown["version"])
    assert late.status_code == 409
    assert "Ask for a postponement first." in late.json()["detail"]
    offered = late.json()["times_that_hold"]
    assert stamp(due) in [one["start_at"] for one in offered if one["as_planned"]]
    for one in offered:
        assert tried(fresh, test, one["start_at"]).json()["holds"]
    assert starts(aboard(fresh)) == starts(plan)


@pytest.mark.long
def test_a_pin_that_can_no_longer_hold_is_told_with_who_set_it(fresh: Stage) -> None:
    """It is not moved: the new plan has a shortfall that names the move; moved by hand again, it has a place."""
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "knife_inspection")
    assert set_(fresh, key, start + timedelta(days=1), plan["version"]).status_code == 201
    why = fresh.ask("GET", f"{PLANT}/plan/why/{key}").json()
    assert (
        why["reasons"][-1]
        == "It was set there by hand, by Demo engineer, engineer (move 1): planning again leaves it there."
    )
    fresh.ask("POST", "/api/v1/pumps/plover-pump-b/down", json={"at": stamp(AT), "reason": "seal leaks"})
    plan = plan_aboard(fresh)
    says = next(short["says"] for short in plan["shortfalls"] if short["job"] == key)
    assert "by hand, by Demo engineer, engineer (move 1): move it, or undo the move." in says
    back = {"at": stamp(AT), "test": "passed", "reason": "seal changed"}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/back", json=back).status_code == 200
    assert tried(fresh, key, start).json()["from"] is None
    assert set_(fresh, key, start, plan["version"]).status_code == 201
    assert starts(aboard(fresh))[key] == stamp(start)
    gone = fresh.ask("POST", f"{MOVES}/2/undo")
    assert gone.status_code == 200, gone.text
    assert key not in starts(aboard(fresh))
    assert key in [short["job"] for short in aboard(fresh)["shortfalls"]]


@pytest.mark.long
def test_a_move_is_undone_by_a_record_of_its_own_and_an_older_one_counts_again(fresh: Stage) -> None:
    """The newest of a job only, once; the slot goes back where it was, the older pin with it, then none is left."""
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "pull_down_test")
    first, second = start + timedelta(days=3), start + timedelta(hours=5)
    done = set_(fresh, key, first, plan["version"], once="a").json()
    assert set_(fresh, key, first, plan["version"], once="a").json() == done
    assert "set there already" in set_(fresh, key, first, done["version"]).json()["detail"]
    assert set_(fresh, key, second, done["version"]).status_code == 201
    listed = fresh.ask("GET", MOVES).json()["moves"]
    assert [(one["move"], one["can_undo"]) for one in listed] == [(2, True), (1, False)]
    assert (listed[0]["from_at"], listed[0]["to_at"], listed[0]["by"]) == (
        stamp(first),
        stamp(second),
        "Demo engineer, engineer",
    )
    early = fresh.ask("POST", f"{MOVES}/1/undo")
    assert early.status_code == 409
    assert "Undo that one first" in early.json()["detail"]
    undone = fresh.ask("POST", f"{MOVES}/2/undo")
    assert undone.status_code == 200, undone.text
    assert undone.json()["undoes_record"] == listed[0]["record"]
    assert starts(aboard(fresh))[key] == stamp(first)
    assert plant_state(fresh.context, PLOVER.vessel, "plover-plant").pins[key].move == 1
    assert fresh.ask("POST", f"{MOVES}/2/undo").status_code == 409
    assert fresh.ask("POST", f"{MOVES}/1/undo").status_code == 200
    assert starts(aboard(fresh)) == starts(plan)
    assert plant_state(fresh.context, PLOVER.vessel, "plover-plant").pins == {}
    assert [one["undone_by"] for one in fresh.ask("GET", MOVES).json()["moves"]] == ["Demo engineer, engineer"] * 2
    again = plan_again(fresh)
    assert {key: stamp(times[0]) for key, times in again.times().items()} == starts(plan)
    history = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    for words in ("slot moved", "slot move undone"):
        assert sum(words in line for line in history.splitlines()) == 2
    assert isinstance(verify_lines(history.splitlines(keepends=True)), Verified)


@pytest.mark.long
def test_a_plan_made_while_a_slot_was_moved_is_made_again(fresh: Stage) -> None:
    """What the planner was given before the move is not proposed after it: it starts over, with the pin."""
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "pull_down_test")
    fresh.clock.at = AT + timedelta(hours=1)
    asked: list[Problem] = []

    def moved_meanwhile(problem: Problem) -> Plan:
        asked.append(problem)
        if len(asked) == 1:
            assert set_(fresh, key, start + timedelta(days=3), plan["version"]).status_code == 201
        return greedy_plan(problem)

    made, held = planning.bring_up(fresh.context, PLOVER.vessel, "plover-plant", moved_meanwhile)
    assert not held
    assert made.times()[key][0] == start + timedelta(days=3)
    with fresh.context.db.read() as session:
        assert plans_asked(session) == []


@pytest.mark.long
def test_what_has_begun_stays(fresh: Stage) -> None:
    """With a permit out, or once its time has come, a job is not moved; closed, its move is not undone."""
    plan = plan_aboard(fresh)
    key, start = start_of(plan, "knife_inspection")
    other, later = start_of(plan, "pull_down_test")
    assert set_(fresh, other, later + timedelta(days=1), plan["version"]).status_code == 409
    moved = set_(fresh, other, later + timedelta(days=3), plan["version"])
    assert moved.status_code == 201
    permit = {"kind": "permit issued", "at": stamp(AT), "by": "A. Second", "number": "P-1", "issued_by": "B. Chief"}
    step = {"step": {**permit, "permit_kind": "isolation", "valid_to": stamp(AT + timedelta(days=1))}}
    issued = fresh.ask("POST", f"/api/v1/jobs/{key}/steps", json=step)
    assert issued.status_code == 201, issued.text
    shown = tried(fresh, key, start + timedelta(days=2)).json()
    assert shown["against"] == ["Work on it has begun: what is begun is not moved. Close the job when it is done."]
    assert shown["times"] == []
    fresh.clock.at = start + timedelta(hours=1, minutes=30)
    begun, _ = start_of(plan, "standby_start")
    assert tried(fresh, begun, start + timedelta(days=1)).json()["holds"]
    assert tried(fresh, key, start + timedelta(days=2)).status_code == 200
    fresh.clock.at = later + timedelta(days=3, hours=1)
    closed = fresh.close(other, done_at=stamp(fresh.clock.at - timedelta(minutes=30)))
    assert closed.status_code == 200, closed.text
    gone = fresh.ask("POST", f"{MOVES}/1/undo")
    assert gone.status_code == 409
    assert "is closed" in gone.json()["detail"]
    assert [one["can_undo"] for one in fresh.ask("GET", MOVES).json()["moves"]] == [False]


@pytest.mark.parametrize(
    ("key", "at", "status", "words"),
    [
        ("", "2026-10-30T12:30:00Z", 422, "2026-10-30 13:00 and 2026-10-30 14:00 ship time"),
        ("", "tomorrow", 422, "start_at"),
        ("", "2026-10-30T12:00:00", 422, "start_at"),
        ("", "2026-10-19T07:00:00Z", 200, "That time is past"),
        ("", "2031-10-19T07:00:00Z", 200, "It would not be finished by"),
        ("overhaul:nobody:1", "2026-10-30T12:00:00Z", 404, "no open job overhaul:nobody:1"),
        ("overhaul:plover-pump-c:1", "2026-10-30T12:00:00Z", 404, "no job VP3 overhaul"),
    ],
)
def test_what_is_no_time_or_no_job_of_the_plan_is_told(
    planned: Stage, key: str, at: str, status: int, words: str
) -> None:
    """Half an hour has its two neighbours named; what is past or beyond the plan is an answer, not an error."""
    found = tried(planned, key or "pull_down_test:plover-pump-a:1", at)
    assert found.status_code == status, found.text
    assert words in found.text


def test_another_vessels_plan_is_not_there(planned: Stage) -> None:
    """Its people find no plant, and no move."""
    key = "pull_down_test:plover-pump-a:1"
    query = {"start_at": stamp(AT + timedelta(days=9))}
    path = f"{PLANT}/plan/slots/{key}/times"
    assert planned.ask("GET", path, vessel=AVOCET.vessel, params=query).status_code == 404
    body = {"job": key, "start_at": stamp(AT + timedelta(days=9))}
    assert planned.ask("POST", MOVES, vessel=AVOCET.vessel, json=body).status_code == 404
    assert planned.ask("POST", MOVES, json={**body, "reason": "x" * 1001}).status_code == 422
    assert planned.ask("GET", MOVES).json()["moves"] == []
    assert planned.ask("POST", f"{MOVES}/1/undo").status_code == 404


@pytest.fixture(scope="module")
def planned(module_stage: Stage) -> Stage:
    """The module's application with a plan aboard, for tests that change nothing."""
    plan_aboard(module_stage)
    return module_stage


def test_the_second_of_two_on_one_isolation_starts_where_the_first_does(planned: Stage) -> None:
    """That is the start a person is shown and moves; once the first has begun, the second has its own."""
    now = plant_state(planned.context, PLOVER.vessel, "plover-plant")
    assert now.taken is not None
    problem, plan = pair()
    starts_at = {slot.key: problem.starts_at + timedelta(hours=slot.start) for slot in plan.slots}
    first, second = starts_at["knives:P1:1"], starts_at["seal:P1:1"]
    ahead = replace(
        now,
        taken=replace(
            now.taken, starts_at=problem.starts_at, problem_text=problem_to_text(problem), plan_text=plan_to_text(plan)
        ),
    )
    assert [planned_start(ahead, key) for key in ("knives:P1:1", "seal:P1:1", "other:P1:1")] == [first, first, None]
    assert planned_start(replace(ahead, at=first + timedelta(hours=1)), "seal:P1:1") == second
    assert planned_start(replace(ahead, taken=None), "seal:P1:1") is None
