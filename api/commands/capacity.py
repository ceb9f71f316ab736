"""The minimum of a plant, lower minima agreed for a time, and pull-down tests."""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import (
    Output,
    acting,
    command,
    hand,
    instant_or_now,
    plant_place,
    pump_place,
    ship_stamps,
)
from api.commands.shared.groups import app, group
from api.commands.shared.options import DAY, FIGURE, FIGURE_FROM_0, INSTANT, At, PlantId, one_of
from api.commands.shared.streams import read_text

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

concession_app = group(
    "concession", "Lower minima for a time, signed by chief and hotel.", "concession list plover-plant"
)

Number = Annotated[int, typer.Argument(help="number of the concession")]


@command(app)
def minimum(
    context: "Context",
    plant: PlantId,
    closets: Annotated[int, typer.Option(min=0, help="water closets connected")],
    flushes: Annotated[float, typer.Option(help="flushes an hour of each, in the hours in question", **FIGURE_FROM_0)],
    litres: Annotated[float, typer.Option(help="litres of free air a flush admits", **FIGURE_FROM_0)],
    leak: Annotated[float, typer.Option(help="leak of the plant, m3/h of free air", **FIGURE_FROM_0)] = 0.0,
    label: Annotated[str | None, typer.Option(help="take it as a block of the minimum with this name")] = None,
    from_hour: Annotated[int, typer.Option(min=0, max=24, help="ship's hour it begins")] = 0,
    to_hour: Annotated[int, typer.Option(min=0, max=24, help="ship's hour it ends")] = 24,
    from_on: Annotated[date | None, typer.Option("--from", help="first ship date (default: every date)", **DAY)] = None,
    to_on: Annotated[date | None, typer.Option("--to", help="last ship date", **DAY)] = None,
) -> Output:
    """Work out the minimum capacity from the fixtures, at the stop setpoint; with --label it becomes a block of the plant.

    Example: leadline minimum plover-plant --closets 100 --flushes 5 --litres 60 --label "full ship" --from 2026-12-20 --to 2027-01-03
    """
    from dataclasses import replace

    from scheduler.actions.vessel import changes, fleet
    from scheduler.domain.capacity.minimum import Free, free_from_fixtures, swept_of
    from scheduler.domain.vessel.crew import MinimumBlock

    place = plant_place(context, plant)
    vessel, version = fleet.get_vessel(context, acting(context), place.vessel_id)
    here = next(one for one in vessel.plants if one.id == plant)
    free = free_from_fixtures(closets, flushes, litres, Free(leak))
    swept = round(swept_of(free, here.stop_vacuum_kpa).m3_per_h, 3)
    if label is not None:
        block = MinimumBlock(
            minimum_swept_m3_per_h=swept,
            label=label,
            from_on=from_on,
            to_on=to_on,
            from_hour=from_hour,
            to_hour=to_hour,
        )
        changed = replace(here, minimum_blocks=(*here.minimum_blocks, block))
        plants = tuple(changed if one.id == plant else one for one in vessel.plants)
        why = f"{label}, from fixtures: {closets} closets, {flushes:g} flushes an hour, {litres:g} litres, leak {leak:g} m3/h"
        version, _ = changes.put_vessel(
            context, acting(context), replace(vessel, plants=plants), if_match=version, reason=why
        )
    value = {
        "plant": plant,
        "free_m3_per_h": free.m3_per_h,
        "swept_m3_per_h": swept,
        "at_vacuum_kpa": here.stop_vacuum_kpa,
        "taken_as": label,
        "version": version,
    }
    says = f"{free.m3_per_h:g} m³/h of free air, {swept:g} m³/h swept at {here.stop_vacuum_kpa:g} kPa below atmosphere"
    taken = "" if label is None else f"; taken as {label}, document version {version}"
    return Output(value, [f"{says}{taken}"])


@command(app)
def may_open(
    context: "Context",
    pump: Annotated[str, typer.Argument(help="pump id")],
    at: At = None,
    hours: Annotated[
        int | None, typer.Option(min=1, help="hours of work (default: what the pump's most pressing job takes)")
    ] = None,
    vacuum: Annotated[
        float | None, typer.Option(help="as the gauge stands now, kPa below atmosphere", **FIGURE)
    ] = None,
) -> Output:
    """Say whether capacity holds with a pump open, until when, and what is left if one more trips. Not a permit.

    Example: leadline may-open plover-pump-b --at 2026-12-01T09:00
    """
    from api.routes.answers.capacity import MayOpenAnswer
    from scheduler.actions.capacity.opening import opening_answer
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.wording.capacity import OpeningWords

    place = pump_place(context, pump)
    now = plant_state(context, place.vessel_id, place.plant_id)
    at_ = None if at is None else instant_or_now(context, place.vessel_id, at)
    answer = opening_answer(context, now, pump, at=at_, hours=hours, vacuum_kpa=vacuum)
    words = OpeningWords(answer, now.plant, now.at, now.offset_minutes)
    told = MayOpenAnswer.of(answer, words).model_dump(mode="json", by_alias=True)
    return Output(told, [f"{words.asked()}: {words.first()}", *words.rest()])


