"""The operating calendar: show it, enter days, take a file in, take the last change back."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.common import HELP, AsJson, app, command_context, hand, me, out, say

if TYPE_CHECKING:
    from datetime import date

    from scheduler.actions.base.context import Answer, Context
    from scheduler.actions.voyage.days import Wish

calendar_app = typer.Typer(
    help="Operating calendar: days at sea, in port, laid up.\n\nExample: leadline calendar show demo-avocet",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(calendar_app, name="calendar")

Vessel = Annotated[str, typer.Argument(help="vessel id")]
Reason = Annotated[str, typer.Option(help="why, for the record")]


@calendar_app.command("show")
def show(
    vessel: Vessel,
    csv: Annotated[bool, typer.Option("--csv", help="CSV, as `leadline calendar import` reads it")] = False,
    as_json: AsJson = False,
) -> None:
    """Show a vessel's operating calendar.

    Example: leadline calendar show demo-avocet --csv
    """
    from api.pages.voyage.page import covered
    from api.routes.shared.shapes import voyage_days_json
    from scheduler.actions.voyage import days as voyage_days
    from scheduler.domain.voyage.from_csv import write_sheet
    from scheduler.domain.voyage.stretches import days_text

    with command_context() as context:
        found = voyage_days.get_voyage_days(context, me(), vessel)
    if csv and not as_json:
        print(write_sheet(found.book.spells), end="")
        return
    lines = [f"{vessel}, operating calendar version {found.version}. {covered(found.book, found.today)}"]
    for spell in found.book.spells:
        note = f"  {spell.note}" if spell.note else ""
        lines.append(f"  {days_text(spell.from_on, spell.to_on):26} {spell.kind:16} {spell.source.value}{note}")
    lines += [f"  weight of {kind.code}: {kind.weight:g}" for kind in found.book.kinds]
    out(voyage_days_json(vessel, found), as_json, lambda: iter(lines))


@calendar_app.command("add")
def add(
    vessel: Vessel,
    kind: Annotated[str, typer.Argument(help="kind of day, such as sea or port")],
    first: Annotated[str, typer.Argument(help="first ship's date, such as 2026-11-25")],
    last: Annotated[str | None, typer.Argument(help="last date, included (default: the first)")] = None,
    log: Annotated[bool, typer.Option("--log", help="from the log: it was so (default: from the plan)")] = False,
    note: Annotated[str, typer.Option(help="a few words")] = "",
    reason: Reason = "",
    as_json: AsJson = False,
) -> None:
    """Enter days; they are laid over what is there, and the log stands over the plan.

    Example: leadline calendar add demo-avocet port 2026-11-28 2026-11-30 --note bunkers
    """
    from scheduler.actions.voyage.days import Wish
    from scheduler.domain.voyage.stretches import Source, Spell

    spell = Spell(
        from_on=_date(first, "FIRST"),
        to_on=_date(last or first, "LAST"),
        kind=kind.lower(),
        source=Source.LOG if log else Source.PLAN,
        note=note,
    )
    _change(vessel, Wish(stretches=(spell,), reason=reason, what="days entered"), as_json)


@calendar_app.command("clear")
def clear(
    vessel: Vessel,
    first: Annotated[str, typer.Argument(help="first ship's date, such as 2026-11-25")],
    last: Annotated[str | None, typer.Argument(help="last date, included (default: the first)")] = None,
    reason: Reason = "",
    as_json: AsJson = False,
) -> None:
    """Clear what was entered for days.

    Example: leadline calendar clear demo-avocet 2026-11-28 2026-11-30
    """
    from scheduler.actions.voyage.days import Wish

    days = (_date(first, "FIRST"), _date(last or first, "LAST"))
    _change(vessel, Wish(cleared=(days,), reason=reason, what="days cleared"), as_json)


@calendar_app.command("import")
def import_file(
    vessel: Vessel,
    file: Annotated[Path, typer.Argument(help="CSV file with the columns from, to, kind and if wished source, note")],
    look: Annotated[bool, typer.Option("--look", help="only say what it would change")] = False,
    reason: Reason = "",
    as_json: AsJson = False,
) -> None:
    """Take in a CSV file: whole, or with one bad cell not at all; every bad cell is named.

    Example: leadline calendar import demo-avocet days.csv --look
    """
    from api.routes.shared.shapes import sheet_json
    from scheduler.actions.voyage import days as voyage_days
    from scheduler.errors import NotFound, Refused

    try:
        text = file.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise NotFound(f"{file} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise Refused(f"{file} is not plain text in UTF-8. Save it as CSV (UTF-8).") from error
    with command_context() as context:
        found = voyage_days.try_days(context, me(), vessel, text)
        if found.sheet.faults or look:
            told = sheet_json(found)
            faults = [fault.sentence() for fault in found.sheet.faults]
            out(told, as_json, lambda: iter([*faults, *told["changes"], *told["kept_as_logged"]]))
            if found.sheet.faults:
                say(f"leadline: nothing was taken in, {len(faults)} cells of {file} are wrong")
                raise typer.Exit(1)
            return
        what = f"file of {len(found.sheet.rows)} rows taken in"
        wish = voyage_days.Wish(stretches=found.sheet.spells, reason=reason, what=what)
        answer = voyage_days.change_days(context, _hand(wish), vessel, wish, if_match=found.version)
        _told(context, vessel, answer, as_json)


@calendar_app.command("undo")
def undo(vessel: Vessel, reason: Reason = "", as_json: AsJson = False) -> None:
    """Take the last change back, as a new version; taken back twice, it stands again.

    Example: leadline calendar undo demo-avocet
    """
    from scheduler.actions.voyage import days as voyage_days

    with command_context() as context:
        version = voyage_days.get_voyage_days(context, me(), vessel).version
        answer = voyage_days.undo_days(context, hand({"undo": version}), vessel, reason=reason, if_match=version)
        _told(context, vessel, answer, as_json)


def _change(vessel: str, wish: "Wish", as_json: bool) -> None:
    from scheduler.actions.voyage import days as voyage_days

    with command_context() as context:
        version = voyage_days.get_voyage_days(context, me(), vessel).version
        _told(context, vessel, voyage_days.change_days(context, _hand(wish), vessel, wish, if_match=version), as_json)


def _hand(wish: "Wish") -> Any:
    return hand({"calendar": str(wish)})


def _told(context: "Context", vessel: str, answer: "Answer", as_json: bool) -> None:
    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh

    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), vessel)
    body = answer.body
    lines = [f"{vessel}: version {body['version']}{'' if body['record'] else ', nothing had to be changed'}"]
    lines += [_line(change, "was") for change in body["changes"]]
    lines += [_line(kept, "stays") for kept in body["kept_as_logged"]]
    out(dict(body), as_json, lambda: iter(lines))


def _line(days: dict[str, Any], word: str) -> str:
    span = days["from_on"] if days["from_on"] == days["to_on"] else f"{days['from_on']} to {days['to_on']}"
    if word == "stays":
        return f"  {span}: stays {days['was']} as logged"
    return f"  {span}: {days['was'] or 'nothing entered'}, now {days['now'] or 'nothing'}"


def _date(text: str, what: str) -> "date":
    from scheduler.parsing import read_date

    found = read_date(text)
    if found is None:
        raise typer.BadParameter(f"{text!r}: a date is expected, such as 2026-11-25", param_hint=what)
    return found
