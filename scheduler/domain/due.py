"""Due jobs: which occurrence falls due when, by hours or calendar, and what state it is in."""

from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.forecast import Forecast
from scheduler.domain.words import State, Trigger


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Occurrence:
    """One turn of a job kind on one subject; exists before it is opened. sequence counts from 1 and never skips.

    The key text, `kind:subject:sequence`, is the occurrence's name everywhere.
    """

    kind: str
    subject: str
    sequence: int

    @property
    def key(self) -> str:
        """`kind:subject:sequence`."""
        return f"{self.kind}:{self.subject}:{self.sequence}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A turn that was done (or renewed by another job): where the next interval starts."""

    occurrence: Occurrence
    done_at: datetime
    running_seconds: int
    """Of the subject at that time; 0 for a plant, which has no hours."""
    estimated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DueJob:
    """An occurrence with its original due point, kept apart from its limit.

    due_running_seconds / limit_running_seconds: reading of the subject's hours at which it falls due / must be done;
    none when the kind has no running-hour interval. calendar_due_at: due point of the calendar interval, or none.
    due_at: the earlier of the calendar point and the likely date of the hours. window_opens_at and limit_at go with it.
    first: this is the open occurrence of its subject and kind; later ones (the outlook) rest on it being done as due.
    forecast: of the running hours, none for a calendar-only kind. running_seconds_left may be negative.
    pump and position: where the subject is now (both none for a plant's job, or a part ashore).
    """

    occurrence: Occurrence
    kind_name: str
    pump: str | None
    position: str | None
    takes_hours: int
    hands: int
    takes_pump_out: bool
    due_at: datetime
    window_opens_at: datetime
    limit_at: datetime
    trigger: Trigger
    state: State
    first: bool
    due_running_seconds: int | None = None
    limit_running_seconds: int | None = None
    running_seconds_left: int | None = None
    since_seconds: int | None = None
    """Running seconds of the subject since it was last done."""
    interval_seconds: int | None = None
    calendar_due_at: datetime | None = None
    calendar_start_at: datetime | None = None
    """Where the calendar interval started (last done)."""
    forecast: Forecast | None = None
    hours_as_of: datetime | None = None
    estimated: bool = False
    postponed_to: datetime | None = None
