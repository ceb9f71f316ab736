"""Changes in the outbox: made with what changed or not at all, of a vessel that has joined, in order and with their keys."""

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from scheduler.actions.base.context import Context
from scheduler.actions.shore.joining import join_office, move_office, office_address, ship_key
from scheduler.domain.base.enums import Role
from scheduler.domain.shore.frame import rows_of
from scheduler.domain.voyage.stretches import Source
from scheduler.errors import BadRequest, Clash, NotFound
from scheduler.settings import Settings
from scheduler.storage.database import Database, Session
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.hours.intake import Intake
from scheduler.storage.hours.intake_sql import LogItem
from scheduler.storage.hours.readings import Unstored
from scheduler.storage.people import PersonRow
from scheduler.storage.record import append_record
from scheduler.storage.renaming import rename
from scheduler.storage.shore import capture
from scheduler.storage.shore.lines import OutboxChangeRow, OutboxPackRow, ShoreLineRow, begin_lives, shore_line
from scheduler.storage.shore.outbox import batch_after, drop_packed, hash_at, pack_away
from scheduler.storage.shore.truth import Truth
from scheduler.storage.voyage import VoyageStretchRow
from scheduler.storage.work import DoneRow, PartCountRow
from tests import shore
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import add_vessel, kinds_long_on_postgresql, store

V = "plover"
AT = datetime(2026, 11, 20, 8, tzinfo=UTC)


@dataclass
class Ship:
    context: Context
    folder: Path
    counters: list[int]

    @property
    def db(self) -> Database:
        return self.context.db

    def join(self) -> None:
        join_office(self.context, V, "http://office.lan/", shore.key_file(self.folder))

    def changes(self) -> list:
        return shore.changes_of(self.db, V)

    def new_rows(self, before: int) -> list:
        return [row for change in self.changes()[before:] for row in rows_of(change)]


@pytest.fixture(params=kinds_long_on_postgresql())
def ship(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ship]:
    with store(request.param, tmp_path) as database:
        database.now_s = lambda: 1_790_000_000
        yield Ship(Context(database, TurnedClock(), Settings()), tmp_path, add_vessel(database, V))


def count(name: str, aboard: int = 1) -> PartCountRow:
    return PartCountRow(vessel_id=V, plant_id="plant", name=name, aboard=aboard, counted_at=AT, actor="a")


def done(subject: str, key: str | None = None) -> DoneRow:
    return DoneRow(vessel_id=V, kind="overhaul", subject_id=subject, sequence=1, at=AT, running_seconds=5, job_key=key)


def test_nothing_is_made_of_a_vessel_that_has_joined_no_office(ship: Ship) -> None:
    with ship.db.write(V) as session:
        session.add(count("seal"))
    assert ship.changes() == []


def test_joining_makes_all_there_is_into_changes_and_leaves_secrets_aboard(ship: Ship) -> None:
    with ship.db.write("") as session:
        for whose in ("", V):
            person = PersonRow(
                vessel_id=whose, id="chief", name=f"Demo {whose}", rank="chief", role=Role.CHIEF, created_at=AT
            )
            person.passphrase, person.pin = "argon-one", "argon-two"
            session.add(person)
    with ship.db.write(V) as session:
        session.add(count("seal"))
        append_record(session, V, "note", AT, {"says": "é"})
    ship.join()
    shore.same_truth(ship.db, V)
    rows = ship.new_rows(0)
    assert sorted(values["vessel_id"] for name, _, values in rows if name == "person") == ["", V]
    assert "argon" not in json.dumps(rows)
    assert len([name for name, *_ in rows if name == "counter"]) == 4
    with ship.db.read() as session:
        line = shore_line(session, V)
        assert line is not None
        assert (line.joining, line.address, line.number) == (False, "http://office.lan", len(ship.changes()))


def test_a_commit_is_one_change_with_each_row_as_it_now_is(ship: Ship) -> None:
    ship.join()
    before = len(ship.changes())
    with ship.db.write(V) as session:
        session.add(count("seal"))
        session.flush()
        session.add(count("knives", 3))
        session.get_one(PartCountRow, (V, "plant", "seal")).aboard = 7
    (change,) = ship.changes()[before:]
    assert json.loads(change.body)["at"] == 1_790_000_000
    assert [(name, act, values["name"], values["aboard"]) for name, act, values in rows_of(change)] == [
        ("part_count", "put", "knives", 3),
        ("part_count", "put", "seal", 7),
    ]
    with ship.db.write(V) as session:
        session.delete(session.get_one(PartCountRow, (V, "plant", "seal")))
    assert ship.new_rows(before + 1) == [("part_count", "gone", {"plant_id": "plant", "name": "seal"})]


