"""Each counter's total at the end of each day, kept beside the ledger: taken from the ledger as it stands."""

import struct
from itertools import groupby

import sqlalchemy as sa
from alembic import op

revision = "v0022"
down_revision = "v0021"
branch_labels = None
depends_on = None

_DAYS = 366
_USED = "SELECT at_s, total_s FROM ledger_entry WHERE counter_no = :no AND total_s IS NOT NULL ORDER BY at_s, seq"
_ADD = "INSERT INTO day_ends (counter_no, span, ends, vessel_id) VALUES (:no, :span, :ends, :vessel)"


def upgrade() -> None:
    """Makes the table and fills it."""
    op.create_table(
        "day_ends",
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("span", sa.Integer(), nullable=False),
        sa.Column("ends", sa.LargeBinary(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["counter_no"], ["counter.no"], name=op.f("fk_day_ends_counter_no_counter")),
        sa.PrimaryKeyConstraint("counter_no", "span", name=op.f("pk_day_ends")),
    )
    bind = op.get_bind()
    for no, vessel in bind.execute(sa.text("SELECT no, vessel_id FROM counter")).all():
        used = bind.execute(sa.text(_USED), {"no": no})
        for span, of_it in groupby(used, key=lambda one: one[0] // 86_400 // _DAYS):
            ends = [-1] * _DAYS + [0] * _DAYS
            for at_s, total_s in of_it:
                place = at_s // 86_400 % _DAYS
                ends[place], ends[_DAYS + place] = at_s % 86_400, total_s
            packed = struct.pack(f"<{_DAYS}i{_DAYS}q", *ends)
            bind.execute(sa.text(_ADD), {"no": no, "span": span, "ends": packed, "vessel": vessel})
