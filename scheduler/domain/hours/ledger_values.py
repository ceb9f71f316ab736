"""The words of the running-hours ledger: what goes in, what comes out, and the state in between.

Whole seconds and whole thousandths of a count everywhere, so that sums never drift. `Reading` and `Entry` are named
tuples because there are very many of them: a database row goes in and out as it is.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple, Self, TypeVar

from scheduler.domain.vessel.document import Counter

T = TypeVar("T")
Scale = tuple[int, int | None, int]
"""Seconds per count, modulus, resolution in thousandths: a `Setup` without its name."""

Facts = Mapping[str, int | str]
"""Figures and instants of a flag by their names; "says" alone is the sentence of a flag from before there were facts."""

FORMAT = 4
"""Version of `State.to_text`. Version 3 had sentences in its flags, which stay; 2 knew no `nought`, and is read as without; one
of another version is thrown away and derived anew."""


class LedgerVerdict(StrEnum):
    """What the ledger made of a reading or event. HELD always says why; HELD and RESET may change with later readings."""

    CREDITED = "credited"
    BASELINE = "baseline"
    JITTER = "jitter"
    ROLLOVER = "rollover"
    RESET = "reset"
    GLITCH = "glitch"
    SPIKE = "spike"
    HELD = "held"
    REPLACEMENT = "replacement"
    RESCALE = "rescale"
    ADJUSTMENT = "adjustment"
    OPENING = "opening"


class VerdictReason(StrEnum):
    """The reason beside a verdict, empty where the verdict says all."""

    PLAIN = ""
    IMPOSSIBLE = "impossible"
    DECREASE = "decrease"
    FUTURE = "future"
    FOLLOWS_HELD = "follows a held reading"
    ERRATIC = "erratic"
    LOWER_BOUND = "lower bound"
    MARKED_BAD = "marked bad by a person"
    DECIDED = "decided by a person"
    FINAL_UNKNOWN = "final value not known"
    FINAL_DOES_NOT_FIT = "final value does not fit"


class Code(StrEnum):
    """What a flag is about."""

    HELD = "held"
    ERRATIC = "erratic"
    FUTURE = "future"
    SPIKE = "spike"
    RESET = "reset"
    GLITCH = "glitch"
    REPLACEMENT = "replacement"
    CLOCK = "clock"
    CLOCK_RIGHT = "clock right"
    """Closes the flag about the clock before it."""
    DECISION = "decision"
    SILENT = "silent"
    STANDING = "standing"
    SOURCES = "sources differ"
    CONFLICT = "conflict"


WATCHED = frozenset({Code.SILENT, Code.STANDING, Code.SOURCES, Code.CONFLICT})
"""Flags that the watch raises and takes back, and no derivation touches."""


@dataclass(frozen=True, slots=True)
class Setup:
    """How a counter counts.

    seconds_per_count: 3600 for an hour register, 60 for minutes. modulus: counts at which it starts again at 0, none if
    it does not. resolution_milli: its smallest step in thousandths of a count. name: how a refused item calls it.
    """

    seconds_per_count: int
    modulus: int | None
    resolution_milli: int
    name: str = "The counter"

    def __post_init__(self) -> None:
        if self.seconds_per_count < 1 or self.resolution_milli < 1 or (self.modulus is not None and self.modulus < 1):
            raise ValueError(f"{self.name}: seconds per count, resolution and modulus must be above 0")

    @classmethod
    def of(cls, counter: Counter) -> Self:
        """The set-up of a counter of the vessel document: how it counted when first set up."""
        return cls(counter.seconds_per_count, counter.modulus, max(1, round(counter.resolution * 1000)), counter.id)

    def scaled(self, scale: Scale | None) -> "Setup":
        """The same counter on another scale; none leaves it as it is."""
        return self if scale is None else Setup(*scale, self.name)

    def seconds(self, value_milli: int) -> int:
        """Whole seconds that a value stands for, rounded down; differences of it never drift."""
        return value_milli * self.seconds_per_count // 1000

    @property
    def scale(self) -> Scale:
        """The same without the name."""
        return self.seconds_per_count, self.modulus, self.resolution_milli

    @property
    def resolution_seconds(self) -> int:
        """The smallest step in seconds, rounded up."""
        return -(-self.resolution_milli * self.seconds_per_count // 1000)

    @property
    def modulus_seconds(self) -> int | None:
        """Seconds after which the counter starts again at 0, or none."""
        return None if self.modulus is None else self.modulus * self.seconds_per_count


class Reading(NamedTuple):
    """What a counter showed. value_milli: counts x 1000. received_s: when it came in, epoch seconds UTC.

    at_s: when it was observed, put right by skew_s, the seconds by which the sender's clock was behind ours when it was
    sent (0 within 5 minutes, negative ahead). The stored reading keeps the stamp it came with (rule R12).
    """

    at_s: int
    value_milli: int
    received_s: int
    skew_s: int = 0


@dataclass(frozen=True, slots=True)
class BadReading:
    """A person's word that the reading at exactly this instant is not to be used (rule R17)."""

    at_s: int


@dataclass(frozen=True, slots=True)
class StepDecision:
    """A person's word that the counter was set at exactly this reading: it counts credit_s, and the count goes on from it."""

    at_s: int
    credit_s: int


@dataclass(frozen=True, slots=True)
class OpeningBalance:
    """Seconds run before the first reading (rule R4)."""

    at_s: int
    seconds: int


@dataclass(frozen=True, slots=True)
class Replacement:
    """The counter was exchanged: what the old one showed at the end (none: not known), what the new one started at."""

    at_s: int
    old_final_milli: int | None
    new_first_milli: int


