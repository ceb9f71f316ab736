"""What was done aboard goes to the office: at once, or with its hour; whatever the link does, nothing twice and nothing lost."""

import logging
import random
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.shore import applying
from scheduler.actions.shore.joining import ship_key
from scheduler.domain.shore.line_state import FOR_A_PERSON, ShoreState
from scheduler.domain.shore.pace import FIRST_BYTES, fewer_bytes, more_bytes, wait_after
from scheduler.errors import BadRequest, SchedulerError
from scheduler.storage.database import Session
from scheduler.storage.migrate import newest
from scheduler.storage.shore.lines import ShoreLineRow, shore_line, shore_lines
from scheduler.storage.shore.outbox import batch_after, drop_packed, fitting_frame, hash_at, pack_away

log = logging.getLogger("leadline")

LOOK_SECONDS = 5.0
"""How often it is looked whether something does not wait for its hour."""
KEPT = timedelta(days=400)
"""So long the changes that the office has are kept, packed by the day."""
_OURS = frozenset({"gap", "parted", "newer", "home", "broken", "record chain", "foreign", "row", "other ship"})
_LONGEST_WORD = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class OfficeCall:
    """A request to the office. path: of her doors, with what stands behind; content: a frame; body: JSON instead."""

    address: str
    key: str
    method: str
    path: str
    content: bytes | None = None
    body: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OfficeReply:
    """What the office answers. body: its JSON object, empty when it is none. retry_after: seconds it asks for."""

    status: int
    body: Mapping[str, Any]
    retry_after: float | None = None


class NotReached(Exception):
    """No answer came. why: a word of the network's; cut: the office was there, and the connection broke off."""

    def __init__(self, why: str, *, cut: bool = False) -> None:
        super().__init__(why)
        self.why, self.cut = why, cut


Office = Callable[[OfficeCall], OfficeReply]
"""Asks the office. Raises NotReached."""


