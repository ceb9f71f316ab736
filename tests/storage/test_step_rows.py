"""Steps of the work as stored."""

from typing import Any

from sqlalchemy import event

from scheduler.storage.database import Database
from scheduler.storage.work import newest_step_rows


def test_what_was_used_the_last_time_is_found_by_a_seek(sqlite: Database) -> None:
    """SQLite says so; PostgreSQL has the same index (`test_migrate`)."""
    asked: list[tuple[str, Any]] = []
    event.listen(
        sqlite.read_engine, "before_cursor_execute", lambda _c, _cursor, said, told, _x, _m: asked.append((said, told))
    )
    with sqlite.read() as session:
        assert newest_step_rows(session, "demo", "tag placed", 60) == []
    said, told = next(one for one in asked if "work_step" in one[0])
    with sqlite.read_engine.connect() as connection:
        plan = [str(row[-1]) for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {said}", told)]
    assert "USING INDEX ix_work_step_vessel_id_kind_at_s (vessel_id=? AND kind=?)" in plan[0], plan
