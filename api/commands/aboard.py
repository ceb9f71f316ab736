"""What is kept beside the jobs: parts aboard."""

from collections.abc import Iterator
from typing import Annotated

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, me, out


@app.command()
def parts(
    plant: Annotated[str, typer.Argument(help="plant id")],
    count: Annotated[str | None, typer.Option(help='a part that was counted, as "name=number"')] = None,
    as_json: AsJson = False,
) -> None:
    """Parts that the job sheets need, and how many are aboard; with --count, set one.

    Example: leadline parts plover-plant --count "knife set=2"
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import parts as aboard
    from scheduler.storage.vessel import AssetKind

    name, _, number = (count or "").rpartition("=")
    if count is not None and not (name.strip() and number.strip().isdecimal()):
        raise typer.BadParameter(f"{count!r}: name=number is expected", param_hint="--count")
    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        if count is not None:
            asked = {"count": count, "plant": plant}
            aboard.count_part(context, hand(asked), place, name=name.strip(), aboard=int(number))
        told = aboard.parts_of(context, place)

    def plain() -> Iterator[str]:
        for one in told:
            yield f"{one['part']}: {'not counted' if one['aboard'] is None else one['aboard']}"

    out({"plant": plant, "parts": told}, as_json, plain)
