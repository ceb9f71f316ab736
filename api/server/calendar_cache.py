"""Calendars ready to be sent: held in memory with their answers made up, and handed out before anything else is asked.

On SQLite what is held is good until anybody commits anything; on PostgreSQL, where that cannot be seen cheaply, the address and
the calendar's tag are looked up each time, and its body only where it is another. What was sent last is kept for when the
database does not answer.
"""

import hashlib
import logging
from dataclasses import dataclass, replace
from datetime import datetime

from starlette.types import ASGIApp, Receive, Scope, Send

from api.ics.http import calendar_answer, conditional, takes_gzip
from api.ics.writer import calendar_writer
from api.server.middleware import RAW, new_request_id
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses, calendars, refresh
from scheduler.actions.feed.addresses import AddressOpened
from scheduler.actions.feed.calendars import StoredCalendar
from scheduler.errors import Busy, Gone, NotFound, SchedulerError

log = logging.getLogger("leadline")

KEEP_SECONDS = 60
"""How long a calendar is handed out without a look at its address: as long as its use is not noted anew either."""
_MOST_HELD = 1000
_NAMES = {"plan.ics": False, "tasks.ics": True}

RawHeaders = list[tuple[bytes, bytes]]


@dataclass(frozen=True, slots=True)
class Ready:
    """A calendar and the three answers that can be given of it: in full, compressed (none: not asked for yet, or switched
    off), unchanged. The headers are all there but the request's id."""

    kept: StoredCalendar
    tag: bytes
    full: RawHeaders
    same: RawHeaders
    packed: tuple[bytes, RawHeaders] | None


def ready(kept: StoredCalendar, *, pack: bool) -> Ready:
    """The calendar with its answers."""
    full = calendar_answer({}, kept.body, kept.changed_at, etag=kept.etag)
    same = calendar_answer({"if-none-match": kept.etag}, kept.body, kept.changed_at, etag=kept.etag)
    packed = None
    if pack:
        zipped = calendar_answer({"accept-encoding": "gzip"}, kept.body, kept.changed_at, etag=kept.etag)
        packed = zipped.content, _raw(zipped.headers)
    return Ready(kept, kept.etag.encode(), _raw(full.headers), _raw(same.headers), packed)


def _raw(headers: dict[str, str]) -> RawHeaders:
    own = [(name.lower().encode(), value.encode("latin-1")) for name, value in headers.items()]
    there = {name for name, _ in own}
    return [*own, *(pair for pair in RAW if pair[0] not in there)]


