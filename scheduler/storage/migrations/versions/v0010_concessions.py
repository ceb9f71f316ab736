"""Lower minima agreed, and when a job's parts come."""

import sqlalchemy as sa
from alembic import op

revision = "v0010"
down_revision = "v0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the two tables; nothing was agreed before."""
    op.create_table(
        "concession",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("from_s", sa.BigInteger(), nullable=False),
        sa.Column("to_s", sa.BigInteger(), nullable=False),
        sa.Column("minimum_litres_per_h", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("asked_by_id", sa.String(), nullable=False),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("asked_s", sa.BigInteger(), nullable=False),
        sa.Column("chief_by_id", sa.String(), nullable=True),
        sa.Column("chief_by", sa.String(), nullable=True),
        sa.Column("chief_s", sa.BigInteger(), nullable=True),
        sa.Column("hotel_by_id", sa.String(), nullable=True),
        sa.Column("hotel_by", sa.String(), nullable=True),
        sa.Column("hotel_s", sa.BigInteger(), nullable=True),
        sa.Column("withdrawn_by", sa.String(), nullable=True),
        sa.Column("withdrawn_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_concession_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_concession")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_concession_vessel_id_plant_id"), "concession", ["vessel_id", "plant_id"], unique=False)
    op.create_table(
        "part_date",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_part_date_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "job_key", name=op.f("pk_part_date")),
        sqlite_with_rowid=False,
    )
