"""Every name of the program that the frozen tests need, in this one file: after a move, this is the place to mend.

Everything else goes through HTTP, the command line, or the planner's worker process.
"""

import re
import secrets
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from fastapi.routing import APIRoute
from starlette.testclient import TestClient
from typer.main import get_command

from api.commands.app import app as command_line
from api.server.app import ROUTERS, doors_there, make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.care.rounds import nightly, watch_counters
from scheduler.actions.people import people
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.clock import system_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from tests.cli.calling import Told, leadline
from tests.storage.stores import empty_url, kinds
from tests.ticks import keep_up

WORKER = (sys.executable, "-m", "scheduler.solving")
"""The planner's worker: a problem a line in, a plan a line out. LEADLINE_WORKER_SECONDS: when it gives up."""

__all__ = [
    "WORKER",
    "Told",
    "command_words",
    "doors_of_the_app",
    "empty_url",
    "kinds",
    "leadline",
    "routes_of_the_app",
    "serving",
    "system_clock",
]


@contextmanager
def serving(database: str, clock: Callable[[], datetime], photos: Path) -> Iterator[TestClient]:
    """The application on a database with that clock, nothing running by itself."""
    settings = Settings(
        database=database,
        horizon_days=20,
        solve_seconds=120,
        solve_processes=1,
        base_url="http://testserver",
        photo_folder=str(photos),
    )
    app = make_app(settings, clock=clock, timers=False)
    with TestClient(app, raise_server_exceptions=False) as client:
        app.state.context.background.moment_seconds = 60  # a busy machine's plan is waited for
        yield client


def add_person(client: TestClient, person: str, name: str, role: str, vessel: str | None) -> None:
    """A person, as the command line makes one, at the application's clock."""
    people.add_person(
        _context(client), _FIRST, person_id=person, name=name, rank=role, role=Role(role), vessel_id=vessel
    )


def add_key(client: TestClient, role: str, vessel: str | None, person: str | None) -> str:
    """A key, as the command line makes one, at the application's clock."""
    return people.add_key(
        _context(client), _FIRST, role=Role(role), label=f"key of {role}", vessel_id=vessel, person_id=person
    )


def sign_in_link(client: TestClient, person: str) -> str:
    """The secret of a link that signs that person in once."""
    return people.make_link(_context(client), person)


def rounds(client: TestClient) -> None:
    """What the timers do, once each: keep up, the night's round with its plans, the look at counters and at limits."""
    context, refresh = _context(client), client.app.state.refresh  # type: ignore[attr-defined]
    nightly(context)
    watch_counters(context, refresh)
    for vessel in open_where_due(context):
        refresh(vessel)
    keep_up(context, refresh)


_WRITTEN_AFTER = re.compile(
    r"POST .*/(jobs/[^/]+/close(/strike)?|postponements/\d+/decision|plan/moves(/\d+/undo)?|calendar/(undo|file)|plants/[^/]+/plan)"
    r"|PUT .*/first-date|(PUT|PATCH) .*/calendar"
)


def written_after(client: TestClient, method: str, path: str) -> None:
    """Calendars were written after these acts alone when the world was frozen. Today a tick is woken by every act, which keeps more
    dates as published than that; so the world goes on as it did, and what is compared is the same."""
    if _WRITTEN_AFTER.fullmatch(f"{method} {path.split('?')[0]}"):
        client.app.state.refresh("demo-avocet" if "avocet" in path else "demo-plover")  # type: ignore[attr-defined]


def doors_of_the_app() -> set[tuple[str, str]]:
    """(method, path template) of every door."""
    return doors_there()


def routes_of_the_app() -> list[APIRoute]:
    """Every door, as the framework has it."""
    return [route for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)]


def command_words() -> dict[str, list[str]]:
    """The words of every command to the spellings of its options and the places of its arguments."""
    return dict(_commands("leadline", get_command(command_line)))


def _commands(words: str, command: Any) -> Iterator[tuple[str, list[str]]]:
    told = {
        name for one in command.params if one.param_type_name == "option" for name in [*one.opts, *one.secondary_opts]
    }
    places = [one for one in command.params if one.param_type_name == "argument"]
    told |= {f"<{n}{'' if one.required else ', may be left out'}>" for n, one in enumerate(places, 1)}
    yield words, sorted(told)
    for word, inner in getattr(command, "commands", {}).items():
        yield from _commands(f"{words} {word}", inner)


