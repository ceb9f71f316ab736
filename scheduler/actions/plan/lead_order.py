"""The lead order of a plant's pumps: which should run most until the next look, from what they have left to overhaul."""

from collections.abc import Mapping
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.hours.ledger import daily_of, derive_vessel
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.domain.base.enums import Subject
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.planning.explain.lead_order import TREND_DAYS, advise, load_of
from scheduler.storage.hours.counters import counter_rows


def lead_order(context: Context, vessel_id: str, plant_id: str) -> dict[str, Any]:
    """The ladder, the order for the next period, what falls due together, and the trend of pump-hours a day.

    Raises:
        NotFound: no such plant. Refused: no job kind of a pump is due by running hours, or no pump has hours yet.
    """
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        now = load_plant(session, context, vessel_id, plant_id)
        rows = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant_id]
        daily = daily_of(session, now.plant, rows, now.at)
    kind = _overhaul(now.plant)
    left = {
        job.job_id.subject: job.running_seconds_left / 3600
        for job in now.jobs
        if job.first and job.job_id.kind == kind.code and job.running_seconds_left is not None and job.position
    }
    if not left:
        raise Refused(
            _(
                "No pump of {plant_id} has running hours to its {name} yet. Post readings first.",
                plant_id=plant_id,
                name=kind.name,
            )
        )
    apart = {  # a pump that is out, or that nobody proved yet, is never advised to lead
        pump: now.outage_status[pump] for pump in left if pump in now.outage_status
    }
    left = {pump: hours for pump, hours in left.items() if pump not in apart} or left
    recent = {pump: daily[pump][-TREND_DAYS:] for pump in left}
    rates = {pump: sum(days) / 3600 / len(days) if days else 0.0 for pump, days in recent.items()}
    told = advise(
        left,
        interval_hours=float(kind.interval_running_hours or 0),
        pump_hours_per_day=sum(rates.values()),
        now_h_per_day=rates,
    )
    trend = load_of({pump: daily[pump] for pump in left})
    names = {pump: _name(now, pump) for pump in left}
    differs = _plan_differs(now, kind, left)
    return {
        "plant": plant_id,
        "by": kind.name,
        "interval_running_hours": kind.interval_running_hours,
        "ladder": [
            {
                "position": names[rung.pump],
                **{
                    name: round(value, 1) if isinstance(value, float) else value for name, value in asdict(rung).items()
                },
                "now_h_per_day": round(rates[rung.pump], 1),
            }
            for rung in told.ladder
        ],
        "near": told.near,
        "gap_days": None if told.gap_days is None else round(told.gap_days),
        "bunched": [names[pump] for pump in told.bunched],
        "pump_hours_per_day": _rounded(trend.recent_h_per_day),
        "pump_hours_per_day_before": _rounded(trend.before_h_per_day),
        "change_percent": _rounded(trend.change_percent),
        "not_advised": [{"position": _name(now, pump), "because": why} for pump, why in apart.items()],
        "plan_differs": differs,
        "says": " ".join(
            [
                _says(told.near, [names[pump] for pump in told.order], [names[pump] for pump in told.bunched], kind),
                *(f"{_name(now, pump)} is {why} and does not lead." for pump, why in apart.items()),
                *_plan_says(differs, kind),
                *_trend_says(trend.change_percent),
            ]
        ),
    }


RISES_PERCENT = 10.0
"""So much more than four weeks before counts as rising. Judgement, no source."""


def _name(now: PlantState, pump: str) -> str:
    return now.position_name(now.plant.position_of(pump, now.at))


def _plan_differs(now: PlantState, kind: JobKind, left: Mapping[str, float]) -> list[dict[str, str]]:
    """Pairs of pumps that the plan aboard opens for the kind in another order than their hours left: (first, before)."""
    if now.taken is None:
        return []
    times, starts = now.taken.times(), {}
    for job in now.jobs:
        pump = job.job_id.subject
        if job.first and job.job_id.kind == kind.code and pump in left and job.job_id.key in times:
            starts[pump] = times[job.job_id.key][0]
    ordered = sorted(starts, key=lambda pump: starts[pump])
    return [
        {"first": _name(now, one), "before": _name(now, other)}
        for one, other in pairwise(ordered)
        if left[one] > left[other]
    ]


def _plan_says(differs: list[dict[str, str]], kind: JobKind) -> list[str]:
    return [
        f"The plan has the {kind.name.lower()} of {one['first']} before that of {one['before']}, though {one['before']} has fewer "
        "hours left: its dates rest on windows, parts and hands too."
        for one in differs
    ]


def _trend_says(change_percent: float | None) -> list[str]:
    if change_percent is None or change_percent < RISES_PERCENT:
        return []
    return [
        f"Pump-hours a day rise by {change_percent:.0f} % on four weeks before: at equal persons aboard, a leak or a worn pump."
    ]


def _overhaul(plant: Plant) -> JobKind:
    """The kind of a pump with the longest interval by running hours."""
    kinds = [kind for kind in plant.job_kinds if kind.subject is Subject.PUMP and kind.interval_running_hours]
    if not kinds:
        raise Refused(_("No job kind of {id} is due on a pump by running hours, so there is no ladder.", id=plant.id))
    return max(kinds, key=lambda kind: kind.interval_running_hours or 0)


def _says(near: bool, order: list[str], bunched: list[str], kind: JobKind) -> str:
    if near:
        lead = "The pumps stand evenly apart: let them run equally."
    else:
        lead = f"Lead {order[0]}, then {', '.join(order[1:])}." if len(order) > 1 else f"There is only {order[0]}."
    if not bunched:
        return lead
    return (
        f"{lead} At the hours they run now {', '.join(bunched)} fall due for {kind.name} within 30 days of each other: control "
        "that equalises the hours since overhaul brings that about."
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
