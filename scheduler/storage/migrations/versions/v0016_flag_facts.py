"""What a flag's sentence is made from; rows from before keep their sentence until the ledger is derived anew there."""

import sqlalchemy as sa
from alembic import op

revision = "v0016"
down_revision = "v0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the column."""
    op.add_column("flag", sa.Column("facts", sa.String(), nullable=True))
