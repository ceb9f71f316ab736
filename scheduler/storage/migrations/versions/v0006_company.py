"""Postponements and non-conformities."""

import sqlalchemy as sa
from alembic import op

revision = "v0006"
down_revision = "v0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the two tables; nothing was postponed before."""
    op.create_table(
        "postponement",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("limit_s", sa.BigInteger(), nullable=False),
        sa.Column("to_s", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("risk", sa.String(), nullable=False),
        sa.Column("mitigation", sa.String(), nullable=False),
        sa.Column("asked_by_id", sa.String(), nullable=False),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("asked_s", sa.BigInteger(), nullable=False),
        sa.Column("granted", sa.Boolean(), nullable=True),
        sa.Column("decided_by", sa.String(), nullable=True),
        sa.Column("decided_s", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("class_agreed", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_postponement_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_postponement")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_postponement_vessel_id_job_key"), "postponement", ["vessel_id", "job_key"], unique=False)
    op.create_table(
        "non_conformity",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("limit_s", sa.BigInteger(), nullable=False),
        sa.Column("opened_s", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("corrective_action", sa.String(), nullable=False),
        sa.Column("answered_by_id", sa.String(), nullable=True),
        sa.Column("answered_by", sa.String(), nullable=True),
        sa.Column("answered_s", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.String(), nullable=True),
        sa.Column("closed_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_non_conformity_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_non_conformity")),
        sqlite_with_rowid=False,
    )
    op.create_index(
        op.f("ix_non_conformity_vessel_id_job_key"), "non_conformity", ["vessel_id", "job_key"], unique=False
    )
