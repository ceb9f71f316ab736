"""Days as folded for what the hours say, the signs that were seen, and what people answered."""

import sqlalchemy as sa
from alembic import op

revision = "v0023"
down_revision = "v0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds three tables; the days are folded when they are first asked for."""
    vessel = ["vessel_id"], ["vessel.id"]
    op.create_table(
        "sign_track",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("next_day", sa.Integer(), nullable=False),
        sa.Column("based_on", sa.String(), nullable=False),
        sa.Column("touched_day", sa.Integer(), nullable=True),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(*vessel, name=op.f("fk_sign_track_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "plant_id", name=op.f("pk_sign_track")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sign",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("position_id", sa.String(), nullable=False),
        sa.Column("direction", sa.Integer(), nullable=False),
        sa.Column("seen_day", sa.Integer(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_sign_number")),
        sa.ForeignKeyConstraint(*vessel, name=op.f("fk_sign_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_sign")),
    )
    op.create_index(op.f("ix_sign_vessel_id_plant_id"), "sign", ["vessel_id", "plant_id"])
    op.create_table(
        "sign_answer",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("sign", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("undone_by", sa.String(), nullable=True),
        sa.Column("undone_s", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("number >= 1", name=op.f("ck_sign_answer_number")),
        sa.ForeignKeyConstraint(*vessel, name=op.f("fk_sign_answer_vessel_id_vessel")),
        sa.ForeignKeyConstraint(
            ["vessel_id", "sign"], ["sign.vessel_id", "sign.number"], name=op.f("fk_sign_answer_vessel_id_sign_sign")
        ),
        sa.PrimaryKeyConstraint("vessel_id", "sign", "number", name=op.f("pk_sign_answer")),
    )
