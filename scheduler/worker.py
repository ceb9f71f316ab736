"""A worker: takes jobs from the queue and performs their tasks. Readings never wait for plans: these have a lane of their own.

What a worker was at when it ended, or fell silent, is given to another by whoever is alive; numbers see to it that it counts once.
"""

import asyncio
import logging
import signal
from collections.abc import Callable, Collection
from typing import Any

from procrastinate import App, PsycopgConnector
from procrastinate.exceptions import UniqueViolation
from procrastinate.jobs import Job, Status

from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import PLAN
from scheduler.errors import Busy, StorageFull
from scheduler.storage.database import Database
from scheduler.storage.shore.home import Writing
from scheduler.storage.task_queue import wake_worker
from scheduler.tasks import QUEUES, TASKS, Task, TaskTools, perform
from scheduler.timers import WorkerTicks

log = logging.getLogger("leadline")
logging.getLogger("procrastinate").setLevel(logging.WARNING)

SIGN_SECONDS = 2
SILENT_SECONDS = 10
"""A worker signs that it lives; what one was at that has been silent for so long is given to another."""
FORGET_SECONDS = 3600
"""So long a silent worker stays in the list: its jobs are told from others by it."""
POLL_SECONDS = 5
PATIENCE_SECONDS = 600
"""For so long a worker waits for a database that went away, before it leaves a task to whoever looks for what has no job."""
AGAIN_SECONDS = 5
"""Before a task is tried again that found the database busy or full, and before a connection that was lost is tried again."""


class TaskWorker:
    """One process' work. `run` returns once it was asked to stop and what was under way has ended.

    Args:
        refresh: writes a vessel's calendars and summary ("": the fleet's). queues: of `tasks.QUEUES`. ready: called once it works.
    """

    def __init__(
        self,
        context: Context,
        refresh: Callable[[str], object],
        queues: Collection[str] = QUEUES,
        ready: Callable[[], object] = lambda: None,
    ) -> None:
        self._context, self._refresh, self._ready = context, refresh, ready
        lanes = ([one for one in queues if one != PLAN], [one for one in queues if one == PLAN])
        self._lanes = [lane for lane in lanes if lane]

    def run(self) -> None:
        """Work until a signal says stop. Raises Busy where the database does not answer at the start."""
        with self._context.workers() as workers:
            tools = TaskTools(context=self._context, refresh=self._refresh, solve=workers.plan)
            asyncio.run(self._run(tools))

    async def _run(self, tools: TaskTools) -> None:
        loop, stop = asyncio.get_running_loop(), asyncio.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, stop.set)
        ticks = WorkerTicks(self._context)
        app = _app(self._context.db, tools)
        async with app.open_async():
            ticks.start()
            tasks = [asyncio.create_task(self._lane(app, lane)) for lane in self._lanes]
            tasks.append(asyncio.create_task(_sweep(app)))
            self._ready()
            await stop.wait()
            self._context.stopping.set()  # a plan under way is given up, and put back into the queue
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await asyncio.to_thread(ticks.stop)

    async def _lane(self, app: App, queues: list[str]) -> None:
        """Take jobs of these queues, one at a time; begin anew when the connection was lost."""
        while True:
            try:
                await app.run_worker_async(
                    queues=queues,
                    concurrency=1,
                    delete_jobs="successful",
                    install_signal_handlers=False,
                    fetch_job_polling_interval=POLL_SECONDS,
                    update_heartbeat_interval=SIGN_SECONDS,
                    stalled_worker_timeout=FORGET_SECONDS,
                )
                log.warning("the worker of %s lost its connection; it begins anew", ", ".join(queues))
            except Exception as error:
                log.warning("the worker of %s begins anew: %s", ", ".join(queues), error or type(error).__name__)
            await asyncio.sleep(AGAIN_SECONDS)


def _app(database: Database, tools: TaskTools) -> App:
    """procrastinate on our database, with our tasks."""
    _, options = database.write_engine.dialect.create_connect_args(database.url)
    app = App(connector=PsycopgConnector(kwargs=options, min_size=1, max_size=6, timeout=10, name="leadline"))
    for task in TASKS.values():
        app.task(name=task.name, queue=task.queue)(_job_of(task, tools))
    return app


def _job_of(task: Task, tools: TaskTools) -> Callable[..., None]:
    def act(vessel_id: str, plant_id: str) -> None:
        try:
            perform(tools, task.name, vessel_id, plant_id)
        except (Busy, StorageFull) as error:
            log.info("%s %s is tried again: %s", task.name, plant_id or vessel_id, error.says)
            _ask_again(tools.context, task, vessel_id, plant_id)

    act.__name__ = task.name.replace(" ", "_").replace("-", "_")
    return act


def _ask_again(context: Context, task: Task, vessel_id: str, plant_id: str) -> None:
    """Put another job into the queue, once the database answers. Raises Busy, StorageFull where it does not for long."""
    for left in range(PATIENCE_SECONDS // AGAIN_SECONDS, -1, -1):
        stopping = context.stopping.is_set()
        try:
            with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
                later = 0 if stopping else AGAIN_SECONDS
                wake_worker(session, task.name, task.queue, vessel_id, plant_id, in_seconds=later)
            return
        except (Busy, StorageFull):
            if stopping or not left:
                raise
            context.stopping.wait(AGAIN_SECONDS)


async def _sweep(app: App) -> None:
    """Give what silent workers were at to others, now and then; by this worker's own clock, since a job could stall itself."""
    while True:
        await asyncio.sleep(SILENT_SECONDS / 2)
        try:
            for job in await app.job_manager.get_stalled_jobs(seconds_since_heartbeat=SILENT_SECONDS):
                await _put_back(app, job)
        except Exception as error:
            log.warning("silent workers are looked for again later: %s", error or type(error).__name__)


async def _put_back(app: App, job: Job) -> None:
    manager: Any = app.job_manager
    assert job.id is not None
    log.warning("%s %s is given to another worker: its own is silent", job.task_name, job.task_kwargs)
    try:
        await manager.retry_job(job)
    except UniqueViolation:  # another job for it waits already
        await manager.finish_job_by_id_async(job.id, status=Status.FAILED, delete_job=True)
