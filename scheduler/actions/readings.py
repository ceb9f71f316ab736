"""A batch of readings: sorted out item by item, handed to the one writer, answered after its commit."""

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from time import monotonic
from typing import Any, NamedTuple

from scheduler.actions.actor import Actor
from scheduler.actions.house import House, instant
from scheduler.actions.ledger import setups_of_vessel
from scheduler.domain.door import Refusal, check_item, instant_s, skew_s
from scheduler.domain.ledger import START, Entry, Reading, Setup, State, fold, setup_at
from scheduler.errors import BadRequest, Refused, TooLarge
from scheduler.storage import fleet_rows, ledger_rows
from scheduler.storage.intake import Answer, Door, Intake, LogItem
from scheduler.storage.tables import Unstored

MOST_ITEMS = 1000
_COUNTERS_GOOD_SECONDS = 2.0
_SHAPE = 'Send {"readings": [{"counter": "...", "observed_at": "2026-11-25T07:00:00Z", "value": 12006}]}.'


@dataclass(slots=True)
class Batch:
    """A batch sorted out. places: index in the batch of each reading handed to the writer; refused: index to sentence."""

    received_s: int
    skew_seconds: int
    count: int
    readings: list[tuple[int, int, int, int]] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    refused: dict[int, str] = field(default_factory=dict)
    log: list[LogItem] = field(default_factory=list)


class Known(NamedTuple):
    """A counter as the door knows it. setups: how it counts when, see `ledger.setups_of`."""

    no: int
    id: str
    setups: Sequence[tuple[int, Setup]]

    def setup(self, item: Mapping[str, object], skew_s: int) -> Setup:
        """How it counted when the item was observed."""
        if len(self.setups) > 1:
            at_s = instant_s(item.get("observed_at"))
            if isinstance(at_s, int):
                return setup_at(self.setups, at_s + skew_s)
        return self.setups[-1][1]


