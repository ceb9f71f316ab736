"""A vessel's document replaced on a ship with a history: ids renamed, things and kinds taken out; nothing is left behind or lost."""

from collections.abc import Iterator
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from scheduler.actions.base.context import Context, Hand
from scheduler.actions.capacity import outages
from scheduler.actions.care import rounds
from scheduler.actions.due import postponing
from scheduler.actions.feed import refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.record import history
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import closing, closing_checks, jobs
from scheduler.domain.base.enums import JobState, Role, Subject, Test
from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.due.postponing import Asked
from scheduler.domain.record.choice import Choice
from scheduler.errors import Refused
from scheduler.settings import Settings
from scheduler.storage.tables import METADATA
from scheduler.storage.vessel import AssetKind
from scheduler.storage.work import WorkStepRow, step_rows, work_under_way
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE, PLANT, _hand, _post, _put, _take
from tests.storage.stores import kinds_where_required, store

SHIP = PLOVER.vessel
AT = datetime(2026, 11, 30, tzinfo=UTC)
PUMP, OTHER = "plover-pump-a", "plover-pump-a-again"
ALARM = f"alarm_test:{PLANT}:1"
IDS = ("subject_id", "pump_id", "position_id", "plant_id")


@pytest.fixture(params=kinds_where_required())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    """The three-pump ship with readings, a plan taken, a calendar written, a test, an outage and two jobs closed."""
    with store(request.param, tmp_path) as database:
        made = Context(database, TurnedClock(), Settings(horizon_days=60, frozen_days=7))
        _post(made, _put(made))
        _take(made)
        place = Place(PUMP, SHIP, PLANT, AssetKind.PUMP)
        at = made.now()
        outages.pump_down(made, _hand(), place, at=at - timedelta(hours=30), reason="seized")
        outages.pump_back(
            made, _hand(), place, at=at - timedelta(hours=20), reason="freed", test=Test.PASSED, measured=Swept(55.0)
        )
        close(made, ALARM)
        close(made, f"pull_down_test:{PUMP}:1", test=Test.PASSED)
        refresh.refresh(made, PEN_HERE, SHIP)
        yield made


def close(context: Context, key: str, test: Test = Test.PASSED) -> None:
    place, job_id = jobs.job_place(context, ME, key)
    told = closing_checks.Close(done_at=context.now() - timedelta(hours=1), done_by="A. Second", test=test)
    closing.close_job(context, _hand(), place, job_id, told)


def document(context: Context) -> dict[str, Any]:
    return deepcopy(VESSEL.dump_python(fleet.get_vessel(context, ME, SHIP)[0], mode="json"))


def put(context: Context, told: dict[str, Any], **words: str) -> None:
    version = fleet.get_vessel(context, ME, SHIP)[1]
    changes.put_vessel(
        context,
        ME,
        VESSEL.validate_python(told),
        if_match=version,
        **{"reason": "a test", "class_agreed": "yes", **words},
    )


def renamed(told: Any, was: str, now: str) -> Any:
    """The document with an id written otherwise wherever it stands, and the thing saying what it was."""
    if isinstance(told, dict):
        found = {name: renamed(value, was, now) for name, value in told.items()}
        return {**found, "was": was} if told.get("id") == was else found
    if isinstance(told, list):
        return [renamed(one, was, now) for one in told]
    return now if told == was else told


def now_of(context: Context, plant: str = PLANT) -> PlantState:
    return plant_state(context, SHIP, plant)


def left_behind(context: Context) -> dict[str, set[str]]:
    """Ids that a table names and the document does not, by table."""
    (ship, _) = fleet.get_vessel(context, ME, SHIP)
    known = {
        one.id
        for plant in ship.plants
        for one in (plant, *plant.positions, *plant.pumps, *plant.parts, *plant.counters)
    }
    found: dict[str, set[str]] = {}
    with context.db.read() as session:
        for table in METADATA.sorted_tables:
            for name in (*IDS, *(("id",) if table.name in ("asset", "counter") else ())):
                if name in table.c:
                    rows = session.connection().execute(sa.select(table.c[name]).distinct())
                    ids = {row[0] for row in rows} - known - {None, ""}
                    if ids:
                        found.setdefault(table.name, set()).update(ids)
    return found


