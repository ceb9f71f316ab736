"""How far a sender's clock was off, kept with each reading; stamps from the future are nobody's newest any more."""

import sqlalchemy as sa
from alembic import op

revision = "v0003"
down_revision = "v0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the columns, takes stamps from the future out of newest_s, and has the ledger derived anew.

    Its checkpoints say what they did not say before.
    """
    op.add_column("reading", sa.Column("skew_s", sa.BigInteger(), server_default="0", nullable=False))
    op.add_column("counter", sa.Column("skew_most_s", sa.BigInteger(), server_default="0", nullable=False))
    op.execute(
        "UPDATE counter SET newest_s = (SELECT max(at_s) FROM reading "
        "WHERE reading.counter_no = counter.no AND reading.at_s <= reading.received_s + 300)"
    )
    op.execute("DELETE FROM ledger_checkpoint")
    op.execute("UPDATE counter SET dirty_from_s = 0 WHERE EXISTS (SELECT 1 FROM reading WHERE counter_no = counter.no)")
