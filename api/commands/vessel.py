"""A vessel's document: taken in, shown again in each of its versions, an example and its schema; job kinds from a spreadsheet."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, acting, command, command_context, hand, plant_place, ship_stamps
from api.commands.shared.groups import app, group
from api.commands.shared.options import ChangeReason, ClassAgreed, PlantId, VesselId
from api.commands.shared.streams import named, read_bytes

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.domain.vessel.document import Vessel

vessel_app = group("vessel", "Vessel documents, shown.", "vessel show demo-plover")


@command(app, "import")
def import_document(
    file: Annotated[Path, typer.Argument(help="vessel document (JSON); - for stdin")],
    replace: Annotated[bool, typer.Option("--replace", help="replace the document that is there")] = False,
    reason: ChangeReason = "",
    class_agreed: ClassAgreed = "",
) -> Output:
    """Take in a vessel's document.

    Example: leadline import plover.json
    """
    from scheduler.actions.due import first_dates
    from scheduler.actions.vessel import changes, fleet
    from scheduler.errors import Refused

    vessel = _document_in(file)
    with command_context(new=True) as context:
        stored = [version for there, version in fleet.list_vessels(context, acting(context)) if there.id == vessel.id]
        if stored and not replace:
            raise Refused(f"{vessel.id} is here already, version {stored[0]}. To replace its document add --replace.")
        version, new = changes.put_vessel(
            context,
            acting(context),
            vessel,
            if_match=stored[0] if stored else None,
            if_new=not stored,
            reason=reason,
            class_agreed=class_agreed,
        )
        with context.db.read() as session:
            asked = first_dates.not_known(session, vessel.id, context.now())
    lines = [f"{vessel.id}: version {version}"]
    if asked:
        lines.append(
            f"When these {len(asked)} were last done is not known. They are planned as due now, until their date stands in "
            "last_done or the chief engineer sets a first date (leadline job first-date):"
        )
        lines += [f"  {one.position:14} {one.kind_name:24} {one.key}" for one in asked]
    keys = [one.key for one in asked]
    return Output({"vessel": vessel.id, "version": version, "new": new, "last_time_not_known": keys}, lines)


def _document_in(file: Path) -> "Vessel":
    """Raises NotFound, TooLarge, Refused."""
    from pydantic import ValidationError

    from api.server.errors import refused_from
    from scheduler.actions.vessel.document import VESSEL
    from scheduler.errors import Refused

    text, name = read_bytes(file), named(file)
    try:
        return VESSEL.validate_json(text)
    except ValidationError as error:
        if any(found["type"] == "json_invalid" for found in error.errors()):
            raise Refused(f"{name} is not JSON: {error.errors()[0]['msg'].removeprefix('Invalid JSON: ')}.") from error
        wrong = refused_from(error)
        raise Refused(f"{name}: {wrong.says}", faults=wrong.faults) from error


@vessel_app.command("show")
def show_document(
    vessel: VesselId, version: Annotated[int, typer.Option(help="this version; the newest when not given")] = 0
) -> None:
    """Print a vessel's document, as `leadline import` takes it.

    Example: leadline vessel show demo-plover --version 2
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.vessel.document import as_text

    with command_context() as context:
        newest, _ = fleet.get_vessel(context, acting(context), vessel)
        text = fleet.version_of(context, acting(context), vessel, version) if version else as_text(newest)
    print(json.dumps(json.loads(text), indent=2, ensure_ascii=False))


@command(vessel_app)
def versions(context: "Context", vessel: VesselId) -> Output:
    """List the versions of a vessel's document: when, by whom, why, approved by whom ashore.

    Example: leadline vessel versions demo-plover
    """
    from api.routes.answers.vessel import DocumentVersion
    from scheduler.actions.vessel import fleet

    found = [DocumentVersion.of(one).plain() for one in fleet.versions_of(context, acting(context), vessel)]
    ship = ship_stamps(context, vessel)

    def lines() -> Iterator[str]:
        for one in found:
            by = f" by {one['by']}" if one["by"] else ", stored before versions were kept"
            why = f": {one['reason']}" if one["reason"] else ""
            waits = ", not approved" if one["to_approve"] else ""
            approved = f", approved by {one['approved_by']}" if one["approved_by"] else waits
            yield f"{one['version']:5}  {ship(one['stored_at'])}{by}{why}{approved}"

    return Output({"vessel": vessel, "versions": found}, lines())


@command(vessel_app, "approve")
def approve_version(
    context: "Context", vessel: VesselId, version: Annotated[int, typer.Argument(help="number of the version")]
) -> Output:
    """Approve, ashore, the changes of intervals, windows, tolerances and the minimum of a version, with your own key.

    Example: leadline --key-file own.key vessel approve demo-plover 2
    """
    from scheduler.actions.vessel import changes

    body = changes.approve_version(context, hand(context, {"approve": version, "vessel": vessel}), vessel, version).body
    return Output(body, [f"version {version} approved; record {body['record']}"])


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
    from scheduler.actions.vessel.document import VESSEL

    whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", **VESSEL.json_schema()}
    print(json.dumps(whole, indent=2, ensure_ascii=False))


@command(app)
def kinds(
    context: "Context",
    plant: PlantId,
    file: Annotated[
        Path, typer.Argument(help="spreadsheet (CSV or XLSX) whose first row names the columns; - for stdin")
    ],
    take: Annotated[bool, typer.Option("--take", help="take it in (default: only show what it would do)")] = False,
    reason: ChangeReason = "",
    class_agreed: ClassAgreed = "",
) -> Output:
    """Job kinds from a spreadsheet: show what it would change and name each bad cell; with --take, take it in.

    Example: leadline kinds plover-plant kinds.xlsx --take
    """
    from dataclasses import asdict, replace

    from api.commands.shared.spreadsheet import rows_of
    from scheduler.actions.vessel import changes, fleet
    from scheduler.domain.checks.kinds_table import read_kinds

    rows = rows_of(file)
    place = plant_place(context, plant)
    vessel, version = fleet.get_vessel(context, acting(context), place.vessel_id)
    found = read_kinds(rows, next(one for one in vessel.plants if one.id == place.plant_id))
    taken = take and not found.faults
    if taken:
        plants = tuple(found.plant if one.id == place.plant_id else one for one in vessel.plants)
        version, _ = changes.put_vessel(
            context,
            acting(context),
            replace(vessel, plants=plants),
            if_match=version,
            reason=reason,
            class_agreed=class_agreed,
        )
    value = {name: list(getattr(found, name)) for name in ("added", "changed", "same")}
    lines = [f"{name}: {', '.join(names) or 'none'}" for name, names in value.items()]
    lines.append(f"taken in, version {version}" if taken else "not taken in" if take else "shown only; add --take")
    return Output(
        {**value, "faults": [asdict(one) for one in found.faults], "taken": taken, "version": version},
        lines,
        [f"leadline: {one.sentence()}" for one in found.faults],
        code=1 if found.faults else 0,
    )
