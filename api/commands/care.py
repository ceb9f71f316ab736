"""Serve and demo, upgrade, settings, and the doctor."""

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, chosen_settings, command, say
from api.commands.shared.exit_codes import ExitCode
from api.commands.shared.groups import app, group
from api.commands.shared.options import parse_figure

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.domain.checks.diagnosis import Diagnosis

config_app = group("config", "Settings.", "config show")


@app.command()
def serve(
    host: Annotated[str | None, typer.Option(help="address to listen on")] = None,
    port: Annotated[int | None, typer.Option(min=0, max=65535, help="port to listen on")] = None,
    base_url: Annotated[str | None, typer.Option(help="address people reach the server by")] = None,
    unit: Annotated[bool, typer.Option("--unit", help="print a systemd unit for this server, and end")] = False,
    containerfile: Annotated[bool, typer.Option("--containerfile", help="print a container file, and end")] = False,
) -> None:
    """Serve pages, API and calendar feed.

    Example: leadline --database ship.db serve --host 0.0.0.0 --base-url http://leadline.lan:8322
    """
    if unit or containerfile:
        _print_service(unit, containerfile, {"host": host, "port": port, "base-url": base_url})
        return
    import logging
    import signal
    import threading
    from dataclasses import replace

    from api.pages.shared.layout import compile_pages
    from api.server.app import make_app
    from api.server.logs import set_up
    from api.server.notify import ServiceManager
    from api.server.processes import settle
    from api.server.serving import listen, server_for
    from api.server.timers_process import TimersProcess
    from scheduler.actions.people.first_link import first_link
    from scheduler.errors import SchedulerError
    from scheduler.settings import NO_BASE_URL, OPEN_NETWORK
    from scheduler.storage.database import database_path
    from scheduler.storage.serving import only_server

    log = logging.getLogger("leadline")
    signal.signal(signal.SIGTERM, _stopped)  # uvicorn ends in order first, and then raises the signal again
    settings = chosen_settings(host=host, port=port, base_url=base_url).settings
    with only_server(database_path(settings.database)) as lock, listen(settings.host, settings.port) as sock:
        set_up(settings.log, settings.log_level)
        settings = replace(settings, port=sock.getsockname()[1])
        if not settings.shown_base_url():
            log.warning("calendar entries carry no links and sign-in links cannot be made: %s", NO_BASE_URL)
        # On PostgreSQL posts of readings were up to ten times slower with the ticks apart and pages compiled beside them.
        application = make_app(settings, apart=None if lock is None else lambda context: TimersProcess(context, lock))
        if settings.crosses_open_network():
            log.warning("%s", OPEN_NETWORK)
        token = first_link(application.state.context)
        if token is not None:
            base = settings.shown_base_url() or f"http://127.0.0.1:{settings.port}"
            say(f"Nobody is known here yet. Sign in once, within {settings.link_minutes} minutes: {base}/enter/{token}")
            say("It is printed this once. Too late: leadline key link first")
        server = server_for(application, settings, ServiceManager(), application.state.intake.alive)
        settle()
        if lock is not None:
            threading.Thread(target=compile_pages, name="pages", daemon=True).start()
        with suppress(KeyboardInterrupt):
            server.run(sockets=[sock])
    if not server.started:
        raise SchedulerError("The server did not start; its words are above.")


def _stopped(*_: object) -> None:
    raise typer.Exit


def _print_service(unit: bool, containerfile: bool, options: Mapping[str, object]) -> None:
    from api.commands import service_files

    chosen_settings(host=options["host"], port=options["port"], base_url=options["base-url"])
    given = [f"--{name}={value}" for name, value in options.items() if value is not None]
    if unit and containerfile:
        raise typer.BadParameter("--unit and --containerfile do not go together; give one of them.")
    if containerfile and given:
        raise typer.BadParameter(f"{given[0]} goes with --unit; a container gets its settings as LEADLINE_* variables.")
    print(service_files.unit(given) if unit else service_files.containerfile(), end="")
    if unit and service_files.out_of_sight():
        say(service_files.OUT_OF_SIGHT)


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
    office: Annotated[
        bool,
        typer.Option(
            "--office",
            help="with an office ashore, on a PostgreSQL of its own, that both ships feed over a link that drops",
        ),
    ] = False,
) -> None:
    """Show the whole job on two invented ships: counters post, jobs fall due, a plan, a page, a feed.

    With --office a second server stands ashore, on a PostgreSQL that is started for it and goes with it; what that takes besides is
    said where it is missing. Ctrl-C ends all of it.

    Example: leadline demo --folder /tmp/leadline
    """
    from api.demo import run_demo

    raise typer.Exit(run_demo(folder, port, check=check, every_seconds=every, office=office))


