"""Steps of the work by their kind: what was used the last time is found by a seek."""

from alembic import op

revision = "v0026"
down_revision = "v0025"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the index."""
    op.create_index(op.f("ix_work_step_vessel_id_kind_at_s"), "work_step", ["vessel_id", "kind", "at_s"])
