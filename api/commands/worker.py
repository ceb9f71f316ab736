"""The worker: makes plans, calendars and rounds in the place of the server, as many processes and machines as wanted."""

from typing import Annotated

import typer

from api.commands.shared.command import chosen_settings, say
from api.commands.shared.groups import app


@app.command()
def worker(
    processes: Annotated[int, typer.Option(min=1, max=64, help="processes to run")] = 1,
    queues: Annotated[
        str, typer.Option(help="only these, with commas between: derive, show, plan, care (default: all)")
    ] = "",
    unit: Annotated[bool, typer.Option("--unit", help="print a systemd unit for this worker, and end")] = False,
) -> None:
    """Make the plans, calendars and rounds of a PostgreSQL database, where the setting workers says so.

    Example: leadline --database postgresql://office@db/leadline worker --processes 4
    """
    from scheduler.tasks import QUEUES

    chosen = [one.strip() for one in queues.split(",") if one.strip()] or list(QUEUES)
    for one in chosen:
        if one not in QUEUES:
            raise typer.BadParameter(
                f"There is no queue {one!r:.40}. Known: {', '.join(QUEUES)}.", param_hint="--queues"
            )
    if unit:
        _print_unit(processes, queues)
        return
    _must_work_here()
    from api.server.logs import set_up
    from api.server.notify import ServiceManager
    from api.server.processes import run_processes

    settings = chosen_settings().settings
    set_up(settings.log, settings.log_level)
    manager = ServiceManager()
    raise typer.Exit(
        run_processes(processes, lambda: _work(chosen), lambda: manager.send("READY=1", "STATUS=Working."))
    )


def _must_work_here() -> None:
    """Raises Refused, Clash, Busy where no worker can work. What it opens is closed before processes are forked."""
    from api.commands.shared.command import command_context
    from scheduler.errors import Refused
    from scheduler.storage.task_queue import must_hear

    if not chosen_settings().settings.workers:
        raise Refused(
            "The setting workers is off, so the server does all tasks itself and would go on doing so. Set workers for server and "
            "worker alike (LEADLINE_WORKERS=yes, or workers = true in the settings file), and start the server anew."
        )
    with command_context() as context:
        must_hear(context.db)


def _work(queues: list[str]) -> None:
    from api.commands.shared.command import command_context
    from api.ics.writer import calendar_writer
    from api.server.logs import hide_secrets
    from api.server.processes import settle
    from scheduler.actions.feed import refresh as feed_refresh
    from scheduler.worker import TaskWorker

    with command_context() as context:
        hide_secrets()
        write = calendar_writer(context.settings.shown_base_url())
        worker = TaskWorker(context, lambda vessel_id: feed_refresh.renew(context, write, vessel_id), queues)
        settle()
        worker.run()


def _print_unit(processes: int, queues: str) -> None:
    from api.commands import service_files

    given = [f"--processes={processes}", *([f"--queues={queues}"] if queues else [])]
    print(service_files.worker_unit(given), end="")
    if service_files.out_of_sight():
        say(service_files.OUT_OF_SIGHT)
