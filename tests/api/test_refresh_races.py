"""A calendar is loaded without holding up who wants to write; what is stored meanwhile stands in it all the same."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from api.ics.writer import calendar_writer
from scheduler.actions.feed import refresh
from scheduler.domain.base.enums import Role
from scheduler.storage.feed import feed_body_row
from scheduler.storage.vessel import revision_of
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged, stamp

WRITER = calendar_writer("http://testserver")


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The application with one ship."""
    with staged(tmp_path, (PLOVER,)) as alone:
        yield alone


@pytest.mark.parametrize(("changes", "loads"), [(0, 1), (1, 2), (2, 3), (3, 4), (9, 4)])
def test_what_is_stored_while_a_calendar_is_loaded_stands_in_it(
    changes: int, loads: int, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Loaded again where the ship changed meanwhile; at the fourth time with the turn to write held, when nothing can.

    In the end the calendar is of the newest revision and knows every pump that was put out.
    """
    load, times = refresh._plants, count(1)
    refresh.refresh(stage.context, WRITER, PLOVER.vessel)
    loaded = [0]

    def while_loaded(*told: Any) -> Any:
        found = load(*told)
        loaded[0] += 1
        time = next(times)
        if time <= min(changes, 3):
            body = {"at": stamp(stage.clock.at - timedelta(minutes=4 - time)), "reason": f"stuck {time}"}
            pump = PLOVER.pump(time - 1)
            answer = stage.ask("POST", f"/api/v1/pumps/{pump}/down", role=Role.CHIEF, json=body)
            assert answer.status_code in (200, 201), answer.text
        return found

    stage.context.waker.listen(None)
    monkeypatch.setattr(refresh, "_plants", while_loaded)
    refresh.refresh(stage.context, WRITER, PLOVER.vessel)
    assert loaded[0] == loads
    with stage.context.db.read() as session:
        row = feed_body_row(session, PLOVER.vessel, "plan")
        assert row is not None
        assert row.revision == revision_of(session, PLOVER.vessel)


def test_two_that_write_one_calendar_at_once_list_a_moved_date_once(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second finds that the first has published since it loaded, and loads again."""
    load, first = refresh._plants, [True]
    refresh.refresh(stage.context, WRITER, PLOVER.vessel)
    with stage.context.db.write(PLOVER.vessel) as session:
        session.connection().exec_driver_sql("DELETE FROM published")
    loaded = [0]

    def while_loaded(*told: Any) -> Any:
        found = load(*told)
        loaded[0] += 1
        if first.pop() if first else False:
            refresh.refresh(stage.context, WRITER, PLOVER.vessel)
        return found

    monkeypatch.setattr(refresh, "_plants", while_loaded)
    refresh.refresh(stage.context, WRITER, PLOVER.vessel)
    assert loaded[0] == 3
