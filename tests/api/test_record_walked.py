"""Changes made in the database past Leadline are noticed aboard: by the daily walk, the doctor, and the export itself."""

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta

import pytest

from scheduler.actions.care import doctor
from scheduler.actions.record import chains
from scheduler.actions.record.chains import daily_walk, faults_found, walk_chains
from scheduler.domain.base.enums import Role
from scheduler.domain.checks.diagnosis import About
from scheduler.domain.record.walking import ChainFault, FoundFault
from tests.api.stage import AT, Stage

SHIP = "demo-plover"
GUARDS = ("record_no_update", "record_no_delete", "record_no_replace")


def _tamper(stage: Stage, *statements: str, guards: bool = True) -> None:
    """As somebody does who has the file; guards: the triggers are put back as they were."""
    with closing(sqlite3.connect(stage.database)) as base, base:
        kept = base.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'record'").fetchall()
        for name in GUARDS:
            base.execute(f"DROP TRIGGER {name}")
        for one in statements:
            base.execute(one)
        for (sql,) in kept if guards else ():
            base.execute(sql)


def _last(stage: Stage) -> int:
    with stage.context.db.read() as session:
        return chains.chain_head(session, SHIP)[0]


def _stored(stage: Stage, vessel: str = SHIP) -> list[FoundFault]:
    with stage.context.db.read() as session:
        return faults_found(session, vessel)


def _of_ship(where: str, *sets: str) -> str:
    return f"UPDATE record SET {', '.join(sets)} WHERE vessel_id = '{SHIP}' AND {where}"