def test_what_is_undone_leaves_no_change_and_no_gap(ship: Ship) -> None:
    ship.join()
    before = len(ship.changes())

    def fail() -> None:
        with ship.db.write(V) as session:
            session.add(count("seal"))
            session.flush()
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with ship.db.write(V):
        pass
    assert len(ship.changes()) == before


def test_caches_and_secrets_alone_are_no_change(ship: Ship) -> None:
    with ship.db.write("") as session:
        session.add(PersonRow(vessel_id="", id="me", name="Demo", rank="", role=Role.ADMIN, created_at=AT))
    ship.join()
    before = len(ship.changes())
    with ship.db.write(V) as session:
        session.get_one(CounterRow, ship.counters[0]).dirty_from_s = 5
    with ship.db.write("") as session:
        session.get_one(PersonRow, ("", "me")).pin = "argon"
    assert len(ship.changes()) == before
    with ship.db.write("") as session:
        session.get_one(PersonRow, ("", "me")).rank = "chief"
    ((name, act, values),) = ship.new_rows(before)
    assert (name, act, values["vessel_id"], values["rank"]) == ("person", "put", "", "chief")


def test_statements_are_gathered_like_objects(ship: Ship) -> None:
    with ship.db.write(V) as session:
        session.add_all([count("seal"), count("knives"), count("rings", 9)])
    ship.join()
    before = len(ship.changes())
    with ship.db.write(V) as session:
        few = sa.update(PartCountRow).where(PartCountRow.vessel_id == V, PartCountRow.aboard < 9)
        session.execute(few.values(aboard=2))
        session.connection().execute(sa.delete(PartCountRow).where(PartCountRow.name == "knives"))
    assert [(act, values["name"], values.get("aboard")) for _, act, values in ship.new_rows(before)] == [
        ("gone", "knives", None),
        ("put", "seal", 2),
    ]
    with pytest.raises(AssertionError, match="part_count"), ship.db.write(V) as session:
        session.connection().execute(sa.insert(PartCountRow).values(vessel_id=V))


def test_a_new_name_moves_keys_and_keeps_a_counter(ship: Ship) -> None:
    with ship.db.write(V) as session:
        session.add_all([done("plover-vp1", "overhaul:plover-vp1:1"), done("plover-vp2")])
    ship.join()
    before = len(ship.changes())
    with ship.db.write(V) as session:
        rename(session, V, "plover-vp1", "plover-left")
        rename(session, V, f"{V}-c1", f"{V}-first")
        rename(session, V, f"{V}-first", f"{V}-left")
    rows = ship.new_rows(before)
    keys = [(act, values["subject_id"], values.get("job_key")) for name, act, values in rows if name == "done"]
    assert keys == [("gone", "plover-vp1", None), ("put", "plover-left", "overhaul:plover-left:1")]
    counters = [(act, values["id"], values.get("was")) for name, act, values in rows if name == "counter"]
    assert counters == [("put", f"{V}-left", f"{V}-c1")]
    shore.same_truth(ship.db, V)


def test_the_intake_makes_changes_of_what_it_stores_and_of_what_it_logs(ship: Ship) -> None:
    ship.join()
    before = len(ship.changes())
    one, two, *_ = ship.counters
    log = [LogItem("é\u2028", 70, Unstored.REFUSED, 'why "so"', '{"a": 1}')]
    with Intake(ship.db, ship.context.clock) as intake:
        intake.submit(V, [(two, 60, 5000, 70), (one, 60, 1000, 70)], log, skew_s=3).result()
        intake.submit(V, [(one, 60, 1000, 71)]).result()
        assert len(ship.changes()) == before + 1
        intake.submit(V, [(one, 60, 2000, 72), (one, 120, 2000, 130)]).result()
    first, second = ship.changes()[before:]
    readings = [values for name, _, values in rows_of(first) if name == "reading"]
    assert readings == [
        {"counter_no": f"{V}-c{n}", "at_s": 60, "value_milli": value, "received_s": 70, "skew_s": 3}
        for n, value in ((1, 1000), (2, 5000))
    ]
    assert [(name, values.get("status")) for name, _, values in rows_of(second)] == [
        ("reading", None),
        ("intake_log", "conflict"),
    ]
    shore.same_truth(ship.db, V)
    with ship.db.read() as session:
        assert shore_line(session, V).urgent < before + 1  # type: ignore[union-attr]


