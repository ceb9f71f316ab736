"""The doors of the first run and of a ship's labels."""

import re
import secrets
from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import ValidationError

from api.pages.shared import qr
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, form_of
from api.pages.shared.frame import Frame, may, vessel_frame, who_frame
from api.pages.vessel.first_page import (
    FirstEntered,
    FirstView,
    LabelShown,
    LabelsView,
    columns,
    counting_words,
    entered,
    example_kinds,
    first_rows,
    first_run_page,
    labels_page,
    pasted_values,
    reads_of,
)
from api.server.deps import Asking, AskingDep, ContextDep
from api.server.errors import refused_from
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.hours import by_hand
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.checks.first_run import first_document, slug
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.wording.figures import count_words

router = APIRouter(include_in_schema=False)
_FAULT = re.compile(r"/plants/0/(?:pumps|positions|stays|counters)/(\d+)/?(\w*)")
_CELLS = {"serial": "serial", "rated_swept_m3_per_h": "rated", "name": "name", "opening_running_hours": "shows"}
_SHIP = {
    "name": "ship",
    "imo": "imo",
    "receiver_m3": "receiver",
    "start_vacuum_kpa": "start",
    "stop_vacuum_kpa": "stop",
    "minimum_swept_m3_per_h": "minimum",
    "utc_offset_minutes": "offset",
}


@router.get("/first-run")
def first_run(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The table, empty."""
    return _answer(request, context, who, {})


@router.post("/first-run")
async def first_run_entered(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Look at what was typed, take it from a spreadsheet, add a row, or store it; nothing typed is lost."""
    form = await form_of(request, who)

    def act() -> str | Response:
        values, what = dict(form.values), form["do"]
        if what == "paste":
            values |= pasted_values(str(form.data.get("pasted") or ""))
            values.pop("pasted", None)
            return _answer(request, context, who, values, read=entered(values, context.now()))
        if what == "row":
            return _answer(request, context, who, values, more=1)
        read = entered(values, context.now())
        if what != "store" or read.faults or read.ship is None:
            return _answer(request, context, who, values, read=read, status=422 if what == "store" else 200)
        return _stored(request, context, who, read)

    def again(refused: FormRefusal) -> Response:
        read = entered(form.values, context.now())
        faults = dict(read.faults)
        rows = list(read.pumps)
        for pointer, says in refused.error.faults:
            faults.setdefault(_cell(pointer, rows), says)
        found = FirstEntered(ship=read.ship, pumps=read.pumps, faults=faults)
        return _answer(request, context, who, form.values, read=found, says=refused.error.says, status=refused.status)

    return await form.act(act, again)


def _cell(pointer: str, rows: list[int]) -> str:
    """The field that a fault of the document is about."""
    found = _FAULT.match(pointer)
    if found and int(found[1]) < len(rows):
        return f"r{rows[int(found[1])]}-{_CELLS.get(found[2], 'serial')}"
    return _SHIP.get(pointer.rpartition("/")[2], pointer.lstrip("/"))


def _stored(request: Request, context: Context, who: Asking, read: FirstEntered) -> str:
    assert read.ship is not None
    pumps, now = list(read.pumps.values()), context.now()
    key = slug(read.ship.name)
    try:
        vessel = VESSEL.validate_python(first_document(read.ship, pumps, example_kinds(), now))
    except ValidationError as error:
        raise refused_from(error) from error
    if any(one.id == key for one, _ in fleet.list_vessels(context, who.actor)):
        says = _("a ship of this name is set up already.")
        raise Refused(f"ship: {says}", faults=[("/ship", says)])
    changes.put_vessel(context, who.actor, vessel, if_new=True)
    values = [by_hand.Read(counter, now.replace(microsecond=0), value) for counter, value in reads_of(key, pumps)]
    hand = Hand(who.actor, f"first run {key}", {"first run": key})
    by_hand.store_by_hand(context, request.app.state.intake, hand, key, values)
    return f"/vessels/{key}/labels?new=1"


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    values: Mapping[str, str],
    *,
    read: FirstEntered | None = None,
    says: str = "",
    more: int = 0,
    status: int = 200,
) -> Response:
    typed = dict(values)
    many = len(read.faults) if read else 0
    rows = first_rows(typed, read, context.now(), more=more)
    if read is None:
        heading = _("A ship of your own: type what the plates and the counters say.")
    elif many:
        heading = _("{counted} not fit. Nothing is stored yet.", counted=count_words(many, "field does", "fields do"))
    else:
        heading = _("{counted}. Nothing is stored yet.", counted=count_words(len(read.pumps), "pump fits", "pumps fit"))
    view = FirstView(
        frame=Frame(title=_("First run · Leadline"), here="/first-run", **who_frame(who)),
        heading=heading,
        heads=tuple(head for _, head in columns()),
        rows=rows,
        idempotency_key=secrets.token_hex(12),
        units=counting_words(),
        seen=read is not None,
        pasted=typed.get("pasted", ""),
        values=typed,
        faults=dict(read.faults) if read else {},
        says=says,
    )
    return page_answer(request, who, first_run_page, view, status)


@router.get("/vessels/{vessel_id}/labels")
def labels(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A label a pump, its code opens the pump's page."""
    vessel = fleet.get_vessel(context, who.actor, vessel_id)[0]
    here, base = f"/vessels/{vessel_id}/labels", context.settings.shown_base_url()
    now = context.now()
    shown = []
    for plant in vessel.plants:
        names = {position.id: position.name for position in plant.positions}
        for pump in plant.pumps:
            position = names.get(plant.position_of(pump.id, now) or "", _("spare"))
            code = qr.svg(
                f"{base}/pumps/{pump.id}/record",
                _("Code of {position}, serial {serial}", position=position, serial=pump.serial),
            )
            shown.append(LabelShown(code=code, position=position, serial=pump.serial))
    view = LabelsView(
        frame=vessel_frame(context, who, vessel_id, here, _("Labels"), "labels"),
        labels=tuple(shown),
        plant_href=f"/plants/{vessel.plants[0].id}",
        hours_href=f"/vessels/{vessel_id}/hours" if may(who, "POST", "/vessels/{vessel_id}/hours") else "",
        new="new" in request.query_params,
    )
    return page_answer(request, who, labels_page, view)