TAMPERED: dict[str, tuple[Callable[[int], list[str]], ChainFault, Callable[[int], int]]] = {
    "a letter": (lambda _: [_of_ship("number = 2", "text = replace(text, 'by', 'bY')")], ChainFault.CHANGED, lambda _: 2),
    "a kind": (lambda _: [_of_ship("number = 2", "kind = 'x'")], ChainFault.COLUMNS, lambda _: 2),
    "a time": (lambda _: [_of_ship("number = 2", "recorded_s = recorded_s + 1")], ChainFault.COLUMNS, lambda _: 2),
    "one in between": (
        lambda _: [f"DELETE FROM record WHERE vessel_id = '{SHIP}' AND number = 2"], ChainFault.MISSING, lambda _: 2
    ),
    "the last": (
        lambda last: [f"DELETE FROM record WHERE vessel_id = '{SHIP}' AND number = {last}"],
        ChainFault.MISSING, lambda last: last
    ),
    "the head": (
        lambda last: [f"UPDATE chain_head SET number = {last - 1} WHERE vessel_id = '{SHIP}'"],
        ChainFault.HEAD, lambda last: last - 1
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", TAMPERED)
def test_what_was_changed_past_leadline_is_found_and_said(fresh: Stage, what: str) -> None:
    """The record concerned is named, on the ship's page and by the doctor; put right, a whole walk finds it gone."""
    assert walk_chains(fresh.context, whole=True) == {}
    last = _last(fresh)
    make, fault, number = TAMPERED[what]
    with closing(sqlite3.connect(fresh.database)) as base:
        before = "\n".join(line for line in base.iterdump() if 'INTO "record"' in line or 'INTO "chain_head"' in line)
    _tamper(fresh, *make(last))
    found = FoundFault(fault, number(last))
    assert walk_chains(fresh.context, whole=True) == {SHIP: found}
    assert _stored(fresh) == [found]
    (said,) = [one for one in doctor.vessel_diagnosis(fresh.context, SHIP) if one.about is About.RECORD]
    assert not said.note
    told = fresh.ask("GET", f"/api/v1/vessels/{SHIP}/looks").text
    assert "past Leadline" in told
    _tamper(fresh, "DELETE FROM record", "DELETE FROM chain_head", *before.splitlines())
    assert walk_chains(fresh.context, whole=False) == {}
    assert _stored(fresh) == []


def test_the_last_records_taken_away_together_with_the_head_are_missed(fresh: Stage) -> None:
    """Where the last walk ended is remembered, so a shorter chain that agrees with itself is found, each day and in whole."""
    walk_chains(fresh.context, whole=True)
    last = _last(fresh)
    with closing(sqlite3.connect(fresh.database)) as base:
        (stamp,) = base.execute(
            "SELECT hash FROM record WHERE vessel_id = ? AND number = ?", (SHIP, last - 1)
        ).fetchone()
    _tamper(
        fresh,
        f"DELETE FROM record WHERE vessel_id = '{SHIP}' AND number = {last}",
        f"UPDATE chain_head SET number = {last - 1}, hash = '{stamp}' WHERE vessel_id = '{SHIP}'",
    )
    for whole in (False, True):
        assert walk_chains(fresh.context, whole=whole) == {SHIP: FoundFault(ChainFault.MISSING, last)}


def test_a_chain_hashed_anew_is_found(fresh: Stage) -> None:
    """Its last record has another stamp than at the last walk, whatever the head says."""
    walk_chains(fresh.context, whole=True)
    last = _last(fresh)
    _tamper(
        fresh,
        _of_ship(f"number = {last}", f"hash = '{'1' * 64}'"),
        f"UPDATE chain_head SET hash = '{'1' * 64}' WHERE vessel_id = '{SHIP}'",
    )
    assert walk_chains(fresh.context, whole=False) == {SHIP: FoundFault(ChainFault.REWRITTEN, last)}


def test_guards_that_are_gone_are_said(fresh: Stage) -> None:
    """Without its triggers the database lets anybody change records; the doctor of the installation says so."""
    _tamper(fresh, guards=False)
    assert walk_chains(fresh.context, whole=False) == {"record guards": FoundFault(ChainFault.UNGUARDED)}
    assert [one.facts["fault"] for one in doctor.fleet_diagnosis(fresh.context) if one.about is About.RECORD] == [
        ChainFault.UNGUARDED
    ]


def test_each_day_what_is_new_and_each_week_all(fresh: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first walk is whole; then a day's walk reads one old record and the new ones; the seventh day is whole again."""
    read: list[int] = []
    rows = chains.record_rows

    def counted(*asked: object, **named: object) -> object:
        for one in rows(*asked, **named):  # type: ignore[arg-type]
            read.append(one.number)
            yield one

    monkeypatch.setattr(chains, "record_rows", counted)
    many = []
    for day in range(8):
        fresh.clock.at = AT + timedelta(days=day)
        read.clear()
        assert daily_walk(fresh.context)
        many.append(len(read))
        assert not daily_walk(fresh.context)
    heads = 2  # of the ship and of the installation: one record each is looked at again
    assert many[0] == many[7] - heads
    assert many[1:7] == [heads] * 6


def test_the_whole_history_is_not_exported_as_verified_without_its_last_record(fresh: Stage) -> None:
    """What `verify` would call good is refused with the record's number; the table and the summary say it is missing."""
    path = f"/api/v1/history?vessel={SHIP}&format="
    whole = fresh.ask("GET", f"{path}jsonl", role=Role.CHIEF)
    last = _last(fresh)  # that this export was made
    assert json.loads(whole.text.splitlines()[0])["last_number"] == last
    _tamper(fresh, f"DELETE FROM record WHERE vessel_id = '{SHIP}' AND number = {last}")
    refused = fresh.ask("GET", f"{path}jsonl", role=Role.CHIEF)
    assert refused.status_code == 422
    assert f"Records {last} are missing" in refused.json()["detail"]
    assert f"missing: {last}" in fresh.ask("GET", f"{path}summary", role=Role.CHIEF).text
    day = AT.isoformat().replace("+00:00", "Z")
    assert fresh.ask("GET", f"{path}jsonl&to={day}", role=Role.CHIEF).status_code == 200
