"""What is asked of the timers, as numbers a task: asked, made. What is asked for and what went wrong is carried over."""

import sqlalchemy as sa
from alembic import op

revision = "v0030"
down_revision = "v0029"
branch_labels = None
depends_on = None

_PLAN, _FLEET, _CALENDAR = "plan anew", "fleet calendar", "calendar"
_OPEN = sa.text("asked > made")
_RUNS = sa.text(
    "SELECT task, period, vessel_id, started_s, ended_s, outcome FROM task_run WHERE task IN (:plan, :fleet, :calendar) "
    "ORDER BY started_s, period"
).bindparams(plan=_PLAN, fleet=_FLEET, calendar=_CALENDAR)
_OVER = sa.text("DELETE FROM task_run WHERE task IN (:plan, :fleet, :calendar) AND ended_s IS NULL").bindparams(
    plan=_PLAN, fleet=_FLEET, calendar=_CALENDAR
)


def upgrade() -> None:
    """Makes the table, counts in it what the rows of runs say, and takes those that are open away; what was done stays on the list."""
    table = op.create_table(
        "pending_task",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("task", sa.String(), nullable=False),
        sa.Column("asked", sa.BigInteger(), nullable=False),
        sa.Column("made", sa.BigInteger(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("asked_s", sa.BigInteger(), nullable=False),
        sa.Column("ended_s", sa.BigInteger(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("vessel_id", "plant_id", "task", name=op.f("pk_pending_task")),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_pending_task_open", "pending_task", ["task"], sqlite_where=_OPEN, postgresql_where=_OPEN)
    rows: dict[tuple[str, str, str], dict[str, object]] = {}
    connection = op.get_bind()
    for task, period, vessel_id, started_s, ended_s, outcome in connection.execute(_RUNS).all():
        plant_id = period.rpartition("@")[0] if task == _PLAN else ""
        named = {_PLAN: "plan"}.get(task, task)
        row = rows.setdefault(
            (vessel_id or "", plant_id, named),
            {"asked": 0, "made": 0, "tries": 0, "asked_s": started_s, "ended_s": None, "outcome": None, "open": False},
        )
        if ended_s is None:
            row["asked_s"] = row["asked_s"] if row["open"] else started_s
            row["open"] = True
        else:
            row["ended_s"], row["outcome"] = ended_s, outcome
    for row in rows.values():
        row["asked"] = int(bool(row.pop("open")))
    if rows:
        op.bulk_insert(
            table,
            [dict(zip(("vessel_id", "plant_id", "task"), key, strict=True), **row) for key, row in rows.items()],
        )
    op.execute(_OVER)