_FIRST = Actor("set up", "set up", Role.ADMIN)


def _context(client: TestClient) -> Any:
    return client.app.state.context  # type: ignore[attr-defined]


class Dice:
    """Random ids and secrets that come out the same each time: a row of their own for each act and each length."""

    def __init__(self) -> None:
        self._about, self._thrown = "", dict[int, int]()
        self._real = secrets.token_bytes

    def begin(self, about: str) -> None:
        """From here on the ids of this act."""
        self._about, self._thrown = about, {}

    def __call__(self, length: int | None = None) -> bytes:
        length = 32 if length is None else length
        number = self._thrown[length] = self._thrown.get(length, 0) + 1
        found = b""
        while len(found) < length:
            found += sha256(f"{self._about} {length} {number} {len(found)}".encode()).digest()
        return found[:length]

    @contextmanager
    def thrown(self) -> Iterator[None]:
        """While it holds, the standard library's tokens are these."""
        secrets.token_bytes = self
        try:
            yield
        finally:
            secrets.token_bytes = self._real


def candidate_problems() -> Iterator[tuple[str, str]]:
    """(name, canonical text) of problems to choose from; called once, by `make.py`, on the day they were frozen.

    Its imports stand here because no test needs them: after a move they need not be mended.
    """
    from dataclasses import replace
    from random import Random

    from scheduler.actions.plan.framing import problem_of
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.planning.problem.codec import problem_to_text
    from scheduler.planning.problem.frame import frame
    from tests.api.stage import staged
    from tests.bench.test_bench_plan import _of_the_fleet
    from tests.external.planner import test_roadef_toy, test_rts79
    from tests.property import test_plan_laws, test_plan_tiers
    from tests.property.test_plan_by_the_clock import AT, aboard
    from tests.property.test_plan_rough import rough_ship
    from tests.unit.planning.cases import ship

    published = (
        ("RTS-79, greatest reserve", test_rts79._problem(555_000)),
        ("maintenance toy", test_roadef_toy._problem()),
    )
    yield from ((name, problem_to_text(problem)) for name, problem in published)
    for law in (test_plan_laws, test_plan_tiers):
        spread = sorted({problem_to_text(one) for one in _drawn(law.problems())}, key=lambda text: (len(text), text))
        yield from ((f"{law.__name__.split('.')[-1]} {n}", text) for n, text in enumerate(spread[2::4]))
    yield from ((f"rough ship {n}", problem_to_text(rough_ship(Random(n)))) for n in range(291, 303))
    for number in range(16):
        on = aboard(Random(number))
        problem = frame(
            plant=on.plant,
            jobs=on.jobs,
            capacities=on.capacities,
            outages=on.outages,
            offset_minutes=on.offset_minutes,
            at=AT,
            horizon_days=14,
            circumstances=on.background,
        )
        yield f"by the ship's clock {number}", problem_to_text(problem)
    for pumps, days, spare in ((2, 60, 1.0), (3, 60, 1.2), (4, 90, 1.6), (3, 90, 1.0), (5, 60, 1.2), (6, 40, 1.2)):
        yield f"{pumps} pumps, {days} days, {spare} spare", problem_to_text(ship(pumps, days, spare_pumps=spare))
    yield from ((f"of a fleet {n}", problem_to_text(_of_the_fleet(n))) for n in range(0, 20, 3))
    with TemporaryDirectory() as folder, staged(Path(folder)) as stage:
        for name in ("plover", "avocet"):
            for days in (30, 60, 120, 180):
                context = stage.context
                now = plant_state(replace(context, settings=replace(context.settings, horizon_days=days)), f"demo-{name}",
                                f"{name}-plant")  # fmt: skip
                yield (
                    f"Demo {name.capitalize()}, {days} days",
                    problem_to_text(problem_of(now, context, horizon_days=days)),
                )


def _drawn(strategy: Any) -> list[Any]:
    """Sixty values of a strategy, the same each time."""
    from hypothesis import HealthCheck, Phase, given, settings

    found = []

    @settings(
        max_examples=60,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        deadline=None,
    )
    @given(strategy)
    def draw(value: Any) -> None:
        found.append(value)

    draw()
    return found