@pytest.mark.long
def test_a_pump_under_a_new_id_keeps_hours_turns_tests_outages_and_plan(context: Context) -> None:
    """What the document says it was goes on; the record names both; nothing of the old id is left."""
    before = now_of(context)
    put(context, renamed(document(context), PUMP, OTHER))
    after = now_of(context)
    assert after.hours[Subject.PUMP, OTHER] == before.hours[Subject.PUMP, PUMP]
    assert after.capacities[OTHER] == before.capacities[PUMP]
    mine = {j.job_id.key.replace(PUMP, OTHER): j.due_at for j in before.jobs if j.job_id.subject == PUMP and j.first}
    assert {j.job_id.key: j.due_at for j in after.jobs if j.job_id.subject == OTHER and j.first} == mine
    assert before.taken is not None
    assert after.taken is not None
    assert after.taken.times() == {
        key.replace(f":{PUMP}:", f":{OTHER}:"): at for key, at in before.taken.times().items()
    }
    posted = {key.replace(f":{PUMP}:", f":{OTHER}:"): one.new.due_at for key, one in before.posted.items()}
    assert {key: one.new.due_at for key, one in after.posted.items()} == posted
    place, job_id = jobs.job_place(context, ME, f"pull_down_test:{OTHER}:1")
    assert jobs.closed_job(context, place, job_id) is not None
    refresh.refresh(context, PEN_HERE, SHIP)
    assert left_behind(context) == {}
    newest = list(history.records_of(context, SHIP, Choice()))[-1]
    assert f'"now":"{OTHER}","was":"{PUMP}"' in newest.text
    planning.propose(context, SHIP, PLANT)


@pytest.mark.parametrize("was", [PLANT, "plover-vp1", "plover-pump-a-knives", "plover-vp1-hours"])
@pytest.mark.long
def test_any_used_thing_is_renamed_with_all_it_has(context: Context, was: str) -> None:
    """Plant, position, part, counter: hours and due dates stay as they were, and a plan is made."""
    before, plant = now_of(context), "aft-plant" if was == PLANT else PLANT
    now = plant if was == PLANT else f"{was}-again"
    put(context, renamed(document(context), was, now))
    after = now_of(context, plant)
    assert {key: hours.seconds for (_, key), hours in after.hours.items()} == {
        (now if key == was else key): hours.seconds for (_, key), hours in before.hours.items()
    }
    assert sorted((j.job_id.kind, j.job_id.sequence, j.due_at) for j in after.jobs) == sorted(
        (j.job_id.kind, j.job_id.sequence, j.due_at) for j in before.jobs
    )
    assert not [job for job in after.jobs if job.state is JobState.NOT_KNOWN]
    refresh.refresh(context, PEN_HERE, SHIP)
    assert rounds.plan_asked(context) in (0, 1)
    planning.propose(context, SHIP, plant)
    assert left_behind(context) == {}


@pytest.mark.long
def test_a_used_id_is_not_written_otherwise_without_a_word(context: Context) -> None:
    """One gone and one new of its sort: what to say is said, and nothing is stored."""
    told = renamed(document(context), PUMP, OTHER)
    for pump in told["plants"][0]["pumps"]:
        pump["was"] = ""
    with pytest.raises(Refused, match=f'"was": "{PUMP}"'):
        put(context, told)
    assert fleet.get_vessel(context, ME, SHIP)[1] == 1


@pytest.mark.parametrize(
    ("was", "says"),
    [("plover-pump-b", "is still here"), ("nobody", "is not known here"), ("plover-vp1", "is still here")],
)
@pytest.mark.long
def test_what_it_says_it_was_has_to_leave(context: Context, was: str, says: str) -> None:
    """Another pump, nothing, or a thing of another sort."""
    told = renamed(document(context), PUMP, OTHER)
    for pump in told["plants"][0]["pumps"]:
        if pump["id"] == OTHER:
            pump["was"] = was
    with pytest.raises(Refused, match=says):
        put(context, told)


@pytest.mark.long
def test_a_plant_renamed_does_not_hide_another_interval(context: Context) -> None:
    """The change stands in the record, wants its reason, and is flagged when nobody ashore approved it."""
    told = renamed(document(context), PLANT, "aft-plant")
    kind = next(one for one in told["plants"][0]["job_kinds"] if one["code"] == "overhaul")
    kind["interval_running_hours"] += 500
    with pytest.raises(Refused, match="interval_running_hours"):
        put(context, told, reason="")
    put(context, told)
    newest = list(history.records_of(context, SHIP, Choice()))[-1]
    assert newest.text.count("overhaul interval_running_hours") == 2  # among the changes, and not approved


