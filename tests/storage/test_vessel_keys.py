"""An id is one vessel's own: another vessel may use the same, for things and for people."""

from datetime import UTC, datetime

import pytest
from sqlmodel import Session, select

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.people import people, sessions
from scheduler.clock import system_clock
from scheduler.domain.base.enums import Role, Test
from scheduler.errors import Clash, NotFound, Refused
from scheduler.settings import Settings
from scheduler.storage.capacity import OutageRow, OutageStatus, PumpTestRow
from scheduler.storage.database import Database
from scheduler.storage.hours.counters import CounterEventRow
from scheduler.storage.plan import PlanRow, PlanStatus, SlotRow
from tests.storage.stores import add_vessel

ME = Actor("set up", "set up", Role.ADMIN)
AT = datetime(2026, 11, 30, 1, tzinfo=UTC)
VESSELS = ("plover", "avocet")


@pytest.fixture
def two(db: Database) -> Context:
    """Two vessels, each with a person called second; a person of the office."""
    numbers = {vessel: add_vessel(db, vessel, counters=1) for vessel in VESSELS}
    context = Context(db, system_clock, Settings())
    for vessel in VESSELS:
        _person(context, "second", vessel)
        with db.write(vessel) as session:
            _rows_called_one(session, vessel, *numbers[vessel])
    _person(context, "desk", None)
    return context


def _person(context: Context, person_id: str, vessel: str | None) -> None:
    name, role = f"Demo {person_id} of {vessel}", Role.OFFICE if vessel is None else Role.ENGINEER
    people.add_person(context, ME, person_id=person_id, name=name, rank="x", role=role, vessel_id=vessel)


def _rows_called_one(session: Session, vessel: str, counter_no: int) -> None:
    common = {"id": "one", "vessel_id": vessel}
    said = {"actor": "a", "reason": "r"}
    plan = PlanRow(
        **common,
        plant_id="p",
        digest=vessel,
        problem_digest="",
        status=PlanStatus.TAKEN,
        made_at=AT,
        starts_at=AT,
        lawful=True,
        problem="{}",
        plan="{}",
    )
    session.add_all([plan])
    session.add_all(
        [
            OutageRow(
                **common, **said, recorded_at=AT, plant_id="p", pump_id="a", from_at=AT, status=OutageStatus.DOWN
            ),
            PumpTestRow(**common, pump_id="a", at=AT, result=Test.PASSED, actor="a", recorded_at=AT),
            CounterEventRow(
                **common, **said, recorded_s=1, counter_no=counter_no, kind="replacement", at_s=1, detail="{}"
            ),
            SlotRow(
                **common,
                plan_id="one",
                job_key="k:a:1",
                start_at=AT,
                end_at=AT.replace(hour=2),
                least_margin_litres_per_h=0,
            ),
        ]
    )


def test_two_vessels_may_call_a_thing_the_same(two: Context) -> None:
    """An outage, a test, an event, a plan and its slot of one id are there for each; a plan that goes takes its own slots alone."""
    with two.db.write("plover") as session:
        for table in (OutageRow, PumpTestRow, CounterEventRow, PlanRow, SlotRow):
            assert sorted(row.vessel_id for row in session.exec(select(table))) == ["avocet", "plover"], table
        session.delete(session.get(PlanRow, ("plover", "one")))
    with two.db.read() as session:
        assert [row.vessel_id for row in session.exec(select(SlotRow))] == ["avocet"]


def test_a_person_whose_id_two_vessels_use_is_found_by_the_vessel(two: Context) -> None:
    """Without one it is refused, naming what to say; whoever signs in by the link is that vessel's person."""
    with pytest.raises(Refused, match="--vessel avocet"):
        people.make_link(two, "second")
    with pytest.raises(NotFound, match="Known: desk, second"):
        people.make_link(two, "third")
    for vessel in VESSELS:
        signed_in = sessions.at_browser(two, people.enter(two, people.make_link(two, "second", vessel)))
        assert signed_in is not None
        assert (signed_in.actor.vessel_id, signed_in.actor.name) == (vessel, f"Demo second of {vessel}, x")
        key = people.add_key(two, ME, role=Role.ENGINEER, label="k", vessel_id=vessel, person_id="second")
        assert people.who_holds(two, key).name == f"Demo second of {vessel}, x"
    assert people.make_link(two, "desk")


def test_calendar_addresses_of_two_people_of_one_id_are_each_ones_own(two: Context) -> None:
    """Neither sees, changes or withdraws the other's."""
    keys = {
        vessel: people.add_key(two, ME, role=Role.ENGINEER, label="k", vessel_id=vessel, person_id="second")
        for vessel in VESSELS
    }
    who = {vessel: people.who_holds(two, key) for vessel, key in keys.items()}
    made = {
        vessel: addresses.make_address(two, who[vessel], person_id="second", vessel_id=vessel) for vessel in VESSELS
    }
    for vessel in VESSELS:
        assert [one.id for one in addresses.addresses(two, who[vessel], "second")] == [made[vessel].id]
    with pytest.raises(NotFound):
        addresses.revoke(two, who["plover"], made["avocet"].id)


@pytest.mark.parametrize(("person_id", "vessel"), [("second", "plover"), ("desk", "plover"), ("second", None)])
def test_within_a_vessel_an_id_is_one_persons(two: Context, person_id: str, vessel: str | None) -> None:
    """People of the installation act on every vessel, so their ids are nobody else's."""
    with pytest.raises(Clash, match="already"):
        _person(two, person_id, vessel)
