"""Due jobs, a reading by hand, and the minimum of a plant."""

from typing import Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, instant_given, me, out, plants, say


@app.command()
def due(
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
    as_json: AsJson = False,
) -> None:
    """Show the open jobs with their due points, or the dates that moved.

    Example: leadline due avocet-plant
    """
    from api.routes.shared import shapes
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.domain.base.enums import JobState
    from scheduler.errors import NotFound
    from scheduler.shiptime import days_from, running_hours_text
    from scheduler.wording.due import as_of_words
    from scheduler.wording.figures import moment, ship

    if moved:
        _moved(plant, since, as_json)
        return
    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    worst = 0
    with command_context() as context:
        for vessel_id, plant_id in plants(context, plant):
            now = plant_state(context, vessel_id, plant_id)
            lines.append(f"{now.vessel.name}, {now.plant.name}, ship time {moment(now.at, now.offset_minutes)}")
            for job in now.jobs:
                if not job.first or explain not in (None, job.job_id.key):
                    continue
                rows.append({"vessel": vessel_id, "plant": plant_id, **shapes.due_json(now, job)})
                seen = now.as_shown(job)
                left = job.running_seconds_left
                left = left if job.projected_seconds_left is None else job.projected_seconds_left
                hours = "" if left is None else f"{running_hours_text(left):>8} running h, "
                hours += as_of_words(seen, now.at, now.offset_minutes)
                days = f"{days_from(now.at, seen.due_at, now.offset_minutes):5d} days"
                when = f"{ship(seen.due_at, now.offset_minutes):%a %d %b %Y}"
                if job.state is JobState.NOT_KNOWN:
                    days, when = "       now", "due now"
                place = now.position_name(job.position)
                lines.append(
                    f"  {job.state.value:19} {when:15} {days} {hours:42} {place:14} {job.kind_name:20} {job.job_id.key}"
                )
                if explain is not None:
                    lines.append(f"    {rows[-1]['why']['sentence']}")
                worst = max(worst, {JobState.PAST_DUE: 3, JobState.PAST_LIMIT: 4}.get(job.state, 0))
    if explain is not None and not rows:
        raise NotFound(f"There is no open job {explain}. `leadline due` shows the keys.")
    if not lines:
        say("No vessel is here yet. Take in its document: leadline import ship.json")
    out({"jobs": rows}, as_json, lambda: iter(lines))
    if check and worst:
        raise typer.Exit(worst)


def _moved(plant: str | None, since: int, as_json: bool) -> None:
    from api.pages.due.page import by_words
    from api.routes.shared import shapes
    from scheduler.actions.plant_state import published
    from scheduler.actions.vessel.fleet import offset_now
    from scheduler.wording.figures import ship

    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    with command_context() as context:
        for vessel_id, plant_id in plants(context, plant):
            offset = offset_now(context, vessel_id)
            for one in published.moved_since(context, vessel_id, plant_id, after=since):
                rows.append({"vessel": vessel_id, "plant": plant_id, **shapes.moved_json(one)})
                was, now = ship(one.from_due_at, offset), ship(one.to_due_at, offset)
                lines.append(
                    f"  {one.number:5} {ship(one.at, offset):%Y-%m-%d %H:%M}  {was:%d %b %Y} to {now:%d %b %Y}, "
                    f"{by_words(one, offset)}, {one.cause.value}: {one.job}{'' if one.open else ' (outlook)'}"
                )
    if not rows:
        say("No published date moved.")
    out({"moved": rows, "next": max((row["number"] for row in rows), default=since)}, as_json, lambda: iter(lines))


