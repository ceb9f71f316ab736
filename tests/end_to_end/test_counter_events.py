"""What people and gateways say about counters, through the stored path, on both databases."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import select

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand, seconds
from scheduler.actions.care import doctor, rounds
from scheduler.actions.hours import counter_events, daily, readings, undoing
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.hours.readings import ReadingDoor
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role, Subject
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.settings import Settings
from scheduler.storage.hours.counters import find_counter
from scheduler.storage.hours.intake import Intake
from scheduler.storage.hours.ledger import newest_checkpoint
from scheduler.storage.hours.readings import IntakeLogRow, ReadingRow
from scheduler.storage.record import RecordRow
from scheduler.storage.vessel import AssetKind
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_ledger_stored import Book, book, drop
from tests.storage.stores import kinds_where_required, store

NAME, CHECK, PLANT = PLOVER.counter(0), "plover-vp1-drive", "plover-plant"
GATEWAY = Actor("gateway", "gateway", Role.COUNTER, PLOVER.vessel)
ENGINEER = Actor("person second", "B. Second, second engineer", Role.ENGINEER, PLOVER.vessel, "second")
CHIEF = Actor("person chief", "C. Chief, chief engineer", Role.CHIEF, PLOVER.vessel, "chief")
OFFICE = Actor("person desk", "D. Desk, superintendent", Role.OFFICE, None, "desk")
KEYS = count()


def document() -> dict[str, Any]:
    """The three-pump ship with a second counter at VP1, which only checks the first."""
    told = vessel_document(Run(PLOVER, 1, AT, 0.02))
    own = told["plants"][0]["counters"]
    own.append({**own[0], "id": CHECK, "primary": False})
    return told


@pytest.fixture(params=kinds_where_required())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    """A context with the ship aboard and no reading yet."""
    with store(request.param, tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        changes.put_vessel(context, OFFICE, VESSEL.validate_python(document()), if_new=True)
        yield context


def at(hours: float) -> datetime:
    """That many hours before now."""
    return AT - timedelta(hours=hours)


def post(
    context: Context, *shown: tuple[float, float], name: str = NAME, sent_at: datetime | None = None
) -> dict[str, Any]:
    """Post (hours ago, counts) in one batch; the answer."""
    items = [{"counter": name, "observed_at": at(ago).isoformat(), "value": value} for ago, value in shown]
    body: dict[str, Any] = {"readings": items, **({"sent_at": sent_at.isoformat()} if sent_at else {})}
    with Intake(context.db, context.clock) as intake:
        return readings.post(ReadingDoor(context, intake), intake, GATEWAY, body)


def hand(actor: Actor) -> Hand:
    return Hand(actor, f"key {next(KEYS)}", {})


def place(name: str = NAME) -> Place:
    return Place(name, PLOVER.vessel, PLANT, AssetKind.COUNTER)


def tell(context: Context, actor: Actor, kind: str, ago: float = 0, name: str = NAME, **told: Any) -> dict[str, Any]:
    event = counter_events.CounterEvent(kind=kind, at=at(ago), reason="seen at the pump", **told)
    return dict(counter_events.add_event(context, hand(actor), place(name), event).body)


def ran(context: Context) -> float:
    """Running hours of VP1 now."""
    return plant_state(context, PLOVER.vessel, PLANT).hours[Subject.POSITION, "plover-vp1"].hours


def raw(context: Context) -> tuple[set[tuple[Any, ...]], set[tuple[Any, ...]]]:
    """Every reading and every line of the intake log, as stored."""
    with context.db.read() as session:
        return (
            {(r.counter_no, r.at_s, r.value_milli, r.received_s, r.skew_s) for r in session.exec(select(ReadingRow))},
            {(r.id, r.counter_ref, r.status, r.why, r.item) for r in session.exec(select(IntakeLogRow))},
        )


def rederived(context: Context) -> Book:
    """The ledger thrown away and derived anew."""
    drop(context)
    return book(context)


def test_a_gateway_with_a_wrong_clock(context: Context) -> None:
    """R12: readings keep the stamp they came with and count at the instant put right; the flag says by how much; the sender
    is told its newest in its own time; sent again they are duplicates and change nothing."""
    told = post(context, (27, 100), (3, 106), sent_at=at(3))
    assert [item["status"] for item in told["items"]] == ["stored", "stored"]
    assert [item["verdict"] for item in told["items"]] == ["baseline", "credited"]
    assert (told["clock_skew_seconds"], told["newest"][NAME]) == (10_800, at(3).isoformat().replace("+00:00", "Z"))
    entries, flags = book(context)[NAME]
    assert [(e[0], e[2]) for e in entries] == [(seconds(at(24)), 0), (seconds(at(0)), 6 * 3600)]
    ((code, _, facts, off_s),) = flags
    assert (code, off_s) == ("clock", 10_800)
    assert facts == '{"skew_s":10800}'
    before = raw(context)
    again = post(context, (27, 100), (3, 106))
    assert [item["status"] for item in again["items"]] == ["duplicate", "duplicate"]
    assert again["newest"][NAME] == at(0).isoformat().replace("+00:00", "Z")
    assert raw(context) == before
    assert {at_s for _, at_s, *_ in before[0]} == {seconds(at(27)), seconds(at(3))}
    assert not plant_state(context, PLOVER.vessel, PLANT).counters[1].silent
    post(context, (30, 99))  # a late one with the clock right belongs before both
    assert book(context)[NAME][0][-1][3] == 7 * 3600
    assert rederived(context)[NAME] == book(context)[NAME]


def test_a_clock_put_right_closes_its_flag_by_itself(context: Context) -> None:
    """R12: one flag when it goes wrong, one on record when it is right again, and nothing is left to look at; wrong once
    more, it is told once more. The same when derived anew."""

    def about() -> list[str]:
        return [one.about for one in doctor.vessel_diagnosis(context, PLOVER.vessel) if one.which == NAME]

    post(context, (27, 100), sent_at=at(3))
    assert about() == ["clock"]
    post(context, (20, 101), (16, 102), sent_at=at(0))
    assert about() == []
    flags = sorted(book(context)[NAME][1])
    assert [code for code, *_ in flags] == ["clock", "clock right"]
    assert flags[1][1] == seconds(at(20))
    assert flags[1][2] == '{"skew_s":10800}'
    assert sorted(rederived(context)[NAME][1]) == flags
    post(context, (13, 103), sent_at=at(5))
    assert about() == ["clock"]


def test_a_stamp_from_the_far_future_is_nobodys_newest(context: Context) -> None:
    """R12: it is stored and held, and a sender that goes on from `newest` skips nothing."""
    post(context, (24, 100))
    told = post(context, (-24 * 365, 900), (20, 101))
    assert [item["status"] for item in told["items"]] == ["stored", "stored"]
    assert told["newest"][NAME] == at(20).isoformat().replace("+00:00", "Z")
    assert post(context, (-24 * 366, 900), name=CHECK)["newest"] == {}
    assert [e[5] for e in book(context)[NAME][0]] == ["baseline", "credited", "held"]
    told = post(context, (16, 102), (12, 103))
    assert [item["verdict"] for item in told["items"]] == ["credited", "credited"]
    assert [e[5] for e in book(context)[NAME][0]] == ["baseline", "credited", "credited", "credited", "held"]
    assert isinstance(context.clock, TurnedClock)
    context.clock.at = AT + timedelta(days=3)
    rounds.watch_counters(context, lambda _: None)
    assert [f.at_s for _, f in plant_state(context, PLOVER.vessel, PLANT).flags if f.code == "silent"] == [
        seconds(at(12))
    ]


@pytest.mark.long
def test_readings_posted_in_any_order_with_any_clock_give_the_same_due_dates(context: Context) -> None:
    """R3, R12: the batches of a gateway whose clock was off for a while, forwards, backwards and twice: one ledger."""
    batches = [
        ([(ago + skew, 100 + 100 - ago) for ago in range(start, start - 20, -4)], skew)
        for start, skew in ((100, 0), (80, 5), (60, -2), (40, 0), (20, 0))
    ]
    books = []
    for order in (batches, batches[::-1], [*batches[2:], *batches]):
        for shown, skew in order:
            post(context, *shown, sent_at=at(skew))
            derive_vessel(context, PLOVER.vessel)
        now = plant_state(context, PLOVER.vessel, PLANT)
        books.append((book(context), now.hours, now.jobs))
        with context.db.write(PLOVER.vessel) as session:
            for row in session.exec(select(ReadingRow)):
                session.delete(row)
        drop(context)
        derive_vessel(context, PLOVER.vessel)
    assert books[0] == books[1] == books[2]
    assert books[0][0][NAME][0][-1][3] == 96 * 3600


@pytest.mark.long
def test_a_change_of_scale_is_an_event(context: Context) -> None:
    """R15: hours go on over it; each value is judged on the scale of its instant; the document cannot change it; undone,
    all is as before."""
    post(context, (96, 12000), (72, 12006))
    before = book(context)[NAME]
    scale = {"seconds_per_count": 60, "modulus": 1_000_000, "old_final": 12_010, "new_first": 720_600}
    told = tell(context, ENGINEER, "rescale", 48, **scale)
    post(context, (24, 720_960), (0, 721_080))
    assert (ran(context), rederived(context)[NAME]) == (10 + 6 + 2, book(context)[NAME])
    assert post(context, (1, 1_000_000))["items"][0]["status"] == "refused"
    assert post(context, (60, 12_008))["items"][0]["status"] == "stored"
    assert ran(context) == 18
    shown = counter_events.counter_book(context, place())
    assert [(s.seconds_per_count, s.modulus) for _, s in shown.setups] == [(3600, None), (60, 1_000_000)]
    with pytest.raises(Refused, match="counts so already"):
        tell(context, ENGINEER, "rescale", 12, seconds_per_count=60, modulus=1_000_000, new_first=1)
    changed = document()
    changed["plants"][0]["counters"][0]["seconds_per_count"] = 60
    with pytest.raises(Refused, match="leadline counter rescaled"):
        changes.put_vessel(context, OFFICE, VESSEL.validate_python(changed), if_match=1)
    undoing.undo_event(context, hand(ENGINEER), place(), told["id"], "wrong counter")
    assert book(context)[NAME][0][:2] == before[0]
    assert ran(context) == 8
    assert {e[5] for e in book(context)[NAME][0][3:]} == {"held"}


@pytest.mark.parametrize("context", ["sqlite"], indirect=True)
def test_an_undo_restores_hours_and_due_dates_and_comes_once(context: Context) -> None:
    """R16: the opposite entry, at the same instant, refers to what it undoes; both are records; a second is refused."""
    post(context, (48, 12000), (24, 12006))
    before = plant_state(context, PLOVER.vessel, PLANT)
    data, entries = raw(context), book(context)[NAME][0]
    told = tell(context, ENGINEER, "adjustment", 12, hours=400)
    assert ran(context) == 406
    assert undoing.undo_event(context, hand(ENGINEER), place(), told["id"], "wrong pump").status == 201
    after = plant_state(context, PLOVER.vessel, PLANT)
    assert (after.hours, after.jobs) == (before.hours, before.jobs)
    assert [e[2] for e in book(context)[NAME][0]] == [*(e[2] for e in entries), 400 * 3600, -400 * 3600]
    with pytest.raises(Clash, match=r"was undone by B\. Second"):
        undoing.undo_event(context, hand(CHIEF), place(), told["id"], "again")
    undo = next(e for e in counter_events.counter_book(context, place()).events if e.kind == "undo")
    assert undo.undoes == told["id"]
    with pytest.raises(Refused, match="is an undo itself"):
        undoing.undo_event(context, hand(CHIEF), place(), undo.id, "undo the undo")
    with pytest.raises(NotFound):
        undoing.undo_event(context, hand(CHIEF), place(), "0" * 16, "no such thing")
    assert raw(context) == data
    assert rederived(context)[NAME] == book(context)[NAME]


@pytest.mark.parametrize("context", ["sqlite"], indirect=True)
def test_hours_are_taken_away_by_two_people(context: Context) -> None:
    """R16: asked by one, confirmed by another of chief or office; nothing changes before; both names are in the record."""
    post(context, (48, 12000), (24, 12006))
    told = tell(context, CHIEF, "adjustment", 12, hours=-2)
    asked = told["id"]
    assert (ran(context), "Nothing has changed yet" in told["says"]) == (6, True)
    for actor, says in ((CHIEF, "cannot confirm it"), (ENGINEER, "may not confirm that hours are taken away")):
        with pytest.raises(NotAllowed, match=says):
            undoing.confirm_event(context, hand(actor), place(), asked)
    assert (ran(context), [e.state for e in counter_events.counter_book(context, place()).events]) == (6, ["asked"])
    number = undoing.confirm_event(context, hand(OFFICE), place(), asked, "log book seen").body["record"]
    assert ran(context) == 4
    with context.db.read() as session:
        record = next(r for r in session.exec(select(RecordRow)) if r.number == number)
    assert "C. Chief" in record.text
    assert "D. Desk" in record.text
    with pytest.raises(Clash, match=r"was confirmed by D\. Desk"):
        undoing.confirm_event(context, hand(OFFICE), place(), asked)
    given = tell(context, ENGINEER, "adjustment", 11, hours=10)
    wish = undoing.undo_event(context, hand(CHIEF), place(), given["id"], "never ran")
    assert (wish.status, ran(context)) == (202, 14)
    with pytest.raises(Clash, match="asked for this undo already"):
        undoing.undo_event(context, hand(OFFICE), place(), given["id"], "never ran")
    undoing.confirm_event(context, hand(OFFICE), place(), wish.body["id"])
    assert ran(context) == 4
    late = tell(context, ENGINEER, "adjustment", 10, hours=-1)
    undoing.undo_event(context, hand(ENGINEER), place(), late["id"], "thought better of it")
    with pytest.raises(Clash, match="was undone by"):
        undoing.confirm_event(context, hand(CHIEF), place(), late["id"])
    assert ran(context) == 4


def test_two_counters_of_a_position(context: Context) -> None:
    """R18: one counts, the other checks it and is never added; they are flagged when they differ; from a dated event on the
    other one counts, hours go on without a step; the document cannot change which."""
    post(context, (480, 1000), (240, 1100), (0, 1200))
    post(context, (480, 70), (240, 150), (0, 230), name=CHECK)
    assert ran(context) == 200
    refreshed: list[str] = []
    rounds.watch_counters(context, refreshed.append)
    now = plant_state(context, PLOVER.vessel, PLANT)
    (flag,) = [f for _, f in now.flags if f.code == "sources differ"]
    assert (flag.facts["checked_s"], flag.facts["ran_s"]) == (160 * 3600, 200 * 3600)
    rounds.watch_counters(context, refreshed.append)
    assert len(refreshed) == 1
    assert {c.id: c.primary for c in now.counters if c.position == "plover-vp1"} == {NAME: True, CHECK: False}
    told = tell(context, ENGINEER, "primary", 240, name=CHECK)
    assert ran(context) == 100 + 80
    book_ = daily.daily_book(context, Place(PLANT, PLOVER.vessel, PLANT, AssetKind.PLANT), 5)
    assert {day.seconds for day in book_.days[Subject.POSITION, "plover-vp1"]} == {8 * 3600}
    assert all(day.interpolated for day in book_.days[Subject.POSITION, "plover-vp1"])
    changed = document()
    changed["plants"][0]["counters"][0]["primary"], changed["plants"][0]["counters"][-1]["primary"] = False, True
    with pytest.raises(Refused, match="leadline counter primary"):
        changes.put_vessel(context, OFFICE, VESSEL.validate_python(changed), if_match=1)
    undoing.undo_event(context, hand(ENGINEER), place(CHECK), told["id"], "it was right")
    assert ran(context) == 200
    with pytest.raises(Refused, match="the only counter"):
        tell(context, ENGINEER, "primary", 1, name=PLOVER.counter(1))


def test_another_value_at_an_instant_is_flagged(context: Context) -> None:
    """R2: the first stays, the other is in the intake log, and the counter says so for thirty days, once."""
    post(context, (48, 12000), (24, 12006))
    for value in (12_007, 12_008):
        assert post(context, (24, value))["items"][0]["status"] == "conflict"
        rounds.watch_counters(context, lambda _: None)
    flags = [f for _, f in plant_state(context, PLOVER.vessel, PLANT).flags if f.code == "conflict"]
    assert [(f.at_s, f.facts) for f in flags] == [(seconds(AT), {"times": 2, "newest_s": seconds(AT)})]
    assert ran(context) == 6
    assert isinstance(context.clock, TurnedClock)
    context.clock.at = AT + timedelta(days=31)
    rounds.watch_counters(context, lambda _: None)
    assert [f for _, f in plant_state(context, PLOVER.vessel, PLANT).flags if f.code == "conflict"] == []


def test_a_scale_wrong_from_the_start_is_put_right(context: Context) -> None:
    """R15: a change of scale before the first reading counts all readings on the new scale, as if it had always been so."""
    post(context, (48, 600_000), (24, 600_360))
    assert {e[5] for e in book(context)[NAME][0]} == {"baseline", "held"}
    tell(context, CHIEF, "rescale", 49, seconds_per_count=60, new_first=600_000)
    assert ran(context) == 6
    assert {e[5] for e in book(context)[NAME][0]} == {"rescale", "credited"}


@pytest.mark.long
@pytest.mark.parametrize("context", ["sqlite"], indirect=True)
def test_no_event_and_no_derivation_changes_what_was_posted(context: Context) -> None:
    """Readings and the intake log are the same bytes after every kind of event, undo, watch and derivation."""
    post(context, (96, 12000), (72, 12006), (48, 12500), (24, 12506))
    post(context, (72, 12007), (12, -5))
    before = raw(context)
    assert [len(part) for part in before] == [4, 2]
    told = [
        tell(context, CHIEF, "step decision", 48, hours=6),
        tell(context, CHIEF, "bad reading", 72),
        tell(context, CHIEF, "replacement", 40, old_final=12_501, new_first=0),
        tell(context, CHIEF, "rescale", 30, seconds_per_count=60, new_first=0),
        tell(context, CHIEF, "adjustment", 20, hours=4),
        tell(context, CHIEF, "adjustment", 20, hours=-4),
        tell(context, CHIEF, "opening balance", 96, hours=11_000),
        tell(context, CHIEF, "primary", 10, name=CHECK),
    ]
    for n, event in enumerate(told):
        name = CHECK if event["event"] == "primary" else NAME
        plant_state(context, PLOVER.vessel, PLANT)
        undoing.undo_event(context, hand(CHIEF), place(name), event["id"], f"number {n}")
    rounds.watch_counters(context, lambda _: None)
    rederived(context)
    assert raw(context) == before


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds_where_required())
def test_a_backfill_derives_from_the_checkpoint_before_it_and_touches_nothing_earlier(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """R1: of 400 hourly readings in pieces of 50, one that comes late for an instant far back: no entry up to the
    checkpoint before it is written again, as the database itself tells, and none once the ledger is as it was."""
    monkeypatch.setattr("scheduler.actions.hours.ledger.PIECE", 50)
    with store(kind, tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        changes.put_vessel(context, OFFICE, VESSEL.validate_python(document()), if_new=True)
        post(context, *((ago, 1000 + (400 - ago) // 2) for ago in range(400, 0, -1)))
        derive_vessel(context, PLOVER.vessel)
        late_s = seconds(at(180.5))
        with context.db.read() as session:
            row = find_counter(session, NAME)
            assert row is not None
            no = row.no or 0
            checkpoint = newest_checkpoint(session, no, late_s)
        assert checkpoint is not None
        assert late_s - checkpoint.at_s < 51 * 3600
        mark = "xmin::text" if kind == "postgresql" else "at_s"
        with context.db.write("") as session:
            if kind == "sqlite":
                session.connection().exec_driver_sql("CREATE TABLE touched (at_s INTEGER)")
                session.connection().exec_driver_sql(
                    "CREATE TRIGGER look AFTER DELETE ON ledger_entry BEGIN INSERT INTO touched VALUES (OLD.at_s); END"
                )
            sql = f"SELECT at_s, {mark} FROM ledger_entry WHERE counter_no = {no}"
            before = dict(session.connection().exec_driver_sql(sql).all())
        post(context, (180.5, 1109))
        derive_vessel(context, PLOVER.vessel)
        with context.db.read() as session:
            after = dict(session.connection().exec_driver_sql(sql).all())
            if kind == "sqlite":
                gone = {at_s for (at_s,) in session.connection().exec_driver_sql("SELECT at_s FROM touched")}
            else:
                gone = {at_s for at_s, mark in before.items() if after[at_s] != mark}
            again = newest_checkpoint(session, no, late_s)
        assert after.keys() == before.keys() | {late_s}
        assert min(gone) == min(at_s for at_s in before if at_s > checkpoint.at_s)
        assert gone == {at_s for at_s in before if checkpoint.at_s < at_s <= max(gone)}
        assert len(gone) <= 150, "once the ledger is as it was, the rest stands"
        assert again is not None
        assert again.state == checkpoint.state
        assert rederived(context) == book(context)
