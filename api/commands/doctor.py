"""What is wrong or odd, line by line."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.common import AsJson, app, chosen_settings, out, say

if TYPE_CHECKING:
    from scheduler.domain.checks.diagnosis import Diagnosis


@app.command()
def doctor(
    vessel: Annotated[str | None, typer.Argument(help="vessel id (default: all)")] = None, as_json: AsJson = False
) -> None:
    """Look for what is wrong or odd: counters, clocks, held readings, plans, calendar, disk, database, settings.

    Exit code 0: all well; 1: something to look at. Lines marked "note" are worth knowing and change no exit code.

    Example: leadline doctor demo-plover
    """
    from api.routes.answers.vessel import DiagnosisShown
    from scheduler.actions.base.context import Context
    from scheduler.actions.care import doctor as looking
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database

    settings = chosen_settings().settings
    database = open_database(settings.database, create=False)
    try:
        tables = looking.of_tables(database)
        context = Context(database, system_clock, settings)
        if tables is None:
            found = looking.fleet_diagnosis(context, vessel)
        else:
            found = [*looking.of_settings(settings), *looking.of_database(database, context.now_s()), tables]
    finally:
        database.close()
    found = looking.diagnosis_in_order(found)
    wrong = [one for one in found if not one.note]
    out({"well": not wrong, "looks": [DiagnosisShown.of(one).plain() for one in found]}, as_json, lambda: _lines(found))
    if not wrong:
        say("All well.")
        return
    say(f"{len(wrong)} to look at." if len(wrong) > 1 else "One thing to look at.")
    raise typer.Exit(1)


def _lines(found: "list[Diagnosis]") -> Iterator[str]:
    for one in found:
        since = f", since {one.since_at:%Y-%m-%d %H:%M} UTC" if one.since_at else ""
        yield f"{'note: ' if one.note else ''}{one.about}: {one.which}{since}"
        yield f"  {one.says}"
        yield f"  {one.do}"
