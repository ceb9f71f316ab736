"""What has an id is found by its vessel and that id, people too; three tables get the names of what they hold."""

from collections.abc import Mapping

import sqlalchemy as sa
from alembic import op

revision = "v0017"
down_revision = "v0016"
branch_labels = None
depends_on = None

_KEYED = ("outage", "pump_test", "counter_event", "plan", "slot")
_OF_PEOPLE = ("api_key", "sign_in_link", "session", "feed_token")
_INDEXED = ("session", "feed_token")
_RENAMED = {"daybook": "voyage_version", "spell": "voyage_stretch", "feed_token": "address"}
_OWNER = ("person_vessel_id", "person_id")
_NO_KEY = "api_key"
"""The one table in which a row may be nobody's."""


def upgrade() -> None:
    """Makes the keys anew; every row stays. A person of no vessel is one of the installation, whose vessel id is empty."""
    (_on_sqlite if op.get_bind().dialect.name == "sqlite" else _on_postgres)()


def _on_sqlite() -> None:
    """Tables are made anew from their own text, with what changes put in place: SQLite alters no key."""
    for table in _KEYED:
        changes = {f"CONSTRAINT pk_{table} PRIMARY KEY (id)": f"CONSTRAINT pk_{table} PRIMARY KEY (vessel_id, id)"}
        if table == "slot":
            changes |= {
                'CONSTRAINT fk_slot_plan_id_plan FOREIGN KEY(plan_id) REFERENCES "plan" (id)': (
                    "CONSTRAINT fk_slot_vessel_id_plan_id_plan FOREIGN KEY(vessel_id, plan_id) "
                    'REFERENCES "plan" (vessel_id, id)'
                ),
                "ix_slot_plan_id ON slot (plan_id)": "ix_slot_vessel_id_plan_id ON slot (vessel_id, plan_id)",
            }
        _anew(table, table, changes)
    changes = {
        "CONSTRAINT pk_person PRIMARY KEY (id)": "CONSTRAINT pk_person PRIMARY KEY (vessel_id, id)",
        "vessel_id VARCHAR,": "vessel_id VARCHAR NOT NULL,",
        "\tCONSTRAINT fk_person_vessel_id_vessel FOREIGN KEY(vessel_id) REFERENCES vessel (id), \n": "",
    }
    _anew("person", "person", changes, {"vessel_id": "coalesce(vessel_id, '')"})
    for table in _OF_PEOPLE:
        now, none = _RENAMED.get(table, table), "" if table == _NO_KEY else " NOT NULL"
        changes = {
            f"person_id VARCHAR{none},": f"person_vessel_id VARCHAR{none}, person_id VARCHAR{none},",
            f"CONSTRAINT fk_{table}_person_id_person FOREIGN KEY(person_id) REFERENCES person (id)": (
                f"CONSTRAINT fk_{table}_person_vessel_id_person_id_person FOREIGN KEY(person_vessel_id, person_id) "
                "REFERENCES person (vessel_id, id)"
            ),
            table: now,
        }
        if table in _INDEXED:
            index = f"ix_{table}_person_vessel_id_person_id ON {table} (person_vessel_id, person_id)"
            changes = {f"ix_{table}_person_id ON {table} (person_id)": index} | changes
        of = f"(SELECT vessel_id FROM person WHERE person.id = {table}.person_id)"  # noqa: S608 - no text of anybody's
        _anew(table, now, changes, {"person_vessel_id": of})
    for table in ("daybook", "spell"):
        _anew(table, _RENAMED[table], {table: _RENAMED[table]})


def _anew(was: str, now: str, changes: Mapping[str, str], values: Mapping[str, str] | None = None) -> None:
    """A table by the text of another, changed, with its rows and indexes. values: of columns that are not simply taken over."""
    base = op.get_bind()
    found = base.exec_driver_sql(
        "SELECT type, sql FROM sqlite_master WHERE tbl_name = ? AND sql NOT NULL ORDER BY type = 'index'", (was,)
    ).all()
    (made, *indexes) = [sql.replace(f'TABLE "{was}"', f"TABLE {was}") for _, sql in found]
    for text, instead in changes.items():
        assert any(text in one for one in (made, *indexes)), text
        made, indexes = made.replace(text, instead), [index.replace(text, instead) for index in indexes]
    base.exec_driver_sql(made.replace(f"CREATE TABLE {now}", "CREATE TABLE anew", 1))
    columns = [row[1] for row in base.exec_driver_sql("PRAGMA table_info(anew)")]
    taken = ", ".join((values or {}).get(column, f'"{column}"') for column in columns)
    named = ", ".join(f'"{column}"' for column in columns)
    base.exec_driver_sql(f'INSERT INTO anew ({named}) SELECT {taken} FROM "{was}"')  # noqa: S608 - no text of anybody's
    op.drop_table(was)
    op.rename_table("anew", now)
    for index in indexes:
        base.exec_driver_sql(index)


def _on_postgres() -> None:
    op.drop_constraint("fk_slot_plan_id_plan", "slot", type_="foreignkey")
    for table in _OF_PEOPLE:
        op.drop_constraint(f"fk_{table}_person_id_person", table, type_="foreignkey")
    op.drop_constraint("fk_person_vessel_id_vessel", "person", type_="foreignkey")
    op.execute("UPDATE person SET vessel_id = '' WHERE vessel_id IS NULL")
    op.alter_column("person", "vessel_id", nullable=False)
    for table in (*_KEYED, "person"):
        op.drop_constraint(f"pk_{table}", table, type_="primary")
        op.create_primary_key(f"pk_{table}", table, ["vessel_id", "id"])
    op.create_foreign_key(
        "fk_slot_vessel_id_plan_id_plan",
        "slot",
        "plan",
        ["vessel_id", "plan_id"],
        ["vessel_id", "id"],
        ondelete="CASCADE",
    )
    op.drop_index("ix_slot_plan_id", "slot")
    op.create_index("ix_slot_vessel_id_plan_id", "slot", ["vessel_id", "plan_id"])
    for table in _OF_PEOPLE:
        op.add_column(table, sa.Column("person_vessel_id", sa.String(), nullable=True))
        of = "SELECT vessel_id FROM person WHERE person.id = person_id"
        op.execute(f"UPDATE {table} SET person_vessel_id = ({of})")  # noqa: S608 - no text of anybody's
        if table != _NO_KEY:
            op.alter_column(table, "person_vessel_id", nullable=False)
        name = f"fk_{table}_person_vessel_id_person_id_person"
        op.create_foreign_key(name, table, "person", list(_OWNER), ["vessel_id", "id"])
        if table in _INDEXED:
            op.drop_index(f"ix_{table}_person_id", table)
            op.create_index(f"ix_{table}_person_vessel_id_person_id", table, list(_OWNER))
    for was, now in _RENAMED.items():
        _rename_on_postgres(was, now)


def _rename_on_postgres(was: str, now: str) -> None:
    """A table under another name, with what is named after it."""
    base = op.get_bind()
    op.rename_table(was, now)
    named = sa.text("SELECT conname FROM pg_constraint WHERE conrelid = CAST(:table AS regclass)")
    for (name,) in base.execute(named, {"table": now}).all():
        op.execute(f'ALTER TABLE {now} RENAME CONSTRAINT "{name}" TO "{name.replace(was, now, 1)}"')
    named = sa.text("SELECT indexname FROM pg_indexes WHERE tablename = :table AND indexname LIKE :like")
    for (name,) in base.execute(named, {"table": now, "like": f"ix_{was}_%"}).all():
        op.execute(f'ALTER INDEX "{name}" RENAME TO "{name.replace(was, now, 1)}"')
