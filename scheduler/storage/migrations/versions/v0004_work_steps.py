"""The steps of the work on a job."""

import sqlalchemy as sa
from alembic import op

revision = "v0004"
down_revision = "v0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table; jobs closed before have no steps."""
    op.create_table(
        "work_step",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("flags", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_work_step_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "job_key", "number", name=op.f("pk_work_step")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_work_step_vessel_id_pump_id"), "work_step", ["vessel_id", "pump_id"], unique=False)
