"""Job kinds as invented, and the fullest sheet that the check lets pass."""

from dataclasses import replace

from pydantic import TypeAdapter

from scheduler.domain.checks.job_sheets import (
    LONGEST_ITEM,
    MOST_MEASURES,
    MOST_PARTS,
    MOST_STEP_LETTERS,
    MOST_STEPS,
    MOST_TOOLS,
)
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.sheets import MeasureAsked, PartNeeded
from seed_fleet.documents import JOB_KINDS
from seed_fleet.sheets import SHEETS

KINDS = {
    kind.code: kind
    for kind in TypeAdapter(tuple[JobKind, ...]).validate_python(
        [{**kind, **SHEETS[kind["code"]]} for kind in JOB_KINDS]
    )
}


def _item(n: int, longest: int = LONGEST_ITEM) -> str:
    return (f"{n} " + "worn seal housing cover " * 12)[:longest].strip()


FULLEST = replace(
    KINDS["overhaul"],
    setup_hours=2,
    needs=("port", "service engineer"),
    critical=True,
    class_item=True,
    steps=tuple(_item(n, MOST_STEP_LETTERS // MOST_STEPS) for n in range(MOST_STEPS)),
    measures=tuple(MeasureAsked(name=_item(n), unit="Mohm", low=0.125, high=1000.5) for n in range(MOST_MEASURES)),
    parts=tuple(PartNeeded(name=_item(n), quantity=12) for n in range(MOST_PARTS)),
    tools=tuple(_item(n) for n in range(MOST_TOOLS)),
    note="The maker's manual says otherwise for the older casing. " * 30,
)
"""Everything at its most."""

LEAST: dict[str, str] = {
    "part_kind": "of a part's job; a pump's says as much of its own",
    "interval_days": "in place of months",
    "takes_pump_out": "it does by default, and then prints cautions, points and tags",
    "stop_minutes": "of a short test that takes no pump out",
    "pumps_closed": "of a job that takes no pump out",
}
"""Members that the fullest sheet leaves as they are by default, and why."""
