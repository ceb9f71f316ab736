"""A job whose permit may start today is begun from the plant page."""

from dataclasses import replace
from datetime import timedelta

import pytest

from api.pages.plant.week import begin_words, begins_today
from tests.unit.api.invented import NOW, plant

LINE = next(job for job in plant().jobs if job.kind.takes_pump_out and job.slot_from_at)
OFFSET = timedelta(minutes=plant().frame.utc_offset_minutes)
MIDNIGHT = (NOW + OFFSET).replace(hour=0, minute=0, second=0, microsecond=0) - OFFSET
DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("starts_at", "ends_at", "margin", "begun"),
    [
        (MIDNIGHT + DAY - timedelta(minutes=1), MIDNIGHT + 2 * DAY, 4.0, True),  # the last minute of the ship's day
        (MIDNIGHT + DAY, MIDNIGHT + 2 * DAY, 4.0, False),
        (MIDNIGHT, NOW + timedelta(minutes=1), 4.0, True),
        (MIDNIGHT - timedelta(minutes=1), NOW + timedelta(minutes=1), 4.0, False),
        (MIDNIGHT, NOW, 4.0, False),  # its slot is over
        (MIDNIGHT, NOW + timedelta(minutes=1), 0.0, True),  # the minimum just holds
        (MIDNIGHT, NOW + timedelta(minutes=1), -0.1, False),
    ],
)
def test_a_job_is_begun_on_the_day_of_its_slot_while_the_minimum_holds(starts_at, ends_at, margin, begun) -> None:  # type: ignore[no-untyped-def]
    """To the minute: the ship's day, the end of the slot, a margin of nothing."""
    line = replace(LINE, slot_from_at=starts_at, slot_to_at=ends_at, margin_m3_per_h=margin)
    view = replace(plant(), may_begin=True, jobs=(line,))
    assert begins_today(line, view) is begun
    assert begin_words(line, view).startswith("Begin" if begun else "Open")


def test_nothing_is_begun_by_a_reader_without_a_plan_aboard_or_on_a_pump_that_is_out() -> None:
    """Nor where the job takes no pump out."""
    line = replace(LINE, slot_from_at=MIDNIGHT, slot_to_at=NOW + DAY, margin_m3_per_h=4.0)
    view = replace(plant(), may_begin=True)
    assert begins_today(line, view)
    assert not begins_today(line, replace(view, may_begin=False))
    assert not begins_today(line, replace(view, plan=None))
    number = int(line.due.position.removeprefix("VP")) if line.due.position else 0
    assert not begins_today(line, replace(plant(down=number), may_begin=True))
    assert not begins_today(replace(line, kind=replace(line.kind, takes_pump_out=False)), view)