class CalendarCache:
    """Calendars by the hash of the secret that opens them and whether they are of tasks."""

    def __init__(self, context: Context) -> None:
        self._context = context
        self._held: dict[tuple[bytes, bool], tuple[int | None, int, Ready]] = {}
        self._ready: dict[str, Ready] = {}

    def get(self, path: str) -> Ready | None:
        """What is held under `/cal/{secret}/{name}`, if it is good now; none also for any other path."""
        found = _key(path)
        held = self._held.get(found[0]) if found else None
        if held is None:
            return None
        mark, until_s, kept = held
        if mark is None or self._context.now_s() >= until_s or self._context.db.mark() != mark:
            return None
        return kept

    def fetch(self, secret: str, agent: str, *, tasks: bool, pack: bool) -> Ready:
        """The calendar that a secret opens now, read anew and held. Runs in a worker thread.

        Raises:
            NotFound, Gone: the address is not, or no longer, good. Busy: the database does not answer, and the calendar
            was not sent before.
        """
        key = hashlib.sha256(secret.encode()).digest(), tasks
        try:
            mark = self._context.db.mark()
            opened = addresses.open_address(self._context, secret, agent)
            there = self._as_stored(opened, tasks=tasks) if mark is None else None
            kept = there or refresh.served(
                self._context, calendar_writer(self._context.settings.shown_base_url()), opened, tasks=tasks
            )
        except (NotFound, Gone):
            self._held.pop(key, None)
            raise
        except Exception as error:
            held = self._held.get(key)
            log.warning("a calendar could not be read (%s); the last good one is served", type(error).__name__)
            if held is not None:
                return held[2]
            if isinstance(error, SchedulerError):
                raise
            raise Busy("The calendar cannot be read at the moment. Try again in a minute.") from error
        return self._put(key, mark, self._context.now_s() + KEEP_SECONDS, kept, pack=pack)

    def _as_stored(self, opened: AddressOpened, *, tasks: bool) -> StoredCalendar | None:
        """What is held of the calendar that an address opens, if that is what is stored, whichever server wrote it."""
        if opened.ended_at is not None:
            return None
        found = calendars.stored_tag(self._context, replace(opened.scope, tasks=tasks))
        there = None if found is None else self._ready.get(_named(*found))
        return None if there is None else there.kept

    def fill(self) -> None:
        """Hold every calendar that has an address, so that the first to ask is served even without the database."""
        for sha256, scope in addresses.good_addresses(self._context):
            kept = calendars.last_good(self._context, scope)
            if kept is not None:
                self._put((bytes.fromhex(sha256), scope.tasks), None, 0, kept, pack=False)

    def _put(
        self, key: tuple[bytes, bool], mark: int | None, until_s: int, kept: StoredCalendar, *, pack: bool
    ) -> Ready:
        name = _named(kept.etag, kept.changed_at)
        there = self._ready.get(name)
        if there is None or (pack and there.packed is None):
            there = ready(kept, pack=pack)
            self._ready[name] = there
        self._held.pop(key, None)
        while len(self._held) >= _MOST_HELD:
            self._held.pop(next(iter(self._held)))
        self._held[key] = mark, until_s, there
        if len(self._ready) > len(self._held) + 8:
            used = {id(held[2]) for held in self._held.values()}
            self._ready = {one: it for one, it in self._ready.items() if id(it) in used}
        return there


def _named(etag: str, changed_at: datetime) -> str:
    return f"{etag} {changed_at.timestamp()}"


def _key(path: str) -> tuple[tuple[bytes, bool], str] | None:
    if not path.startswith("/cal/"):
        return None
    secret, _, name = path[5:].partition("/")
    tasks = _NAMES.get(name)
    return None if tasks is None else ((hashlib.sha256(secret.encode()).digest(), tasks), secret)


class CalendarMiddleware:
    """The outermost layer: answers for a calendar that is held, and passes everything else on.

    Its answers carry every header that the layers inside would give. They are not logged: who used an address last is
    noted with the address.
    """

    def __init__(self, app: ASGIApp, shelf: CalendarCache, *, compress: bool) -> None:
        self.app = app
        self._shelf = shelf
        self._compress = compress

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Plain ASGI."""
        if scope["type"] != "http" or not scope["path"].startswith("/cal/"):
            await self.app(scope, receive, send)
            return
        method = scope["method"]
        found = None
        if not scope["query_string"] and method in ("GET", "HEAD"):
            try:
                found = self._shelf.get(scope["path"])
            except (SchedulerError, OSError):
                found = None
        if found is None:
            await self.app(scope, receive, send)
            return
        status, headers, content = 200, found.full, found.kept.body
        told = {name: value for name, value in scope["headers"] if name in _ASKED}
        tag = told.get(b"if-none-match")
        if tag == found.tag or (told and _unchanged(told, found)):
            status, headers, content = 304, found.same, b""
        elif self._compress and takes_gzip(told.get(b"accept-encoding", b"").decode("latin-1")):
            if found.packed is None:
                await self.app(scope, receive, send)
                return
            content, headers = found.packed
        request_id = (b"x-request-id", new_request_id().encode())
        await send({"type": "http.response.start", "status": status, "headers": [*headers, request_id]})
        await send({"type": "http.response.body", "body": b"" if method == "HEAD" else content})


_ASKED = frozenset({b"if-none-match", b"if-modified-since", b"accept-encoding"})


def _unchanged(told: dict[bytes, bytes], found: Ready) -> bool:
    words = {name.decode(): value.decode("latin-1") for name, value in told.items()}
    return conditional(words, found.kept.etag, found.kept.changed_at)