@command(app)
def upgrade() -> Output:
    """Bring the database's tables up to this version, all steps or none; an SQLite file is copied first.

    Example: leadline --database ship.db upgrade
    """
    from scheduler.storage.migrate import upgrade as bring_up

    settings = chosen_settings().settings
    done = bring_up(settings.database)
    if settings.workers:
        _upgrade_queue(settings.database)
    copy = f"; copy: {done.backup}" if done.backup else ""
    changed = f"{done.before or 'empty'} to {done.after}{copy}"
    backup = None if done.backup is None else str(done.backup)
    return Output(
        {"before": done.before, "after": done.after, "backup": backup},
        [changed if done.before != done.after else f"already at {done.after}"],
    )


def _upgrade_queue(url: str) -> None:
    from scheduler.storage.database import open_database
    from scheduler.storage.task_queue import upgrade_queue

    database = open_database(url, create=False)
    try:
        upgrade_queue(database)
    finally:
        database.close()


@command(app)
def backup(
    context: "Context",
    to: Annotated[Path | None, typer.Option(help="folder to make it in (default: the setting backup_folder)")] = None,
) -> Output:
    """Make a backup of the database and its photos now, while a server runs, and check it.

    Example: leadline backup --to /media/stick
    """
    from scheduler.actions.care.backups import back_up

    made = back_up(context, to)
    rows = sum(count for count, _ in made.manifest.rows.values())
    return Output(
        {"folder": str(made.folder), "bytes": made.bytes, "rows": rows, "files": len(made.manifest.files)},
        [str(made.folder)],
        [
            f"{rows} rows and {len(made.manifest.files) - 1} photos, {made.bytes / 1e6:.1f} MB, read again and found whole."
        ],
    )


@command(app)
def restore(
    folder: Annotated[Path, typer.Argument(help="folder of one backup, leadline-...")],
    replace: Annotated[bool, typer.Option("--replace", help="put the database that is there aside")] = False,
    check: Annotated[bool, typer.Option("--check", help="only see that the backup is whole; change nothing")] = False,
) -> Output:
    """Put a backup in the place of the database, its server stopped before, and prove that every row is there.

    With --check exit code 7 says that a file of it is missing or another one.

    Example: leadline --database ship.db restore ship.db.backups/leadline-20261130T020000Z --replace
    """
    from scheduler.actions.care.backups import proved, put_back
    from scheduler.clock import system_clock
    from scheduler.errors import Refused
    from scheduler.storage.migrate import newest

    aside, joined = None, tuple[str, ...]()
    if check:
        try:
            manifest = proved(folder)
        except Refused as error:
            return Output(
                {"whole": False, "says": error.says}, talk=[f"NOT WHOLE: {error.says}"], code=ExitCode.NOT_VERIFIED
            )
    else:
        done = put_back(chosen_settings().settings, folder, system_clock(), replace=replace)
        manifest, aside, joined = done.manifest, done.aside, done.joined
    rows = sum(count for count, _ in manifest.rows.values())
    made_at = f"{manifest.made_at:%Y-%m-%d %H:%M} UTC"
    talk = [f"What was stored after {made_at} is not in it."]
    if not check:
        talk = [
            *([f"The database from before: {aside}"] if aside else []),
            *talk,
            "Its record ends where that time's did.",
            *(
                f"{one} sends to an office, which has to say how she goes on: `leadline office status`."
                for one in joined
            ),
        ]
        if manifest.step != newest():
            talk.append("It is of an older version: run `leadline upgrade` before you serve it.")
    return Output(
        {
            "made_at": manifest.made_at.isoformat(),
            "rows": rows,
            "aside": None if aside is None else str(aside),
            "restored": not check,
        },
        [f"{rows} rows in {len(manifest.rows)} tables, all as backed up at {made_at}"],
        talk,
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
    from scheduler.actions.record.chains import walk_chains
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database

    settings = chosen_settings().settings
    database = open_database(settings.database, create=False)
    try:
        tables = actions.of_tables(database)
        context = Context(database, system_clock, settings)
        if tables is None:
            walk_chains(context, whole=True)
            found = actions.fleet_diagnosis(context, vessel)
        else:
            found = [*actions.of_settings(settings), *actions.of_database(database), tables]
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