@dataclass(slots=True)
class Sending:
    """Sends what waits of all vessels here that have joined an office, one batch a turn.

    Args:
        office: asks it. chance: gives 0 to 1.
    """

    context: Context
    office: Office
    chance: Callable[[], float] = random.random
    _failures: dict[str, int] = field(default_factory=dict)
    _not_before: dict[str, float] = field(default_factory=dict)
    _failed_bytes: dict[str, int] = field(default_factory=dict)
    _packed: dict[str, str] = field(default_factory=dict)

    def turn(self) -> float:
        """Do what is due now; seconds until the next turn, at most `LOOK_SECONDS`. Never raises for what a link or office does."""
        with self.context.db.read() as session:
            lines = [line for line in shore_lines(session) if not line.joining]
        waits = [LOOK_SECONDS]
        for line in lines:
            try:
                waits.append(self._line(line))
            except SchedulerError as error:
                log.warning("the line of %s waits: %s", line.vessel_id, error.says)
        return max(0.0, min(waits))

    def _line(self, line: ShoreLineRow) -> float:
        now_s = self.context.clock().timestamp()
        not_before = self._not_before.get(line.vessel_id, 0.0)
        if now_s < not_before:
            return min(not_before - now_s, LOOK_SECONDS)
        if not self._due(line):
            return LOOK_SECONDS
        try:
            key = ship_key(Path(line.key_file))
        except BadRequest:
            self._say(line, ShoreState.KEY, code="no key file")
            return LOOK_SECONDS
        try:
            return self._rejoin(line, key) if line.state == ShoreState.PARTED else self._send(line, key)
        except LookupError:  # the office is behind what is kept here: it has to be joined anew
            self._say(line, ShoreState.REFUSED, code="too old")
            return LOOK_SECONDS

    def _due(self, line: ShoreLineRow) -> bool:
        """Whether something goes now: it does not wait, is on its way already, or its hour is over."""
        hour = timedelta(minutes=self.context.settings.office_minutes)
        if line.tried_at is None or self.context.now() - line.tried_at >= hour:
            return True
        if ShoreState(line.state) in FOR_A_PERSON:
            return False
        if line.state == ShoreState.AWAY:
            return True  # at the pace of the failures
        if line.reached_at is None or self.context.now() - line.reached_at >= hour:
            return True
        return line.urgent > line.acknowledged or (line.number > line.acknowledged and bool(line.facts.get("more")))

    def _send(self, line: ShoreLineRow, key: str) -> float:
        rate = line.rate_bytes or FIRST_BYTES
        with self.context.db.read() as session:
            batch = batch_after(session, line, line.acknowledged, rate)
            answered = applying.fetched_numbers(session, line.vessel_id)
        batch = replace(
            batch, sent_at=self.context.now_s(), answered=answered, schema=batch.schema if batch.changes else newest()
        )
        batch, frame = fitting_frame(batch)
        try:
            reply = self._ask(line, key, "POST", "changes", content=frame)
        except NotReached as error:
            return self._failed(line, rate, None, cut=error.cut, why=error.why)
        number, its_hash = _number(reply), reply.body.get("hash")
        if reply.status == 200 and number is not None and isinstance(its_hash, str):
            grown = more_bytes(rate, self._failed_bytes.get(line.vessel_id)) if batch.ends < line.number else rate
            if not self._acknowledged(line, number, its_hash, grown):
                return LOOK_SECONDS
            requests = reply.body.get("requests")
            applying.take_in(self.context, line.vessel_id, requests if isinstance(requests, list) else [])
            self._tidy(line.vessel_id)
            return 0.0 if number < line.number else LOOK_SECONDS
        return self._refused(line, key, reply, rate, len(batch.changes))

    def _refused(self, line: ShoreLineRow, key: str, reply: OfficeReply, rate: int, sent: int) -> float:
        code, number = reply.body.get("code"), _number(reply)
        if reply.status == 409 and code == "gap" and number is not None:
            self._acknowledged(line, number, str(reply.body.get("hash", "")), rate)
            return 0.0 if number != line.acknowledged else LOOK_SECONDS
        if reply.status == 409 and code == "parted":
            self._say(line, ShoreState.PARTED, code="parted")
            return self._rejoin(line, key)
        if reply.status == 413 and sent > 1:
            return self._failed(line, rate, None, status=413)
        if reply.status in (409, 413, 422):
            facts: dict[str, Any] = {"code": code if code in _OURS else "other", "status": reply.status}
            if number is not None:
                facts["number"] = number
            self._say(line, ShoreState.REFUSED, **facts)
            return LOOK_SECONDS
        if reply.status in (401, 403, 404):
            self._say(line, ShoreState.KEY, code="not known", status=reply.status)
            return LOOK_SECONDS
        return self._failed(line, rate, reply.retry_after, status=reply.status)

    def _rejoin(self, line: ShoreLineRow, key: str) -> float:
        """Asks whether the office goes on with this life; until a person there has said so it does not."""
        number, its_hash = line.parent_number, line.parent_hash
        if not line.parent_life:
            with self.context.db.read() as session:
                number, its_hash = line.acknowledged, hash_at(session, line, line.acknowledged)
        body = {"life": line.life, "number": number, "hash": its_hash}
        try:
            reply = self._ask(line, key, "POST", "rejoin", body=body)
        except NotReached:
            self._say(line, ShoreState.PARTED, code="parted")
            return LOOK_SECONDS
        goes_on = _number(reply)
        if reply.status == 200 and goes_on is not None:
            self._acknowledged(line, goes_on, str(reply.body.get("hash", "")), line.rate_bytes)
            return 0.0
        if reply.status in (401, 403, 404):
            self._say(line, ShoreState.KEY, code="not known", status=reply.status)
        else:
            self._say(line, ShoreState.PARTED, code="parted")
        return LOOK_SECONDS

    def _ask(self, line: ShoreLineRow, key: str, method: str, door: str, **sent: Any) -> OfficeReply:
        path = f"/api/v1/ships/{line.vessel_id}/{door}"
        return self.office(OfficeCall(address=line.address, key=key, method=method, path=path, **sent))

    def _acknowledged(self, before: ShoreLineRow, number: int, its_hash: str, rate: int) -> bool:
        """The office has what it has up to a number; false, and a person has to look, where that is another history than ours."""
        with self.context.db.write(before.vessel_id) as session:
            line = _there(session, before)
            if line is None:
                return False
            try:
                ours = number <= line.number and hash_at(session, line, number) == its_hash
            except LookupError:
                _put(line, self.context, ShoreState.REFUSED, {"code": "too old", "number": number})
                session.add(line)
                return False
            if not ours:
                _put(line, self.context, ShoreState.PARTED, {"code": "parted", "number": number})
                session.add(line)
                return False
            line.acknowledged, line.rate_bytes = number, rate
            _put(line, self.context, ShoreState.REACHED, {"more": number < line.number})
            line.reached_at = self.context.now()
            session.add(line)
        self._failures.pop(before.vessel_id, None)
        self._not_before.pop(before.vessel_id, None)
        return True

    def _failed(self, line: ShoreLineRow, rate: int, asked: float | None, *, cut: bool = False, **facts: Any) -> float:
        failures = self._failures[line.vessel_id] = self._failures.get(line.vessel_id, 0) + 1
        self._failed_bytes[line.vessel_id] = rate
        wait = wait_after(failures, asked, self.chance(), cut=cut)
        self._not_before[line.vessel_id] = self.context.clock().timestamp() + wait
        self._say(line, ShoreState.AWAY, rate=fewer_bytes(rate), **facts)
        return min(wait, LOOK_SECONDS)

    def _say(self, before: ShoreLineRow, state: ShoreState, rate: int | None = None, **facts: Any) -> None:
        with self.context.db.write(before.vessel_id) as session:
            line = _there(session, before)
            if line is not None:
                _put(line, self.context, state, {name: _short(value) for name, value in facts.items()})
                line.rate_bytes = line.rate_bytes if rate is None else rate
                session.add(line)

    def _tidy(self, vessel_id: str) -> None:
        """Once a day, what the office has of the days before is packed, and what is too old dropped."""
        now = self.context.now()
        midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
        if self._packed.get(vessel_id) == f"{midnight:%F}":
            return
        packed = 1
        while packed:
            with self.context.db.write(vessel_id) as session, suppress(LookupError):  # then it stays as it is
                line, packed = shore_line(session, vessel_id), 0
                packed = 0 if line is None else pack_away(session, line, midnight)
                if not packed:
                    drop_packed(session, vessel_id, now - KEPT)
        self._packed[vessel_id] = f"{midnight:%F}"


def _there(session: Session, before: ShoreLineRow) -> ShoreLineRow | None:
    """The line as it is now; none where it is another life by now."""
    line = shore_line(session, before.vessel_id)
    return line if line is not None and line.life == before.life else None


def _put(line: ShoreLineRow, context: Context, state: ShoreState, facts: Mapping[str, Any]) -> None:
    now = context.now()
    if state not in FOR_A_PERSON:
        line.refused_at = None
    elif line.refused_at is None or line.state != state:
        line.refused_at = now
    line.tried_at, line.state, line.facts = now, state.value, dict(facts)


def _number(reply: OfficeReply) -> int | None:
    """The number of a change that the answer names, none where it names none that can be."""
    value = reply.body.get("number")
    return value if type(value) is int and 0 <= value < 2**62 else None


def _short(value: Any) -> Any:
    return value[:_LONGEST_WORD] if isinstance(value, str) else value
