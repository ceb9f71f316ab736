"""The first tables, and the triggers that keep the record as it was written."""

import sqlalchemy as sa
from alembic import op

revision = "v0001"
down_revision = None
branch_labels = None
depends_on = None

_SQLITE_TRIGGERS = (
    "CREATE TRIGGER record_no_update BEFORE UPDATE ON record "
    "BEGIN SELECT RAISE(ABORT, 'a record is never changed; add one that corrects it'); END",
    "CREATE TRIGGER record_no_delete BEFORE DELETE ON record "
    "BEGIN SELECT RAISE(ABORT, 'a record is never deleted'); END",
    # INSERT OR REPLACE deletes without asking the trigger above
    "CREATE TRIGGER record_no_replace BEFORE INSERT ON record "
    "WHEN EXISTS (SELECT 1 FROM record WHERE vessel_id = NEW.vessel_id AND number = NEW.number) "
    "BEGIN SELECT RAISE(ABORT, 'a record is never replaced'); END",
)
_POSTGRES_TRIGGERS = (
    "CREATE FUNCTION record_refuse() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION 'a record is never changed or deleted; add one that corrects it'; END $$",
    "CREATE TRIGGER record_no_change BEFORE UPDATE OR DELETE ON record FOR EACH ROW EXECUTE FUNCTION record_refuse()",
    "CREATE TRIGGER record_no_truncate BEFORE TRUNCATE ON record FOR EACH STATEMENT EXECUTE FUNCTION record_refuse()",
)


