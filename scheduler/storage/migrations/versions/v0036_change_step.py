"""The step of the tables at which a change was written."""

import sqlalchemy as sa
from alembic import op

revision = "v0036"
down_revision = "v0035"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Those there are were written at the step before."""
    step = sa.Column("step", sa.String(), nullable=False, server_default="")
    op.add_column("outbox_change", step)
    op.execute("UPDATE outbox_change SET step = 'v0034'")
