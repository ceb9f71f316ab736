"""The vessel's office: join it, see how the line stands, go on from another server."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command
from api.commands.shared.groups import group

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

office_app = group("office", "The office ashore that this vessel sends to.", "office status")

Vessel = Annotated[str, typer.Option("--vessel", help="vessel id")]
KeyFile = Annotated[Path, typer.Option("--key-file", help="file with the key of role ship that the office made")]


@command(office_app, "join")
def join(
    context: "Context",
    address: Annotated[str, typer.Argument(help="the office's address, such as https://office.example.com")],
    vessel: Vessel,
    key_file: KeyFile,
) -> Output:
    """Join an office: all there is of the vessel goes there, and from then on what is done aboard.

    The server may run meanwhile. Broken off, it is begun anew by the same command.

    Example: leadline office join https://office.example.com --vessel demo-plover --key-file /etc/leadline/office.key
    """
    from scheduler.actions.shore.joining import join_office

    done = join_office(context, vessel, address, key_file)
    return Output(
        {"vessel": done.vessel_id, "address": done.address, "life": done.life, "changes": done.changes},
        [f"{done.vessel_id} has joined {done.address}; {done.changes} changes wait to be sent."],
        ["The server sends them while it runs: `leadline office status` says how far it is."],
    )


@command(office_app, "status")
def status(context: "Context") -> Output:
    """Show how the line to the office stands: last reached, what waits, what was refused and why.

    Exit code 0: all well; 1: something a person must see to.

    Example: leadline office status
    """
    from scheduler.actions.shore.lines import line_statuses
    from scheduler.domain.shore.line_state import FOR_A_PERSON
    from scheduler.wording.figures import ship_moment
    from scheduler.wording.shore import line_words

    found = line_statuses(context)
    lines: list[str] = []
    for one, clock in found:
        says, do = line_words(one.said())
        reached = "never" if one.reached_at is None else f"{ship_moment(one.reached_at, clock)} ship time"
        lines.append(f"{one.vessel_id}: {one.address}, last reached {reached}, {one.waits} changes wait")
        if one.oldest_at is not None:
            lines.append(f"  the oldest is of {ship_moment(one.oldest_at, clock)} ship time")
        lines += [f"  {line}" for line in (says, do) if line]
    stopped = any(one.joining or one.state in FOR_A_PERSON for one, _ in found)
    values = [
        {
            "vessel": one.vessel_id,
            "address": one.address,
            "state": "joining" if one.joining else one.state.value,
            "waits": one.waits,
            "number": one.number,
            "acknowledged": one.acknowledged,
            "life": one.life,
            "reached_at": None if one.reached_at is None else one.reached_at.isoformat(),
            "tried_at": None if one.tried_at is None else one.tried_at.isoformat(),
        }
        for one, _ in found
    ]
    return Output({"lines": values}, lines or ["No vessel here has joined an office."], code=1 if stopped else 0)


@command(office_app, "moved")
def moved(
    context: "Context",
    vessel: Vessel,
    key_file: KeyFile,
    address: Annotated[str | None, typer.Option(help="the office's new address (default: as before)")] = None,
) -> Output:
    """Go on with a new key, or from another server: the same life of the same database.

    Stop the old server first, copy its database, run this on the new one; then the office ends the old key.

    Example: leadline office moved --vessel demo-plover --key-file /etc/leadline/office.key
    """
    from scheduler.actions.shore.joining import move_office

    place = move_office(context, vessel, key_file, address)
    return Output(
        {"vessel": vessel, "address": place},
        [f"{vessel} goes on sending to {place} with the key of that file."],
        ["Have the office end the old key."],
    )
