"""Passphrases and PINs, withdrawn people, keys that run out, who made a link, how a session came about, shared computers."""

import sqlalchemy as sa
from alembic import op

revision = "v0018"
down_revision = "v0017"
branch_labels = None
depends_on = None

_TEXT, _INSTANT = sa.String(), sa.BigInteger()
_MAY_LACK: tuple[tuple[str, str, sa.String | sa.BigInteger], ...] = (
    ("person", "withdrawn_s", _INSTANT),
    ("person", "passphrase", _TEXT),
    ("person", "passphrase_s", _INSTANT),
    ("person", "pin", _TEXT),
    ("api_key", "expires_s", _INSTANT),
    ("api_key", "follows", _TEXT),
    ("api_key", "made_by_id", _TEXT),
    ("sign_in_link", "made_by_id", _TEXT),
    ("session", "proved_s", _INSTANT),
    ("session", "link_by_id", _TEXT),
    ("session", "computer_id", _TEXT),
    ("session", "seen_s", _INSTANT),
    ("session", "ended_s", _INSTANT),
)
_FILLED = (
    ("api_key", "made_by", ""),
    ("sign_in_link", "made_by", ""),
    ("session", "proof", "link"),
    ("session", "link_by", ""),
    ("session", "device", ""),
    ("session", "agent", ""),
)


def upgrade() -> None:
    """Adds columns and a table. Links and sessions there are were made at the server itself; whoever is signed in stays so."""
    for table, column, kind in _MAY_LACK:
        op.add_column(table, sa.Column(column, kind, nullable=True))
    for table, column, default in _FILLED:
        op.add_column(table, sa.Column(column, sa.String(), nullable=False, server_default=default))
    op.create_index(op.f("ix_session_device"), "session", ["device"])
    op.create_table(
        "shared_computer",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_shared_computer_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shared_computer")),
    )
    op.create_index(op.f("ix_shared_computer_sha256"), "shared_computer", ["sha256"], unique=True)
