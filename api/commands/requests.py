"""What the office asks of a ship that keeps her own records: ask, take back, list; aboard, accept or decline."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, command, hand, instant_or_none, vessel_must_be
from api.commands.shared.groups import group
from api.commands.shared.options import INSTANT, ChangeReason, ClassAgreed, VesselId

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.domain.shore.asking import RequestKind

request_app = group("request", "What the office asks of a ship.", "request list demo-plover")

Number = Annotated[int, typer.Argument(help="number of the request")]


@command(request_app, "list")
def list_requests(context: "Context", vessel: VesselId) -> Output:
    """Show what was asked of a ship and how far each is, newest first; aboard, what the office asks.

    Example: leadline request list demo-plover
    """
    from api.routes.answers.requests import RequestOfOffice, RequestTaken
    from scheduler.actions.shore import accepting, requests

    vessel_must_be(context, vessel)
    now = context.now()
    if requests.is_written_aboard(context, vessel):
        asked = [RequestOfOffice.of(one, now).plain() for one in requests.requests_asked(context, vessel)]
        lines = [f"{row['request']:4} {row['what']:26} {row['asked_by']}: {row['says']}" for row in asked]
        return Output({"asked": asked, "taken": []}, lines)
    taken = [RequestTaken.of(one).plain() for one in accepting.requests_aboard(context, vessel)]
    lines = [f"{row['request']:4} {row['state']:9} {row['what']:26} {row['asked_by']}: {row['says']}" for row in taken]
    return Output({"asked": [], "taken": taken}, lines)


@command(request_app, "ask")
def ask_of_ship(
    context: "Context",
    vessel: VesselId,
    file: Annotated[Path, typer.Argument(help="the request (JSON) as the API takes it; - for stdin")],
) -> Output:
    """Ask something of a ship, with your own key: it is done aboard in your name, when her server fetches it.

    Example: leadline --key-file own.key request ask demo-plover yes.json
    """
    from pydantic import TypeAdapter, ValidationError

    from api.commands.shared.streams import named, read_bytes
    from api.routes.bodies.requests import AnyAsked
    from api.server.errors import refused_from
    from scheduler.errors import Refused

    try:
        body: Any = TypeAdapter(AnyAsked).validate_json(read_bytes(file))
    except ValidationError as error:
        wrong = refused_from(error)
        raise Refused(f"{named(file)}: {wrong.says}", faults=wrong.faults) from error
    said = body.model_dump(mode="json", exclude={"what", "until"})
    return _sent(context, vessel, body.what, said, body.until)


@command(request_app, "change")
def change_document(
    context: "Context",
    vessel: VesselId,
    file: Annotated[Path, typer.Argument(help="the ship's document, edited (JSON); - for stdin")],
    reason: ChangeReason = "",
    class_agreed: ClassAgreed = "",
    until: Annotated[
        datetime | None, typer.Option(help="it lapses where it is not done by then (default: 30 days)", **INSTANT)
    ] = None,
) -> Output:
    """Ask for what differs in an edited document, with your own key; the chief engineer accepts it aboard.

    Example: leadline --key-file own.key request change demo-plover plover.json --reason "little wear"
    """
    import json

    from api.commands.shared.streams import named, read_bytes
    from scheduler.actions.shore.patching import patch_to
    from scheduler.domain.shore.asking import RequestKind
    from scheduler.errors import Refused

    try:
        edited = json.loads(read_bytes(file))
    except (ValueError, RecursionError) as error:
        raise Refused(f"{named(file)} is not JSON: {error}.") from error
    said = {**patch_to(context, vessel, edited), "reason": reason, "class_agreed": class_agreed}
    until_at = instant_or_none(context, vessel, until)
    return _sent(context, vessel, RequestKind.CHANGE_DOCUMENT, said, until_at)


def _sent(
    context: "Context", vessel: str, what: "RequestKind", said: dict[str, Any], until: "datetime | None"
) -> Output:
    from scheduler.actions.shore import requests

    asked = hand(context, {"ask": said, "vessel": vessel, "what": what.value})
    body = requests.ask_of_ship(context, asked, vessel, what, said, until_at=until).body
    return Output(body, [f"request {body['request']} to {vessel}: sent; it is done when the ship says so"])


@command(request_app, "withdraw")
def withdraw_request(context: "Context", vessel: VesselId, number: Number) -> Output:
    """Take back what was asked of a ship, with your own key, while her server was not given it.

    Example: leadline --key-file own.key request withdraw demo-plover 3
    """
    from scheduler.actions.shore import requests

    asked = hand(context, {"withdraw": number, "vessel": vessel})
    body = requests.withdraw_request(context, asked, vessel, number).body
    return Output(body, [f"request {number} to {vessel}: withdrawn"])


@command(request_app, "answer")
def answer_request(
    context: "Context",
    vessel: VesselId,
    number: Number,
    accept: Annotated[bool, typer.Option("--accept/--decline", help="which it is")],
    reason: Annotated[str, typer.Option(help="why; needed to decline")] = "",
) -> Output:
    """Accept or decline, aboard, what the office asks, with your own key (chief engineer).

    Example: leadline --key-file own.key request answer demo-plover 3 --accept
    """
    from scheduler.actions.shore import accepting

    asked = hand(context, {"answer": number, "vessel": vessel, "accept": accept})
    body = accepting.answer_request(context, asked, vessel, number, accepted=accept, reason=reason).body
    says = f": {body['says']}" if body["says"] else ""
    return Output(body, [f"request {number}: {body['state']}{says}"], code=0 if body["state"] != "refused" else 1)
