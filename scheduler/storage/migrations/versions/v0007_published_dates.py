"""Published dates of turns, and the list of those that moved."""

import sqlalchemy as sa
from alembic import op

revision = "v0007"
down_revision = "v0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the two tables; what calendars show already is published anew at the next tick."""
    op.create_table(
        "moved",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("from_due_s", sa.BigInteger(), nullable=False),
        sa.Column("from_early_s", sa.BigInteger(), nullable=True),
        sa.Column("from_late_s", sa.BigInteger(), nullable=True),
        sa.Column("to_due_s", sa.BigInteger(), nullable=False),
        sa.Column("to_early_s", sa.BigInteger(), nullable=True),
        sa.Column("to_late_s", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("number >= 1", name=op.f("ck_moved_number")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_moved_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_moved")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_moved_vessel_id_plant_id_number"), "moved", ["vessel_id", "plant_id", "number"])
    op.create_table(
        "published",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_published_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "job_key", name=op.f("pk_published")),
    )
    op.create_index(op.f("ix_published_vessel_id_plant_id"), "published", ["vessel_id", "plant_id"])
