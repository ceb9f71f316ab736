"""A batch of readings: sorted out item by item, handed to the one writer, answered after its commit."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise, repeat
from time import monotonic
from typing import Any, NamedTuple

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, instant
from scheduler.actions.hours.ledger import setups_of_vessel
from scheduler.domain.hours.accepting import EARLIEST_S, LATEST_S, Refusal, check_item, instant_s, skew_s, value_milli
from scheduler.domain.hours.ledger import START, LedgerState, Reading, Setup, fold, setup_at
from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.errors import BadRequest, Refused, TooLarge
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.intake import Intake, IntakeAnswer, LogItem, Post, Taken, Tell
from scheduler.storage.hours.ledger import newest_checkpoint
from scheduler.storage.hours.readings import Unstored
from scheduler.storage.shore.home import must_be_written_here

MOST_ITEMS = 1000
_GOOD_SECONDS = 2.0
_MOST_HOURS = 5000
_SHAPE = 'Send {"readings": [{"counter": "...", "observed_at": "2026-11-25T07:00:00Z", "value": 12006}]}.'
_CONFLICT = (
    "another value is stored for this instant and stays; this one is kept in the intake log. See whether two senders post "
    "this counter; if the stored one is wrong, mark it as a bad reading."
)
_PLACES = [f'{{"index":{index},"status":"' for index in range(MOST_ITEMS)]
_IN_THE_HOUR = {f"{second // 60:02}:{second % 60:02}Z": second for second in range(3600)}


class Known(NamedTuple):
    """A counter as the door knows it. setups: how it counts when, see `ledger.setups_of`."""

    no: int
    id: str
    setups: Sequence[tuple[int, Setup]]

    def setup(self, at_s: int) -> Setup:
        """How it counted at an instant (epoch seconds, put right by the sender's skew)."""
        return self.setups[-1][1] if len(self.setups) == 1 else setup_at(self.setups, at_s)


@dataclass(frozen=True, slots=True)
class KnownCounters:
    """A vessel's counters as they stood when looked up, and the last ledger state of those that have one."""

    vessel_id: str
    began: float
    counters: Mapping[str, Known]
    by_no: Mapping[int, Known]
    states: Mapping[int, LedgerState]


@dataclass(slots=True)
class Batch:
    """A batch sorted out. places: index in the batch of each reading handed to the writer; refused: index to sentence.

    unsure: it names a counter that is not among those last looked up; look again, then sort out anew.
    """

    look: KnownCounters
    received_s: int
    skew_seconds: int
    count: int
    readings: list[tuple[int, int, int, int]] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    refused: dict[int, str] = field(default_factory=dict)
    log: list[LogItem] = field(default_factory=list)
    unsure: bool = False


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What to answer item by item, in JSON, and the counters' last states before and after (none: not known)."""

    items: str
    before: Mapping[int, LedgerState | None]
    after: Mapping[int, LedgerState | None]


class ReadingDoor:
    """The readings' way in, one a server: knows the counters of each vessel for a moment, and each counter's last state.

    `look` reads the database, and it and `forget` may run in any thread; all else is quick and belongs to one thread.
    """

    def __init__(self, context: Context, intake: Intake) -> None:
        self._context = context
        self._intake = intake
        self._known: dict[str, KnownCounters] = {}
        self._states: dict[int, LedgerState] = {}
        self._behind: dict[int, float] = {}
        self._hours: dict[str, int] = {}

    def known(self, vessel_id: str) -> KnownCounters | None:
        """What was last looked up of the vessel, if that is good still."""
        look = self._known.get(vessel_id)
        return look if look is not None and monotonic() - look.began < _GOOD_SECONDS else None

    def look(self, vessel_id: str) -> KnownCounters:
        """The vessel's counters now, and the states of those whose ledger is up to date and not in memory."""
        began = monotonic()
        states: dict[int, LedgerState] = {}
        with self._context.db.read() as session:
            must_be_written_here(session, vessel_id)
            rows = counter_rows(session, vessel_id)
            setups = setups_of_vessel(session, vessel_id, rows)
            for row in rows:
                if row.no is None or row.no in self._states or row.dirty_from_s is not None:
                    continue
                kept = newest_checkpoint(session, row.no, self._context.now_s() + AHEAD_S + 1)
                state = START if kept is None else _state_of(kept.state)
                if state is not None and state.read_s == row.newest_s:
                    states[row.no] = state
        known = [Known(row.no, row.id, setups[row.no]) for row in rows if row.no is not None]
        return KnownCounters(vessel_id, began, {one.id: one for one in known}, {one.no: one for one in known}, states)

    def remember(self, look: KnownCounters) -> KnownCounters:
        """Go on with what a look found."""
        self._known[look.vessel_id] = look
        for no, state in look.states.items():
            # A reading answered since then without a state, or an event, is missing in this one.
            if self._behind.get(no, 0.0) < look.began:
                self._states.setdefault(no, state)
        return look

    def sort_out(self, look: KnownCounters, body: object) -> Batch:
        """The batch item by item; one bad item never stops the others.

        Raises:
            BadRequest: the body is not an object. Refused: no list of readings, or sent_at cannot be read.
            TooLarge: more than 1000 items.
        """
        if not isinstance(body, dict):
            raise BadRequest(f"The body is not a JSON object. {_SHAPE}")
        items = body.get("readings")
        if not isinstance(items, list):
            raise Refused(
                f"There is no list of readings in the body. {_SHAPE}", faults=[("/readings", "a list is expected.")]
            )
        if len(items) > MOST_ITEMS:
            raise TooLarge(f"{len(items)} readings in one batch; send at most {MOST_ITEMS} at a time.")
        received_s = self._context.now_s()
        batch = Batch(look, received_s, self._skew(body.get("sent_at"), received_s), len(items))
        known = look.counters
        hours, readings, places = self._hours, batch.readings, batch.places
        if len(hours) > _MOST_HOURS:
            hours.clear()
        plain = not batch.skew_seconds
        for index, item in enumerate(items):
            try:
                counter = known[item["counter"]]
                text = item["observed_at"]
                hour = text[:14]
                at_s = (hours.get(hour) or self._hour(hour)) + _IN_THE_HOUR[text[14:]]
                milli = value_milli(counter.setup(at_s), item["value"])
            except (KeyError, TypeError):
                self._sort(batch, index, item)
                continue
            if plain and milli.__class__ is int:
                places.append(index)
                readings.append((counter.no, at_s, milli, received_s))
            else:
                self._sort(batch, index, item)
        return batch

    def _hour(self, text: str) -> int:
        """The instant of `2026-11-25T07:`, remembered: a batch names the same few hours again and again.

        Raises:
            KeyError: it is none the ledger can use.
        """
        at_s = instant_s(f"{text}00:00Z")
        if not isinstance(at_s, int) or not EARLIEST_S <= at_s < LATEST_S:
            raise KeyError(text)
        self._hours[text] = at_s
        return at_s

    def _sort(self, batch: Batch, index: int, item: object) -> None:
        """The same with every case told apart, for an item that is not plain."""
        name = item.get("counter") if isinstance(item, dict) else None
        if not isinstance(item, dict) or not isinstance(name, str):
            return _refuse(batch, index, "?", f"Item {index} names no counter. {_SHAPE}", item)
        found = batch.look.counters.get(name)
        if found is None:
            batch.unsure = batch.unsure or monotonic() - batch.look.began > 0.1
            says = f"There is no counter {name[:80]!r} on this vessel. Check the id, or add it to the vessel's document first."
            return _refuse(batch, index, name, says, item)
        at_s = instant_s(item.get("observed_at"))
        setup = found.setup(at_s + batch.skew_seconds if isinstance(at_s, int) else 2**62)
        taken = check_item(setup, item, batch.skew_seconds)
        if isinstance(taken, Refusal):
            return _refuse(batch, index, name, taken.says, item)
        batch.places.append(index)
        batch.readings.append((found.no, taken.at_s, taken.value_milli, batch.received_s))
        return None

    def hand_in(self, batch: Batch, token: Any, tell: Tell) -> None:
        """Hand the batch to the writer; `tell` hears after the commit. Raises Busy when too much waits."""
        self._intake.hand_in(Post(batch.look.vessel_id, batch.readings, batch.log, batch.skew_seconds), token, tell)

    def foresee(self, batch: Batch) -> Reckoned:
        """The answer if every reading of the batch is new, worked out while the writer is busy with it."""
        return self._reckon(batch, [Taken.STORED] * len(batch.readings))

    def answered(self, batch: Batch, answer: IntakeAnswer, foreseen: Reckoned | None = None) -> bytes:
        """The answer's body in JSON: a status an item, the provisional verdict, the newest instant of each counter."""
        done = foreseen
        all_new = answer.doors.count(Taken.STORED) == len(answer.doors)
        if done is None or not all_new or any(self._states.get(no) is not was for no, was in done.before.items()):
            done = self._reckon(batch, answer.doors)
        for no, state in done.after.items():
            if state is None:
                self._states.pop(no, None)
                self._behind[no] = monotonic()
            else:
                self._states[no] = state
        by_no, skew = batch.look.by_no, batch.skew_seconds
        # in the sender's own time, so that it goes on from there; a stamp from the future is not among them
        newest = ",".join(
            f"{json.dumps(by_no[no].id)}:{_z(at_s - skew)}"
            for no, at_s in answer.newest_s.items()
            if no in by_no and at_s is not None
        )
        more = ""
        if skew:
            off = f"{abs(skew)} s {'behind' if skew > 0 else 'ahead of'}"
            says = (
                f"The sender's clock is {off} the server's. The readings are kept as stamped and counted at the instant put "
                "right by that. Set the sender's clock to UTC."
            )
            more = f',"clock_skew_seconds":{skew},"says":{json.dumps(says)}'
        return f'{{"server_at":{_z(batch.received_s)},"items":[{done.items}],"newest":{{{newest}}}{more}}}'.encode()

    def forget(self, counter_id: str) -> None:
        """The counter had an event: its last state and how it counts are looked up anew."""
        for vessel_id, look in list(self._known.items()):
            if counter_id in look.counters:
                no = look.counters[counter_id].no
                self._behind[no] = monotonic()
                self._states.pop(no, None)
                self._known.pop(vessel_id, None)

    def _reckon(self, batch: Batch, doors: Sequence[Taken]) -> Reckoned:
        """What the ledger makes of each stored reading so far; nothing where only a full derivation can tell."""
        by_counter: dict[int, list[int]] = {}
        tails = [_words(Taken.STORED)] * len(doors)
        for number, door in enumerate(doors):
            if door is Taken.STORED:
                by_counter.setdefault(batch.readings[number][0], []).append(number)
            elif door is Taken.CONFLICT:
                known = batch.look.by_no.get(batch.readings[number][0])
                why = json.dumps(f"{known.id}: {_CONFLICT}" if known else _CONFLICT)
                tails[number] = f'{door.value}","verdict":null,"why":{why}}}'
            else:
                tails[number] = _words(door)
        by_no = batch.look.by_no
        before = {no: self._states.get(no) for no in by_counter}
        after = {no: self._fold(by_no.get(no), before[no], batch, by_counter[no], tails) for no in by_counter}
        parts = [""] * batch.count
        for place, tail in zip(batch.places, tails, strict=True):
            parts[place] = _PLACES[place] + tail
        for index, says in batch.refused.items():
            parts[index] = f'{_PLACES[index]}refused","verdict":null,"why":{json.dumps(says)}}}'
        return Reckoned(",".join(parts), before, after)

    @staticmethod
    def _fold(
        known: Known | None, state: LedgerState | None, batch: Batch, numbers: list[int], tails: list[str]
    ) -> LedgerState | None:
        """One counter's state after its new readings, their verdicts put into `tails`; none when it cannot be told."""
        skew = batch.skew_seconds
        instants = [batch.readings[number][1] + skew for number in numbers]
        if any(late <= early for early, late in pairwise(instants)):
            numbers = sorted(numbers, key=lambda number: batch.readings[number][1])
            instants = [batch.readings[number][1] + skew for number in numbers]
        if state is None or known is None or (state.last_s is not None and instants[0] <= state.last_s):
            return None  # a late one, or behind one: the ledger is derived from before it
        values = [batch.readings[number][2] for number in numbers]
        readings = map(Reading, instants, values, repeat(batch.received_s), repeat(skew))
        folded = fold(known.setups[0][1], readings, state)
        entries = folded.entries + list(folded.state.pending)
        said = dict(zip([entry.at_s for entry in entries], entries, strict=True))
        verdict, reason, words = None, "", ""
        for number, at_s in zip(numbers, instants, strict=True):
            entry = said.get(at_s)
            if entry is None:
                continue
            if entry.verdict is not verdict or entry.reason is not reason:  # mostly the same as before
                verdict, reason = entry.verdict, entry.reason
                words = _words(Taken.STORED, verdict, reason)
            tails[number] = words
        return folded.state

    @staticmethod
    def _skew(sent_at: object, received_s: int) -> int:
        if sent_at is None:
            return 0
        sent_s = instant_s(sent_at, "sent_at")
        if isinstance(sent_s, Refusal):
            raise Refused(sent_s.says, faults=[("/sent_at", sent_s.says)])
        return skew_s(sent_s, received_s)


def vessel_of(actor: Actor) -> str:
    """The vessel whose readings this key may post.

    Raises:
        Refused: it belongs to none.
    """
    if actor.vessel_id is None:
        raise Refused("This key belongs to no vessel; readings need the counter key of their vessel.")
    return actor.vessel_id


@cache
def _words(door: Taken, verdict: str | None = None, reason: str = "") -> str:
    """How the answer for one item ends."""
    said = f"{verdict}: {reason}" if reason else verdict
    return f'{door.value}","verdict":{json.dumps(said)}}}'


def _state_of(text: str) -> LedgerState | None:
    try:
        return LedgerState.from_text(text)
    except ValueError:
        return None  # of another version: derived anew at the next tick


def _refuse(batch: Batch, index: int, counter: str, says: str, item: object) -> None:
    batch.refused[index] = says
    text = json.dumps(item, default=str)[:2000]
    batch.log.append(LogItem(counter[:200], batch.received_s, Unstored.REFUSED, says, text))


def _z(at_s: int) -> str:
    """The instant as JSON text."""
    return f'"{instant(at_s).isoformat()[:-6]}Z"'


def post(door: ReadingDoor, intake: Intake, actor: Actor, body: object) -> dict[str, Any]:
    """One batch through a door that nobody else uses, waited for."""
    batch = door.sort_out(door.remember(door.look(vessel_of(actor))), body)
    answer = intake.submit(batch.look.vessel_id, batch.readings, batch.log, batch.skew_seconds).result()
    told: dict[str, Any] = json.loads(door.answered(batch, answer))
    return told