@dataclass(frozen=True, slots=True)
class Rescale:
    """The counter counts otherwise from here on: scale, modulus, smallest step (rule R15). Never inferred from values.

    What the old scale showed at the end, in old counts (none: not known), and what the new one starts at, in new counts.
    """

    at_s: int
    old_final_milli: int | None
    new_first_milli: int
    seconds_per_count: int
    modulus: int | None
    resolution_milli: int

    @property
    def scale(self) -> "Scale":
        """How it counts from here on."""
        return self.seconds_per_count, self.modulus, self.resolution_milli


@dataclass(frozen=True, slots=True)
class Adjustment:
    """Seconds that a person adds (or takes away); undone by the opposite adjustment (rule R16)."""

    at_s: int
    seconds: int


Event = BadReading | StepDecision | OpeningBalance | Replacement | Rescale | Adjustment
Item = Reading | Event

RANK: dict[type, int] = {
    BadReading: 0,
    StepDecision: 1,
    OpeningBalance: 2,
    Replacement: 3,
    Rescale: 4,
    Adjustment: 5,
    Reading: 6,
}
"""Order of items at one instant: a person's word first, the reading last (so it is the new counter's after an exchange)."""


class Entry(NamedTuple):
    """One line of the ledger: one for each reading, replacement, rescale, adjustment and opening balance.

    credit_s: seconds it adds. total_s: seconds counted by the counter so far, none where the value is not used (held,
    spike, glitch, marked bad) and for adjustments and opening balances, whose credit is summed apart (`given`).
    """

    at_s: int
    credit_s: int
    total_s: int | None
    verdict: LedgerVerdict
    reason: str


class Flag(NamedTuple):
    """Something an engineer should look at. at_s: the reading or event it is about. seconds: running time in question.

    facts: what its sentence needs, see `ledger_flags` and `watch`.
    """

    code: Code
    at_s: int
    seconds: int
    facts: Facts


class Good(NamedTuple):
    """The last reading the count rests on, and how far the count had come.

    run_s: seconds counted so far. The anchor is the first reading or one at least 24 h back; what is credited since the
    anchor gets one tolerance (rule R5). The next anchor takes its place once it is 24 h back. rose_s: last increase.
    """

    at_s: int
    value_milli: int
    run_s: int
    anchor_at_s: int
    anchor_run_s: int
    next_at_s: int
    next_run_s: int
    rose_s: int


@dataclass(frozen=True, slots=True)
class LedgerState:
    """All the fold remembers. Small, frozen, and the same however the readings before were cut into pieces.

    good: the reading the count rests on. before: where it rested before a reset that is not yet confirmed. lines: the
    newest reading of each run of held readings. word: a person's word on the reading at an instant (instant, credit or
    none for bad). pending and open: entries and flags that later items may still change. skew_s: how far off the
    sender's clock was last said to be. scale: how the counter counts since a rescale; none, as first set up. nought: where the
    count rested when, after a reset that is not yet confirmed, a zero came.
    """

    last_s: int | None = None
    last_rank: int = 0
    read_s: int | None = None
    good: Good | None = None
    before: Good | None = None
    lines: tuple[tuple[int, int], ...] = ()
    word: tuple[int, int | None] | None = None
    ahead: bool = False
    given_s: int = 0
    pending: tuple[Entry, ...] = ()
    open: tuple[Flag, ...] = ()
    skew_s: int = 0
    scale: Scale | None = None
    nought: Good | None = None

    @property
    def run_s(self) -> int:
        """Seconds counted by the counter so far."""
        return 0 if self.good is None else self.good.run_s

    @property
    def total_s(self) -> int:
        """Seconds so far, opening balance and adjustments included."""
        return self.run_s + self.given_s

    @property
    def undecided(self) -> bool:
        """True while something is held or a reset is not confirmed: hours are then projected (rule R23)."""
        return bool(self.lines) or self.before is not None

    def to_text(self) -> str:
        """This state as one line of JSON, for a checkpoint."""
        values = [getattr(self, name) for name in self.__slots__]
        return json.dumps([FORMAT, *values], separators=(",", ":"), ensure_ascii=False)

    @classmethod
    def from_text(cls, text: str) -> Self:
        """The state a text was made from.

        Raises:
            ValueError: it is of another version or damaged; throw it away and derive from an older one or from START.
        """
        try:
            version, *values = json.loads(text)
            if version == 2:
                values.append(None)
            elif version not in (3, FORMAT):
                raise ValueError("another version")
            if version != FORMAT:
                values[10] = [(code, at, seconds, {"says": says}) for code, at, says, seconds in values[10]]
            last, rank, read, good, before, lines, word, ahead, given, pending, flags, skew, scale, nought = values
            return cls(
                last,
                rank,
                read,
                _or_none(good, Good._make),
                _or_none(before, Good._make),
                tuple((at, milli) for at, milli in lines),
                _or_none(word, lambda pair: (pair[0], pair[1])),
                ahead,
                given,
                tuple(Entry(at, credit, total, LedgerVerdict(said), why) for at, credit, total, said, why in pending),
                tuple(Flag(Code(code), at, seconds, facts) for code, at, seconds, facts in flags),
                skew,
                _or_none(scale, lambda three: (three[0], three[1], three[2])),
                _or_none(nought, Good._make),
            )
        except (ValueError, TypeError) as fault:
            raise ValueError(
                f"This checkpoint cannot be used ({fault}); derive from an older one or from the start"
            ) from fault


def _or_none(value: Any, make: Callable[[Any], T]) -> T | None:
    return None if value is None else make(value)


START = LedgerState()
"""Before the first item."""
