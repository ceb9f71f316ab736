"""Job kinds from a spreadsheet."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from api.commands.shared.common import ApprovedBy, AsJson, ClassAgreed, Reason, app, command_context, me, out


@app.command()
def kinds(
    plant: Annotated[str, typer.Argument(help="plant id")],
    file: Annotated[Path, typer.Argument(help="spreadsheet (CSV or XLSX) whose first row names the columns")],
    take: Annotated[bool, typer.Option("--take", help="take it in (default: only show what it would do)")] = False,
    reason: Reason = "",
    class_agreed: ClassAgreed = "",
    approved_by: ApprovedBy = "",
    as_json: AsJson = False,
) -> None:
    """Job kinds from a spreadsheet: show what it would change and name each bad cell; with --take, take it in.

    Example: leadline kinds plover-plant kinds.xlsx --take
    """
    from dataclasses import asdict, replace

    from api.commands.shared.spreadsheet import rows_of
    from scheduler.actions.vessel import fleet
    from scheduler.domain.checks.kinds_table import read_kinds
    from scheduler.storage.vessel import AssetKind

    rows = rows_of(file)
    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        vessel, version = fleet.get_vessel(context, me(), place.vessel_id)
        found = read_kinds(rows, next(one for one in vessel.plants if one.id == place.plant_id))
        if take and not found.faults:
            plants = tuple(found.plant if one.id == place.plant_id else one for one in vessel.plants)
            there = replace(vessel, plants=plants)
            version, _ = fleet.put_vessel(
                context,
                me(),
                there,
                if_match=version,
                reason=reason,
                class_agreed=class_agreed,
                approved_by=approved_by,
            )
    told = {
        "added": list(found.added),
        "changed": list(found.changed),
        "same": list(found.same),
        "faults": [asdict(one) for one in found.faults],
        "taken": take and not found.faults,
        "version": version,
    }

    def plain() -> Iterator[str]:
        for words in ("added", "changed", "same"):
            yield f"{words}: {', '.join(getattr(found, words)) or 'none'}"
        yield f"taken in, version {version}" if told["taken"] else "not taken in" if take else "shown only; add --take"

    out(told, as_json, plain)
    if found.faults:
        for one in found.faults:
            print(f"leadline: {one.sentence()}", file=sys.stderr)
        raise typer.Exit(1)
