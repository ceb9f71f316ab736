"""A gateway's manners over HTTP: buffer first, delete only what the answer lists, back off with jitter, send again.

The buffer lives in memory, since the simulation can always be asked again; a gateway aboard keeps it on its disk.
Clock, sleep and jitter are handed in.
"""

import random
from collections import Counter as Tally
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import httpx

from seed_fleet.counters import CounterValue, Event
from seed_fleet.documents import Json, utc_stamp
from seed_fleet.past_work import PastAct

FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 0.5, 60.0


class GaveUpError(Exception):
    """The server could not be brought to take it; says in plain words what, why, and what to do."""


class UnreachableError(GaveUpError):
    """No use for now (busy, down, cut off): the same request may go through later."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Server:
    """One server, asked again with growing waits while it is busy or out of reach.

    Args:
        client: httpx client whose base URL is the server.
        sleep: waits that many seconds; may raise to break off.
        jitter: spreads the waits so that many gateways do not come back at the same instant.
        tries: requests made before giving up, 1 or more.
    """

    client: httpx.Client
    sleep: Callable[[float], None]
    jitter: random.Random
    tries: int = 8

    def ask(
        self, method: str, path: str, key: str, body: Json, headers: dict[str, str] | None = None, photo: bytes = b""
    ) -> httpx.Response:
        """The server's answer: anything but "later". Raises UnreachableError when every try was put off.

        photo: a picture that goes with the body's members, as a form.
        """
        form = {"data": body, "files": {"photo": ("photo.jpg", photo, "image/jpeg")}}
        sent: dict[str, Any] = form if photo else {"json": body}
        trouble = ""
        for attempt in range(self.tries):
            least = 0.0
            try:
                answer = self.client.request(
                    method, path, headers={"Authorization": f"Bearer {key}", **(headers or {})}, **sent
                )
            except httpx.TransportError as error:
                trouble = f"{type(error).__name__}: {error}"
            else:
                if answer.status_code != 429 and answer.status_code < 500:
                    return answer
                trouble = problem_in(answer)
                wish = answer.headers.get("Retry-After", "")
                least = float(wish) if wish.isascii() and wish.isdigit() else 0.0
            if attempt + 1 < self.tries:
                self.sleep(self._wait(attempt, least))
        raise UnreachableError(
            f"{method} {self.client.base_url.join(path)}: no answer after {self.tries} tries (last: {trouble}). "
            "See that the server runs and that the address is right, then start again."
        )

    def _wait(self, attempt: int, least: float) -> float:
        grown = min(FIRST_WAIT_SECONDS * 2.0**attempt, LONGEST_WAIT_SECONDS)
        return min(max(least, grown * self.jitter.uniform(0.5, 1.0)), LONGEST_WAIT_SECONDS)


@dataclass(slots=True, kw_only=True)
class DemoGateway:
    """Posts one vessel's readings. `buffer`: what no answer has listed yet; `tally`: the statuses answered.

    clock: gives the sending time; none when a past is enacted at a made-up instant, and posts then name no sending time.
    """

    door: Server
    key: str
    clock: Callable[[], datetime] | None
    most_readings: int = 1000
    buffer: dict[tuple[str, str], int] = field(default_factory=dict)
    tally: Tally[str] = field(default_factory=Tally)

    def take(self, readings: Iterable[CounterValue]) -> None:
        """Puts readings into the buffer; nothing is sent yet."""
        for reading in readings:
            self.buffer[reading.counter, reading.observed_at] = reading.value

    def send(self) -> None:
        """Posts until the buffer is empty.

        Raises:
            UnreachableError: the server stayed busy or away; what was not listed is still in the buffer.
            GaveUpError: the server refuses the post as a whole.
        """
        silent = 0
        while self.buffer:
            batch = list(self.buffer.items())[: self.most_readings]
            body: Json = {} if self.clock is None else {"sent_at": utc_stamp(self.clock())}
            body["readings"] = [{"counter": c, "observed_at": at, "value": counts} for (c, at), counts in batch]
            answer = self.door.ask("POST", "/api/v1/readings", self.key, body)
            if answer.status_code == 413 and len(batch) > 1:
                self.most_readings = len(batch) // 2
                continue
            if answer.status_code != 207:
                raise GaveUpError(f"posting readings: {problem_in(answer)}. Nothing was deleted from the buffer.")
            if self._strike_off([key for key, _ in batch], answer):
                silent = 0
                continue
            silent += 1
            if silent == self.door.tries:
                raise GaveUpError("posting readings: the answers list none of them. Nothing was deleted.")

    def _strike_off(self, keys: list[tuple[str, str]], answer: httpx.Response) -> int:
        """Deletes what the answer lists and returns how many that were; a garbled answer lists nothing."""
        listed = 0
        for item in _items(answer):
            index, status = item.get("index"), item.get("status")
            if not (isinstance(index, int) and isinstance(status, str) and 0 <= index < len(keys)):
                continue
            if self.buffer.pop(keys[index], None) is not None:
                self.tally[status] += 1
                listed += 1
        return listed


def send_vessel(door: Server, key: str, document: Json) -> bool:
    """Puts a new vessel. Returns False when she is there already (and is left as she stands)."""
    name = document["id"]
    answer = door.ask("PUT", f"/api/v1/vessels/{name}", key, document, {"If-None-Match": "*"})
    if answer.status_code == 412:
        return False
    if answer.status_code not in (200, 201):
        raise GaveUpError(f"putting vessel {name}: {problem_in(answer)}.")
    return True


def put_calendar(door: Server, key: str, vessel: str, calendar: Json) -> bool:
    """Puts a vessel's first operating calendar. Returns False when she has one already (and it is left as it stands)."""
    path = f"/api/v1/vessels/{vessel}/calendar"
    answer = door.ask("PUT", path, key, calendar, {"If-Match": '"0"'})
    if answer.status_code == 412:
        return False
    if not answer.is_success:
        raise GaveUpError(f"putting the operating calendar of {vessel}: {problem_in(answer)}.")
    return True


def post_event(door: Server, key: str, event: Event) -> None:
    """Posts a counter event; the same key and body again is the same event."""
    path = f"/api/v1/counters/{event.counter}/events"
    answer = door.ask("POST", path, key, event.body, {"Idempotency-Key": event.key})
    if not answer.is_success:
        raise GaveUpError(f"posting the {event.body['kind']} of counter {event.counter}: {problem_in(answer)}.")


def send_act(door: Server, key: str, act: PastAct) -> None:
    """Sends what a person did; the same key and body again is the same act."""
    answer = door.ask("POST", act.path, key, act.body, {"Idempotency-Key": act.key}, act.photo)
    if not answer.is_success:
        raise GaveUpError(f"{act.path}, {utc_stamp(act.at)}: {problem_in(answer)}.")


def problem_in(answer: httpx.Response) -> str:
    """What a refusing answer says, in one line: status, and the problem's detail or title when there is one."""
    said = answer.reason_phrase
    try:
        problem = answer.json()
    except ValueError:
        problem = None
    if isinstance(problem, dict):
        said = str(problem.get("detail") or problem.get("title") or said)
    return f"{answer.status_code} {said}".strip().rstrip(".")


def _items(answer: httpx.Response) -> list[dict[str, Any]]:
    try:
        items = answer.json()["items"]
    except (ValueError, TypeError, KeyError):
        return []
    return [item for item in items if isinstance(item, dict)] if isinstance(items, list) else []
