"""Taking in a vessel's document."""

from pathlib import Path
from typing import Annotated

import typer

from api.commands.common import AsJson, ClassAgreed, Reason, app, me, open_house, out


@app.command("import")
def import_document(
    file: Annotated[Path, typer.Argument(help="vessel document (JSON)")],
    replace: Annotated[bool, typer.Option("--replace", help="replace the document that is there")] = False,
    reason: Reason = "",
    class_agreed: ClassAgreed = "",
    as_json: AsJson = False,
) -> None:
    """Take in a vessel's document.

    Example: leadline import plover.json
    """
    from pydantic import ValidationError

    from api.errors import refused_from
    from scheduler.actions import fleet
    from scheduler.actions.documents import VESSEL
    from scheduler.errors import NotFound, Refused

    try:
        vessel = VESSEL.validate_json(file.read_bytes())
    except OSError as error:
        raise NotFound(f"{file} cannot be read: {error.strerror}.") from error
    except ValidationError as error:
        if any(found["type"] == "json_invalid" for found in error.errors()):
            raise Refused(f"{file} is not JSON: {error.errors()[0]['msg'].removeprefix('Invalid JSON: ')}.") from error
        wrong = refused_from(error)
        raise Refused(f"{file}: {wrong.says}", faults=wrong.faults) from error
    with open_house(new=True) as house:
        held = [version for there, version in fleet.list_vessels(house, me()) if there.id == vessel.id]
        if held and not replace:
            raise Refused(f"{vessel.id} is here already, version {held[0]}. To replace its document add --replace.")
        version, new = fleet.put_vessel(
            house,
            me(),
            vessel,
            if_match=held[0] if held else None,
            if_new=not held,
            reason=reason,
            class_agreed=class_agreed,
        )
    told = {"vessel": vessel.id, "version": version, "new": new}
    out(told, as_json, lambda: iter([f"{vessel.id}: version {version}"]))
