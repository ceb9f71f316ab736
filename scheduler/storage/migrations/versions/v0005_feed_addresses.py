"""Calendar addresses get an id, a label and job kinds; events are also kept as tasks; the fleet has a calendar."""

from typing import Literal

import sqlalchemy as sa
from alembic import op

revision = "v0005"
down_revision = "v0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the columns. An address made before is called by the first letters of its hash."""
    anew: Literal["always", "auto"] = "always" if op.get_bind().dialect.name == "sqlite" else "auto"
    with op.batch_alter_table("feed_token", recreate=anew) as table:
        table.add_column(sa.Column("id", sa.String(), nullable=True))
        table.add_column(sa.Column("kinds", sa.String(), nullable=True))
        table.add_column(sa.Column("label", sa.String(), nullable=True))
    op.execute("UPDATE feed_token SET id = substr(sha256, 1, 8), label = ''")
    with op.batch_alter_table("feed_token", recreate=anew) as table:
        table.alter_column("id", existing_type=sa.String(), nullable=False)
        table.alter_column("label", existing_type=sa.String(), nullable=False)
        table.create_unique_constraint(op.f("uq_feed_token_id"), ["id"])
    with op.batch_alter_table("feed_event", recreate=anew) as table:
        table.add_column(sa.Column("task", sa.String(), nullable=True))
    op.execute("UPDATE feed_event SET task = ''")
    with op.batch_alter_table("feed_event", recreate=anew) as table:
        table.alter_column("task", existing_type=sa.String(), nullable=False)
    with op.batch_alter_table("feed_body", recreate=anew) as table:
        table.add_column(sa.Column("status", sa.String(), nullable=True))
