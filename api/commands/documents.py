"""A vessel's document: taken in, shown again in each of its versions, an example and its schema."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from api.commands.shared.common import ApprovedBy, AsJson, ClassAgreed, Reason, app, command_context, me, out

vessel_app = typer.Typer(
    help="Vessel documents, shown.\n\nExample: leadline vessel show demo-plover", no_args_is_help=True
)
app.add_typer(vessel_app, name="vessel")


@app.command("import")
def import_document(
    file: Annotated[Path, typer.Argument(help="vessel document (JSON)")],
    replace: Annotated[bool, typer.Option("--replace", help="replace the document that is there")] = False,
    reason: Reason = "",
    class_agreed: ClassAgreed = "",
    approved_by: ApprovedBy = "",
    as_json: AsJson = False,
) -> None:
    """Take in a vessel's document.

    Example: leadline import plover.json
    """
    from pydantic import ValidationError

    from api.server.errors import refused_from
    from scheduler.actions.due import first_dates
    from scheduler.actions.vessel import fleet
    from scheduler.actions.vessel.document import VESSEL
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
    with command_context(new=True) as context:
        held = [version for there, version in fleet.list_vessels(context, me()) if there.id == vessel.id]
        if held and not replace:
            raise Refused(f"{vessel.id} is here already, version {held[0]}. To replace its document add --replace.")
        version, new = fleet.put_vessel(
            context,
            me(),
            vessel,
            if_match=held[0] if held else None,
            if_new=not held,
            reason=reason,
            class_agreed=class_agreed,
            approved_by=approved_by,
        )
        with context.db.read() as session:
            asked = first_dates.not_known(session, vessel.id, context.now())
    told = {"vessel": vessel.id, "version": version, "new": new, "last_time_not_known": [one.key for one in asked]}

    def plain() -> Iterator[str]:
        yield f"{vessel.id}: version {version}"
        if asked:
            yield (
                f"When these {len(asked)} were last done is not known. They are planned as due now, until their date stands in "
                "last_done or the chief engineer sets a first date (leadline job first-date):"
            )
            yield from (f"  {one.position:14} {one.kind_name:24} {one.key}" for one in asked)

    out(told, as_json, plain)


@vessel_app.command()
def show(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    version: Annotated[int, typer.Option(help="this version; the newest when not given")] = 0,
) -> None:
    """Print a vessel's document, as `leadline import` takes it.

    Example: leadline vessel show demo-plover --version 2
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.vessel.document import as_text

    with command_context() as context:
        held, _ = fleet.get_vessel(context, me(), vessel)
        text = fleet.version_of(context, me(), vessel, version) if version else as_text(held)
    print(_laid_out(text))


@vessel_app.command()
def versions(vessel: Annotated[str, typer.Argument(help="vessel id")], as_json: AsJson = False) -> None:
    """List the versions of a vessel's document: when, by whom, why, approved by whom ashore.

    Example: leadline vessel versions demo-plover
    """
    from api.routes.answers.vessel import DocumentVersion
    from scheduler.actions.vessel import fleet

    with command_context() as context:
        found = [DocumentVersion.of(one).plain() for one in fleet.versions_of(context, me(), vessel)]

    def plain() -> Iterator[str]:
        for one in found:
            by = f" by {one['by']}" if one["by"] else ", stored before versions were kept"
            why = f": {one['reason']}" if one["reason"] else ""
            approved = f" (approved by {one['approved_by']})" if one["approved_by"] else ""
            yield f"{one['version']:5}  {one['stored_at']}{by}{why}{approved}"

    out({"vessel": vessel, "versions": found}, as_json, plain)


@vessel_app.command()
def example() -> None:
    """Print the document of an invented ship, to start from. Every interval in it is an example.

    Example: leadline vessel example > ship.json
    """
    print((Path(__file__).parents[1] / "pages" / "static" / "example-ship.json").read_text(encoding="utf-8").rstrip())


@vessel_app.command()
def schema() -> None:
    """Print the JSON Schema of a vessel document; `leadline import` checks the sense as well.

    Example: leadline vessel schema > vessel.schema.json
    """
    import json

    from scheduler.actions.vessel.document import VESSEL

    told = {"$schema": "https://json-schema.org/draft/2020-12/schema", **VESSEL.json_schema()}
    print(json.dumps(told, indent=2, ensure_ascii=False))


def _laid_out(text: str) -> str:
    import json

    return json.dumps(json.loads(text), indent=2, ensure_ascii=False)
