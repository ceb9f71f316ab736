"""Keys of ships' own servers, which may be of a ship that is not here yet."""

import re

from alembic import op

revision = "v0029"
down_revision = "v0028"
branch_labels = None
depends_on = None

_WAS = "role IN ('counter', 'engineer', 'chief', 'hotel', 'chief officer', 'master', 'office', 'admin')"
_NOW = "role IN ('counter', 'ship', 'engineer', 'chief', 'hotel', 'chief officer', 'master', 'office', 'admin')"
_OF_VESSEL = "fk_api_key_vessel_id_vessel"


def upgrade() -> None:
    """Widens what a role may be; a key's vessel need not be there."""
    if op.get_bind().dialect.name == "sqlite":
        _anew("person")
        _anew("api_key", f"CONSTRAINT {_OF_VESSEL} FOREIGN KEY(vessel_id) REFERENCES vessel (id)")
        return
    for table in ("person", "api_key"):
        op.drop_constraint(op.f(f"ck_{table}_role"), table, type_="check")
        op.create_check_constraint(op.f(f"ck_{table}_role"), table, _NOW)
    op.drop_constraint(op.f(_OF_VESSEL), "api_key", type_="foreignkey")


def _anew(table: str, without: str = "") -> None:
    """The table by its own text with the wider CHECK and without a constraint, with its rows and indexes: SQLite alters neither."""
    base = op.get_bind()
    found = base.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE tbl_name = ? AND sql NOT NULL ORDER BY type = 'index'", (table,)
    ).scalars()
    made, *indexes = found.all()
    assert _WAS in made, made
    assert without in made, made
    made = made.replace(_WAS, _NOW).replace(f'TABLE "{table}"', f"TABLE {table}")
    if without:
        made = re.sub(rf",\s*{re.escape(without)}", "", made)
    base.exec_driver_sql(made.replace(f"CREATE TABLE {table}", "CREATE TABLE anew", 1))
    base.exec_driver_sql(f'INSERT INTO anew SELECT * FROM "{table}"')  # noqa: S608 - no text of anybody's
    op.drop_table(table)
    op.rename_table("anew", table)
    for index in indexes:
        base.exec_driver_sql(index)
