"""What the test after a job is worth beyond the job."""

from scheduler.domain.vessel.document import Plant
from scheduler.domain.work.state import WorkState

BAND_KPA = 0.5
"""The ends of two bands count as the same within this, as a gauge is read. Judgement, no source."""


def serves_as_periodic(plant: Plant, work: WorkState) -> bool:
    """Whether the pull-down after the work counts as the periodic one too: passed, over the plant's own band, at a quiet hour,
    with the other pumps stopped. What was not told does not count. Common practice, no source."""
    last = next((one for one in reversed(work.tests) if one.passes), None)
    if last is None or last.from_vacuum_kpa is None or last.to_vacuum_kpa is None:
        return False
    band = (last.from_vacuum_kpa - plant.start_vacuum_kpa, last.to_vacuum_kpa - plant.stop_vacuum_kpa)
    return last.quiet_hour is True and last.others_stopped is True and max(map(abs, band)) <= BAND_KPA
