"""The application: settings in, a FastAPI app out. Every door must stand in the table, or it does not start."""

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from typing import Any

from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.staticfiles import StaticFiles
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Receive, Scope, Send

from api.ics.writer import calendar_writer
from api.pages.capacity import route as capacity_route
from api.pages.decide import route as decide_route
from api.pages.decisions import route as decisions_route
from api.pages.due import route as due_route
from api.pages.error.page import error_answer
from api.pages.feed import route as feed_route
from api.pages.figures import route as figures_route
from api.pages.handover import route as handover_route
from api.pages.hours import route as hours_route
from api.pages.hours import signs_route
from api.pages.manual import route as manual_route
from api.pages.people import list_route as people_list_route
from api.pages.people import own_route as people_own_route
from api.pages.people import route as people_route
from api.pages.people.wrong_pins import WrongPins
from api.pages.plan import route as plan_route
from api.pages.plan import week_route
from api.pages.plant import route as plant_route
from api.pages.record import route as record_route
from api.pages.requests import route as requests_route
from api.pages.shared import layout
from api.pages.ships import route as ships_route
from api.pages.stopped import route as stopped_route
from api.pages.vessel import first_route
from api.pages.vessel import route as vessel_route
from api.pages.voyage import dock_route
from api.pages.voyage import route as voyage_route
from api.pages.work import dates_route as work_dates_route
from api.pages.work import paper_route as work_paper_route
from api.pages.work import points_route as work_points_route
from api.pages.work import route as work_route
from api.routes import (
    capacity,
    due,
    feed,
    hours,
    people,
    plan,
    readings,
    record,
    requests,
    service,
    shore,
    vessel,
    voyage,
    work,
)
from api.routes.answers.record import HistorySummaryAnswer
from api.routes.shared.describing import SCHEMES, said_in_full
from api.routes.shared.examples import add_examples
from api.routes.shared.problems import ProblemDocument
from api.server import errors
from api.server.access import DOORS
from api.server.calendar_cache import CalendarCache, CalendarMiddleware
from api.server.fast_route import FastRoute
from api.server.logs import hide_secrets
from api.server.methods import AnyMethod
from api.server.metrics import RequestCounts, RequestMeter
from api.server.middleware import Guard
from api.server.office_calls import OfficeClient, SendingThread
from api.server.timers_process import TimersProcess
from api.server.try_limiter import TryLimiter
from scheduler.actions.base.context import Context
from scheduler.actions.base.remembering import keep_base_url
from scheduler.actions.feed import refresh as feed_refresh
from scheduler.actions.hours.readings import ReadingDoor
from scheduler.actions.shore.sending import Sending
from scheduler.clock import Clock, system_clock
from scheduler.errors import SchedulerError
from scheduler.settings import Settings
from scheduler.storage.database import Database, open_database
from scheduler.storage.hours.intake import Intake
from scheduler.storage.migrate import create_or_check
from scheduler.tasks import with_workers
from scheduler.timers import Timers
from scheduler.version import VERSION

log = logging.getLogger("leadline")

ROUTERS = (
    readings.router,
    feed.router,
    vessel.router,
    hours.router,
    due.router,
    capacity.router,
    plan.router,
    work.router,
    voyage.router,
    record.router,
    people.router,
    shore.router,
    requests.router,
    capacity_route.router,
    decisions_route.router,
    requests_route.router,
    handover_route.router,
    vessel_route.router,
    first_route.router,
    plant_route.router,
    stopped_route.router,
    decide_route.router,
    record_route.router,
    figures_route.router,
    due_route.router,
    work_route.router,
    work_dates_route.router,
    work_paper_route.router,
    work_points_route.router,
    people_route.router,
    people_list_route.router,
    ships_route.router,
    people_own_route.router,
    plan_route.router,
    week_route.router,
    voyage_route.router,
    dock_route.router,
    feed_route.router,
    hours_route.router,
    signs_route.router,
    manual_route.router,
    service.router,
)
"""In the order in which a request is held against them: the busy doors first."""

ABOUT = (
    "Planned maintenance by running hours for a ship's vacuum plant. Send keys as `Authorization: Bearer ll_...`. "
    "Errors are problem details (RFC 9457). Instants are RFC 3339; answers are in UTC. Hand actions take an "
    "Idempotency-Key. Answers may gain members; none goes or changes its kind. Capacities are swept m3/h at the stop "
    "setpoint. As planned is never a promise: the margin is calculated, and the maker's manual, the ship's procedures, "
    "class and flag rules come first."
)


