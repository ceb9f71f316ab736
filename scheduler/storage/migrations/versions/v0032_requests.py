"""What the office asks of a ship: as asked at the office, and as taken in aboard."""

import sqlalchemy as sa
from alembic import op

revision = "v0032"
down_revision = "v0031"
branch_labels = None
depends_on = None


def _said() -> list[sa.Column[str] | sa.Column[int]]:
    return [
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        *(
            sa.Column(name, sa.String(), nullable=False)
            for name in ("what", "arguments", "seen", "fingerprint", "by_id", "by", "role", "vouched_id", "vouched")
        ),
        sa.Column("asked_s", sa.BigInteger(), nullable=False),
        sa.Column("until_s", sa.BigInteger(), nullable=False),
    ]


def upgrade() -> None:
    """Adds both tables."""
    op.create_table(
        "ship_request",
        *_said(),
        sa.Column("handed_s", sa.BigInteger(), nullable=True),
        sa.Column("fetched_s", sa.BigInteger(), nullable=True),
        sa.Column("ended", sa.String(), nullable=False),
        sa.Column("ended_by", sa.String(), nullable=False),
        sa.Column("ended_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_ship_request_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_ship_request")),
        sqlite_with_rowid=False,
    )
    states = ("taken", "waiting", "done", "refused", "lapsed", "declined")
    op.create_table(
        "office_request",
        *_said(),
        sa.Column("taken_s", sa.BigInteger(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(*states, name="state", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("says", sa.String(), nullable=False),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.Column("answered_by_id", sa.String(), nullable=False),
        sa.Column("answered_by", sa.String(), nullable=False),
        sa.Column("decided_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_office_request_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_office_request")),
        sqlite_with_rowid=False,
    )