@pytest.mark.long
def test_a_kind_taken_out_leaves_nothing_due_or_shown(context: Context) -> None:
    """Its turns are due no more, no date of it is published, its calendar entries are withdrawn and then gone."""
    told = document(context)
    plant = told["plants"][0]
    plant["job_kinds"] = [one for one in plant["job_kinds"] if one["code"] != "knife_inspection"]
    for one in plant["job_kinds"]:
        one["renews"] = [code for code in one["renews"] if code != "knife_inspection"]
    plant["last_done"] = [one for one in plant["last_done"] if one["kind"] != "knife_inspection"]
    put(context, told)
    refresh.refresh(context, PEN_HERE, SHIP)
    with context.db.read() as session:
        for table, name in (("published", "job_key"), ("feed_event", "occurrence_key")):
            rows = session.connection().execute(
                sa.text(f"SELECT {name} FROM {table} WHERE {name} LIKE 'knife_inspection:%'")
            )
            states = [row[0] for row in rows]
            assert table == "feed_event" or not states
    assert not [job for job in now_of(context).jobs if job.job_id.kind == "knife_inspection"]
    planning.propose(context, SHIP, PLANT)
    clock = context.clock
    assert isinstance(clock, TurnedClock)
    clock.at += timedelta(days=15)
    body = refresh.refresh(context, PEN_HERE, SHIP).body
    assert b"knife_inspection" not in body


@pytest.mark.long
def test_a_part_taken_out_leaves_its_closed_jobs_alone_behind(context: Context) -> None:
    """It asks its reason; what was done to it stays on record."""
    part = "plover-pump-a-knives"
    told = document(context)
    plant = told["plants"][0]
    plant["parts"] = [one for one in plant["parts"] if one["id"] != part]
    plant["fittings"] = [one for one in plant["fittings"] if one["part"] != part]
    plant["last_done"] = [one for one in plant["last_done"] if one["subject"] != part]
    with pytest.raises(Refused, match="taken out"):
        put(context, told, reason="")
    put(context, told)
    refresh.refresh(context, PEN_HERE, SHIP)
    assert left_behind(context).keys() <= {"job"}
    planning.propose(context, SHIP, PLANT)


@pytest.mark.long
def test_a_pump_that_is_out_or_under_work_cannot_be_taken_out(context: Context) -> None:
    """Its outage and its lock would be nobody's."""
    told = document(context)
    plant = told["plants"][0]
    plant["pumps"] = [one for one in plant["pumps"] if one["id"] != PUMP]
    for name in ("stays", "fittings"):
        plant[name] = [one for one in plant[name] if one["pump"] != PUMP]
    plant["last_done"] = [one for one in plant["last_done"] if one["subject"] != PUMP]
    plant["minimum_blocks"], plant["minimum_swept_m3_per_h"] = [], 50
    plant["parts"] = [one for one in plant["parts"] if not one["id"].startswith(PUMP)]
    plant["last_done"] = [one for one in plant["last_done"] if not one["subject"].startswith(PUMP)]
    outages.pump_down(context, _hand(), Place(PUMP, SHIP, PLANT, AssetKind.PUMP), at=context.now(), reason="seized")
    with pytest.raises(Refused, match="is out"):
        put(context, told)
    back = Place(PUMP, SHIP, PLANT, AssetKind.PUMP)
    outages.pump_back(context, _hand(), back, at=context.now(), reason="freed", test=Test.PASSED)
    put(context, told)
    assert left_behind(context).keys() <= {
        "job",
        "done",
        "outage",
        "pump_test",
        "slot",
    }  # what was done to it stays on record
    planning.as_now(now_of(context), context)
    planning.propose(context, SHIP, PLANT)
    refresh.refresh(context, PEN_HERE, SHIP)


