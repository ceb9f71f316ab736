"""The office's side of ships that write aboard: how each line stands, and which life goes on where two parted."""

from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, acting, command, hand
from api.commands.shared.groups import group
from api.commands.shared.options import one_of

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

ships_app = group("ships", "Ships that write aboard, as the office has them.", "ships list")


@command(ships_app, "list")
def list_ships(context: "Context") -> Output:
    """When each ship was last heard, what waits, and what stands against taking from her.

    Exit code 0: all well; 1: something a person must see to.

    Example: leadline ships list
    """
    from scheduler.actions.care.ships_seen import ships_seen
    from scheduler.wording.care import diagnosis_words
    from scheduler.wording.figures import ship_moment

    found = ships_seen(context, acting(context).vessel_id)
    lines: list[str] = []
    for one in found:
        heard = "nothing taken yet"
        if one.heard_at is not None:
            heard = f"last heard {ship_moment(one.heard_at, one.clock or 0)} ship time, change {one.number}"
        lines.append(f"{one.vessel_id}: {one.name}, {heard}")
        lines += [f"  {diagnosis_words(look)[0]}" for look in one.diagnoses]
    values = [
        {
            "vessel": one.vessel_id,
            "name": one.name,
            "state": one.state.value,
            "heard_at": None if one.heard_at is None else one.heard_at.isoformat(),
            "number": one.number,
            "requests_waiting": one.waiting,
            "skew_seconds": one.skew_s,
            "changes_not_aboard": one.lost,
        }
        for one in found
    ]
    wrong = any(not look.note for one in found for look in one.diagnoses)
    return Output({"ships": values}, lines or ["No ship sends here."], code=1 if wrong else 0)


@command(ships_app, "answer")
def answer_ship(
    context: "Context",
    ship: Annotated[str, typer.Argument(help="vessel id")],
    life: Annotated[
        str,
        typer.Option(
            help="goes on: the new life is the ship; stray copy: its key ends", parser=one_of("goes on", "stray copy")
        ),
    ],
    reason: Annotated[str, typer.Option(help="why; it is on record")],
) -> Output:
    """Say which life of a ship goes on where two parted, with your own key (office).

    Example: leadline --key-file own.key ships answer demo-plover --life "goes on" --reason "her disk was put back from the backup"
    """
    from scheduler.actions.shore.parted import LifeAnswer, answer_parted

    asked = hand(context, {"life": life, "ship": ship, "reason": reason})
    body = answer_parted(context, asked, ship, LifeAnswer(life), reason).body
    return Output(body, [f"{ship}: {life}, from change {body['number']} on; record {body['record']}"])
