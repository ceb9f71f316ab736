"""How each plant stands in short, one row a plant."""

import sqlalchemy as sa
from alembic import op

revision = "v0028"
down_revision = "v0027"
branch_labels = None
depends_on = None

_ROWS = """
INSERT INTO plant_summary (vessel_id, plant_id, rank, due_s, turns_s, worked_s, revision, form, text)
SELECT vessel_id, id, 0, 0, 0, 0, -1, '', '' FROM asset WHERE kind = 'plant'
"""


def upgrade() -> None:
    """Makes the table with a row for each plant there is; they are worked out by the first tick."""
    op.create_table(
        "plant_summary",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("rank", sa.BigInteger(), nullable=False),
        sa.Column("due_s", sa.BigInteger(), nullable=False),
        sa.Column("turns_s", sa.BigInteger(), nullable=False),
        sa.Column("worked_s", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_plant_summary_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "plant_id", name=op.f("pk_plant_summary")),
    )
    order = ["rank", "due_s", "vessel_id", "plant_id"]
    op.create_index(op.f("ix_plant_summary_rank_due_s_vessel_id_plant_id"), "plant_summary", order)
    op.create_index(op.f("ix_plant_summary_turns_s"), "plant_summary", ["turns_s"])
    op.execute(_ROWS)