@pytest.mark.long
def test_work_under_way_keeps_its_thing_in_the_document(context: Context) -> None:
    """A step was recorded of a job that is not closed."""
    key = f"pull_down_test:{PUMP}:2"
    with context.db.write(SHIP) as session:
        session.add(
            WorkStepRow(
                vessel_id=SHIP, job_key=key, number=1, pump_id=PUMP, kind="noted", at=AT, detail="{}", actor="A",
                record=1, recorded_at=AT,
            )
        )  # fmt: skip
    with context.db.read() as session:
        assert work_under_way(session, SHIP, PUMP) == key
        assert work_under_way(session, SHIP, "plover-pump-b") == ""


@pytest.mark.long
def test_no_two_histories_become_one(context: Context) -> None:
    """An id under which something was kept is no new name for another thing."""
    close(context, "pull_down_test:plover-pump-b:1")
    told = document(context)
    plant = told["plants"][0]
    plant["minimum_blocks"], plant["minimum_swept_m3_per_h"] = [], 50
    gone = "plover-pump-b"
    plant["pumps"] = [one for one in plant["pumps"] if one["id"] != gone]
    for name in ("stays", "fittings"):
        plant[name] = [one for one in plant[name] if one["pump"] != gone]
    plant["parts"] = [one for one in plant["parts"] if not one["id"].startswith(gone)]
    plant["last_done"] = [one for one in plant["last_done"] if not one["subject"].startswith(gone)]
    put(context, told)
    with pytest.raises(Refused, match="two histories would become one"):
        put(context, renamed(document(context), PUMP, gone))


@pytest.mark.long
def test_what_is_kept_by_the_key_of_a_turn_alone_makes_an_id_used(context: Context) -> None:
    """A postponement asked for names no pump but in its job."""
    place, job_id = jobs.job_place(context, ME, "knife_inspection:plover-pump-c-knives:1")
    later = context.now() + timedelta(days=900)
    people.add_person(context, ME, person_id="c", name="C", rank="c", role=Role.CHIEF, vessel_id=SHIP)
    key = people.add_key(context, ME, role=Role.CHIEF, label="c", vessel_id=SHIP, person_id="c")
    asked = Asked(to_at=later, reason="a", risk="b")
    postponing.ask_postponement(context, Hand(people.who_holds(context, key), "key c", {}), place, job_id, asked)
    told = renamed(document(context), "plover-pump-c-knives", "knives-c")
    for part in told["plants"][0]["parts"]:
        part["was"] = ""
    with pytest.raises(Refused, match='"was": "plover-pump-c-knives"'):
        put(context, told)


@pytest.mark.long
@pytest.mark.parametrize("odd", ["30", "pump", "plant", "pumps", "jobs", "says"])
def test_an_id_that_looks_like_something_else_is_renamed_and_nothing_with_it(context: Context, odd: str) -> None:
    """A minute of an instant, a word of the document, a member of a stored plan."""
    put(context, renamed(document(context), PUMP, odd))
    with context.db.write(SHIP) as session:
        detail = '{"at": "2027-01-10T08:30:00+00:00", "of": "overhaul:30:1"}'
        session.add(
            WorkStepRow(
                vessel_id=SHIP, job_key=f"overhaul:{odd}:1", number=1, pump_id=odd, kind="noted", at=AT, detail=detail,
                actor="A", record=1, recorded_at=AT,
            )
        )  # fmt: skip
    told = document(context)
    for pump in told["plants"][0]["pumps"]:
        pump["was"] = ""
    put(context, renamed(told, odd, OTHER) if odd not in ("plant", "pump") else _by_hand(told, odd))
    now = now_of(context)
    assert now.taken is not None
    assert {slot.pump for slot in now.taken.plan.slots if slot.pump} <= {pump.id for pump in now.plant.pumps}
    with context.db.read() as session:
        (step,) = step_rows(session, SHIP, f"overhaul:{OTHER}:1")
    assert '"2027-01-10T08:30:00+00:00"' in step.detail
    assert ("overhaul:30:1" in step.detail) == (odd != "30")
    planning.propose(context, SHIP, PLANT)


def _by_hand(told: Any, odd: str) -> Any:
    """As `renamed`, where the id is a word of the document as well: what kinds are counted on stays."""
    kinds = told["plants"][0]["job_kinds"]
    made = renamed({**told, "plants": [{**told["plants"][0], "job_kinds": []}]}, odd, OTHER)
    made["plants"][0]["job_kinds"] = kinds
    return made
