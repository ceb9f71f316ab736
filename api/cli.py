"""The command line: thin. Each module of `api.commands` adds its own commands to `app`."""

from api.commands import (
    aboard,
    calendar,
    company,
    counters,
    doctor,
    documents,
    duty,
    feed,
    forecast,
    gateway,
    hours,
    people,
    plant,
    pumps,
    reliability,
    serving,
    work,
)
from api.commands.common import app

__all__ = [
    "aboard",
    "app",
    "calendar",
    "company",
    "counters",
    "doctor",
    "documents",
    "duty",
    "feed",
    "forecast",
    "gateway",
    "hours",
    "people",
    "plant",
    "pumps",
    "reliability",
    "serving",
    "work",
]
