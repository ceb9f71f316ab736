"""Slots of the plan taken, moved by hand."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, command, hand, instant_or_now, plant_place
from api.commands.shared.groups import app
from api.commands.shared.options import INSTANT, PlantId

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.plant_state.load import PlantState


@command(app)
def move(
    context: "Context",
    plant: PlantId,
    key: Annotated[str | None, typer.Argument(help="job key, as `leadline plan` shows it")] = None,
    to: Annotated[
        datetime | None,
        typer.Option(help="new start: ship time, such as 2026-12-01T09:00, or an instant with its offset", **INSTANT),
    ] = None,
    set_: Annotated[bool, typer.Option("--set", help="set it, if it holds; without this nothing changes")] = False,
    reason: Annotated[str, typer.Option(help="with --set: why")] = "",
    undo: Annotated[int | None, typer.Option(min=1, help="put the slot of the move with this number back")] = None,
    list_: Annotated[bool, typer.Option("--list", help="show the moves by hand, newest first")] = False,
) -> Output:
    """Try a slot of the plan aboard at another time, or set it there; planning again leaves it where it was set.

    Exit codes: 0 it holds, or is set; 1 it does not hold.

    Example: leadline move plover-plant overhaul:plover-pump-a:1 --to 2026-12-01T09:00
    """
    from scheduler.actions.plan import moving
    from scheduler.actions.plant_state.load import plant_state

    _one_thing(key, to, set_, undo, list_)
    place = plant_place(context, plant)
    now = plant_state(context, place.vessel_id, place.id)
    if list_:
        rows = moving.moves_made(context, place)
        return Output({"moves": rows}, [_move_line(now, row) for row in rows])
    if undo is not None:
        body = moving.undo_move(context, hand(context, {"undo move": undo, "plant": plant}), place, undo).body
    else:
        assert key is not None
        start_at = instant_or_now(context, place.vessel_id, to)
        trial = moving.try_move(context, place.vessel_id, place.id, key, start_at)
        if not set_ or not trial["holds"]:
            return Output(trial, _trial_lines(now, trial), code=0 if trial["holds"] else 1)
        asked = hand(context, {"move": key, "plant": plant, "to": start_at.isoformat(), "reason": reason})
        body = moving.move_slot(context, asked, place, key, start_at, if_match=trial["version"], reason=reason).body
    return Output(body, [f"move {body['move']}: {body['says']}", *body["cautions"]])


def _one_thing(key: str | None, to: datetime | None, set_: bool, undo: int | None, list_: bool) -> None:
    """Raises BadParameter unless it is a job and a time, an undo, or the list."""
    if list_ and undo is not None:
        raise typer.BadParameter("--list and --undo are two things; give one of them")
    if list_ or undo is not None:
        if key is not None or to is not None or set_:
            raise typer.BadParameter(f"{'--list' if list_ else '--undo'} goes without a job, --to and --set")
        return
    if key is None or to is None:
        raise typer.BadParameter("give a job key and --to TIME; or --list, or --undo NUMBER")


def _ship(now: "PlantState", text: str | None) -> str:
    from scheduler.shiptime import ship_time

    if text is None:
        return "no slot"
    return f"{ship_time(datetime.fromisoformat(text), now.offset_minutes):%a %d %b %Y %H:%M}"


def _trial_lines(now: "PlantState", trial: Mapping[str, Any]) -> Iterator[str]:
    along = f", with {' and '.join(trial['along'])}" if trial["along"] else ""
    yield f"{trial['name']} ({trial['job']}{along}), ship time"
    yield f"  from {_ship(now, trial['from'])} to {_ship(now, trial['start_at'])}, until {_ship(now, trial['ends_at'])}"
    if trial["holds"]:
        margin = trial["least_margin_swept_m3_per_h"]
        yield "  It holds." if margin is None else f"  It holds, least margin {margin:g} m³/h (swept, as calculated)."
    for sentence in (*trial["against"], *trial["cautions"]):
        yield f"  {sentence}"
    for one in trial["times"]:
        margin = one["least_margin_swept_m3_per_h"]
        words = "" if margin is None else f"  margin {margin:7.1f}"
        yield f"  holds: {_ship(now, one['start_at'])}{words}{'  as planned' if one['as_planned'] else ''}"


def _move_line(now: "PlantState", row: Mapping[str, Any]) -> str:
    undone = f"; undone by {row['undone_by']}" if row["undone_by"] else ""
    why = f": {row['reason']}" if row["reason"] else ""
    return f"{row['move']:4} {_ship(now, row['from_at'])} to {_ship(now, row['to_at'])}  {row['job']}  by {row['by']}{why}{undone}"
