"""The sender: what is due goes, once by number; whatever link and office do, it waits, goes back, or tells a person."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.shore import applying
from scheduler.actions.shore.joining import join_office
from scheduler.actions.shore.sending import NotReached, OfficeCall, OfficeReply, Sending
from scheduler.domain.shore.frame import FIRST_HASH, Change, unpack
from scheduler.settings import Settings
from scheduler.storage.hours.intake import Intake
from scheduler.storage.migrate import newest
from scheduler.storage.shore.lines import ShoreLineRow, begin_lives, shore_line
from scheduler.storage.shore.outbox import batch_after
from scheduler.storage.work import PartCountRow
from tests import shore
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import add_vessel, store

V = "plover"
AT = datetime(2026, 11, 20, 8, tzinfo=UTC)


@dataclass
class PretendOffice:
    """Holds what it took by number, as the office's door does; `then` answers instead, once each."""

    taken: list[Change] = field(default_factory=list)
    life: str = ""
    calls: list[OfficeCall] = field(default_factory=list)
    then: list[Callable[[], OfficeReply]] = field(default_factory=list)
    requests: list[Any] = field(default_factory=list)
    lose_answers: int = 0

    def __call__(self, call: OfficeCall) -> OfficeReply:
        self.calls.append(call)
        if self.then:
            return self.then.pop(0)()
        assert (call.method, call.key) == ("POST", shore.KEY)
        if call.path.endswith("/rejoin"):
            assert call.body is not None
            if call.body["life"] != self.life:
                return OfficeReply(status=409, body={"code": "parted"})
            return self.says()
        assert call.path == f"/api/v1/ships/{V}/changes"
        assert call.content is not None
        batch = unpack(call.content)
        assert batch.schema == newest()
        self.life = self.life or batch.life
        if batch.life != self.life:
            return OfficeReply(status=409, body={"code": "parted"})
        if batch.begins > len(self.taken) + 1:
            return OfficeReply(status=409, body={"code": "gap", **self.says().body})
        assert batch.prev == (self.taken[batch.begins - 2].hash if batch.begins > 1 else FIRST_HASH)
        self.taken += batch.changes[len(self.taken) + 1 - batch.begins :]
        if self.lose_answers:
            self.lose_answers -= 1
            raise NotReached("ReadTimeout")
        return self.says()

    def says(self) -> OfficeReply:
        held = self.taken[-1].hash if self.taken else FIRST_HASH
        return OfficeReply(status=200, body={"number": len(self.taken), "hash": held, "requests": self.requests})


@dataclass
class Ship:
    context: Context
    office: PretendOffice
    sending: Sending
    clock: TurnedClock
    counters: list[int]

    def work(self, name: str) -> None:
        """What a person does."""
        with self.context.db.write(V) as session:
            session.add(PartCountRow(vessel_id=V, plant_id="plant", name=name, aboard=1, counted_at=AT, actor="a"))

    def read(self, at_s: int) -> None:
        """What a counter posts."""
        with Intake(self.context.db, self.clock) as intake:
            intake.submit(V, [(self.counters[0], at_s, 1000, at_s)]).result()

    def line(self) -> ShoreLineRow:
        with self.context.db.read() as session:
            found = shore_line(session, V)
        assert found is not None
        return found

    def until_quiet(self) -> int:
        """Turns until nothing is due; how many posts that were."""
        before = len(self.office.calls)
        while self.sending.turn() == 0:
            assert len(self.office.calls) - before < 1000
        return len(self.office.calls) - before

    def later(self, **how: float) -> None:
        self.clock.at += timedelta(**how)

    def all_there(self) -> None:
        with self.context.db.read() as session:
            assert tuple(self.office.taken) == batch_after(session, self.line(), 0, 10**9).changes


@pytest.fixture
def ship(tmp_path: Path) -> Iterator[Ship]:
    with store("sqlite", tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings())
        database.now_s = context.now_s
        office = PretendOffice()
        counters = add_vessel(database, V)
        join_office(context, V, "http://office.lan", shore.key_file(tmp_path))
        yield Ship(context, office, Sending(context, office, chance=lambda: 1.0), clock, counters)


