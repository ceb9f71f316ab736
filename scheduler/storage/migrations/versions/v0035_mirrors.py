"""Ships that write aboard, as the office has them: how far each was taken, what she sent, her people."""

import sqlalchemy as sa
from alembic import op

revision = "v0035"
down_revision = "v0034"
branch_labels = None
depends_on = None

_ANEW = "EXISTS (SELECT 1 FROM ship_line WHERE vessel_id = OLD.vessel_id AND state = 'built anew')"
_SQLITE = (
    "DROP TRIGGER record_no_delete",
    f"CREATE TRIGGER record_no_delete BEFORE DELETE ON record WHEN NOT {_ANEW} "
    "BEGIN SELECT RAISE(ABORT, 'a record is never deleted'); END",
)
_POSTGRES = (
    "CREATE OR REPLACE FUNCTION record_refuse() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN IF TG_OP = 'DELETE' THEN IF {_ANEW} THEN RETURN OLD; END IF; END IF; "
    "RAISE EXCEPTION 'a record is never changed or deleted; add one that corrects it'; END $$",
)


def upgrade() -> None:
    """Makes the tables. A record is deleted only while the mirror of its ship is built anew from what she sent."""
    op.create_table(
        "ship_line",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("life", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("heard_s", sa.BigInteger(), nullable=False),
        sa.Column("skew_s", sa.BigInteger(), nullable=False),
        sa.Column("schema", sa.String(), nullable=False),
        sa.Column("state", sa.String(length=32), nullable=False),
        sa.Column("since_s", sa.BigInteger(), nullable=False),
        sa.Column("facts", sa.String(), nullable=False),
        sa.CheckConstraint(
            "state IN ('open', 'refused', 'parted', 'built anew')", name=op.f("ck_ship_line_line_state")
        ),
        sa.PrimaryKeyConstraint("vessel_id", name=op.f("pk_ship_line")),
    )
    op.create_table(
        "ship_batch",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("life", sa.String(), nullable=False),
        sa.Column("begins", sa.BigInteger(), nullable=False),
        sa.Column("ends", sa.BigInteger(), nullable=False),
        sa.Column("prev", sa.String(), nullable=False),
        sa.Column("head", sa.String(), nullable=False),
        sa.Column("schema", sa.String(), nullable=False),
        sa.Column("taken_s", sa.BigInteger(), nullable=False),
        sa.Column("not_aboard", sa.Boolean(), nullable=False, server_default=sa.false()),
        sa.Column("frame", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", "life", "begins", name=op.f("pk_ship_batch")),
    )
    op.create_table(
        "ship_person",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("person_vessel_id", sa.String(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("rank", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_s", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("vessel_id", "person_vessel_id", "id", name=op.f("pk_ship_person")),
        sqlite_with_rowid=False,
    )
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRES:
        op.execute(statement)
