"""What forbids a job a start, as facts: a code with figures and ids. `scheduler.wording.plan` says them."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


class Because(StrEnum):
    """What kind of thing forbids a start."""

    CAPACITY = "capacity"
    HANDS = "hands"
    NO_WORK = "nobody at work"
    PUMP = "pump or branch in use"
    ORDER = "order of turns"
    FACT = "parts, needs, quiet hours or the end of the grid"


class BarCode(StrEnum):
    """The thing that forbids a start, and of which kind it is."""

    because: Because

    def __new__(cls, value: str, because: Because = Because.FACT) -> "BarCode":
        """A code with its kind."""
        made = str.__new__(cls, value)
        made._value_ = value
        made.because = because
        return made

    NO_START = "no start allowed", Because.FACT
    NOT_FINISHED = "not finished within the planned days", Because.FACT
    PARTS = "parts not aboard", Because.FACT
    NEED = "need not there", Because.FACT
    NO_QUIET = "no quiet hour", Because.FACT
    NOBODY = "nobody at work", Because.NO_WORK
    FEW_HANDS = "too few hands", Because.HANDS
    HANDS_ELSEWHERE = "hands at other jobs", Because.HANDS
    DAY_WORKED = "hands have worked their day", Because.HANDS
    MINIMUM = "below the minimum", Because.CAPACITY
    NUMBER = "too few pumps left", Because.CAPACITY
    PUMP_OPEN = "pump open", Because.PUMP
    BRANCH = "branch in use", Because.PUMP
    TEST_ON = "test on", Because.PUMP
    UNDER_TEST = "pump under test", Because.PUMP
    ALL_CLOSED = "every pump closed", Because.PUMP
    BEFORE = "turn before not finished", Because.ORDER
    AFTER = "turn after begun", Because.ORDER


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Bar:
    """One thing that forbids a start. keys: the other jobs that do, in the order of their `pumps`; none where no other job is to
    blame. label: of a minimum, of a stretch without work, or what is needed. needed, there: hands; minutes of a stop; how many
    of a branch may be open; hours a person works."""

    code: BarCode
    keys: tuple[str, ...] = ()
    pumps: tuple[str, ...] = ()
    label: str = ""
    needed: int = 0
    there: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Blocker:
    """Starts from `from_step` to `to_step` (end excluded) that one and the same thing forbids.

    starts: how many there are. lacking_litres_per_h: the most that lacks, 0 when it is not capacity.
    """

    from_step: int
    to_step: int
    starts: int
    bar: Bar
    lacking_litres_per_h: int = 0

    def shifted(self, steps: int) -> "Blocker":
        """The same on a grid that begins so many steps later."""
        return replace(self, from_step=self.from_step - steps, to_step=self.to_step - steps)


def merged(found: Iterable[Blocker]) -> tuple[Blocker, ...]:
    """Each thing once, from the first to the last start that it forbids; what forbids most comes first."""
    by_bar: dict[Bar, list[Blocker]] = {}
    for one in found:
        by_bar.setdefault(one.bar, []).append(one)
    whole = [
        Blocker(
            from_step=min(one.from_step for one in same),
            to_step=max(one.to_step for one in same),
            starts=sum(one.starts for one in same),
            bar=bar,
            lacking_litres_per_h=max(one.lacking_litres_per_h for one in same),
        )
        for bar, same in by_bar.items()
    ]
    return tuple(sorted(whole, key=lambda one: (-one.starts, one.from_step, one.bar)))
