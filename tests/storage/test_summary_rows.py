"""A page of many ships is read from stored rows, worst first, in two queries however many there are."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import select

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import summary
from scheduler.actions.feed.summary import PAGE, ships_page
from scheduler.domain.base.enums import Role
from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.feed.summary import MarginPiece, OpenTo, PlantSummary, Waiting
from scheduler.settings import Settings
from scheduler.storage.database import Database, bump_revision
from scheduler.storage.migrations.versions import v0028_plant_summary
from scheduler.storage.summary import PlantSummaryRow, put_summary_rows, vessels_turned
from scheduler.storage.vessel import AssetKind, AssetRow, VesselRow

AT = datetime(2026, 10, 20, 7, tzinfo=UTC)
HOUR, SECOND = timedelta(hours=1), timedelta(seconds=1)
OFFICE = Actor("office", "Demo office", Role.OFFICE, person_id="office")
CALM = PlantSummary(
    from_at=AT,
    turns_at=AT + HOUR,
    margins=tuple(MarginPiece(AT + n * HOUR, AT + (n + 1) * HOUR, 90_000, 70_000 + n) for n in range(30)),
)


def put_ships(db: Database, many: int, **changed: Any) -> Context:
    """So many ships with a plant each, their numbers past due falling from the first to the last."""
    with db.write("") as session:
        ids = [f"s{number:04}" for number in range(many)]
        for one in ids:
            session.add(VesselRow(id=one, name=f"Demo {one}", imo="0123450", document="{}", version=1, changed_at=AT))
        session.flush()
        for number, one in enumerate(ids):
            put_summary_rows(session, one, [f"{one}-plant"])
            session.flush()
            found = replace(CALM, past_due=max(0, many - 1 - number), **changed)
            summary.keep_summary(session, one, f"{one}-plant", found, 0, AT)
    return Context(db, lambda: AT, Settings())


@contextmanager
def statements(db: Database) -> Iterator[list[str]]:
    """What is asked of the database meanwhile, beginnings of transactions left out."""
    found: list[str] = []

    def note(*told: Any) -> None:
        if told[2].lstrip().upper().startswith(("SELECT", "WITH")):
            found.append(told[2])

    engine = db.read_engine if db.path else db.write_engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield found
    finally:
        event.remove(engine, "before_cursor_execute", note)


@pytest.mark.parametrize("ships", [10, 60])
def test_a_page_of_ships_takes_two_queries(db: Database, ships: int) -> None:
    """As many with 60 ships as with 10."""
    context = put_ships(db, ships)
    with statements(db) as asked:
        found = ships_page(context, OFFICE)
    assert len(asked) == 2, asked
    assert [one.name for one in found.lines] == [f"Demo s{number:04}" for number in range(ships)]
    assert (found.plants, found.troubled, found.pages) == (ships, ships - 1, 1)


def test_a_hundred_ships_stand_on_a_page(db: Database) -> None:
    """The worst on the first; together the pages have each ship once; after the last there is nothing."""
    context = put_ships(db, PAGE + 1)
    first, second, third = (ships_page(context, OFFICE, number) for number in (1, 2, 3))
    assert [len(one.lines) for one in (first, second, third)] == [PAGE, 1, 0]
    assert [one.vessel_id for one in (*first.lines, *second.lines)] == [f"s{number:04}" for number in range(PAGE + 1)]
    assert {(one.plants, one.troubled, one.pages) for one in (first, second, third)} == {(PAGE + 1, PAGE, 2)}


def test_a_row_says_whether_something_changed_since(db: Database) -> None:
    """By the vessel's revision, and by the instant at which the clock makes it another; one of another form is not read."""
    context = put_ships(db, 1)
    (line,) = ships_page(context, OFFICE).lines
    assert not line.behind
    assert line.summary == replace(CALM)
    for at, turned in ((CALM.turns_at - SECOND, False), (CALM.turns_at, True)):
        later = Context(db, lambda at=at: at, Settings())
        assert ships_page(later, OFFICE).lines[0].behind is turned
        with db.read() as session:
            assert vessels_turned(session, summary.form(), at) == (["s0000"] if turned else [])
    with db.write("s0000") as session:
        bump_revision(session, "s0000")
    assert ships_page(context, OFFICE).lines[0].behind
    with db.write("s0000") as session:
        row = session.exec(select(PlantSummaryRow)).one()
        row.form = "of old"
        session.add(row)
    assert ships_page(context, OFFICE).lines[0].summary is None
    with db.read() as session:
        assert vessels_turned(session, summary.form(), AT) == ["s0000"]


def test_who_belongs_to_a_ship_sees_her_alone_and_what_waits_for_whom(db: Database) -> None:
    """Counted over what is seen; nothing waits for a key without a person, nor for the person who asked."""
    matter = Matter(code=MatterCode.HANDOVER, vessel_id="v", plant_id="p", number=1)
    chief = Actor("c", "Demo chief", Role.CHIEF, "s0001", person_id="c")
    asker = Actor("a", "Demo asker", Role.CHIEF, "s0001", person_id="a")
    wait = Waiting(matter=matter, open_to=(OpenTo(Role.CHIEF, (summary.person_of(asker),)),))
    context = put_ships(db, 3, waits=(wait,))
    found = ships_page(context, chief)
    assert [one.vessel_id for one in found.lines] == ["s0001"]
    assert (found.plants, found.troubled) == (1, 1)
    assert found.lines[0].waits == (wait,)
    for actor in (asker, replace(chief, person_id=None)):
        assert ships_page(context, actor).lines[0].waits == ()


def test_each_plant_of_the_document_has_a_row(db: Database) -> None:
    """At once, before anything is worked out: listed first, and not as if all were well. A plant that is gone has none."""
    context = put_ships(db, 1)
    with db.write("s0000") as session:
        put_summary_rows(session, "s0000", ["s0000-plant", "aft"])
    found = ships_page(context, OFFICE)
    assert [(one.plant_id, one.summary is None, one.behind) for one in found.lines] == [
        ("aft", True, True),
        ("s0000-plant", False, False),
    ]
    assert found.troubled == 1
    with db.write("s0000") as session:
        put_summary_rows(session, "s0000", ["aft"])
    assert [one.plant_id for one in ships_page(context, OFFICE).lines] == ["aft"]


def test_the_migration_makes_a_row_for_each_plant_there_is(db: Database) -> None:
    """And for nothing else; they are to be worked out."""
    with db.write("") as session:
        session.add(VesselRow(id="v", name="v", imo="", document="{}", version=1, changed_at=AT))
        session.flush()
        session.add(AssetRow(id="p", vessel_id="v", kind=AssetKind.PLANT))
        session.add(AssetRow(id="x", vessel_id="v", plant_id="p", kind=AssetKind.PUMP))
        session.flush()
        session.connection().exec_driver_sql(v0028_plant_summary._ROWS)
        assert [(row.vessel_id, row.plant_id) for row in session.exec(select(PlantSummaryRow))] == [("v", "p")]
        assert vessels_turned(session, summary.form(), AT) == ["v"]
