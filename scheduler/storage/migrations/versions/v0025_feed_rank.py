"""Events of the calendars in the order in which a fleet's calendar takes them."""

import sqlalchemy as sa
from alembic import op

revision = "v0025"
down_revision = "v0024"
branch_labels = None
depends_on = None

_RANK = """
UPDATE feed_event SET
  rank = CASE WHEN occurrence_key = 'plan-status' THEN -1 WHEN state IN ('past due', 'past limit', 'last time not known') THEN 0
    WHEN state IN ('done', 'withdrawn') THEN 2 ELSE 1 END,
  rank_s = CASE WHEN state IN ('done', 'withdrawn') THEN -starts_s ELSE starts_s END
"""


def upgrade() -> None:
    """Adds rank and its second, fills both and makes the index."""
    op.add_column("feed_event", sa.Column("rank", sa.SmallInteger(), nullable=False, server_default="0"))
    op.add_column("feed_event", sa.Column("rank_s", sa.BigInteger(), nullable=False, server_default="0"))
    op.execute(_RANK)
    columns = ["rank", "rank_s", "vessel_id", "uid"]
    op.create_index(op.f("ix_feed_event_rank_rank_s_vessel_id_uid"), "feed_event", columns)
