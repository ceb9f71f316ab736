"""Serve and demo, upgrade, settings, and the doctor."""

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, chosen_settings, command
from api.commands.shared.groups import app, group
from api.commands.shared.options import parse_figure

if TYPE_CHECKING:
    from scheduler.domain.checks.diagnosis import Diagnosis

config_app = group("config", "Settings.", "config show")


@app.command()
def serve(
    host: Annotated[str | None, typer.Option(help="address to listen on")] = None,
    port: Annotated[int | None, typer.Option(min=0, max=65535, help="port to listen on")] = None,
    base_url: Annotated[str | None, typer.Option(help="address people reach the server by")] = None,
) -> None:
    """Serve pages, API and calendar feed.

    Example: leadline --database ship.db serve --host 0.0.0.0 --base-url http://leadline.lan:8322
    """
    import gc
    import logging
    from dataclasses import replace

    import uvicorn

    from api.server.app import make_app
    from api.server.listening import END_SECONDS, listen
    from api.server.logs import set_up
    from scheduler.errors import SchedulerError
    from scheduler.settings import NO_BASE_URL

    log = logging.getLogger("leadline")
    settings = chosen_settings(host=host, port=port, base_url=base_url).settings
    with listen(settings.host, settings.port) as sock:
        set_up(settings.log)
        settings = replace(settings, port=sock.getsockname()[1])
        if not settings.shown_base_url():
            log.warning("calendar entries carry no links and sign-in links cannot be made: %s", NO_BASE_URL)
        application = make_app(settings)
        server = uvicorn.Server(
            uvicorn.Config(
                application,
                log_config=None,
                access_log=False,
                proxy_headers=False,
                server_header=False,
                timeout_graceful_shutdown=END_SECONDS,
            )
        )
        gc.collect()
        gc.freeze()  # what is here now stays: the collector need not look through it again and again
        with suppress(KeyboardInterrupt):
            server.run(sockets=[sock])
    if not server.started:
        raise SchedulerError("The server did not start; its words are above.")


@app.command()
def demo(
    folder: Annotated[
        Path | None, typer.Option(help="keep the demo's database here (default: a temporary folder)")
    ] = None,
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="port to listen on (default: 8322, or a free one)")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="prove the whole job on a fixed clock, then end")] = False,
    every: Annotated[
        float,
        typer.Option(help="seconds between the counters' live posts", parser=parse_figure(1)),
    ] = 20.0,
) -> None:
    """Show the whole job on two invented ships: counters post, jobs fall due, a plan, a page, a feed.

    Example: leadline demo --folder /tmp/leadline
    """
    from api.demo import run_demo

    raise typer.Exit(run_demo(folder, port, check=check, every_seconds=every))


@command(app)
def upgrade() -> Output:
    """Bring the database's tables up to this version; an SQLite file is copied first.

    Example: leadline --database ship.db upgrade
    """
    from scheduler.storage.migrate import upgrade as bring_up

    done = bring_up(chosen_settings().settings.database)
    copy = f"; copy: {done.backup}" if done.backup else ""
    changed = f"{done.before or 'empty'} to {done.after}{copy}"
    backup = None if done.backup is None else str(done.backup)
    return Output(
        {"before": done.before, "after": done.after, "backup": backup},
        [changed if done.before != done.after else f"already at {done.after}"],
    )


@command(config_app, "show")
def show_settings() -> Output:
    """Show each setting, its value and where it came from.

    Example: leadline config show
    """
    rows = list(chosen_settings().shown())
    return Output(
        {name: {"value": value, "from": source, "is": says} for name, value, source, says in rows},
        [f"{name} = {value}  ({source}; {says})" for name, value, source, says in rows],
    )


@command(app)
def doctor(vessel: Annotated[str | None, typer.Argument(help="vessel id (default: all)")] = None) -> Output:
    """Look for what is wrong or odd: counters, clocks, held readings, plans, calendar, disk, database, settings.

    Exit code 0: all well; 1: something to look at. Lines marked "note" are worth knowing and change no exit code.

    Example: leadline doctor demo-plover
    """
    from api.routes.answers.vessel import DiagnosisShown
    from scheduler.actions.base.context import Context
    from scheduler.actions.care import doctor as actions
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database

    settings = chosen_settings().settings
    database = open_database(settings.database, create=False)
    try:
        tables = actions.of_tables(database)
        context = Context(database, system_clock, settings)
        if tables is None:
            found = actions.fleet_diagnosis(context, vessel)
        else:
            found = [*actions.of_settings(settings), *actions.of_database(database, context.now_s()), tables]
    finally:
        database.close()
    found = actions.diagnosis_in_order(found)
    wrong = sum(not one.note for one in found)
    return Output(
        {"well": not wrong, "looks": [DiagnosisShown.of(one).plain() for one in found]},
        [line for one in found for line in _diagnosis_lines(one)],
        ["All well." if not wrong else "One thing to look at." if wrong == 1 else f"{wrong} to look at."],
        code=1 if wrong else 0,
    )


def _diagnosis_lines(one: "Diagnosis") -> tuple[str, str, str]:
    from scheduler.wording.care import diagnosis_words
    from scheduler.wording.figures import ship_moment

    says, do = diagnosis_words(one)
    since = ""
    if one.since_at is not None:
        ship = one.offset_minutes is not None
        since = f", since {ship_moment(one.since_at, one.offset_minutes or 0)} {'ship time' if ship else 'UTC'}"
    return f"{'note: ' if one.note else ''}{one.about}: {one.which}{since}", f"  {says}", f"  {do}"