def upgrade() -> None:
    """Makes every table, then the triggers of `record`."""
    op.create_table(
        "chain_head",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", name=op.f("pk_chain_head")),
    )
    op.create_table(
        "feed_body",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("etag", sa.String(), nullable=False),
        sa.Column("changed_s", sa.BigInteger(), nullable=False),
        sa.Column("made_s", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", "name", name=op.f("pk_feed_body")),
    )
    op.create_table(
        "idempotency",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", "key", "actor", name=op.f("pk_idempotency")),
    )
    op.create_index(op.f("ix_idempotency_created_s"), "idempotency", ["created_s"], unique=False)
    op.create_table(
        "record",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name=op.f("ck_record_hash")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_record_number")),
        sa.PrimaryKeyConstraint("vessel_id", "number", name=op.f("pk_record")),
    )
    op.create_table(
        "revision",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("vessel_id", name=op.f("pk_revision")),
    )
    op.create_table(
        "vessel",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("imo", sa.String(), nullable=False),
        sa.Column("document", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("changed_s", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vessel")),
    )
    op.create_table(
        "asset",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum(
                "plant",
                "position",
                "pump",
                "part",
                "counter",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_asset_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_asset")),
    )
    op.create_index(op.f("ix_asset_vessel_id"), "asset", ["vessel_id"], unique=False)
    op.create_table(
        "counter",
        sa.Column("no", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("position_id", sa.String(), nullable=False),
        sa.Column("seconds_per_count", sa.Integer(), nullable=False),
        sa.Column("modulus", sa.BigInteger(), nullable=True),
        sa.Column("resolution_milli", sa.BigInteger(), nullable=False),
        sa.Column("quiet_after_hours", sa.Integer(), nullable=False),
        sa.Column("newest_s", sa.BigInteger(), nullable=True),
        sa.Column("dirty_from_s", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("seconds_per_count > 0", name=op.f("ck_counter_scale")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_counter_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("no", name=op.f("pk_counter")),
        sa.UniqueConstraint("id", name=op.f("uq_counter_id")),
        sa.UniqueConstraint("no", "vessel_id", name=op.f("uq_counter_no_vessel_id")),
    )
    op.create_index(op.f("ix_counter_vessel_id"), "counter", ["vessel_id"], unique=False)
    op.create_table(
        "done",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.String(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("running_seconds", sa.BigInteger(), nullable=False),
        sa.Column("estimated", sa.Boolean(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=True),
        sa.CheckConstraint("sequence >= 0", name=op.f("ck_done_sequence")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_done_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "kind", "subject_id", "sequence", name=op.f("pk_done")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "feed_event",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("occurrence_key", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("changed_s", sa.BigInteger(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("starts_s", sa.BigInteger(), nullable=False),
        sa.Column("ends_s", sa.BigInteger(), nullable=False),
        sa.Column("closed_s", sa.BigInteger(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_feed_event_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "uid", name=op.f("pk_feed_event")),
    )
    op.create_table(
        "intake_log",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("counter_ref", sa.String(), nullable=False),
        sa.Column("received_s", sa.BigInteger(), nullable=False),
        sa.Column(
            "status",
            sa.Enum("conflict", "refused", name="status", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_intake_log_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intake_log")),
    )
    op.create_index(op.f("ix_intake_log_vessel_id_received_s"), "intake_log", ["vessel_id", "received_s"], unique=False)
    op.create_table(
        "job",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.String(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=True),
        sa.Column("position_id", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("due_s", sa.BigInteger(), nullable=False),
        sa.Column("window_s", sa.BigInteger(), nullable=False),
        sa.Column("limit_s", sa.BigInteger(), nullable=False),
        sa.Column(
            "trigger",
            sa.Enum("running hours", "calendar", name="trigger", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("closed_s", sa.BigInteger(), nullable=True),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_job_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("key", "vessel_id", name=op.f("pk_job")),
    )
    op.create_index(
        op.f("ix_job_vessel_id_plant_id_closed_s"), "job", ["vessel_id", "plant_id", "closed_s"], unique=False
    )
    op.create_table(
        "outage",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=False),
        sa.Column("from_s", sa.BigInteger(), nullable=False),
        sa.Column("to_s", sa.BigInteger(), nullable=True),
        sa.Column("counts_for_litres_per_h", sa.Integer(), nullable=False),
        sa.Column(
            "status",
            sa.Enum("down", "not proved", name="status", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("counts_for_litres_per_h >= 0", name=op.f("ck_outage_counts_for")),
        sa.CheckConstraint("to_s IS NULL OR to_s >= from_s", name=op.f("ck_outage_to_s")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_outage_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outage")),
    )
    op.create_index(
        op.f("ix_outage_vessel_id_plant_id_from_s"), "outage", ["vessel_id", "plant_id", "from_s"], unique=False
    )
    op.create_table(
        "person",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("rank", sa.String(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "counter",
                "engineer",
                "chief",
                "office",
                "admin",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_person_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
    )
    op.create_table(
        "plan",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plant_id", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("problem_digest", sa.String(), nullable=False),
        sa.Column(
            "status",
            sa.Enum(
                "proposed", "taken", "superseded", name="status", native_enum=False, create_constraint=True, length=32
            ),
            nullable=False,
        ),
        sa.Column("made_s", sa.BigInteger(), nullable=False),
        sa.Column("taken_s", sa.BigInteger(), nullable=True),
        sa.Column("starts_s", sa.BigInteger(), nullable=False),
        sa.Column("problem", sa.String(), nullable=False),
        sa.Column("plan", sa.String(), nullable=False),
        sa.Column("lawful", sa.Boolean(), nullable=False),
        sa.Column("least_margin_litres_per_h", sa.Integer(), nullable=True),
        sa.Column("least_at_s", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_plan_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
    )
    op.create_index(
        op.f("ix_plan_vessel_id_plant_id_made_s"), "plan", ["vessel_id", "plant_id", "made_s"], unique=False
    )
    op.create_index(
        "uq_plan_one_proposed",
        "plan",
        ["vessel_id", "plant_id"],
        unique=True,
        sqlite_where=sa.text("status = 'proposed'"),
        postgresql_where=sa.text("status = 'proposed'"),
    )
    op.create_index(
        "uq_plan_one_taken",
        "plan",
        ["vessel_id", "plant_id"],
        unique=True,
        sqlite_where=sa.text("status = 'taken'"),
        postgresql_where=sa.text("status = 'taken'"),
    )
    op.create_table(
        "pump_test",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column(
            "result",
            sa.Enum("passed", "failed", "none", name="result", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("swept_litres_per_h", sa.Integer(), nullable=True),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_pump_test_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pump_test")),
    )
    op.create_index(
        op.f("ix_pump_test_vessel_id_pump_id_at_s"), "pump_test", ["vessel_id", "pump_id", "at_s"], unique=False
    )
    op.create_table(
        "ship_offset",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("from_s", sa.BigInteger(), nullable=False),
        sa.Column("offset_minutes", sa.Integer(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("offset_minutes BETWEEN -900 AND 900", name=op.f("ck_ship_offset_offset_minutes")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_ship_offset_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "from_s", name=op.f("pk_ship_offset")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "task_run",
        sa.Column("task", sa.String(), nullable=False),
        sa.Column("period", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=True),
        sa.Column("started_s", sa.BigInteger(), nullable=False),
        sa.Column("ended_s", sa.BigInteger(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_task_run_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("task", "period", name=op.f("pk_task_run")),
    )
    op.create_table(
        "api_key",
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=True),
        sa.Column("vessel_id", sa.String(), nullable=True),
        sa.Column(
            "role",
            sa.Enum(
                "counter",
                "engineer",
                "chief",
                "office",
                "admin",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("last_used_s", sa.BigInteger(), nullable=True),
        sa.Column("revoked_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_api_key_person_id_person")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_api_key_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("prefix", name=op.f("pk_api_key")),
    )
    op.create_table(
        "counter_event",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["counter_no", "vessel_id"],
            ["counter.no", "counter.vessel_id"],
            name=op.f("fk_counter_event_counter_no_vessel_id_counter"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_counter_event")),
    )
    op.create_index(op.f("ix_counter_event_counter_no_at_s"), "counter_event", ["counter_no", "at_s"], unique=False)
    op.create_table(
        "feed_token",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=True),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("expires_s", sa.BigInteger(), nullable=True),
        sa.Column("revoked_s", sa.BigInteger(), nullable=True),
        sa.Column("last_used_s", sa.BigInteger(), nullable=True),
        sa.Column("agent", sa.String(), nullable=True),
        sa.Column("alarms", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_feed_token_person_id_person")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_feed_token_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_feed_token")),
    )
    op.create_index(op.f("ix_feed_token_person_id"), "feed_token", ["person_id"], unique=False)
    op.create_table(
        "flag",
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("says", sa.String(), nullable=False),
        sa.Column("seconds", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["counter_no"], ["counter.no"], name=op.f("fk_flag_counter_no_counter")),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_flag_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("vessel_id", "counter_no", "code", "at_s", name=op.f("pk_flag")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "ledger_checkpoint",
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["counter_no"], ["counter.no"], name=op.f("fk_ledger_checkpoint_counter_no_counter")),
        sa.PrimaryKeyConstraint("counter_no", "at_s", name=op.f("pk_ledger_checkpoint")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "ledger_entry",
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("seq", sa.SmallInteger(), nullable=False),
        sa.Column("credit_s", sa.BigInteger(), nullable=False),
        sa.Column("total_s", sa.BigInteger(), nullable=True),
        sa.Column("given_s", sa.BigInteger(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["counter_no"], ["counter.no"], name=op.f("fk_ledger_entry_counter_no_counter")),
        sa.PrimaryKeyConstraint("counter_no", "at_s", "seq", name=op.f("pk_ledger_entry")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "reading",
        sa.Column("counter_no", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("value_milli", sa.BigInteger(), nullable=False),
        sa.Column("received_s", sa.BigInteger(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.CheckConstraint("value_milli >= 0", name=op.f("ck_reading_value_milli")),
        sa.ForeignKeyConstraint(
            ["counter_no", "vessel_id"],
            ["counter.no", "counter.vessel_id"],
            name=op.f("fk_reading_counter_no_vessel_id_counter"),
        ),
        sa.PrimaryKeyConstraint("counter_no", "at_s", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "session",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("csrf", sa.String(), nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("expires_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_session_person_id_person")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_session")),
    )
    op.create_index(op.f("ix_session_person_id"), "session", ["person_id"], unique=False)
    op.create_table(
        "sign_in_link",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("expires_s", sa.BigInteger(), nullable=False),
        sa.Column("used_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_link_person_id_person")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_sign_in_link")),
    )
    op.create_table(
        "slot",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("vessel_id", sa.String(), nullable=False),
        sa.Column("plan_id", sa.String(), nullable=False),
        sa.Column("job_key", sa.String(), nullable=False),
        sa.Column("pump_id", sa.String(), nullable=True),
        sa.Column("start_s", sa.BigInteger(), nullable=False),
        sa.Column("end_s", sa.BigInteger(), nullable=False),
        sa.Column("least_margin_litres_per_h", sa.Integer(), nullable=False),
        sa.Column("pinned", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("end_s > start_s", name=op.f("ck_slot_end_s")),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name=op.f("fk_slot_plan_id_plan"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessel.id"], name=op.f("fk_slot_vessel_id_vessel")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_slot")),
    )
    op.create_index(op.f("ix_slot_plan_id"), "slot", ["plan_id"], unique=False)
    op.create_index(op.f("ix_slot_vessel_id_job_key"), "slot", ["vessel_id", "job_key"], unique=False)

    triggers = _SQLITE_TRIGGERS if op.get_bind().dialect.name == "sqlite" else _POSTGRES_TRIGGERS
    for trigger in triggers:
        op.execute(trigger)
