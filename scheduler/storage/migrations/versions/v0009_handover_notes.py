"""Handover notes, signed by both."""

import sqlalchemy as sa
from alembic import op

revision = "v0009"
down_revision = "v0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table; nothing was handed over before."""
    op.create_table(
        "handover",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("written_by_id", sa.String(), nullable=False),
        sa.Column("written_by", sa.String(), nullable=False),
        sa.Column("written_s", sa.BigInteger(), nullable=False),
        sa.Column("signed_by", sa.String(), nullable=True),
        sa.Column("signed_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_handover_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_handover")),
        sqlite_with_rowid=False,
    )
