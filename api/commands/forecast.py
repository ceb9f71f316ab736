"""When jobs will fall due, why, and how good such dates were on this ship."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, me, out

if TYPE_CHECKING:
    from scheduler.domain.due.scoring import OwnPast, Score


@app.command()
def forecast(
    plant: Annotated[str, typer.Argument(help="plant id")],
    score: Annotated[bool, typer.Option("--score", help="how good such dates were in this ship's own past")] = False,
    as_json: AsJson = False,
) -> None:
    """Show each open job's early, likely and late date, and one sentence that explains it.

    Example: leadline forecast avocet-plant --score
    """
    from scheduler.actions.due import forecasts
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        if score:
            past = forecasts.own_past(context, place.vessel_id, place.id)
            out(
                _score_json(place.id, past.days, past.horizons),
                as_json,
                lambda: _score_lines(place.id, past.days, past.horizons),
            )
        else:
            _dates(context, place.vessel_id, place.id, as_json)


def _dates(context: Any, vessel_id: str, plant_id: str, as_json: bool) -> None:
    from api.routes.shared import shapes
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.wording.figures import moment, ship

    now = plant_state(context, vessel_id, plant_id)
    jobs = [job for job in now.jobs if job.first]
    rows = [shapes.due_json(now, job) for job in jobs]

    def lines() -> Iterator[str]:
        yield f"{now.vessel.name}, {now.plant.name}, ship time {moment(now.at, now.offset_minutes)}"
        for job, row in zip(jobs, rows, strict=True):
            yield f"{now.position_name(job.position)} {job.kind_name} ({job.job_id.key}): {job.state.value}"
            seen = now.as_shown(job).forecast
            if seen is not None:
                dates = (seen.early_at, seen.likely_at, seen.late_at)
                early, likely, late = (f"{ship(at, now.offset_minutes):%a %d %b %Y}" for at in dates)
                yield f"  early {early}, likely {likely}, late {late}"
            yield f"  {row['why']['sentence']}"

    out({"plant": plant_id, "jobs": rows}, as_json, lines)


def _scores(horizon: "OwnPast") -> "dict[str, Score]":
    from scheduler.domain.due.scoring import score

    return {name: score(outcomes) for name, outcomes in horizon.outcomes.items() if outcomes}


def _score_json(plant_id: str, days: int, horizons: "tuple[OwnPast, ...]") -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "plant": plant_id,
        "history_days": days,
        "horizons": [
            {
                "horizon_days": horizon.horizon_days,
                "needs_history_days": horizon.needs_days,
                "methods": {name: asdict(score) for name, score in _scores(horizon).items()},
            }
            for horizon in horizons
        ],
    }


def _score_lines(plant_id: str, days: int, horizons: "tuple[OwnPast, ...]") -> Iterator[str]:
    from scheduler.domain.due.scoring import WITH_CALENDAR

    yield f"{plant_id}: {days} days of running hours. Forecasts as they would have been made, against what the hours did:"
    for horizon in horizons:
        scores = _scores(horizon)
        if not scores:
            yield (
                f"{horizon.horizon_days} days ahead: too short a history to tell; it takes {horizon.needs_days} days, "
                f"there are {days}."
            )
            continue
        yield f"{horizon.horizon_days} days ahead"
        for name, found in scores.items():
            yield (
                f"  {name:28} {found.forecasts:5} forecasts, {found.covered:4.0%} between early and late "
                f"({found.sooner:.0%} sooner, {found.later:.0%} later), median error {found.median_error_days:.1f} days, "
                f"interval score {found.interval_score_days:.0f} days"
            )
    if any(WITH_CALENDAR in horizon.outcomes for horizon in horizons):
        yield "The operating calendar is taken as it was logged, as if every plan had been kept: earlier plans are not kept."
    yield "Between early and late 86 % is aimed at. Forecasts of one ship overlap, so few months of history say little."
