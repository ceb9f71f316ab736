"""What work on a pump asks for: points not fitted, dock batches, returns, who decided; plans packed, superseded ones pruned."""

import zlib

import sqlalchemy as sa
from alembic import op

revision = "v0012"
down_revision = "v0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds table and columns. What was decided before is not said to be decided as anything; no return is known of."""
    op.create_table(
        "not_fitted",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=False),
        sa.Column("point", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("asked_by_id", sa.String(), nullable=False),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("asked_s", sa.BigInteger(), nullable=False),
        sa.Column("signed_as", sa.String(), nullable=True),
        sa.Column("signed_by_id", sa.String(), nullable=True),
        sa.Column("signed_by", sa.String(), nullable=True),
        sa.Column("signed_s", sa.BigInteger(), nullable=True),
        sa.Column("withdrawn_by", sa.String(), nullable=True),
        sa.Column("withdrawn_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_not_fitted_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_not_fitted")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_not_fitted_vessel_id_pump_id"), "not_fitted", ["vessel_id", "pump_id"], unique=False)
    op.create_table(
        "dock",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("from_s", sa.BigInteger(), nullable=False),
        sa.Column("to_s", sa.BigInteger(), nullable=False),
        sa.Column("jobs", sa.String(), nullable=False),
        sa.Column("chosen_by", sa.String(), nullable=False),
        sa.Column("chosen_s", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_by", sa.String(), nullable=True),
        sa.Column("withdrawn_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_dock_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_dock")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_dock_vessel_id_plant_id"), "dock", ["vessel_id", "plant_id"], unique=False)
    op.add_column("outage", sa.Column("expected_s", sa.BigInteger(), nullable=True))
    for table, column, default in (
        ("non_conformity", "about", "past limit"),
        ("non_conformity", "facts", "[]"),
        ("postponement", "decided_as", ""),
        ("postponement", "entered_by", ""),
        ("concession", "chief_as", ""),
        ("concession", "chief_entered_by", ""),
        ("concession", "second_as", "hotel"),
    ):
        op.add_column(table, sa.Column(column, sa.String(), nullable=False, server_default=default))
    _prune()
    _pack()


def _prune() -> None:
    """Plans that were proposed, and superseded by the next before anybody took them, are named by no record."""
    never = "SELECT id FROM plan WHERE status = 'superseded' AND taken_s IS NULL"
    op.execute(f"DELETE FROM slot WHERE plan_id IN ({never})")  # noqa: S608 - no text of anybody's
    op.execute("DELETE FROM plan WHERE status = 'superseded' AND taken_s IS NULL")


def _pack() -> None:
    """The texts of plans, packed: into a column beside, then into one of the old name."""
    base = op.get_bind()
    for name in ("problem", "plan"):
        op.add_column("plan", sa.Column("packed", sa.LargeBinary(), nullable=True))
        table = sa.table(
            "plan", sa.column("id", sa.String()), sa.column(name, sa.String()), sa.column("packed", sa.LargeBinary())
        )
        for key in [row.id for row in base.execute(sa.select(table.c.id))]:
            text = base.execute(sa.select(table.c[name]).where(table.c.id == key)).scalar_one()
            base.execute(sa.update(table).where(table.c.id == key).values(packed=zlib.compress(text.encode(), 6)))
        op.drop_column("plan", name)
        op.add_column("plan", sa.Column(name, sa.LargeBinary(), server_default=sa.text("''"), nullable=False))
        op.execute(f"UPDATE plan SET {name} = packed")  # noqa: S608 - no text of anybody's
        op.drop_column("plan", "packed")
