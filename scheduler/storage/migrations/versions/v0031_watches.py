"""When each watch next looks at a vessel."""

import sqlalchemy as sa
from alembic import op

revision = "v0031"
down_revision = "v0030"
branch_labels = None
depends_on = None

_WATCHES = ("limits_watch_s", "counters_watch_s", "night_s", "record_walk_s")
_ROWS = (
    "INSERT INTO revision (vessel_id, number) SELECT id, 0 FROM vessel WHERE id NOT IN (SELECT vessel_id FROM revision)"
)


def upgrade() -> None:
    """Adds the instants, all long past: each watch looks at every vessel once."""
    for name in _WATCHES:
        op.add_column("revision", sa.Column(name, sa.BigInteger(), nullable=False, server_default="0"))
        op.create_index(op.f(f"ix_revision_{name}"), "revision", [name])
    op.execute(_ROWS)