def test_what_happens_while_a_vessel_joins_comes_after_what_there_was(
    ship: Ship, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the pieces of a join people work and counters post: nothing is lost, records keep their order."""
    from scheduler.actions.shore import joining

    with ship.db.write(V) as session:
        session.add(
            VoyageStretchRow(
                vessel_id=V,
                since_version=1,
                from_on=date(2026, 11, 1),
                to_on=date(2026, 11, 9),
                kind="sea",
                source=Source.PLAN,
                note="",
            )
        )
        for _ in range(3):
            append_record(session, V, "note", AT, {})
    piece = joining.add_piece
    turn = iter(range(10_000))
    intake = Intake(ship.db, ship.context.clock).start()

    def meanwhile(session: Session, vessel_id: str, truth: Truth, *rest: object) -> object:
        ended = piece(session, vessel_id, truth, *rest)
        if threading.current_thread() is main and truth.name in ("counter", "reading", "work_step", "record"):
            waiting.append(next(turn))
        return ended

    main, waiting = threading.current_thread(), []
    whole = joining._all_of

    def between(*given: object) -> None:
        whole(*given)
        while waiting:
            number = waiting.pop()
            intake.submit(V, [(ship.counters[0], 60 * number, 1000, 70)]).result()
            with ship.db.write(V) as session:
                session.add(count(f"part {number}"))
                append_record(session, V, "note", AT, {})
                session.get_one(VoyageStretchRow, (V, 1, date(2026, 11, 1))).until_version = number + 2

    monkeypatch.setattr(joining, "add_piece", meanwhile)
    monkeypatch.setattr(joining, "_all_of", between)
    ship.join()
    intake.stop()
    shore.same_truth(ship.db, V)
    numbers = [values["number"] for name, _, values in ship.new_rows(0) if name == "record"]
    assert numbers == sorted(set(numbers))
    assert len(numbers) > 3


def test_a_join_that_was_broken_off_begins_anew_and_a_second_one_is_refused(
    ship: Ship, monkeypatch: pytest.MonkeyPatch
) -> None:
    from scheduler.actions.shore import joining

    def fail(*_: object) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr(joining, "add_touched", fail)
        with pytest.raises(ZeroDivisionError):
            ship.join()
    with ship.db.write(V) as session:
        session.add(count("seal"))
    ship.join()
    shore.same_truth(ship.db, V)
    with pytest.raises(Clash, match="has joined the office"):
        ship.join()


@pytest.mark.parametrize(
    "address", ["", "office.lan", "ftp://office", "http://", "http://a:99999", "http://u:p@h", "http://h?x"]
)
def test_an_address_that_leads_nowhere_is_refused(address: str) -> None:
    with pytest.raises(BadRequest, match="no address"):
        office_address(address)


@pytest.mark.parametrize("text", [None, "", "key", "ll_ x", "ll_é", "ll_" + "k" * 300, b"\xff"])
def test_a_key_file_without_a_key_is_refused(tmp_path: Path, text: str | bytes | None) -> None:
    file = tmp_path / "key"
    if text is not None:
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(BadRequest, match="key file"):
        ship_key(file)


def test_moving_keeps_the_life_and_a_backup_put_back_begins_one(ship: Ship) -> None:
    with pytest.raises(NotFound, match="joined no office"):
        move_office(ship.context, V, shore.key_file(ship.folder))
    with pytest.raises(NotFound, match="no vessel"):
        join_office(ship.context, "nobody", "http://office.lan", shore.key_file(ship.folder))
    ship.join()

    def line() -> ShoreLineRow:
        with ship.db.read() as session:
            return shore_line(session, V)  # type: ignore[return-value]

    first = line()
    assert (
        move_office(ship.context, V, shore.key_file(ship.folder), "https://office.example/") == "https://office.example"
    )
    assert (line().life, line().address) == (first.life, "https://office.example")
    with ship.db.write("") as session:
        assert begin_lives(session) == [V]
    assert line().life != first.life
    assert (line().parent_life, line().parent_number, line().parent_hash) == (first.life, first.number, first.hash)


def test_a_big_commit_is_several_changes_that_fit(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> None:
    ship.join()
    before = len(ship.changes())
    monkeypatch.setattr(capture, "MOST_ROWS", 3)
    with ship.db.write(V) as session:
        session.add_all([count(f"part {number}") for number in range(7)])
    assert [len(rows_of(change)) for change in ship.changes()[before:]] == [3, 3, 1]
    shore.same_truth(ship.db, V)


def test_what_the_office_has_is_packed_by_the_day_and_can_be_sent_again(ship: Ship) -> None:
    ship.join()
    day = 86_400
    for at_s in (10 * day, 10 * day + 5, 11 * day, 12 * day):
        ship.db.now_s = lambda at_s=at_s: at_s  # type: ignore[misc]
        with ship.db.write(V) as session:
            session.add(count(f"part {at_s}"))
    changes = ship.changes()
    base = len(changes) - 4
    with ship.db.write(V) as session:
        session.connection().execute(
            sa.update(OutboxChangeRow).where(OutboxChangeRow.number <= base).values(at=datetime(1970, 1, 2, tzinfo=UTC))
        )
    with ship.db.write(V) as session:
        line = shore_line(session, V)
        assert line is not None
        assert pack_away(session, line, datetime(1970, 1, 12, tzinfo=UTC)) == 0
        line.acknowledged = line.number
        assert [pack_away(session, line, datetime(1970, 1, 12, tzinfo=UTC)) for _ in range(3)] == [base, 2, 0]
        assert pack_away(session, line, datetime(1970, 1, 12, 0, 0, 1, tzinfo=UTC)) == 1
        session.flush()
        again = batch_after(session, line, 0, 10**9)
        assert again.changes == tuple(changes)
        assert batch_after(session, line, base + 1, 1).changes == (changes[base + 1],)
        assert hash_at(session, line, 1) == changes[0].hash
        drop_packed(session, V, datetime(1970, 1, 12, tzinfo=UTC))
        with pytest.raises(LookupError):
            hash_at(session, line, 1)
        assert hash_at(session, line, line.number - 1) == changes[-2].hash


def at_times(ship: Ship, *seconds: int) -> list:
    """What changes there are after a commit at each of these instants, all of them acknowledged."""
    for number, at_s in enumerate(seconds):
        ship.db.now_s = lambda at_s=at_s: at_s  # type: ignore[misc]
        with ship.db.write(V) as session:
            session.add(count(f"part {number}"))
    with ship.db.write(V) as session:
        line = shore_line(session, V)
        assert line is not None
        line.acknowledged = line.number
    return ship.changes()


def test_a_clock_that_was_put_back_leaves_no_change_out(ship: Ship) -> None:
    """Younger changes among older ones stay where they are; packed or not, every change is sent again as it was."""
    ship.join()
    day = 86_400
    changes = at_times(ship, 12 * day, 10 * day, 10 * day + 5, 12 * day, 10 * day + 7, 12 * day)
    base = len(changes) - 6
    with ship.db.write(V) as session:
        line = shore_line(session, V)
        assert line is not None
        before = datetime(1970, 1, 12, tzinfo=UTC)
        assert [pack_away(session, line, before) for _ in range(3)] == [2, 1, 0]
        assert batch_after(session, line, 0, 10**9).changes == tuple(changes)
        for after in range(len(changes)):
            assert batch_after(session, line, after, 1).changes == (changes[after],)
            assert hash_at(session, line, after + 1) == changes[after].hash
        drop_packed(session, V, datetime(1980, 1, 1, tzinfo=UTC))
        assert hash_at(session, line, base + 3) == changes[base + 2].hash


def test_a_change_that_is_lost_is_said_and_nothing_is_sent_in_its_place(ship: Ship) -> None:
    """Whether its row is gone or its pack cannot be read."""
    ship.join()
    day = 86_400
    changes = at_times(ship, 10 * day, 10 * day + 5, 12 * day, 12 * day)
    last = len(changes)
    with ship.db.write(V) as session:
        line = shore_line(session, V)
        assert line is not None
        assert pack_away(session, line, datetime(1970, 1, 12, tzinfo=UTC)) == 2
        session.connection().execute(sa.delete(OutboxChangeRow).where(OutboxChangeRow.number == last - 1))
        with pytest.raises(LookupError):
            batch_after(session, line, last - 4, 10**9)
        with pytest.raises(LookupError):
            batch_after(session, line, last - 2, 1)
        session.connection().execute(sa.update(OutboxPackRow).values(frame=b"spoilt"))
        with pytest.raises(LookupError):
            batch_after(session, line, last - 4, 1)
        with pytest.raises(LookupError):
            hash_at(session, line, last - 3)
