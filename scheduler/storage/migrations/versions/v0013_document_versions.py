"""Every version of a vessel's document."""

import zlib

import sqlalchemy as sa
from alembic import op

revision = "v0013"
down_revision = "v0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the table; of versions stored before only the newest is known, and who stored it stands in the history."""
    op.create_table(
        "document_version",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.Column("stored_s", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("approved_by", sa.String(), nullable=False),
        sa.Column("record", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_document_version_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "version", name=op.f("pk_document_version")),
        sqlite_with_rowid=False,
    )
    base = op.get_bind()
    vessel = sa.table("vessel", *(sa.column(name) for name in ("id", "version", "document", "changed_s")))
    kept = sa.table(
        "document_version",
        *(sa.column(name) for name in ("vessel_id", "version", "stored_s", "by", "reason", "approved_by", "record")),
        sa.column("document", sa.LargeBinary()),
    )
    for row in base.execute(sa.select(vessel)).all():
        values = {"vessel_id": row.id, "version": row.version, "stored_s": row.changed_s, "by": "", "reason": ""}
        packed = zlib.compress(row.document.encode(), 6)
        base.execute(sa.insert(kept).values(**values, approved_by="", record=0, document=packed))
