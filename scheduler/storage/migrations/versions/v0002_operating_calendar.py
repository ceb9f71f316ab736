"""The operating calendar: its versions and their stretches of days."""

import sqlalchemy as sa
from alembic import op

revision = "v0002"
down_revision = "v0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the two tables; no vessel has a calendar yet."""
    op.create_table(
        "daybook",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("kinds", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("undoes", sa.Integer(), nullable=True),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_daybook_version")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_daybook_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "version", name=op.f("pk_daybook")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "spell",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("since_version", sa.Integer(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("to_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column(
            "source",
            sa.Enum("log", "plan", name="source", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("until_version", sa.Integer(), nullable=True),
        sa.CheckConstraint("to_on >= from_on", name=op.f("ck_spell_to_on")),
        sa.CheckConstraint(
            "until_version IS NULL OR until_version > since_version", name=op.f("ck_spell_until_version")
        ),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_spell_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "since_version", "from_on", name=op.f("pk_spell")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_spell_vessel_id_until_version"), "spell", ["vessel_id", "until_version"], unique=False)
