"""A pump that failed, when it is expected back, that it runs after all; clogs."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, hand, instant_or_none, instant_or_now, pump_place
from api.commands.shared.groups import app
from api.commands.shared.options import INSTANT, At, VesselId, one_of

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

PumpId = Annotated[str, typer.Argument(help="pump id")]
Since = Annotated[datetime | None, typer.Option(help="since when, ship time or with offset (default: now)", **INSTANT)]


@command(app)
def breakdown(
    context: "Context",
    pump: PumpId,
    reason: Annotated[str, typer.Option(help="what failed, in a few words")],
    at: Since = None,
    expected_back: Annotated[
        datetime | None,
        typer.Option(help="when it is expected back, ship time or with offset (default: not known)", **INSTANT),
    ] = None,
) -> Output:
    """Put a pump out that failed, open its repair and plan anew; says what is left over the minimum.

    Example: leadline breakdown plover-pump-b --reason "tripped, smell of burning"
    """
    from scheduler.actions.work import breakdown as repairs

    place = pump_place(context, pump)
    since = instant_or_now(context, place.vessel_id, at)
    back = instant_or_none(context, place.vessel_id, expected_back)
    asked = hand(context, {"breakdown": pump, "reason": reason, "at": str(at or ""), "expected_back": str(back or "")})
    body = dict(repairs.open_breakdown(context, asked, place, at=since, reason=reason, expected_at=back).body)
    body["plan"] = repairs.plan_again(context, place)
    return Output(body, [f"{body['job']} opened, record {body['record']}. {body['says']}", body["plan"]])


@command(app)
def expected_back(
    context: "Context",
    pump: PumpId,
    at: Annotated[
        datetime | None, typer.Option(help="when, ship time or with offset (default: not known)", **INSTANT)
    ] = None,
) -> Output:
    """Say when a pump that is out is expected back; plans go by it, the present margin never does.

    Example: leadline expected-back plover-pump-b --at 2026-12-14T08:00Z
    """
    from scheduler.actions.capacity import outages
    from scheduler.actions.work import breakdown as repairs

    place = pump_place(context, pump)
    back = instant_or_none(context, place.vessel_id, at)
    body = dict(
        outages.say_expected(context, hand(context, {"expected back": pump, "at": str(back or "")}), place, back).body
    )
    body["plan"] = repairs.plan_again(context, place)
    return Output(body, [f"kept, record {body['record']}. {body['says']}", body["plan"]])


@command(app)
def runs_after_all(
    context: "Context",
    pump: PumpId,
    at: Since = None,
    reason: Annotated[str, typer.Option(help="what it was")] = "",
) -> Output:
    """A pump that was put out runs after all, untouched; the stop stays on record, its repair is withdrawn.

    Example: leadline runs-after-all plover-pump-b --reason "emergency stop was pressed"
    """
    from scheduler.actions.work import breakdown as repairs

    place = pump_place(context, pump)
    since = instant_or_now(context, place.vessel_id, at)
    asked = hand(context, {"runs after all": pump, "at": str(at or "")})
    body = dict(repairs.runs_after_all(context, asked, place, at=since, reason=reason).body)
    body["plan"] = repairs.plan_again(context, place)
    return Output(body, [body["says"], body["plan"]])


@command(app)
def notify(
    context: "Context",
    pump: PumpId,
    whom: Annotated[
        str,
        typer.Option(
            help="chief, bridge, hotel, chief officer, master or office",
            parser=one_of("chief", "bridge", "hotel", "chief officer", "master", "office"),
        ),
    ],
    at: At = None,
) -> Output:
    """Record who was told that a pump stopped, and when; it tells nobody by itself.

    Example: leadline notify plover-pump-b --whom bridge
    """
    from scheduler.actions.capacity import notices
    from scheduler.domain.capacity.notices import Notified

    place = pump_place(context, pump)
    when = instant_or_now(context, place.vessel_id, at)
    asked = hand(context, {"stop notice": pump, "whom": whom, "at": str(at or "")})
    body = notices.record_notice(context, asked, place, whom=Notified(whom), at=when).body
    told = ", ".join(str(one["whom"]) for one in body["notices"])
    return Output(body, [f"kept, record {body['record']}; told of this stop so far: {told}"])


@command(app)
def clog(
    context: "Context",
    vessel: VesselId,
    object_found: Annotated[str, typer.Option("--object", help="what it was")],
    riser: Annotated[str, typer.Option(help="on which riser")] = "",
    deck: Annotated[str, typer.Option(help="on which deck")] = "",
    text: Annotated[str, typer.Option(help="remark")] = "",
    at: At = None,
) -> Output:
    """Note a clog that was cleared; it needs no job.

    Example: leadline clog demo-plover --object wipe --riser R4 --deck 3
    """
    from scheduler.actions.work import breakdown as repairs

    asked = hand(context, {"clog": object_found, "riser": riser, "deck": deck, "at": str(at or "")})
    when = instant_or_now(context, vessel, at)
    body = repairs.note_clog(
        context, asked, vessel, at=when, object_found=object_found, riser=riser, deck=deck, text=text
    ).body
    return Output(body, [str(body["says"])])