class ReadingDoor:
    """The readings' way in, one a server: knows the counters of each vessel for a moment, and each counter's last state."""

    def __init__(self, house: House, intake: Intake) -> None:
        self._house = house
        self._intake = intake
        self._known: dict[str, tuple[float, dict[str, Known]]] = {}
        self._states: dict[int, State] = {}
        self._stateless: dict[int, float] = {}

    def sort_out(self, actor: Actor, body: object) -> Batch:
        """The batch item by item; one bad item never stops the others.

        Raises:
            BadRequest: the body is not an object. Refused: no list of readings, or sent_at cannot be read.
            TooLarge: more than 1000 items.
        """
        vessel_id = actor.vessel_id
        if vessel_id is None:
            raise Refused("This key belongs to no vessel; readings need the counter key of their vessel.")
        if not isinstance(body, dict):
            raise BadRequest(f"The body is not a JSON object. {_SHAPE}")
        items = body.get("readings")
        if not isinstance(items, list):
            raise Refused(
                f"There is no list of readings in the body. {_SHAPE}", faults=[("/readings", "a list is expected.")]
            )
        if len(items) > MOST_ITEMS:
            raise TooLarge(f"{len(items)} readings in one batch; send at most {MOST_ITEMS} at a time.")
        received_s = self._house.now_s()
        batch = Batch(received_s, self._skew(body.get("sent_at"), received_s), len(items))
        known = self._counters(vessel_id)
        for index, item in enumerate(items):
            self._sort(batch, vessel_id, known, index, item)
        return batch

    def _sort(
        self,
        batch: Batch,
        vessel_id: str,
        known: Mapping[str, Known],
        index: int,
        item: object,
    ) -> None:
        name = item.get("counter") if isinstance(item, dict) else None
        if not isinstance(item, dict) or not isinstance(name, str):
            return _refuse(batch, index, "?", f"Item {index} names no counter. {_SHAPE}", item)
        found = known.get(name) or self._counters(vessel_id, anew=True).get(name)
        if found is None:
            says = f"There is no counter {name[:80]!r} on this vessel. Check the id, or add it to the vessel's document first."
            return _refuse(batch, index, name, says, item)
        taken = check_item(found.setup(item, batch.skew_seconds), item, batch.skew_seconds)
        if isinstance(taken, Refusal):
            return _refuse(batch, index, name, taken.says, item)
        self._recall(found)
        batch.places.append(index)
        batch.readings.append((found.no, taken.at_s, taken.value_milli, batch.received_s))
        return None

    def submit(self, actor: Actor, batch: Batch) -> "Future[Answer]":
        """Hand the batch to the writer. Raises Busy when too much waits."""
        assert actor.vessel_id is not None
        return self._intake.submit(actor.vessel_id, batch.readings, batch.log, batch.skew_seconds)

    def answered(self, actor: Actor, batch: Batch, answer: Answer) -> dict[str, Any]:
        """The answer's body: a status an item, the provisional verdict, the newest instant of each counter."""
        verdicts = self._verdicts(actor, batch, answer)
        items: list[dict[str, Any]] = [{}] * batch.count
        for place, door, verdict in zip(batch.places, answer.doors, verdicts, strict=True):
            items[place] = {"index": place, "status": door.value, "verdict": verdict}
            if door is Door.CONFLICT:
                items[place]["why"] = "another value is stored for this counter and instant; the first stays."
        for index, says in batch.refused.items():
            items[index] = {"index": index, "status": "refused", "verdict": None, "why": says}
        names = {known.no: name for name, known in self._known[actor.vessel_id or ""][1].items()}
        body: dict[str, Any] = {
            "server_at": _z(batch.received_s),
            "items": items,
            # in the sender's own time, so that it goes on from there; a stamp from the future is not among them
            "newest": {
                names[no]: _z(at_s - batch.skew_seconds)
                for no, at_s in answer.newest_s.items()
                if no in names and at_s is not None
            },
        }
        if batch.skew_seconds:
            body["clock_skew_seconds"] = batch.skew_seconds
            off = f"{abs(batch.skew_seconds)} s {'behind' if batch.skew_seconds > 0 else 'ahead of'}"
            body["says"] = (
                f"The sender's clock is {off} the server's. The readings are kept as stamped and counted at the instant put "
                "right by that. Set the sender's clock to UTC."
            )
        return body

    def forget(self, counter_id: str) -> None:
        """The counter had an event: its last state and how it counts are looked up anew."""
        for vessel_id, (_, known) in list(self._known.items()):
            if counter_id in known:
                self._states.pop(known[counter_id].no, None)
                self._stateless.pop(known[counter_id].no, None)
                self._known[vessel_id] = -_COUNTERS_GOOD_SECONDS, known

    def _verdicts(self, actor: Actor, batch: Batch, answer: Answer) -> list[str | None]:
        """What the ledger makes of each stored reading so far; none where only a full derivation can tell."""
        by_counter: dict[int, list[tuple[int, int]]] = {}
        skew = batch.skew_seconds
        for number, ((no, at_s, _, _), door) in enumerate(zip(batch.readings, answer.doors, strict=True)):
            if door is Door.STORED:
                by_counter.setdefault(no, []).append((at_s + skew, number))
        verdicts: list[str | None] = [None] * len(batch.readings)
        setups = {known.no: known.setups[0][1] for known in self._counters(actor.vessel_id or "").values()}
        for no, stored in by_counter.items():
            stored.sort()
            state = self._states.get(no)
            if state is None:
                continue
            if state.last_s is not None and stored[0][0] <= state.last_s:
                self._lose(no)  # a late one: the ledger is derived from before it
                continue
            items = [Reading(at_s, batch.readings[number][2], batch.received_s, skew) for at_s, number in stored]
            folded = fold(setups[no], items, state)
            self._states[no] = folded.state
            said: dict[int, Entry] = {entry.at_s: entry for entry in (*folded.entries, *folded.state.pending)}
            for at_s, number in stored:
                entry = said.get(at_s)
                if entry is not None:
                    verdicts[number] = f"{entry.verdict}: {entry.reason}" if entry.reason else str(entry.verdict)
        return verdicts

    def _recall(self, known: Known) -> None:
        """Have the counter's last state at hand before something is stored that leaves the ledger behind."""
        if known.no in self._states or monotonic() < self._stateless.get(known.no, 0.0):
            return
        state = self._stored_state(known)
        if state is None:
            self._lose(known.no)
        else:
            self._states[known.no] = state

    def _lose(self, counter_no: int) -> None:
        """Its ledger waits to be derived. Looked at again in a while: at every reading, it would hold up all others."""
        self._states.pop(counter_no, None)
        self._stateless[counter_no] = monotonic() + _COUNTERS_GOOD_SECONDS

    def _stored_state(self, known: Known) -> State | None:
        with self._house.db.read() as session:
            now = fleet_rows.counter(session, known.id)
            kept = ledger_rows.checkpoint(session, known.no, 2**62)
        if now is None or now.dirty_from_s is not None:
            return None
        try:
            return START if kept is None else State.from_text(kept.state)
        except ValueError:
            return None

    def _counters(self, vessel_id: str, *, anew: bool = False) -> dict[str, Known]:
        held = self._known.get(vessel_id)
        age = monotonic() - held[0] if held else _COUNTERS_GOOD_SECONDS
        if held is None or age >= _COUNTERS_GOOD_SECONDS or (anew and age > 0.1):
            with self._house.db.read() as session:
                rows = fleet_rows.counters(session, vessel_id)
                setups = setups_of_vessel(session, vessel_id, rows)
            held = monotonic(), {row.id: Known(row.no, row.id, setups[row.no]) for row in rows if row.no is not None}
            self._known[vessel_id] = held
        return held[1]

    @staticmethod
    def _skew(sent_at: object, received_s: int) -> int:
        if sent_at is None:
            return 0
        sent_s = instant_s(sent_at)
        if isinstance(sent_s, Refusal):
            says = sent_s.says.replace("observed_at", "sent_at")
            raise Refused(says, faults=[("/sent_at", says)])
        return skew_s(sent_s, received_s)


def _refuse(batch: Batch, index: int, counter: str, says: str, item: object) -> None:
    batch.refused[index] = says
    text = json.dumps(item, default=str)[:2000]
    batch.log.append(LogItem(counter[:200], batch.received_s, Unstored.REFUSED, says, text))


def _z(at_s: int) -> str:
    return instant(at_s).isoformat().replace("+00:00", "Z")


def store_now(house: House, actor: Actor, items: Sequence[Mapping[str, object]]) -> dict[str, Any]:
    """Store readings without a server (the command line): the same door and writer, one batch."""
    with Intake(house.db, house.clock) as intake:
        door = ReadingDoor(house, intake)
        batch = door.sort_out(actor, {"readings": list(items)})
        return door.answered(actor, batch, door.submit(actor, batch).result())
