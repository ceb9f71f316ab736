"""What one calendar shows: whose jobs, which kinds, as events or as tasks, and what is left out when they do not fit."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.domain.base.enums import JobState

MOST_EVENTS, MOST_OCTETS = 1000, 1_000_000
"""Clients and ships' links take no more: a calendar stays within both."""

OUT = "pump-out/"
"""Begins the key of an entry of a pump that is out."""
ALARM_HOUR, FIRST_ALARM, LAST_ALARM = 18, 6, 21
"""Ship's hour at which reminders ring unless the owner chose another, and the first and last to choose: none at night."""
_LATE = (JobState.PAST_DUE.value, JobState.PAST_LIMIT.value, JobState.NOT_KNOWN.value)
_CLOSED = (JobState.DONE.value, JobState.WITHDRAWN.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """vessel_id none: the whole fleet. kinds: codes in order, none for all. alarms: with reminders, at `alarm_hour` of the ship on
    the evening before. days_ahead: open jobs of so many days only, and no closed ones; none: all. tasks: as tasks."""

    vessel_id: str | None
    alarms: bool = False
    kinds: tuple[str, ...] | None = None
    tasks: bool = False
    alarm_hour: int = ALARM_HOUR
    days_ahead: int | None = None

    @property
    def name(self) -> str:
        """What the calendar is kept under, beside its vessel.

        >>> Scope(vessel_id="plover").name, Scope(vessel_id=None, alarms=True, kinds=("a", "b"), tasks=True).name
        ('plan', 'tasks alarms kinds=["a", "b"]')
        """
        parts = ["tasks" if self.tasks else "plan"]
        if self.alarms:
            parts.append("alarms" if self.alarm_hour == ALARM_HOUR else f"alarms={self.alarm_hour}")
        if self.days_ahead is not None:
            parts.append(f"days={self.days_ahead}")
        if self.kinds is not None:
            parts.append(f"kinds={json.dumps(self.kinds)}")
        return " ".join(parts)

    def takes(self, key: str) -> bool:
        """Whether the occurrence with that key (`kind:subject:number`) is of a kind that is shown."""
        if key.startswith(OUT):  # nothing to do, and of no kind
            return self.kinds is None and not self.tasks
        return self.kinds is None or key.partition(":")[0] in self.kinds

    def shows(self, state: str, starts_s: float, now_s: float) -> bool:
        """Whether a job in that state, shown from that second on, stands in it now."""
        if self.days_ahead is None:
            return True
        return state not in _CLOSED and (state in _LATE or starts_s < now_s + self.days_ahead * 86_400)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A job of a calendar, ready: its state's word, the epoch second it starts, its key, its text."""

    state: str
    starts_s: float
    key: str
    text: str


LATE_RANK, OPEN_RANK, OVER_RANK = 0, 1, 2


def urgency(state: str, starts_s: float, key: str) -> tuple[int, float, str]:
    """Sort key by what matters most now: past due first, then open jobs by date, then the newest of what is over."""
    over = state in _CLOSED
    return LATE_RANK if state in _LATE else OVER_RANK if over else OPEN_RANK, -starts_s if over else starts_s, key


def fitting(
    pieces: Sequence[Piece], *, most: int = MOST_EVENTS, octets: int = MOST_OCTETS
) -> tuple[tuple[Piece, ...], int]:
    """The pieces that fit, by date, and how many did not: those that matter least now are left out first.

    Args:
        most: events that may stand in the calendar. octets: what their texts may take in UTF-8.
    """
    kept: list[Piece] = []
    for piece in sorted(pieces, key=lambda one: urgency(one.state, one.starts_s, one.key)):
        octets -= len(piece.text.encode())
        if len(kept) == most or octets < 0:
            break
        kept.append(piece)
    return tuple(sorted(kept, key=lambda one: (one.starts_s, one.key))), len(pieces) - len(kept)
