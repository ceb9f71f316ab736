"""Which record last said when a job's parts come, and when a pump that is out is back: the version that If-Match names."""

import sqlalchemy as sa
from alembic import op

revision = "v0024"
down_revision = "v0023"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the columns. What is there has version 0 until it is said anew."""
    op.add_column("part_date", sa.Column("record", sa.BigInteger(), nullable=False, server_default="0"))
    op.add_column("outage", sa.Column("expected_record", sa.BigInteger(), nullable=False, server_default="0"))
