"""The line of a vessel to her office, and the changes made for it."""

import sqlalchemy as sa
from alembic import op

revision = "v0034"
down_revision = "v0033"
branch_labels = None
depends_on = None


def _of_vessel(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f(f"fk_{name}_vessel_id_vessel"))


def upgrade() -> None:
    """Makes the tables; no vessel has joined an office yet."""
    op.create_table(
        "shore_line",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("key_file", sa.String(), nullable=False),
        sa.Column("life", sa.String(), nullable=False),
        sa.Column("parent_life", sa.String(), nullable=False),
        sa.Column("parent_number", sa.BigInteger(), nullable=False),
        sa.Column("parent_hash", sa.String(), nullable=False),
        sa.Column("joining", sa.Boolean(), nullable=False),
        sa.Column("joined_s", sa.BigInteger(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("urgent", sa.BigInteger(), nullable=False),
        sa.Column("acknowledged", sa.BigInteger(), nullable=False),
        sa.Column("rate_bytes", sa.BigInteger(), nullable=False),
        sa.Column("tried_s", sa.BigInteger(), nullable=True),
        sa.Column("reached_s", sa.BigInteger(), nullable=True),
        sa.Column("refused_s", sa.BigInteger(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("facts", sa.String(), nullable=False),
        _of_vessel("shore_line"),
        sa.PrimaryKeyConstraint("vessel_id", name=op.f("pk_shore_line")),
    )
    op.create_table(
        "outbox_change",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        _of_vessel("outbox_change"),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_outbox_change")),
    )
    op.create_table(
        "outbox_pack",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("begins", sa.BigInteger(), nullable=False),
        sa.Column("ends", sa.BigInteger(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("frame", sa.LargeBinary(), nullable=False),
        _of_vessel("outbox_pack"),
        sa.PrimaryKeyConstraint("vessel_id", "begins", name=op.f("pk_outbox_pack")),
    )
    op.create_index(op.f("ix_outbox_pack_vessel_id_at_s"), "outbox_pack", ["vessel_id", "at_s"])
    op.create_table(
        "outbox_touched",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        _of_vessel("outbox_touched"),
        sa.PrimaryKeyConstraint("vessel_id", "name", "place", name=op.f("pk_outbox_touched")),
        sqlite_with_rowid=False,
    )
