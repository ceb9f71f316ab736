"""A real server as a process of its own, to be killed, and senders that note what it acknowledged."""

import http.client
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.end_to_end.automation import free_port

START = datetime(2024, 1, 1, tzinfo=UTC)
SENDERS = 4

Stored = tuple[str, int]
"""Counter and observed instant (epoch seconds)."""


def set_up(url: str) -> str:
    """Puts an invented ship into a database; the key her counters post with."""
    context = open_context(Settings(database=url))
    try:
        me = Actor("set up", "set up", Role.ADMIN)
        vessel = VESSEL.validate_python(vessel_document(Run(PLOVER, 1, datetime.now(UTC), 0.1)))
        changes.put_vessel(context, me, vessel)
        return people.add_key(context, me, role=Role.COUNTER, label="gateway", vessel_id=vessel.id)
    finally:
        context.db.close()


@contextmanager
def server(url: str, **environment: str) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """`leadline serve` on a database, with its port; killed at the end if it still runs. environment: more of it."""
    port = free_port()
    own = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
    command = [sys.executable, "-m", "api", "--database", url, "serve", "--port", str(port)]
    child = subprocess.Popen(
        command,
        env={**own, "LEADLINE_SOLVE_SECONDS": "1", **environment},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        while not _answers(port):
            assert child.poll() is None, "the server did not start"
        yield child, port
    finally:
        child.kill()
        child.wait()


def _answers(port: int) -> bool:
    try:
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=5)) as talk:
            talk.request("GET", "/livez")
            return talk.getresponse().read() != b""
    except OSError:
        threading.Event().wait(0.02)
        return False


@dataclass(slots=True)
class Senders:
    """Threads that post batches of new readings, each for its own counter or instants, until the server is gone.

    acknowledged: all that was answered as stored. sent: each batch, answered or not.
    """

    key: str
    round: int
    acknowledged: list[Stored] = field(default_factory=list)
    sent: list[list[Stored]] = field(default_factory=list)
    enough: threading.Event = field(default_factory=threading.Event)

    def post(self, port: int, answers: int, child: "subprocess.Popen[bytes]") -> None:
        """Posts until the server has given so many answers, then kills it while the threads go on."""
        count = iter(range(1, answers + 1))
        threads = [threading.Thread(target=self._send, args=(port, number, count)) for number in range(SENDERS)]
        for thread in threads:
            thread.start()
        assert self.enough.wait(120), "too few answers"
        child.kill()
        for thread in threads:
            thread.join()

    def _send(self, port: int, number: int, count: Iterator[int]) -> None:
        random = Random(self.round * SENDERS + number)
        counter = PLOVER.counter(number % len(PLOVER.pumps))
        at = START + timedelta(days=self.round * SENDERS + number)
        headers = {"Authorization": f"Bearer {self.key}", "Content-Type": "application/json"}
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        with closing(link) as talk, suppress(OSError, http.client.HTTPException):
            while True:
                batch = [at + timedelta(seconds=second) for second in range(random.randint(1, 40))]
                at = batch[-1] + timedelta(seconds=1)
                self.sent.append([(counter, int(one.timestamp())) for one in batch])
                items = [{"counter": counter, "observed_at": one.isoformat(), "value": 5} for one in batch]
                talk.request("POST", "/api/v1/readings", json.dumps({"readings": items}), headers)
                answer = talk.getresponse()
                told = json.loads(answer.read())
                assert answer.status == 207, told
                assert {item["status"] for item in told["items"]} == {"stored"}
                self.acknowledged += [(counter, int(one.timestamp())) for one in batch]
                if next(count, None) is None:
                    self.enough.set()
