"""What stands against taking what a ship sent, as facts; and how what an older program wrote is raised to this one's tables."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Any


class AgainstTaking(StrEnum):
    """Why nothing of a batch was taken. The value is what the ship's server reads."""

    BROKEN = "broken"
    """The frame cannot be read, or its chain does not hold; `fault` says how."""
    OTHER_SHIP = "other ship"
    HOME = "home"
    """The vessel is written at the office."""
    NEWER = "newer"
    """The ship's program is newer than the office's."""
    GAP = "gap"
    """It begins after what is held: the ship goes back to it."""
    PARTED = "parted"
    """Another life of the ship, or another history of the same one."""
    RECORD_CHAIN = "record chain"
    """A record does not continue the vessel's history."""
    FOREIGN = "foreign"
    """An id is another vessel's."""
    ROW = "row"
    """A row that this program's tables do not take."""


class NotTaken(Exception):
    """Nothing of a batch was taken: why, with its figures (number of the change, ids, the other vessel)."""

    def __init__(self, why: AgainstTaking, **figures: Any) -> None:
        super().__init__(why.value, figures)
        self.why, self.figures = why, figures


Rows = Sequence[tuple[str, str, dict[str, Any]]]
"""Table, "put" or "gone", and values of each row of a change."""
Raiser = Callable[[str, str, dict[str, Any]], Iterable[tuple[str, str, dict[str, Any]]]]
"""What a row as written before a migration step is after it: none, one or several rows."""

RAISERS: Mapping[str, Raiser] = {}
"""By migration step, what it does to rows that travel; a step that changes none of them, or adds columns with a default, has none."""


def raised_rows(rows: Rows, schema: str, raisers: Mapping[str, Raiser] = RAISERS) -> Rows:
    """The rows of a change as this program's tables have them.

    Args:
        schema: migration step of the ship that wrote them, no newer than this program's.
    """
    for step in sorted(step for step in raisers if step > schema):
        rows = [raised for table, act, values in rows for raised in raisers[step](table, act, values)]
    return rows
