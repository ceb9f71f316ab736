"""The words of every record can be found: an index of the database's own kind, filled from what is on record."""

import json

import sqlalchemy as sa
from alembic import op

from scheduler.domain.record.search import record_words
from scheduler.storage.search import POSTGRES, SQLITE, TABLE

revision = "v0019"
down_revision = "v0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the index and puts the words of each record into it."""
    bind = op.get_bind()
    for statement in (SQLITE,) if bind.dialect.name == "sqlite" else POSTGRES:
        op.execute(statement)
    insert = sa.text(f"INSERT INTO {TABLE} (vessel_id, number, words) VALUES (:vessel_id, :number, :words)")  # noqa: S608
    for vessel_id, number, told in bind.execute(sa.text("SELECT vessel_id, number, text FROM record")).all():
        bind.execute(insert, {"vessel_id": vessel_id, "number": number, "words": record_words(json.loads(told))})
