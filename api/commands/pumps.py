"""A pump's pull-down test from figures or a log."""

from pathlib import Path
from typing import Annotated

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, instant_given, me, out, say


@app.command()
def pulldown(
    pump: Annotated[str, typer.Argument(help="pump id; only this pump was running")],
    log: Annotated[
        Path | None, typer.Option(help="log of the test (CSV: seconds or at, and vacuum_kpa or the like)")
    ] = None,
    from_vacuum: Annotated[
        float | None, typer.Option("--from", help="vacuum at the start, kPa below atmosphere")
    ] = None,
    to_vacuum: Annotated[float | None, typer.Option("--to", help="vacuum at the end, kPa below atmosphere")] = None,
    seconds: Annotated[float | None, typer.Option(help="seconds between the two")] = None,
    hold_rise: Annotated[
        float | None, typer.Option(help="pressure rise of the hold with all pumps stopped, kPa")
    ] = None,
    hold_seconds: Annotated[float | None, typer.Option(help="length of the hold, seconds")] = None,
    ultimate: Annotated[float, typer.Option(help="absolute pressure at which the pump draws nothing more, kPa")] = 0.0,
    result: Annotated[str | None, typer.Option(help="passed or failed: record it (default: only compute)")] = None,
    by: Annotated[str, typer.Option(help="who made the test")] = "",
    at: Annotated[str | None, typer.Option(help="when, with offset (default: now)")] = None,
    reason: Annotated[str, typer.Option(help="what it was for")] = "",
    as_json: AsJson = False,
) -> None:
    """Work out a pull-down test: swept volume and, with a hold, the leak. With --result it is recorded.

    Example: leadline pulldown plover-pump-b --log test.csv --result passed --by "A. Second"
    """
    from scheduler.actions.capacity import tests
    from scheduler.actions.vessel import fleet
    from scheduler.domain.base.enums import Test
    from scheduler.errors import NotFound, Refused
    from scheduler.storage.vessel import AssetKind

    if result not in (None, "passed", "failed"):
        raise typer.BadParameter(f"{result!r}: passed or failed is expected", param_hint="--result")
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
    try:
        text = None if log is None else log.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise NotFound(f"{log} cannot be read as UTF-8 text: {error}.") from error
    told = tests.PullDown(
        at=instant_given(at),
        result=Test(result or "passed"),
        done_by=by,
        reason=reason,
        figures=figures,
        log=text,
        ultimate_kpa=ultimate,
    )
    with command_context() as context:
        place = fleet.locate(context, me(), pump, AssetKind.PUMP)
        if result is None:
            body = tests.computed(context, place, told)
            say("Computed only. To record it add --result passed or --result failed, and --by NAME.")
        else:
            asked = {"pulldown": pump, "at": told.at.isoformat(), "result": result}
            body = dict(tests.record_test(context, hand(asked), place, told).body)
    recorded = f"; record {body['record']}, {body['pump_state']}" if "record" in body else ""
    out(body, as_json, lambda: iter([f"{body['says']}{recorded}"]))
