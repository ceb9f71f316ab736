"""People who sign as hotel, chief officer or master; who set a first date and who agreed; who approved a version of a document."""

import sqlalchemy as sa
from alembic import op

revision = "v0020"
down_revision = "v0019"
branch_labels = None
depends_on = None

_WAS = "role IN ('counter', 'engineer', 'chief', 'office', 'admin')"
_NOW = "role IN ('counter', 'engineer', 'chief', 'hotel', 'chief officer', 'master', 'office', 'admin')"
_TEXT, _INSTANT = sa.String(), sa.BigInteger()


def upgrade() -> None:
    """Widens what a role may be, and adds columns. First dates that are there count as before."""
    for table in ("person", "api_key"):
        if op.get_bind().dialect.name == "sqlite":
            _anew(table)
        else:
            op.drop_constraint(op.f(f"ck_{table}_role"), table, type_="check")
            op.create_check_constraint(op.f(f"ck_{table}_role"), table, _NOW)
    for table, column, kind in (
        ("first_date", "agreed_by_id", _TEXT),
        ("first_date", "agreed_by", _TEXT),
        ("first_date", "agreed_s", _INSTANT),
        ("document_version", "by_id", _TEXT),
        ("document_version", "approved_by_id", _TEXT),
        ("document_version", "approved_s", _INSTANT),
    ):
        op.add_column(table, sa.Column(column, kind, nullable=True))
    op.create_table(
        "vouched",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("act", sa.String(), nullable=False),
        sa.Column("maker_id", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", "act", name=op.f("pk_vouched")),
        sqlite_with_rowid=False,
    )
    for side, other, written in (("hotel", "chief", ""), ("chief", "hotel", "AND chief_entered_by <> ''")):
        op.execute(  # a name that somebody typed is half of what takes two no more
            f"UPDATE concession SET {side}_by_id = 'written down' WHERE {side}_by_id IS NOT NULL AND {other}_by_id IS NULL {written}"  # noqa: S608
        )
    op.add_column("first_date", sa.Column("waits", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("first_date", sa.Column("set_as", _TEXT, nullable=False, server_default=""))
    op.add_column("document_version", sa.Column("to_approve", _TEXT, nullable=False, server_default="[]"))


def _anew(table: str) -> None:
    """The table by its own text with the wider CHECK, with its rows and indexes: SQLite alters no CHECK."""
    base = op.get_bind()
    found = base.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE tbl_name = ? AND sql NOT NULL ORDER BY type = 'index'", (table,)
    ).scalars()
    made, *indexes = found.all()
    assert _WAS in made, made
    made = made.replace(_WAS, _NOW).replace(f'TABLE "{table}"', f"TABLE {table}")
    base.exec_driver_sql(made.replace(f"CREATE TABLE {table}", "CREATE TABLE anew", 1))
    base.exec_driver_sql(f'INSERT INTO anew SELECT * FROM "{table}"')  # noqa: S608 - no text of anybody's
    op.drop_table(table)
    op.rename_table("anew", table)
    for index in indexes:
        base.exec_driver_sql(index)
