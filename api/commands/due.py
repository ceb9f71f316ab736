"""Open jobs and when they fall due, why, and how good such dates were; first dates, dates of parts, postponements."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import (
    Output,
    acting,
    command,
    hand,
    instant_or_now,
    plant_place,
    plants,
    ship_stamps,
    vessel_must_be,
)
from api.commands.shared.exit_codes import ExitCode
from api.commands.shared.groups import app, group, job_app
from api.commands.shared.options import INSTANT, JobKey, PlantId, VesselId, day_or_none, parse_day

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.due.forecasts import Past
    from scheduler.actions.plant_state.load import PlantState
    from scheduler.domain.due.scoring import OwnPast, Score

postpone_app = group(
    "postpone", "Postponements.", 'postpone ask KEY --to 2026-12-20T00:00Z --reason "no part" --risk "wear"'
)

Number = Annotated[int, typer.Argument(help="number of the postponement")]
ForClass = Annotated[str, typer.Option(help="the class's agreement, for a class item")]


@command(app)
def due(
    context: "Context",
    plant: Annotated[str | None, typer.Argument(help="plant id (default: all)")] = None,
    check: Annotated[
        bool, typer.Option("--check", help="exit 3 when something is past due, 4 when past its limit")
    ] = False,
    explain: Annotated[
        str | None, typer.Option(help="only the job with this key, and why it is due when it is")
    ] = None,
    moved: Annotated[
        bool, typer.Option("--moved", help="the published dates that moved instead, oldest first")
    ] = False,
    since: Annotated[int, typer.Option(help="with --moved: only those after this number of the list")] = 0,
) -> Output:
    """Show the open jobs with their due points, or the dates that moved.

    Example: leadline due avocet-plant
    """
    from api.routes.answers.due import DueJobAnswer
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.domain.base.enums import JobState
    from scheduler.errors import NotFound

    if moved:
        return _moved(context, plant, since)
    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    worst = 0
    for vessel_id, plant_id in plants(context, plant):
        now = plant_state(context, vessel_id, plant_id)
        lines.append(_heading(now))
        for job in now.jobs:
            if not job.first or explain not in (None, job.job_id.key):
                continue
            rows.append({"vessel": vessel_id, "plant": plant_id, **DueJobAnswer.of(now, job).plain()})
            lines.append(_due_line(now, job))
            if explain is not None:
                lines.append(f"    {rows[-1]['why']['sentence']}")
            worst = max(
                worst,
                {JobState.PAST_DUE: ExitCode.PAST_DUE, JobState.PAST_LIMIT: ExitCode.PAST_LIMIT}.get(job.state, 0),
            )
    if explain is not None and not rows:
        raise NotFound(f"There is no open job {explain}. `leadline due` shows the keys.")
    talk = [] if lines else ["No vessel is here yet. Take in its document: leadline import ship.json"]
    return Output({"jobs": rows}, lines, talk, code=worst if check else 0)


def _heading(now: "PlantState") -> str:
    from scheduler.wording.figures import moment

    return f"{now.vessel.name}, {now.plant.name}, ship time {moment(now.at, now.offset_minutes)}"


def _due_line(now: "PlantState", job: Any) -> str:
    from scheduler.domain.due.explain_date import explain_date
    from scheduler.wording.due import as_of_words, to_go_words

    seen = now.as_shown(job)
    to_go = to_go_words(explain_date(seen, now.at), now.offset_minutes)
    read = as_of_words(seen, now.at, now.offset_minutes)
    place = now.position_name(job.position)
    return f"  {job.state.value:19} {to_go:56} {read:34} {place:14} {job.kind_name:20} {job.job_id.key}"


def _moved(context: "Context", plant: str | None, since: int) -> Output:
    from api.pages.due.page import by_words
    from api.routes.answers.due import MovedDateShown
    from scheduler.actions.plant_state import published
    from scheduler.actions.vessel.fleet import offset_now
    from scheduler.wording.due import cause_words
    from scheduler.wording.figures import ship

    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    for vessel_id, plant_id in plants(context, plant):
        offset = offset_now(context, vessel_id)
        for one in published.moved_since(context, vessel_id, plant_id, after=since):
            rows.append({"vessel": vessel_id, "plant": plant_id, **MovedDateShown.of(one).plain()})
            was, now = ship(one.from_due_at, offset), ship(one.to_due_at, offset)
            lines.append(
                f"  {one.number:5} {ship(one.at, offset):%Y-%m-%d %H:%M}  {was:%d %b %Y} to {now:%d %b %Y}, "
                f"{by_words(one, offset)}, {cause_words(one.cause)}: {one.job}{'' if one.open else ' (outlook)'}"
            )
    value = {"moved": rows, "next": max((row["number"] for row in rows), default=since)}
    return Output(value, lines, [] if rows else ["No published date moved."])


@command(app)
def forecast(
    context: "Context",
    plant: PlantId,
    score: Annotated[bool, typer.Option("--score", help="how good such dates were in this ship's own past")] = False,
) -> Output:
    """Show each open job's early, likely and late date, and one sentence that explains it.

    Example: leadline forecast avocet-plant --score
    """
    from scheduler.actions.due import forecasts

    place = plant_place(context, plant)
    if not score:
        return _dates(context, place.vessel_id, place.id)
    past = forecasts.own_past(context, place.vessel_id, place.id)
    return Output(_score_json(place.id, past), _score_lines(place.id, past))


def _dates(context: "Context", vessel_id: str, plant_id: str) -> Output:
    from api.routes.answers.due import DueJobAnswer
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.wording.figures import ship

    now = plant_state(context, vessel_id, plant_id)
    jobs = [job for job in now.jobs if job.first]
    rows = [DueJobAnswer.of(now, job).plain() for job in jobs]

    def lines() -> Iterator[str]:
        yield _heading(now)
        for job, row in zip(jobs, rows, strict=True):
            yield f"{now.position_name(job.position)} {job.kind_name} ({job.job_id.key}): {job.state.value}"
            seen = now.as_shown(job).forecast
            if seen is not None:
                dates = (seen.early_at, seen.likely_at, seen.late_at)
                early, likely, late = (f"{ship(at, now.offset_minutes):%a %d %b %Y}" for at in dates)
                yield f"  early {early}, likely {likely}, late {late}"
            yield f"  {row['why']['sentence']}"

    return Output({"plant": plant_id, "jobs": rows}, lines())


def _scores(horizon: "OwnPast") -> "dict[str, Score]":
    from scheduler.domain.due.scoring import score

    return {name: score(outcomes) for name, outcomes in horizon.outcomes.items() if outcomes}


def _score_json(plant_id: str, past: "Past") -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "plant": plant_id,
        "history_days": past.days,
        "horizons": [
            {
                "horizon_days": horizon.horizon_days,
                "needs_history_days": horizon.needs_days,
                "methods": {name: asdict(score) for name, score in _scores(horizon).items()},
            }
            for horizon in past.horizons
        ],
    }


def _score_lines(plant_id: str, past: "Past") -> Iterator[str]:
    from scheduler.domain.due.scoring import WITH_CALENDAR

    yield f"{plant_id}: {past.days} days of running hours. Forecasts as they would have been made, against what the hours did:"
    for horizon in past.horizons:
        scores = _scores(horizon)
        if not scores:
            yield (
                f"{horizon.horizon_days} days ahead: too short a history to tell; it takes {horizon.needs_days} days, "
                f"there are {past.days}."
            )
            continue
        yield f"{horizon.horizon_days} days ahead"
        for name, found in scores.items():
            yield (
                f"  {name:28} {found.forecasts:5} forecasts, {found.covered:4.0%} between early and late "
                f"({found.sooner:.0%} sooner, {found.later:.0%} later), median error {found.median_error_days:.1f} days, "
                f"interval score {found.interval_score_days:.0f} days"
            )
    if any(WITH_CALENDAR in horizon.outcomes for horizon in past.horizons):
        yield "The operating calendar is taken as it was logged, as if every plan had been kept: earlier plans are not kept."
    yield "Between early and late 86 % is aimed at. Forecasts of one ship overlap, so few months of history say little."


@command(job_app, "first-date")
def set_first_date(
    context: "Context",
    key: JobKey,
    on: Annotated[date, typer.Argument(help="ship's date on which it first falls due", parser=parse_day)],
    reason: Annotated[str, typer.Option(help="why that is soon enough")],
    class_agreed: ForClass = "",
) -> Output:
    """Set the first date of a job that nobody knows when it was last done, with your own key (chief engineer or office).

    Example: leadline --key-file own.key job first-date overhaul:plover-pump-a:1 2027-01-20 --reason "opened in dock, no paper"
    """
    from scheduler.actions.due import first_dates
    from scheduler.actions.work import jobs

    place, job_id = jobs.job_place(context, acting(context), key)
    asked = hand(context, {"first date": on.isoformat(), "job": key, "reason": reason})
    body = first_dates.set_first(context, asked, place, job_id, on=on, reason=reason, class_agreed=class_agreed).body
    return Output(
        body, [f"{key}: first due {on}; record {body['record']}.{' ' + body['says'] if 'says' in body else ''}"]
    )


@command(job_app, "first-date-agree")
def agree_first_date(context: "Context", key: JobKey) -> Output:
    """Agree to the first date that another person set for a critical job, with your own key.

    Example: leadline --key-file own.key job first-date-agree overhaul:plover-pump-a:1
    """
    from scheduler.actions.due import first_dates
    from scheduler.actions.work import jobs

    place, job_id = jobs.job_place(context, acting(context), key)
    body = first_dates.agree_first(context, hand(context, {"agree": key}), place, job_id).body
    return Output(body, [f"{key}: first due {body['first_due_on']}, agreed; record {body['record']}"])


@command(job_app, "parts-from")
def set_parts_date(
    context: "Context",
    key: JobKey,
    on: Annotated[
        str,
        typer.Argument(help="ship's date from which the parts are aboard, or none to take it back", parser=day_or_none),
    ],
    note: Annotated[str, typer.Option(help="order, port, who brings them")] = "",
) -> Output:
    """Say when a job's parts come; the plan puts the job no earlier.

    Example: leadline job parts-from overhaul:plover-pump-a:1 2026-12-12 --note "with the agent"
    """
    from scheduler.actions.due import part_dates
    from scheduler.actions.work import jobs

    place, job_id = jobs.job_place(context, acting(context), key)
    asked = hand(context, {"parts from": on, "job": key})
    from_on = None if on == "none" else parse_day(on)
    body = part_dates.set_date(context, asked, place, job_id, from_on=from_on, note=note).body
    says = "no date for its parts any more" if from_on is None else f"parts aboard from {body['parts_from']}"
    return Output(body, [f"{key}: {says}; record {body['record']}"])


@command(postpone_app, "ask")
def ask_postponement(
    context: "Context",
    key: JobKey,
    to: Annotated[datetime, typer.Option(help="the new limit, ship time or with offset", **INSTANT)],
    reason: Annotated[str, typer.Option(help="why it cannot be done in time")],
    risk: Annotated[str, typer.Option(help="what may happen meanwhile")],
    mitigation: Annotated[str, typer.Option(help="what is done about it")] = "",
) -> Output:
    """Ask for a later limit of a job, with your own key. Another person decides.

    Example: leadline --key-file own.key postpone ask overhaul:plover-pump-a:1 --to 2026-12-20T00:00 --reason "no seal" --risk leak
    """
    from scheduler.actions.due import postponing
    from scheduler.actions.work import jobs
    from scheduler.domain.due.postponing import Asked

    place, job_id = jobs.job_place(context, acting(context), key)
    to_at = instant_or_now(context, place.vessel_id, to)
    asked = Asked(to_at=to_at, reason=reason, risk=risk, mitigation=mitigation)
    given = hand(context, {"postpone": key, "to": to_at.isoformat()})
    body = postponing.ask_postponement(context, given, place, job_id, asked).body
    return Output(body, [f"postponement {body['postponement']} of {key}: {body['says']}"])


@command(postpone_app, "decide")
def decide_postponement(
    context: "Context",
    vessel: VesselId,
    number: Number,
    grant: Annotated[bool, typer.Option("--grant/--refuse", help="which it is")],
    note: Annotated[str, typer.Option(help="why, or on which condition")] = "",
    class_agreed: ForClass = "",
) -> Output:
    """Grant or refuse a postponement, with your own key; not who asked.

    Example: leadline --key-file own.key postpone decide demo-plover 3 --grant --note "seal comes on the 12th"
    """
    from scheduler.actions.due import postponing

    asked = hand(context, {"decide": number, "vessel": vessel, "grant": grant})
    body = postponing.decide_postponement(
        context, asked, vessel, number, granted=grant, note=note, class_agreed=class_agreed
    ).body
    return Output(body, [f"postponement {number} {'granted' if grant else 'refused'}; record {body['record']}"])


@command(postpone_app, "list")
def list_postponements(context: "Context", vessel: VesselId) -> Output:
    """Show a vessel's postponements, newest first.

    Example: leadline postpone list demo-plover
    """
    from scheduler.actions.due import postponing

    vessel_must_be(context, vessel)
    rows, ship = postponing.postponements_listed(context, vessel), ship_stamps(context, vessel)
    lines = [
        f"{r['postponement']:4} {r['state']:8} {r['job']:44} {ship(r['limit_at'])[:10]} to {ship(r['to_at'])[:10]}  {r['asked_by']}"
        f"{'' if r['decided_by'] is None else ', decided by ' + r['decided_by']}: {r['reason']}"
        for r in rows
    ]
    return Output({"postponements": rows}, lines)
