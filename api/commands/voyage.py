"""The operating calendar: show it, enter days, take a file in, take the last change back."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, acting, command, hand
from api.commands.shared.groups import group
from api.commands.shared.options import VesselId, parse_day
from api.commands.shared.streams import named, read_text

if TYPE_CHECKING:
    from scheduler.actions.base.context import Answer, Context
    from scheduler.actions.voyage.days import Wish

calendar_app = group("calendar", "Operating calendar: days at sea, in port, laid up.", "calendar show demo-avocet")

First = Annotated[date, typer.Argument(help="first ship's date, such as 2026-11-25", parser=parse_day)]
Last = Annotated[date | None, typer.Argument(help="last date, included (default: the first)", parser=parse_day)]
Reason = Annotated[str, typer.Option(help="why, for the record")]


@command(calendar_app, "show")
def show_calendar(
    context: "Context",
    vessel: VesselId,
    csv: Annotated[bool, typer.Option("--csv", help="CSV, as `leadline calendar import` reads it")] = False,
) -> Output:
    """Show a vessel's operating calendar.

    Example: leadline calendar show demo-avocet --csv
    """
    from api.pages.voyage.page import covered
    from api.routes.answers.voyage import VoyageDaysAnswer
    from scheduler.actions.voyage import days as voyage_days
    from scheduler.domain.voyage.from_csv import write_sheet
    from scheduler.domain.voyage.stretches import days_text

    found = voyage_days.get_voyage_days(context, acting(context), vessel)
    value = VoyageDaysAnswer.of(vessel, found).plain()
    if csv:
        return Output(value, write_sheet(found.book.spells).removesuffix("\n").split("\n"))
    lines = [f"{vessel}, operating calendar version {found.version}. {covered(found.book, found.today)}"]
    for spell in found.book.spells:
        note = f"  {spell.note}" if spell.note else ""
        lines.append(f"  {days_text(spell.from_on, spell.to_on):26} {spell.kind:16} {spell.source.value}{note}")
    lines += [f"  weight of {kind.code}: {kind.weight:g}" for kind in found.book.kinds]
    return Output(value, lines)


@command(calendar_app, "add")
def add_days(
    context: "Context",
    vessel: VesselId,
    kind: Annotated[str, typer.Argument(help="kind of day, such as sea or port")],
    first: First,
    last: Last = None,
    log: Annotated[bool, typer.Option("--log", help="from the log: it was so (default: from the plan)")] = False,
    note: Annotated[str, typer.Option(help="a few words")] = "",
    reason: Reason = "",
) -> Output:
    """Enter days; they are laid over what is there, and the log stands over the plan.

    Example: leadline calendar add demo-avocet port 2026-11-28 2026-11-30 --note bunkers
    """
    from scheduler.actions.voyage.days import Wish
    from scheduler.domain.voyage.stretches import Source, Spell

    source = Source.LOG if log else Source.PLAN
    spell = Spell(from_on=first, to_on=last or first, kind=kind.lower(), source=source, note=note)
    return _change(context, vessel, Wish(stretches=(spell,), reason=reason, what="days entered"))


@command(calendar_app, "clear")
def clear_days(context: "Context", vessel: VesselId, first: First, last: Last = None, reason: Reason = "") -> Output:
    """Clear what was entered for days.

    Example: leadline calendar clear demo-avocet 2026-11-28 2026-11-30
    """
    from scheduler.actions.voyage.days import Wish

    return _change(context, vessel, Wish(cleared=((first, last or first),), reason=reason, what="days cleared"))


@command(calendar_app, "import")
def import_days(
    context: "Context",
    vessel: VesselId,
    file: Annotated[
        Path, typer.Argument(help="CSV file with the columns from, to, kind and if wished source, note; - for stdin")
    ],
    look: Annotated[bool, typer.Option("--look", help="only say what it would change")] = False,
    reason: Reason = "",
) -> Output:
    """Take in a CSV file: whole, or with one bad cell not at all; every bad cell is named.

    Example: leadline calendar import demo-avocet days.csv --look
    """
    from api.routes.answers.voyage import DaysPreviewAnswer
    from scheduler.actions.voyage import days as voyage_days

    found = voyage_days.try_days(context, acting(context), vessel, read_text(file))
    if found.sheet.faults or look:
        value, faults = DaysPreviewAnswer.of(found).plain(), [fault.sentence() for fault in found.sheet.faults]
        lines = [*faults, *value["changes"], *value["kept_as_logged"]]
        if not faults:
            return Output(value, lines)
        return Output(
            value, lines, [f"leadline: nothing was taken in, {len(faults)} cells of {named(file)} are wrong"], code=1
        )
    what = f"file of {len(found.sheet.rows)} rows taken in"
    return _change(
        context, vessel, voyage_days.Wish(stretches=found.sheet.spells, reason=reason, what=what), found.version
    )


@command(calendar_app, "undo")
def undo_days(context: "Context", vessel: VesselId, reason: Reason = "") -> Output:
    """Take the last change back, as a new version; taken back twice, it stands again.

    Example: leadline calendar undo demo-avocet
    """
    from scheduler.actions.voyage import days as voyage_days

    version = voyage_days.get_voyage_days(context, acting(context), vessel).version
    answer = voyage_days.undo_days(context, hand(context, {"undo": version}), vessel, reason=reason, if_match=version)
    return _changed(vessel, answer)


def _change(context: "Context", vessel: str, wish: "Wish", version: int | None = None) -> Output:
    from scheduler.actions.voyage import days as voyage_days

    if version is None:
        version = voyage_days.get_voyage_days(context, acting(context), vessel).version
    asked = hand(context, {"calendar": str(wish)})
    return _changed(vessel, voyage_days.change_days(context, asked, vessel, wish, if_match=version))


def _changed(vessel: str, answer: "Answer") -> Output:
    body = answer.body
    lines = [f"{vessel}: version {body['version']}{'' if body['record'] else ', nothing had to be changed'}"]
    lines += [
        f"  {_span(one)}: {one['was'] or 'nothing entered'}, now {one['now'] or 'nothing'}" for one in body["changes"]
    ]
    lines += [f"  {_span(one)}: stays {one['was']} as logged" for one in body["kept_as_logged"]]
    return Output(body, lines)


def _span(days: dict[str, Any]) -> str:
    return str(days["from_on"] if days["from_on"] == days["to_on"] else f"{days['from_on']} to {days['to_on']}")
