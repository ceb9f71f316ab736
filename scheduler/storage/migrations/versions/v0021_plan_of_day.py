"""What a plan answers all day: the digest of its problem on a grid from the ship's midnight; plans from before answer as they did."""

import sqlalchemy as sa
from alembic import op

revision = "v0021"
down_revision = "v0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the column."""
    op.add_column("plan", sa.Column("of_day", sa.String(), nullable=False, server_default=""))
