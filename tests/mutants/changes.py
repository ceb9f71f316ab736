"""All changes, area by area."""

from tests.mutants import (
    of_counters,
    of_dates,
    of_days,
    of_decisions,
    of_records,
    of_signs,
    of_the_judge,
    of_the_office,
    of_the_planner,
    of_the_plant,
    of_the_work,
)
from tests.mutants.change import Change

CHANGES: tuple[Change, ...] = (
    *of_the_judge.CHANGES,
    *of_the_planner.CHANGES,
    *of_dates.CHANGES,
    *of_the_work.CHANGES,
    *of_decisions.CHANGES,
    *of_the_plant.CHANGES,
    *of_counters.CHANGES,
    *of_records.CHANGES,
    *of_days.CHANGES,
    *of_signs.CHANGES,
    *of_the_office.CHANGES,
)
