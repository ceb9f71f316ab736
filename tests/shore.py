"""What the tests of ship to shore share: a witness by SQL triggers, and what a vessel's changes make when they are replayed."""

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from scheduler.domain.shore.frame import FIRST_HASH, Change, next_hash, rows_of
from scheduler.storage.database import Database
from scheduler.storage.shore.capture import counter_ids, put_text
from scheduler.storage.shore.lines import OutboxChangeRow
from scheduler.storage.shore.truth import TRUTH, Truth, to_travel
from tests.api.example_story import Sending, told_in_order
from tests.api.stage import Stage

KEY = "ll_0000abcd_" + "k" * 43


def done_aboard(stage: Stage) -> Iterator[Sending]:
    """The story of all doors, up to where the ship becomes one that is written elsewhere."""
    for sending in told_in_order(stage):
        yield sending
        if (sending.door, sending.name) == ("answer_request", "good"):
            return


def key_file(folder: Path) -> Path:
    place = folder / "office.key"
    place.write_text(KEY + "\n")
    return place


def changes_of(database: Database, vessel_id: str) -> list[Change]:
    """Her changes, after a look at their numbers and their chain."""
    with database.read() as session:
        found = [
            Change(row.number, bytes(row.body), row.hash)
            for row in session.exec(
                sa.select(OutboxChangeRow)
                .where(OutboxChangeRow.vessel_id == vessel_id)
                .order_by(OutboxChangeRow.number)
            ).scalars()
        ]
    prev = FIRST_HASH
    for number, change in enumerate(found, 1):
        assert change.number == number
        assert change.hash == (prev := next_hash(prev, change.body))
        assert json.loads(change.body)["number"] == number
    return found


def replayed(changes: Iterable[Change]) -> dict[tuple[str, str], dict[str, Any]]:
    """What the changes make, by table and key."""
    state: dict[tuple[str, str], dict[str, Any]] = {}
    for change in changes:
        for number, (name, act, values) in enumerate(rows_of(change)):
            truth = TRUTH[name]
            if name == "intake_log":
                state[name, f"{change.number} {number}"] = values
                continue
            was = values.pop("was", None)
            if was is not None:
                del state[name, json.dumps([was])]
            place = json.dumps(key_of(truth, values))
            if act == "put":
                assert set(values) == set(truth.travels)
                state[name, place] = values
            else:
                state.pop((name, place), None)
    return state


def key_of(truth: Truth, values: dict[str, Any]) -> list[Any]:
    whose = [values["vessel_id"]] if truth.name == "person" else []
    return whose + [values[name] for name in truth.keys]


def stored(database: Database, vessel_id: str) -> dict[tuple[str, str], dict[str, Any]]:
    """What of a vessel's truth stands in the tables, by table and key."""
    state: dict[tuple[str, str], dict[str, Any]] = {}
    with database.read() as session:
        names = counter_ids(session.connection(), vessel_id)
        for truth in TRUTH.values():
            whose = [vessel_id, ""] if truth.name == "person" else [vessel_id]
            for row in session.connection().execute(sa.select(truth.plain).where(truth.vessel.in_(whose))).mappings():
                if truth.once is not None and row[truth.once] is None:
                    continue
                values = json.loads(put_text(truth, row, names))[2]
                if truth.name == "intake_log":
                    state[truth.name, str(row["id"])] = values
                else:
                    state[truth.name, json.dumps(key_of(truth, values))] = values
    return state


def same_truth(database: Database, vessel_id: str) -> None:
    """The changes make what stands in the tables: no row more, none less, none otherwise."""
    made, there = replayed(changes_of(database, vessel_id)), stored(database, vessel_id)
    logs = [
        sorted(json.dumps(v, sort_keys=True) for (n, _), v in one.items() if n == "intake_log") for one in (made, there)
    ]
    assert logs[0] == logs[1]
    made, there = (
        {place: values for place, values in one.items() if place[0] != "intake_log"} for one in (made, there)
    )
    assert {place for place in there if place not in made} == set()
    assert {place for place in made if place not in there} == set()
    assert [(place, made[place], there[place]) for place in there if made[place] != there[place]] == []


def set_witness(database: Database) -> None:
    """Triggers on every table of truth write down which row was touched."""
    lite = database.path is not None
    array, differs = ("json_array", "IS NOT") if lite else ("json_build_array", "IS DISTINCT FROM")
    with database.write("") as session:
        run = session.connection().exec_driver_sql
        run("CREATE TABLE witness (name TEXT, place TEXT)")
        for truth in TRUTH.values():
            for act, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("UPDATE", "NEW"), ("DELETE", "OLD")):
                keys = ", ".join(f"{row}.{name}" for name in (truth.vessel.name, *truth.keys))
                where = " OR ".join(f"OLD.{name} {differs} NEW.{name}" for name in truth.travels)
                when = [f"({where})"] if act == "UPDATE" else []
                when += [f"{row}.{truth.once} IS NOT NULL"] if truth.once else []
                says = f"INSERT INTO witness VALUES ('{truth.name}', {array}({keys}))"
                name = f"witness_{truth.name}_{act}_{row}".lower()
                condition = f"WHEN ({' AND '.join(when)})" if when else ""
                if lite:
                    run(f"CREATE TRIGGER {name} AFTER {act} ON {truth.name} {condition} BEGIN {says}; END")
                else:
                    run(
                        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
                        f"$$ BEGIN {says}; RETURN NULL; END $$"
                    )
                    run(
                        f"CREATE TRIGGER {name} AFTER {act} ON {truth.name} FOR EACH ROW {condition} "
                        f"EXECUTE FUNCTION {name}()"
                    )


def witnessed(database: Database, vessel_id: str) -> set[tuple[str, str]]:
    """Which rows of a vessel's truth the triggers saw touched, by table and key as they travel."""
    found: set[tuple[str, str]] = set()
    with database.read() as session:
        names = counter_ids(session.connection(), vessel_id)
        for name, place in session.connection().exec_driver_sql("SELECT DISTINCT name, place FROM witness"):
            whose, *key = json.loads(place)
            if name != "intake_log" and (whose == vessel_id or (name == "person" and whose == "")):
                values = to_travel(dict(zip(TRUTH[name].keys, key, strict=True)))
                if "counter_no" in values:
                    values["counter_no"] = names[values["counter_no"]]
                found.add((name, json.dumps(key_of(TRUTH[name], {**values, "vessel_id": whose}))))
    return found


def captured(changes: Iterable[Change]) -> set[tuple[str, str]]:
    """Which rows stand in the changes, by table and key."""
    found: set[tuple[str, str]] = set()
    for change in changes:
        for name, _, values in rows_of(change):
            if name != "intake_log":
                found.add((name, json.dumps(key_of(TRUTH[name], values))))
                if "was" in values:
                    found.add((name, json.dumps([values["was"]])))
    return found