class App(FastAPI):
    """FastAPI with a door before its own: `front` is asked first, and passes on what it does not answer."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**said)
        self.front: ASGIApp = super().__call__

    def openapi(self) -> dict[str, Any]:
        """The description of the API, with the models that no route answers by itself."""
        if self.openapi_schema is None:
            document = super().openapi()
            components = document["components"]
            components["securitySchemes"] = SCHEMES
            schemas = components["schemas"]
            schemas |= readings.BODIES
            for model in (ProblemDocument, HistorySummaryAnswer):
                found = model.model_json_schema(ref_template="#/components/schemas/{model}", mode="serialization")
                schemas |= {**found.pop("$defs", {}), model.__name__: found}
            said_in_full(document)
            add_examples(document)
        return super().openapi()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Plain ASGI."""
        await self.front(scope, receive, send)


def open_context(settings: Settings, clock: Clock = system_clock) -> Context:
    """The context on its database, tables made or checked. The caller closes `house.db`."""
    database: Database = open_database(settings.database)
    try:
        create_or_check(database)
        if settings.workers:
            with_workers(database)
    except BaseException:
        database.close()
        raise
    return Context(database, clock, settings)


def make_app(
    settings: Settings,
    *,
    clock: Clock = system_clock,
    timers: bool = True,
    apart: Callable[[Context], TimersProcess] | None = None,
) -> FastAPI:
    """The application on a database. timers: run the clock's ticks, unless workers do the tasks. apart: what runs them elsewhere."""
    must_all_stand_in_the_table()
    context = open_context(settings, clock)
    intake = Intake(context.db, clock, waiting_requests=settings.intake_queue)
    shelf = CalendarCache(context)

    def refresh(vessel_id: str) -> object:
        return feed_refresh.renew(context, calendar_writer(settings.shown_base_url()), vessel_id)

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        hide_secrets()
        intake.start()
        with suppress(SchedulerError):
            await run_in_threadpool(keep_base_url, context)
        await run_in_threadpool(shelf.fill)
        ticks: Timers | TimersProcess | None = None
        if timers and not settings.workers:
            ticks = Timers(context, refresh) if apart is None else apart(context)
        office = OfficeClient(clock)
        sender = SendingThread(Sending(context, office).turn, office.close) if timers else None
        app.state.timers = ticks
        if ticks is not None:
            ticks.start()
        if sender is not None:
            sender.start()
        log.info("Leadline %s on %s", VERSION, context.db.engine_says())
        try:
            yield
        finally:
            if sender is not None:
                await run_in_threadpool(sender.stop)
            if ticks is not None:
                await run_in_threadpool(ticks.stop)
            intake.stop()
            context.db.close()

    app = App(
        title="Leadline",
        version=VERSION,
        description=ABOUT,
        lifespan=life,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        license_info={"name": "Apache-2.0"},
    )
    app.state.context, app.state.intake, app.state.timers = context, intake, None
    app.state.counters = readings.Counters(ReadingDoor(context, intake))
    app.state.feed_shelf, app.state.refresh = shelf, refresh
    app.state.error_page = error_answer
    app.state.try_limiter, app.state.wrong_pins = TryLimiter(), WrongPins()
    app.state.routes = api_routes()
    for router in ROUTERS:  # as they are: including a router makes every route anew, 0.2 s for each application
        app.router.routes.extend(router.routes)
    app.mount("/static", GZipMiddleware(StaticFiles(directory=layout.STATIC), compresslevel=6), name="static")
    errors.install(app)
    app.add_middleware(AnyMethod)
    app.add_middleware(Guard, settings=settings, short=short_ways())
    app.state.requests = RequestCounts()
    calendars = CalendarMiddleware(app.front, shelf=shelf, compress=settings.feed_gzip)
    app.front = RequestMeter(calendars, app.state.requests)
    return app


def short_ways() -> dict[tuple[str, str], ASGIApp]:
    """The doors that are called without the layers of the application, by method and path."""
    routes = [route for router in ROUTERS for route in router.routes if isinstance(route, FastRoute)]
    return {(method, route.path): errors.Unforeseen(route.app) for route in routes for method in route.methods or ()}


def api_routes() -> list[APIRoute]:
    """Every door of the app, those of the short way too."""
    return [route for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)]


def doors_there() -> set[tuple[str, str]]:
    """(method, route) of every door of the app."""
    return {(method, route.path) for route in api_routes() for method in route.methods or ()}


def must_all_stand_in_the_table() -> None:
    """Raises RuntimeError when a door is not in the table, or the table names one that is not there."""
    there = doors_there()
    unknown, gone = there - DOORS.keys(), DOORS.keys() - there
    if unknown or gone:
        raise RuntimeError(f"doors without roles: {sorted(unknown)}; roles without doors: {sorted(gone)}")
