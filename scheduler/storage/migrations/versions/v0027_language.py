"""The language in which pages are shown to a person."""

import sqlalchemy as sa
from alembic import op

revision = "v0027"
down_revision = "v0026"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds a column; everybody reads English until they choose."""
    op.add_column("person", sa.Column("language", sa.String(), nullable=False, server_default="en"))
