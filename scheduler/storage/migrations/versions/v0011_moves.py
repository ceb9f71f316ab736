"""Slots moved by hand."""

import sqlalchemy as sa
from alembic import op

revision = "v0011"
down_revision = "v0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table; nothing was moved by hand before."""
    op.create_table(
        "move",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("slots", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("by_id", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.Column("undone_by", sa.String(), nullable=True),
        sa.Column("undone_s", sa.BigInteger(), nullable=True),
        sa.Column("undone_record", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_move_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_move")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_move_vessel_id_plant_id"), "move", ["vessel_id", "plant_id"], unique=False)
