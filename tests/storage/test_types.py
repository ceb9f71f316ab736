"""Columns that hold instants and JSON: what goes in comes out, in one form."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy.exc import StatementError
from sqlmodel import select, update

from scheduler.storage.database import Database
from scheduler.storage.due import DockRow
from scheduler.storage.vessel import VesselRow
from tests.storage.stores import add_vessel

AT = datetime(2026, 11, 30, 12, 0, 0, 999_999, tzinfo=timezone(timedelta(hours=2)))
STORED = datetime(2026, 11, 30, 10, tzinfo=UTC)


def test_an_instant_is_floored_to_the_second_in_utc_in_the_row_and_in_the_database(db: Database) -> None:
    """An answer made of a row just built shows what is stored; an instant before 1970 comes back as well."""
    add_vessel(db)
    early = datetime(1960, 1, 1, 0, 0, 0, 1, tzinfo=UTC)
    row = DockRow(
        vessel_id="plover", number=1, plant_id="p", from_at=early, to_at=AT, jobs=["b:é:1"], chosen_by="A", chosen_at=AT
    )
    assert (row.to_at, row.withdrawn_at) == (STORED, None)
    with db.write("plover") as session:
        session.add(row)
    with db.read() as session:
        kept = session.exec(select(DockRow).where(DockRow.to_at == AT)).one()
        assert (kept.from_at, kept.to_at, kept.jobs) == (datetime(1960, 1, 1, tzinfo=UTC), STORED, ["b:é:1"])
        (plain,) = session.connection().exec_driver_sql("SELECT to_s, withdrawn_s, jobs FROM dock").all()
        assert tuple(plain) == (int(STORED.timestamp()), None, '["b:\\u00e9:1"]')


def test_an_instant_of_no_time_zone_is_refused(db: Database) -> None:
    """In a row at once, in a statement when it is sent."""
    with pytest.raises(ValueError, match="no time zone"):
        VesselRow(id="plover", name="", imo="", document="", version=1, changed_at=AT.replace(tzinfo=None))
    with pytest.raises(StatementError, match="no time zone"), db.write("") as session:
        session.execute(update(VesselRow).values(changed_at=AT.replace(tzinfo=None)))
