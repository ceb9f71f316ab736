"""Slots of the plan aboard, moved by hand."""

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, me, out

if TYPE_CHECKING:
    from scheduler.actions.plant_state.load import PlantState


@app.command()
def move(
    plant: Annotated[str, typer.Argument(help="plant id")],
    key: Annotated[str | None, typer.Argument(help="job key, as `leadline plan` shows it")] = None,
    to: Annotated[
        str | None, typer.Option(help="new start: ship time, such as 2026-12-01T09:00, or an instant with its offset")
    ] = None,
    set_: Annotated[bool, typer.Option("--set", help="set it, if it holds; without this nothing changes")] = False,
    reason: Annotated[str, typer.Option(help="with --set: why")] = "",
    undo: Annotated[int | None, typer.Option(min=1, help="put the slot of the move with this number back")] = None,
    list_: Annotated[bool, typer.Option("--list", help="show the moves by hand, newest first")] = False,
    as_json: AsJson = False,
) -> None:
    """Try a slot of the plan aboard at another time, or set it there; planning again leaves it where it was set.

    Exit codes: 0 it holds, or is set; 1 it does not hold.

    Example: leadline move plover-plant overhaul:plover-pump-a:1 --to 2026-12-01T09:00
    """
    _one_thing(key, to, set_, undo, list_)
    at = None if to is None else _time(to)

    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh
    from scheduler.actions.plan import moving
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.actions.vessel import fleet
    from scheduler.shiptime import instant_of
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        now = plant_state(context, place.vessel_id, place.id)
        if list_:
            rows = moving.moves_made(context, place)
            out({"moves": rows}, as_json, lambda: (_line(now, row) for row in rows))
            return
        if undo is not None:
            told = dict(moving.undo_move(context, hand({"undo move": undo, "plant": plant}), place, undo).body)
        else:
            assert key is not None
            assert at is not None
            start_at = instant_of(at, now.offset_minutes) if at.tzinfo is None else at
            told = moving.try_move(context, place.vessel_id, place.id, key, start_at)
            if not set_ or not told["holds"]:
                out(told, as_json, lambda: _shown(now, told))
                raise typer.Exit(0 if told["holds"] else 1)
            asked = hand({"move": key, "plant": plant, "to": to, "reason": reason})
            answer = moving.move_slot(context, asked, place, key, start_at, if_match=told["version"], reason=reason)
            told = dict(answer.body)
        refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    out(told, as_json, lambda: iter([f"move {told['move']}: {told['says']}", *told["cautions"]]))


def _one_thing(key: str | None, to: str | None, set_: bool, undo: int | None, list_: bool) -> None:
    """Raises BadParameter unless it is a job and a time, an undo, or the list."""
    if list_ and undo is not None:
        raise typer.BadParameter("--list and --undo are two things; give one of them")
    if list_ or undo is not None:
        if key is not None or to is not None or set_:
            raise typer.BadParameter(f"{'--list' if list_ else '--undo'} goes without a job, --to and --set")
        return
    if key is None or to is None:
        raise typer.BadParameter("give a job key and --to TIME; or --list, or --undo NUMBER")


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: ship time such as 2026-12-01T09:00 is expected, or an instant with its offset",
            param_hint="--to",
        ) from None


def _ship(now: "PlantState", text: str | None) -> str:
    from scheduler.shiptime import ship_time

    if text is None:
        return "no slot"
    return f"{ship_time(datetime.fromisoformat(text), now.offset_minutes):%a %d %b %Y %H:%M}"


def _shown(now: "PlantState", told: dict[str, Any]) -> Iterator[str]:
    along = f", with {' and '.join(told['along'])}" if told["along"] else ""
    yield f"{told['name']} ({told['job']}{along}), ship time"
    yield f"  from {_ship(now, told['from'])} to {_ship(now, told['start_at'])}, until {_ship(now, told['ends_at'])}"
    if told["holds"]:
        margin = told["least_margin_swept_m3_per_h"]
        yield "  It holds." if margin is None else f"  It holds, least margin {margin:g} m³/h (swept, as calculated)."
    for sentence in (*told["against"], *told["cautions"]):
        yield f"  {sentence}"
    for one in told["times"]:
        margin = one["least_margin_swept_m3_per_h"]
        words = "" if margin is None else f"  margin {margin:7.1f}"
        yield f"  holds: {_ship(now, one['start_at'])}{words}{'  as planned' if one['as_planned'] else ''}"


def _line(now: "PlantState", row: dict[str, Any]) -> str:
    undone = f"; undone by {row['undone_by']}" if row["undone_by"] else ""
    why = f": {row['reason']}" if row["reason"] else ""
    return f"{row['move']:4} {_ship(now, row['from_at'])} to {_ship(now, row['to_at'])}  {row['job']}  by {row['by']}{why}{undone}"
