"""A ship's document from what its plates and counters say, as typed at the first run."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any

from scheduler.domain.hours.counter_figure import CounterFigure

JobKindJson = Mapping[str, Any]
"""A job kind as a document has it."""


def asked_kinds(kinds: Sequence[JobKindJson]) -> list[JobKindJson]:
    """The kinds whose last time is asked for at each pump: those that hours make due. All others are not known yet."""
    return [kind for kind in kinds if kind.get("interval_running_hours") and kind["subject"] in ("pump", "part")]


def renewed_by(kinds: Sequence[JobKindJson], code: str) -> list[str]:
    """Codes of the kinds that renew another."""
    return [str(kind["code"]) for kind in kinds if code in kind.get("renews", ())]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipEntered:
    """The ship and her plant. Pressures in kPa below atmosphere, capacities swept m3/h."""

    name: str
    imo: str
    utc_offset_minutes: int
    plant: str
    receiver_m3: float
    start_vacuum_kpa: float
    stop_vacuum_kpa: float
    minimum_swept_m3_per_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpEntered:
    """A row: the position's name, the pump's plate, what its counter shows, in its own counts.

    last: by kind, what the counter showed when it was last done, and the day; a kind that is not there is not known.
    """

    position: str
    serial: str
    rated_swept_m3_per_h: float
    shows: float
    seconds_per_count: int = 3600
    last: Mapping[str, tuple[float, date]] = field(default_factory=dict)

    def hours(self, counts: float) -> float:
        """Counts of its counter in hours."""
        return round(counts * self.seconds_per_count / 3600, 3)

    def figure(self, counts: float, at: datetime) -> CounterFigure:
        """A value of its counter."""
        return CounterFigure(at=at, value_milli=round(counts * 1000), seconds_per_count=self.seconds_per_count)

    def last_done(self, kind: str, renewed_by: Sequence[str]) -> tuple[float, date] | None:
        """When a kind was last done, by itself or with one that renews it: the later of them; none: not known."""
        found = [self.last[one] for one in (kind, *renewed_by) if one in self.last]
        return max(found, default=None)


def slug(name: str) -> str:
    """A name as part of an id.

    >>> slug("Demo Dunlin II"), slug("DN-3301/a")
    ('demo-dunlin-ii', 'dn-3301-a')
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def counter_of(ship: str, number: int) -> str:
    """Id of the counter of a row, counted from 0."""
    return f"{ship}-vp{number + 1}-hours"


def first_document(
    ship: ShipEntered, pumps: Sequence[PumpEntered], kinds: Sequence[JobKindJson], at: datetime
) -> dict[str, Any]:
    """The vessel document, as JSON values. at: now; the pumps stand in their positions from then on, and what they ran before is an
    opening balance as the counter has it.

    Args:
        kinds: job kinds as a document has them, an example.
    """
    key = slug(ship.name)
    stamp = at.replace(microsecond=0).isoformat()
    plant: dict[str, Any] = {
        name: [] for name in ("positions", "pumps", "parts", "stays", "fittings", "counters", "last_done")
    }
    parts = sorted({str(kind["part_kind"]) for kind in kinds if kind.get("part_kind")})
    for number, one in enumerate(pumps):
        position, pump = f"{key}-vp{number + 1}", f"{key}-{slug(one.serial) or number + 1}"
        ran = one.hours(one.shows)
        plant["positions"].append({"id": position, "name": one.position})
        plant["pumps"].append({"id": pump, "serial": one.serial, "rated_swept_m3_per_h": one.rated_swept_m3_per_h})
        plant["stays"].append({"pump": pump, "position": position, "from_at": stamp, "opening_running_hours": ran})
        plant["counters"].append(
            {"id": counter_of(key, number), "position": position, "seconds_per_count": one.seconds_per_count}
        )
        subjects = {"pump": pump}
        for part in parts:
            subjects[part] = f"{pump}-{slug(part)}"
            name = f"{part[:1].upper()}{part[1:].replace('_', ' ')} of {one.serial}"
            plant["parts"].append({"id": subjects[part], "kind": part, "name": name})
            plant["fittings"].append(
                {"part": subjects[part], "pump": pump, "from_at": stamp, "opening_running_hours": ran}
            )
        for kind in asked_kinds(kinds):
            code = str(kind["code"])
            done = one.last_done(code, renewed_by(kinds, code))
            subject = subjects[str(kind.get("part_kind") or kind["subject"])]
            if done is not None:
                done_at = min(datetime.combine(done[1], time(12), UTC), at).replace(microsecond=0)
                hours = one.hours(done[0])
                plant["last_done"].append(
                    {"kind": code, "subject": subject, "done_at": done_at.isoformat(), "running_hours": hours}
                )
    return {
        "id": key,
        "name": ship.name,
        "imo": ship.imo,
        "utc_offset_minutes": ship.utc_offset_minutes,
        "plants": [
            {
                "id": f"{key}-plant",
                "name": ship.plant,
                "receiver_m3": ship.receiver_m3,
                "start_vacuum_kpa": ship.start_vacuum_kpa,
                "stop_vacuum_kpa": ship.stop_vacuum_kpa,
                "minimum_swept_m3_per_h": ship.minimum_swept_m3_per_h,
                "job_kinds": list(kinds),
                **plant,
            }
        ],
    }


def due_at_counter(one: PumpEntered, kind: JobKindJson, kinds: Sequence[JobKindJson], at: datetime) -> int | None:
    """What the counter of a row shows when a kind falls due by its hours, thousandths; none: its last time is not known."""
    done = one.last_done(str(kind["code"]), renewed_by(kinds, str(kind["code"])))
    return None if done is None else one.figure(done[0], at).after(int(kind["interval_running_hours"]) * 3600)
