"""How many of each part are aboard."""

import sqlalchemy as sa
from alembic import op

revision = "v0008"
down_revision = "v0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table; nothing was counted before."""
    op.create_table(
        "part_count",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("aboard", sa.Integer(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("counted_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_part_count_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "plant_id", "name", name=op.f("pk_part_count")),
        sqlite_with_rowid=False,
    )
