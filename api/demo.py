"""`leadline demo`: the real server in this process, the invented fleet as a child over HTTP, a plan, a page, a feed."""

import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from fastapi import FastAPI
from rich.console import Console
from rich.progress import Progress

from api.demo_office import DemoOffice, clock_that_goes_on, demo_office, must_have_postgres, prove_office
from api.demo_proof import DEMO_ACTOR, Scene, prove
from api.ics.writer import calendar_writer
from api.server.app import make_app
from api.server.logs import set_up
from api.server.serving import listen, server_for
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.feed import addresses, refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.clock import Clock, fixed_clock, system_clock
from scheduler.domain.base.enums import Role
from scheduler.errors import Clash, Refused, SchedulerError
from scheduler.settings import Settings
from scheduler.storage.vessel import AssetKind
from scheduler.timers import Timers

CHECK_AT = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)
"""The fixed clock of `leadline demo --check`."""
_LOOK_S = 0.5
"""So often a demo that serves looks whether it was asked to end, in seconds."""
_GO_ON = "\n"
"""What the invented fleet waits for each time it has the clock turned."""
_PEOPLE = (
    ("chief", "chief engineer", Role.CHIEF),
    ("second", "second engineer", Role.ENGINEER),
    ("hotel", "hotel manager", Role.HOTEL),
)
_LINKS = (
    ("chief-avocet", "Demo Avocet, chief engineer"),
    ("second-plover", "Demo Plover, second engineer"),
    ("chief-plover", "Demo Plover, chief engineer"),
    ("hotel-plover", "Demo Plover, hotel manager"),
    ("office", "the fleet"),
)
console = Console(stderr=True)


@dataclass(slots=True)
class PastClock:
    """Stands where the past is being told; then says what the clock of the present does."""

    present: Clock
    at: datetime | None = None

    def __call__(self) -> datetime:
        return self.at or self.present()


def run_demo(folder: Path | None, port: int | None, *, check: bool, every_seconds: float, office: bool = False) -> int:
    """The demo; with `check` it proves itself and ends. office: with an office ashore. Returns the exit code."""
    if office:
        must_have_postgres()
    set_up("text", "warning")
    began = time.monotonic()
    with ExitStack() as stack:
        asked = stack.enter_context(_ended_in_order())
        if folder is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="leadline-demo-")))
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refused(f"{folder} cannot be made: {error.strerror}. Give another --folder.") from error
        database = folder / "demo.db"
        if database.exists():
            again = f"leadline --database {database} serve"
            raise Clash(f"{database} is there already. Serve it: {again}; or give another --folder.")
        clock = fixed_clock(CHECK_AT) if check else system_clock
        scene = stack.enter_context(_scene(database, port, clock, None if check else every_seconds))
        _plan_all(scene)
        ashore = None
        if office:
            goes_on = clock_that_goes_on(clock) if check else clock
            ashore = stack.enter_context(demo_office(scene.context, folder, goes_on, _serving))
        if check:
            return prove(scene, None if ashore is None else partial(prove_office, scene.context, ashore))
        try:
            _show(scene, database, time.monotonic() - began)
            if ashore is not None:
                _show_office(ashore)
            while not asked and scene.child is not None and scene.child.poll() is None:
                time.sleep(_LOOK_S)
            if not asked:
                console.print("The demo's counters have stopped posting. The server goes on; end it with Ctrl-C.")
            while not asked:
                time.sleep(_LOOK_S)
            console.print("Ended.")
        except KeyboardInterrupt:
            console.print("Ended.")
    return 0


@contextmanager
def _scene(database: Path, port: int | None, clock: Clock, live_seconds: float | None) -> Iterator[Scene]:
    sock = listen("127.0.0.1", *((8322, 0) if port is None else (port,)))
    number = sock.getsockname()[1]
    url = f"http://127.0.0.1:{number}"
    settings = Settings(database=str(database), port=number, base_url=url, log="text", link_minutes=1440)
    until, past = clock().isoformat(), PastClock(clock)
    application = make_app(settings, clock=past, timers=False)
    context: Context = application.state.context
    with _serving(application, sock):
        people.add_person(
            context,
            DEMO_ACTOR,
            person_id="office",
            name="Demo office",
            rank="technical office",
            role=Role.OFFICE,
            vessel_id=None,
        )
        office = people.add_key(context, DEMO_ACTOR, role=Role.OFFICE, label="demo office", person_id="office")
        _seed([url, "--documents", "--until", until], {"office": office}, past)
        keys: dict[str, tuple[str, ...]] = {}
        for vessel, _ in fleet.list_vessels(context, DEMO_ACTOR):
            for short, rank, role in _PEOPLE:
                person = f"{short}-{vessel.id.removeprefix('demo-')}"
                people.add_person(
                    context,
                    DEMO_ACTOR,
                    person_id=person,
                    name=f"Demo {short}",
                    rank=rank,
                    role=role,
                    vessel_id=vessel.id,
                )
            keys[vessel.id] = (
                people.add_key(context, DEMO_ACTOR, role=Role.COUNTER, label="demo gateway", vessel_id=vessel.id),
                *(
                    people.add_key(
                        context,
                        DEMO_ACTOR,
                        role=role,
                        label=f"demo {short}",
                        vessel_id=vessel.id,
                        person_id=f"{short}-{vessel.id.removeprefix('demo-')}",
                    )
                    for short, _, role in _PEOPLE[:2]
                ),
            )
        told: dict[str, object] = {
            "office": office,
            "counter": {vessel: pair[0] for vessel, pair in keys.items()},
            "engineer": {vessel: made[1] for vessel, made in keys.items()},
            "second": {vessel: made[2] for vessel, made in keys.items()},
        }
        child = _seed([url, "--until", until], told, past, live_seconds=live_seconds)
        timers = Timers(context, application.state.refresh)
        application.state.timers = timers
        timers.start()
        try:
            yield Scene(context, url, office, keys, child)
        finally:
            timers.stop()
            if child is not None:
                _end(child)


