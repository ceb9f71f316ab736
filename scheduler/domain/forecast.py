"""When a figure of running hours will be reached: early, likely and late."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """When the hours left will have run.

    h_per_day: the rate used. look_back_days: how much of the past it rests on. runs: past runs counted (0: the prior
    alone). standing: the pump has hardly run of late, the dates are wide.
    """

    early_at: datetime
    likely_at: datetime
    late_at: datetime
    h_per_day: float
    look_back_days: int
    runs: int
    standing: bool = False
