"""Since when each job kind is kept count of, first dates set where nobody knew when a job was last done, and which readings
were read by eye."""

import json

import sqlalchemy as sa
from alembic import op

revision = "v0014"
down_revision = "v0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the tables; kinds that are there count from when their vessel was first set up."""
    op.create_table(
        "kind_since",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("since_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_kind_since_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "plant_id", "kind", name=op.f("pk_kind_since")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "first_date",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("due_s", sa.BigInteger(), nullable=False),
        sa.Column("set_s", sa.BigInteger(), nullable=False),
        sa.Column("running_seconds", sa.BigInteger(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("actor_id", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_first_date_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "kind", "subject_id", name=op.f("pk_first_date")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "hand_reading",
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["counter_no", "vessel_id"],
            ["counter.no", "counter.vessel_id"],
            name=op.f("fk_hand_reading_counter_no_vessel_id_counter"),
        ),
        sa.PrimaryKeyConstraint("counter_no", "at_s", name=op.f("pk_hand_reading")),
        sqlite_with_rowid=False,
    )
    base = op.get_bind()
    vessel = sa.table("vessel", sa.column("id"), sa.column("document"))
    offset = sa.table("ship_offset", sa.column("vessel_id"), sa.column("recorded_s"))
    kept = sa.table("kind_since", *(sa.column(name) for name in ("vessel_id", "plant_id", "kind", "since_s")))
    set_up = sa.select(offset.c.vessel_id, sa.func.min(offset.c.recorded_s).label("at_s")).group_by(offset.c.vessel_id)
    first = {row.vessel_id: row.at_s for row in base.execute(set_up)}
    for row in base.execute(sa.select(vessel)).all():
        for plant in json.loads(row.document).get("plants", ()):
            for code in dict.fromkeys(kind["code"] for kind in plant["job_kinds"]):
                values = {"vessel_id": row.id, "plant_id": plant["id"], "kind": code}
                base.execute(sa.insert(kept).values(**values, since_s=first.get(row.id, 0)))