@command(concession_app, "ask")
def ask_concession(
    context: "Context",
    plant: PlantId,
    from_: Annotated[datetime, typer.Option("--from", help="when it begins, ship time or with offset", **INSTANT)],
    to: Annotated[datetime, typer.Option(help="when it ends, ship time or with offset", **INSTANT)],
    minimum: Annotated[float, typer.Option(help="the lower minimum, swept m3/h", **FIGURE)],
    reason: Annotated[str, typer.Option(help="why less is enough")],
) -> Output:
    """Ask for a lower minimum, with your own key. It counts once chief and second signer have signed.

    Example: leadline --key-file own.key concession ask plover-plant --from 2026-12-01T08:00 --to 2026-12-02T08:00 --minimum 60
        --reason "few aboard"
    """
    from scheduler.actions.capacity import concessions
    from scheduler.domain.capacity.concessions import Lower
    from scheduler.domain.capacity.minimum import Swept

    place = plant_place(context, plant)
    from_at, to_at = (instant_or_now(context, place.vessel_id, at) for at in (from_, to))
    lower = Lower(from_at=from_at, to_at=to_at, minimum=Swept(minimum), reason=reason)
    asked = hand(context, {"concession": plant, "from": from_at.isoformat(), "to": to_at.isoformat()})
    body = concessions.ask_concession(context, asked, place, lower).body
    return Output(body, [f"concession {body['concession']} asked: {body['says']}"])


@command(concession_app, "sign")
def sign_concession(
    context: "Context",
    plant: PlantId,
    number: Number,
    as_: Annotated[str, typer.Option("--as", help="the side: chief, or the second signer's, such as hotel")],
) -> Output:
    """Sign a lower minimum, for your own side, with your own key. The two sides are two people.

    Example: leadline --key-file own.key concession sign plover-plant 3 --as chief
    """
    from scheduler.actions.capacity import concessions

    asked = hand(context, {"sign": number, "plant": plant, "as": as_})
    body = concessions.sign_concession(context, asked, plant_place(context, plant), number, as_=as_).body
    return Output(body, [f"concession {number} signed as {as_}: {body['says']}"])


@command(concession_app, "withdraw")
def withdraw_concession(context: "Context", plant: PlantId, number: Number) -> Output:
    """Take a lower minimum back; the plant's own holds from then on.

    Example: leadline concession withdraw plover-plant 3
    """
    from scheduler.actions.capacity import concessions

    asked = hand(context, {"withdraw": number, "plant": plant})
    body = concessions.withdraw_concession(context, asked, plant_place(context, plant), number).body
    return Output(body, [f"concession {number} withdrawn: {body['says']}"])


@command(concession_app, "list")
def list_concessions(context: "Context", plant: PlantId) -> Output:
    """Show a plant's lower minima, newest first, with who signed.

    Example: leadline concession list plover-plant
    """
    from scheduler.actions.capacity import concessions

    place = plant_place(context, plant)
    rows, ship = concessions.concessions_listed(context, place), ship_stamps(context, place.vessel_id)
    lines = [
        f"{r['concession']:4} {r['state']:9} {ship(r['from_at'])} to {ship(r['to_at'])}  "
        f"{r['minimum_swept_m3_per_h']:g} m3/h  chief {r['chief'] or '-'}, hotel {r['hotel'] or '-'}: {r['reason']}"
        for r in rows
    ]
    return Output({"concessions": rows}, lines)


@command(app)
def pulldown(
    context: "Context",
    pump: Annotated[str, typer.Argument(help="pump id; only this pump was running")],
    log: Annotated[
        Path | None, typer.Option(help="log of the test (CSV: seconds or at, and vacuum_kpa or the like); - for stdin")
    ] = None,
    from_vacuum: Annotated[
        float | None, typer.Option("--from", help="vacuum at the start, kPa below atmosphere", **FIGURE)
    ] = None,
    to_vacuum: Annotated[
        float | None, typer.Option("--to", help="vacuum at the end, kPa below atmosphere", **FIGURE)
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="seconds between the two", **FIGURE)] = None,
    hold_rise: Annotated[
        float | None, typer.Option(help="pressure rise of the hold with all pumps stopped, kPa", **FIGURE)
    ] = None,
    hold_seconds: Annotated[float | None, typer.Option(help="length of the hold, seconds", **FIGURE)] = None,
    ultimate: Annotated[
        float, typer.Option(help="absolute pressure at which the pump draws nothing more, kPa", **FIGURE)
    ] = 0.0,
    result: Annotated[
        str | None,
        typer.Option(
            help="passed or failed: record it (default: only compute)",
            parser=one_of("passed", "failed"),
        ),
    ] = None,
    by: Annotated[str, typer.Option(help="who made the test")] = "",
    at: At = None,
    reason: Annotated[str, typer.Option(help="what it was for")] = "",
) -> Output:
    """Work out a pull-down test: swept volume and, with a hold, the leak. With --result it is recorded.

    Example: leadline pulldown plover-pump-b --log test.csv --result passed --by "A. Second"
    """
    from scheduler.actions.capacity import tests
    from scheduler.domain.base.enums import Test
    from scheduler.errors import Refused

    figures = None
    if from_vacuum is not None and to_vacuum is not None and seconds is not None:
        figures = tests.Figures(
            from_vacuum_kpa=from_vacuum,
            to_vacuum_kpa=to_vacuum,
            seconds=seconds,
            hold_rise_kpa=hold_rise,
            hold_seconds=hold_seconds,
        )
    elif log is None:
        raise Refused("Give --from, --to and --seconds, or --log FILE.")
    text = None if log is None else read_text(log)
    place = pump_place(context, pump)
    test = tests.PullDown(
        at=instant_or_now(context, place.vessel_id, at),
        result=Test(result or "passed"),
        done_by=by,
        reason=reason,
        figures=figures,
        log=text,
        ultimate_kpa=ultimate,
    )
    if result is None:
        body = tests.computed(context, place, test)
        not_recorded = "Computed only. To record it add --result passed or --result failed, and --by NAME."
        return Output(body, [str(body["says"])], [not_recorded])
    asked = hand(context, {"pulldown": pump, "at": test.at.isoformat(), "result": result})
    answer = tests.record_test(context, asked, place, test).body
    return Output(answer, [f"{answer['says']}; record {answer['record']}, {answer['pump_state']}"])
