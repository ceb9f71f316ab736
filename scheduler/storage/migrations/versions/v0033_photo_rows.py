"""Photos as rows, for a database that no folder lies beside."""

import sqlalchemy as sa
from alembic import op

revision = "v0033"
down_revision = "v0032"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table. Photos in a folder stay there and are found there."""
    op.create_table(
        "photo_file",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("stored_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_photo_file_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "name", name=op.f("pk_photo_file")),
    )