@pytest.fixture
def joined(ship: Ship) -> Ship:
    """What there was has gone."""
    ship.until_quiet()
    ship.all_there()
    ship.office.calls.clear()
    return ship


def test_all_there_was_goes_at_once(ship: Ship) -> None:
    ship.until_quiet()
    ship.all_there()
    assert (ship.line().state, ship.line().acknowledged) == ("reached", ship.line().number)


def test_what_a_person_does_goes_at_once_and_what_a_counter_posts_waits_for_its_hour(joined: Ship) -> None:
    joined.read(60)
    assert joined.until_quiet() == 0
    joined.later(minutes=59, seconds=59)
    assert joined.until_quiet() == 0
    joined.later(seconds=1)
    assert joined.until_quiet() == 1
    joined.all_there()
    joined.read(120)
    joined.work("seal")
    assert joined.until_quiet() == 1
    joined.all_there()


def test_the_office_hears_each_hour_though_nothing_happened_and_what_it_asks_is_taken_in(
    joined: Ship, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[Any] = []
    monkeypatch.setattr(applying, "take_in", lambda _context, vessel_id, requests: given.append((vessel_id, requests)))
    monkeypatch.setattr(applying, "fetched_numbers", lambda _session, _vessel_id: (3, 5))
    joined.office.requests = [{"number": 6}]
    joined.later(hours=1)
    assert joined.until_quiet() == 1
    assert given == [(V, [{"number": 6}])]
    batch = unpack(joined.office.calls[-1].content)  # type: ignore[arg-type]
    assert (batch.answered, batch.changes, batch.sent_at) == ((3, 5), (), joined.context.now_s())


def test_weeks_without_a_link_hold_nothing_back_and_lose_nothing(joined: Ship) -> None:
    def cut() -> OfficeReply:
        raise NotReached("ConnectTimeout")

    waits = []
    for day in range(12):
        joined.office.then = [cut]
        joined.work(f"part {day}")
        joined.sending.turn()
        waits.append(joined.sending._not_before[V] - joined.clock.at.timestamp())
        joined.later(hours=17)
    assert waits[:9] == [1, 2, 4, 8, 16, 32, 64, 128, 256]
    assert set(waits[9:]) == {300}
    assert (joined.line().state, joined.line().facts) == ("away", {"why": "ConnectTimeout"})
    joined.until_quiet()
    joined.all_there()


def test_a_failure_waits_its_time_and_not_longer(joined: Ship) -> None:
    joined.office.then = [lambda: OfficeReply(status=503, body={}, retry_after=20.0)]
    joined.work("seal")
    assert joined.sending.turn() == 5.0
    joined.later(seconds=21.9)
    joined.sending.turn()
    assert len(joined.office.calls) == 1
    joined.later(seconds=0.2)
    joined.until_quiet()
    joined.all_there()


def test_an_answer_that_was_lost_is_asked_for_again_and_nothing_is_there_twice(joined: Ship) -> None:
    joined.office.lose_answers = 1
    joined.work("seal")
    joined.sending.turn()
    assert joined.line().acknowledged < joined.line().number
    joined.later(seconds=2)
    joined.until_quiet()
    joined.all_there()


def test_an_office_put_back_from_a_backup_fills_itself(joined: Ship) -> None:
    joined.work("seal")
    joined.until_quiet()
    del joined.office.taken[2:]
    joined.work("knives")
    joined.until_quiet()
    joined.all_there()


@pytest.mark.long
def test_a_batch_doubles_while_posts_come_through_halves_when_they_do_not_and_is_remembered(joined: Ship) -> None:
    for number in range(60):
        joined.work(f"part {number} {'x' * 2000}")
    began = joined.line().rate_bytes
    joined.sending.turn()
    assert joined.line().rate_bytes == 2 * began
    joined.office.then = [lambda: OfficeReply(status=502, body={})]
    joined.sending.turn()
    assert joined.line().rate_bytes == began
    anew = Sending(joined.context, joined.office, chance=lambda: 1.0)
    anew.turn()
    sizes = [sum(len(change.body) for change in unpack(call.content).changes) for call in joined.office.calls]  # type: ignore[arg-type]
    assert began - 2400 < sizes[0] <= began < sizes[1] <= 2 * began
    assert sizes[2] <= began


@pytest.mark.parametrize(
    "code", ["newer", "home", "broken", "record chain", "foreign", "row", "other ship", "nonsense"]
)
def test_what_a_person_must_see_to_is_told_and_asked_again_each_hour_alone(joined: Ship, code: str) -> None:
    status = 409 if code in ("newer", "home", "foreign") else 422
    joined.office.then = [lambda: OfficeReply(status=status, body={"code": code, "number": 7})]
    joined.work("seal")
    joined.until_quiet()
    line = joined.line()
    told = code if code != "nonsense" else "other"
    assert (line.state, line.facts, line.refused_at) == (
        "refused",
        {"code": told, "status": status, "number": 7},
        joined.clock.at,
    )
    joined.work("knives")
    joined.later(minutes=59)
    assert joined.until_quiet() == 0
    joined.later(minutes=1)
    joined.until_quiet()
    joined.all_there()
    assert (joined.line().state, joined.line().refused_at) == ("reached", None)


@pytest.mark.parametrize("status", [401, 403, 404])
def test_a_key_that_the_office_does_not_know_is_told(joined: Ship, status: int) -> None:
    joined.office.then = [lambda: OfficeReply(status=status, body={})]
    joined.work("seal")
    joined.until_quiet()
    assert (joined.line().state, joined.line().facts) == ("key", {"code": "not known", "status": status})


def test_a_key_file_that_is_gone_is_told_and_nothing_is_sent(joined: Ship) -> None:
    Path(joined.line().key_file).unlink()
    joined.work("seal")
    assert joined.until_quiet() == 0
    assert (joined.line().state, joined.line().facts) == ("key", {"code": "no key file"})


def test_a_ship_put_back_from_a_backup_waits_until_the_office_has_said_how_it_goes_on(joined: Ship) -> None:
    parent = joined.line()
    with joined.context.db.write("") as session:
        begin_lives(session)
    joined.work("seal")
    joined.until_quiet()
    assert joined.line().state == "parted"
    assert joined.office.calls[-1].body == {"life": joined.line().life, "number": parent.number, "hash": parent.hash}
    joined.work("knives")
    assert joined.until_quiet() == 0
    joined.office.life = joined.line().life
    joined.later(hours=1)
    joined.until_quiet()
    assert joined.line().state == "reached"
    joined.all_there()


def test_an_office_with_another_history_is_not_believed(joined: Ship) -> None:
    joined.office.then = [lambda: OfficeReply(status=200, body={"number": 1, "hash": "1" * 64})]
    before = joined.line().acknowledged
    joined.work("seal")
    joined.until_quiet()
    assert (joined.line().state, joined.line().acknowledged) == ("parted", before)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"number": "1"},
        {"number": -1, "hash": ""},
        {"number": 2**63, "hash": ""},
        {"number": True, "hash": ""},
        {"number": 1},
    ],
)
def test_an_answer_that_says_nothing_is_a_failure_like_another(joined: Ship, body: dict) -> None:
    joined.office.then = [lambda: OfficeReply(status=200, body=body)]
    joined.work("seal")
    before = joined.line().acknowledged
    joined.until_quiet()
    assert (joined.line().state, joined.line().acknowledged) == ("away", before)
    joined.later(minutes=6)
    joined.until_quiet()
    joined.all_there()


def test_a_frame_that_the_office_finds_too_large_is_halved(joined: Ship) -> None:
    for number in range(8):
        joined.work(f"part {number}")
    joined.office.then = [lambda: OfficeReply(status=413, body={})]
    joined.sending.turn()
    assert joined.line().state == "away"
    joined.later(seconds=2)
    joined.until_quiet()
    joined.all_there()


def test_what_the_office_has_is_packed_once_a_day(joined: Ship) -> None:
    joined.later(days=1)
    joined.work("seal")
    joined.until_quiet()
    with joined.context.db.read() as session:
        kept = session.connection().exec_driver_sql("SELECT count(*) FROM outbox_change").scalar_one()
        packs = session.connection().exec_driver_sql("SELECT count(*) FROM outbox_pack").scalar_one()
    assert (kept, packs) == (1, 1)
