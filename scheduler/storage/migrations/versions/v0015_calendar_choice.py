"""What a calendar address chooses besides its jobs (hour of its reminders, days ahead), by which job a pump was put out, and what
the installation remembers."""

import sqlalchemy as sa
from alembic import op

revision = "v0015"
down_revision = "v0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the columns; addresses with reminders get them at 18:00 the evening before. Makes the table."""
    op.add_column("feed_token", sa.Column("alarm_hour", sa.Integer(), nullable=False, server_default="18"))
    op.add_column("feed_token", sa.Column("days_ahead", sa.Integer(), nullable=True))
    op.add_column("outage", sa.Column("job_key", sa.String(), nullable=False, server_default=""))
    op.create_table(
        "remembered",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_remembered")),
        sqlite_with_rowid=False,
    )
