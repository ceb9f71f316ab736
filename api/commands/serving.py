"""Serve, demo, upgrade and settings."""

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from api.commands.shared.common import AsJson, app, chosen_settings, config_app, out


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
    every: Annotated[float, typer.Option(min=1, help="seconds between the counters' live posts")] = 20.0,
) -> None:
    """Show the whole job on two invented ships: counters post, jobs fall due, a plan, a page, a feed.

    Example: leadline demo --folder /tmp/leadline
    """
    from api.demo import run_demo

    raise typer.Exit(run_demo(folder, port, check=check, every_seconds=every))


@app.command()
def upgrade(as_json: AsJson = False) -> None:
    """Bring the database's tables up to this version; an SQLite file is copied first.

    Example: leadline --database ship.db upgrade
    """
    from scheduler.storage.migrate import upgrade as bring_up

    done = bring_up(chosen_settings().settings.database)
    copy = f"; copy: {done.backup}" if done.backup else ""
    told = {"before": done.before, "after": done.after, "backup": None if done.backup is None else str(done.backup)}
    words = (
        f"{done.before or 'empty'} to {done.after}{copy}" if done.before != done.after else f"already at {done.after}"
    )
    out(told, as_json, lambda: iter([words]))


@config_app.command("show")
def config_show(as_json: AsJson = False) -> None:
    """Show each setting, its value and where it came from.

    Example: leadline config show
    """
    rows = list(chosen_settings().shown())
    told = {name: {"value": value, "from": source, "is": says} for name, value, source, says in rows}
    out(told, as_json, lambda: (f"{name} = {value}  ({source}; {says})" for name, value, source, says in rows))