@app.command()
def reading(
    counter: Annotated[str, typer.Argument(help="counter id")],
    value: Annotated[float, typer.Argument(help="what the counter shows")],
    at: Annotated[str | None, typer.Option(help="when it was read, with offset (default: now)")] = None,
    as_json: AsJson = False,
) -> None:
    """Post a counter's reading by hand.

    Example: leadline reading plover-vp1-hours 12006 --at 2026-11-25T07:00:00Z
    """
    from api.pages.hours.hand import judged_words
    from scheduler.actions.hours import by_hand
    from scheduler.actions.vessel import fleet
    from scheduler.errors import Refused
    from scheduler.storage.vessel import AssetKind

    when = instant_given(at)
    with command_context() as context:
        place = fleet.locate(context, me(), counter, AssetKind.COUNTER)
        read = by_hand.Read(counter, when, value)
        with by_hand.own_intake(context) as intake:
            asked = hand({"reading": counter, "at": when.isoformat(), "value": value})
            (one,) = by_hand.store_by_hand(context, intake, asked, place.vessel_id, [read])
    if not one.taken:
        raise Refused(one.why)
    entry = one.entry
    verdict = "" if entry is None else f"{entry.verdict}: {entry.reason}" if entry.reason else str(entry.verdict)
    told = {"counter": counter, "status": one.status, "verdict": verdict, "says": judged_words(one)}
    out(told, as_json, lambda: iter([f"{one.status}; {verdict or 'judged with the next reading'}. {told['says']}"]))


@app.command()
def minimum(
    plant: Annotated[str, typer.Argument(help="plant id")],
    closets: Annotated[int, typer.Option(min=0, help="water closets connected")],
    flushes: Annotated[float, typer.Option(min=0, help="flushes an hour of each, in the hours in question")],
    litres: Annotated[float, typer.Option(min=0, help="litres of free air a flush admits")],
    leak: Annotated[float, typer.Option(min=0, help="leak of the plant, m3/h of free air")] = 0.0,
    label: Annotated[str | None, typer.Option(help="take it as a block of the minimum with this name")] = None,
    from_hour: Annotated[int, typer.Option(min=0, max=24, help="ship's hour it begins")] = 0,
    to_hour: Annotated[int, typer.Option(min=0, max=24, help="ship's hour it ends")] = 24,
    from_on: Annotated[str | None, typer.Option("--from", help="first ship date (default: every date)")] = None,
    to_on: Annotated[str | None, typer.Option("--to", help="last ship date")] = None,
    as_json: AsJson = False,
) -> None:
    """Work out the minimum capacity from the fixtures, at the stop setpoint; with --label it becomes a block of the plant.

    Example: leadline minimum plover-plant --closets 100 --flushes 5 --litres 60 --label "full ship" --from 2026-12-20 --to 2027-01-03
    """
    from dataclasses import replace
    from datetime import date

    from scheduler.actions.vessel import fleet
    from scheduler.domain.capacity.minimum import Free, free_from_fixtures, swept_of
    from scheduler.domain.vessel.document import MinimumBlock
    from scheduler.storage.vessel import AssetKind

    def on(text: str | None) -> date | None:
        try:
            return None if text is None else date.fromisoformat(text)
        except ValueError:
            raise typer.BadParameter(f"{text!r}: a date is expected, such as 2026-12-20") from None

    first, last = on(from_on), on(to_on)
    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        vessel, version = fleet.get_vessel(context, me(), place.vessel_id)
        held = next(one for one in vessel.plants if one.id == plant)
        free = free_from_fixtures(closets, flushes, litres, Free(leak))
        swept = swept_of(free, held.stop_vacuum_kpa)
        figure = round(swept.m3_per_h, 3)
        if label is not None:
            block = MinimumBlock(
                minimum_swept_m3_per_h=figure,
                label=label,
                from_on=first,
                to_on=last,
                from_hour=from_hour,
                to_hour=to_hour,
            )
            changed = replace(held, minimum_blocks=(*held.minimum_blocks, block))
            plants_then = tuple(changed if one.id == plant else one for one in vessel.plants)
            why = f"{label}, from fixtures: {closets} closets, {flushes:g} flushes an hour, {litres:g} litres, leak {leak:g} m3/h"
            there = replace(vessel, plants=plants_then)
            version, _ = fleet.put_vessel(context, me(), there, if_match=version, reason=why)
    told = {
        "plant": plant,
        "free_m3_per_h": free.m3_per_h,
        "swept_m3_per_h": figure,
        "at_vacuum_kpa": held.stop_vacuum_kpa,
        "taken_as": label,
        "version": version,
    }
    says = f"{free.m3_per_h:g} m³/h of free air, {figure:g} m³/h swept at {held.stop_vacuum_kpa:g} kPa below atmosphere"
    taken = "" if label is None else f"; taken as {label}, document version {version}"
    out(told, as_json, lambda: iter([f"{says}{taken}"]))