@contextmanager
def _ended_in_order() -> Iterator[list[int]]:
    """Ctrl-C, SIGTERM, or a terminal that is closed, ends the demo: nothing of it goes on running. Gives the signals that asked for
    it: an interrupt raised while Python is in a callback of a library is dropped, and the list is not."""
    asked: list[int] = []

    def stop(which: int, _: object) -> None:
        asked.append(which)
        for number in before:
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _signals_wait() -> Iterator[None]:
    """Signals wait while a child is being started: interrupted there, it would run and nobody know of it."""
    came: list[int] = []
    before = {
        number: signal.signal(number, lambda which, _: came.append(which))
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    for which in came:
        signal.raise_signal(which)


def _end(child: "subprocess.Popen[str]") -> None:
    """End the child, by force if it does not within 10 s."""
    child.terminate()
    try:
        child.wait(10)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()


@contextmanager
def _serving(application: FastAPI, sock: socket.socket) -> Iterator[None]:
    server = server_for(application, application.state.context.settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, name="server", daemon=True)
    thread.start()
    while not server.started:
        if not thread.is_alive():
            raise SchedulerError("The server did not start; its words are above.")
        time.sleep(0.02)
    try:
        yield
    finally:
        server.should_exit = True
        thread.join(30)
        sock.close()


def _seed(
    arguments: Sequence[str], keys: dict[str, object], past: PastClock, *, live_seconds: float | None = None
) -> "subprocess.Popen[str] | None":
    """Run the invented fleet until its past is posted; the child that goes on posting, or none when it has ended."""
    command = [sys.executable, "-m", "seed_fleet", *arguments, "--enact", "--progress"]
    if live_seconds is not None:
        command += ["--live", str(live_seconds)]
    path = os.pathsep.join(place for place in sys.path if place)
    child: subprocess.Popen[str] | None = None
    try:
        with _signals_wait():
            child = subprocess.Popen(  # noqa: S603 - our own program
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                stderr=subprocess.DEVNULL if live_seconds else None,
                env={**os.environ, "LEADLINE_SEED_KEYS": json.dumps(keys), "PYTHONPATH": path},
                process_group=0,  # Ctrl-C reaches us alone, and we end the child
            )
        if _posts_on(child, past):
            threading.Thread(target=_drain, args=(child,), daemon=True).start()
            return child
        if child.wait() != 0:
            raise SchedulerError(f"The invented fleet ended with code {child.returncode}; its words are above.")
    except BaseException:
        if child is not None:
            _end(child)
        raise
    return None


def _posts_on(child: "subprocess.Popen[str]", past: PastClock) -> bool:
    """Show the child's progress until its past is posted, the clock where it asks for it; whether it goes on posting live."""
    assert child.stdout is not None
    assert child.stdin is not None
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("The invented fleet posts its past", total=None)
        for line in child.stdout:
            step = json.loads(line)
            if "clock" in step:
                past.at = None if step["clock"] is None else datetime.fromisoformat(step["clock"])
                with suppress(BrokenPipeError):  # it has ended, and its code says why
                    child.stdin.write(_GO_ON)
                    child.stdin.flush()
                continue
            bar.update(task, completed=step["done"], total=step["of"], description=str(step["what"])[:60])
            if str(step["what"]).startswith("live:"):
                return True
    return False


def _drain(child: "subprocess.Popen[str]") -> None:
    assert child.stdout is not None
    for _ in child.stdout:
        pass


def _plan_all(scene: Scene) -> None:
    context = scene.context
    for vessel, _ in fleet.list_vessels(context, DEMO_ACTOR):
        for plant in vessel.plants:
            held = planning.propose(context, vessel.id, plant.id)
            hand = Hand(DEMO_ACTOR, secrets.token_hex(8), {"take": held.digest})
            planning.take(context, hand, Place(plant.id, vessel.id, plant.id, AssetKind.PLANT), held.digest)
        refresh.refresh(context, calendar_writer(context.settings.shown_base_url()), vessel.id)


def _show(scene: Scene, database: Path, took: float) -> None:
    context, url = scene.context, scene.url
    print(f"Leadline demo, ready after {took:.0f} s. Everything is invented; nothing here is a real ship.")
    print(f"  page           {url}/")
    for person, what in _LINKS:
        print(f"  sign in once   {url}/enter/{people.make_link(context, person)}   ({what})")
    for vessel in ("avocet", "plover"):
        token = addresses.make_address(
            context, DEMO_ACTOR, person_id=f"second-{vessel}", vessel_id=f"demo-{vessel}"
        ).secret
        print(f"  calendar feed  {url}/cal/{token}/plan.ics   (Demo {vessel.capitalize()})")
    print(f"  API manual     {url}/docs")
    print(f"  API key        {scene.office_key}   (office)")
    print(f"  database       {database}")
    print("Counters go on posting. End with Ctrl-C.", flush=True)


def _show_office(office: DemoOffice) -> None:
    print("The office ashore, with a PostgreSQL of its own; both ships feed it over a link that drops.")
    print(f"  fleet          {office.url}/")
    print(
        f"  sign in once   {office.url}/enter/{people.make_link(office.context, 'superintendent')}   (the office)",
        flush=True,
    )
