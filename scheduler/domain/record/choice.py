"""Which records an export takes: by when they were recorded, due or done, by pump and job kind; said in words."""

import json
from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.record.chain import Record
from scheduler.domain.record.closed_job import ClosedJob


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What is taken; none or empty: all. Ends of periods are not included.

    from_at, to_at: recorded. due_*: the calendar due point of closed jobs. done_*: when closed jobs were done.
    pump: serial number or id. kind: name or code of the job kind.
    """

    from_at: datetime | None = None
    to_at: datetime | None = None
    due_from_at: datetime | None = None
    due_to_at: datetime | None = None
    done_from_at: datetime | None = None
    done_to_at: datetime | None = None
    pump: str = ""
    kind: str = ""

    def takes(self, record: Record) -> bool:
        """Whether a record is among them."""
        if not _within(record.recorded_at, self.from_at, self.to_at):
            return False
        if not self.narrowed:
            return True
        members = json.loads(record.text)
        if record.kind != ClosedJob.KIND:
            return False
        if self.pump and self.pump not in (members.get("pump_serial"), members.get("pump")):
            return False
        if self.kind and self.kind not in (members.get("job_kind"), str(members.get("job_no")).partition(":")[0]):
            return False
        for name, first, last in (
            ("due_at", self.due_from_at, self.due_to_at),
            ("done_at", self.done_from_at, self.done_to_at),
        ):
            if first is None and last is None:
                continue
            at = members.get(name)
            if at is None or not _within(datetime.fromisoformat(at), first, last):
                return False
        return True

    @property
    def narrowed(self) -> bool:
        """True when more than the period of recording narrows it: then it cannot be verified as a chain."""
        return bool(self.pump or self.kind) or any(
            at is not None for at in (self.due_from_at, self.due_to_at, self.done_from_at, self.done_to_at)
        )

    def words(self) -> str | None:
        """What was chosen, beyond the period of recording; none: nothing was left out."""
        if not self.narrowed:
            return None
        said = ["closed jobs only"]
        if self.pump:
            said.append(f"pump {self.pump}")
        if self.kind:
            said.append(f"job kind {self.kind}")
        for name, first, last in (
            ("due", self.due_from_at, self.due_to_at),
            ("done", self.done_from_at, self.done_to_at),
        ):
            if first is not None or last is not None:
                said.append(f"{name} {_span(first, last)}")
        return ", ".join(said)

    def due_within(self, due_at: datetime, now_at: datetime) -> bool:
        """Whether a due point lies in the period the export is about (due dates if given, else recording), and is past."""
        first, last = (
            (self.due_from_at, self.due_to_at)
            if self.due_from_at is not None or self.due_to_at is not None
            else (self.from_at, self.to_at)
        )
        return _within(due_at, first, min(last, now_at) if last is not None else now_at)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotDone:
    """A job that fell due in the period and was not done in it; done_at: when it was done after all.

    due_at: none where nobody knows when it was last done.
    """

    job: str
    position: str
    kind: str
    due_at: datetime | None
    limit_at: datetime | None
    state: str
    done_at: datetime | None


def not_done_then(record: Record, choice: Choice) -> NotDone | None:
    """A closed job that fell due in the period and was done after it ended; none otherwise."""
    end = choice.due_to_at or choice.to_at
    members = json.loads(record.text)
    due, done = members.get("due_at"), members.get("done_at")
    if end is None or due is None or done is None:
        return None
    due_at, done_at = datetime.fromisoformat(due), datetime.fromisoformat(done)
    if done_at < end or not choice.due_within(due_at, end):
        return None
    limit = members.get("limit_at")
    return NotDone(
        job=str(members.get("job_no")),
        position=str(members.get("position") or ""),
        kind=str(members.get("job_kind")),
        due_at=due_at,
        limit_at=None if limit is None else datetime.fromisoformat(limit),
        state="done later",
        done_at=done_at,
    )


def _within(at: datetime, first: datetime | None, last: datetime | None) -> bool:
    return (first is None or at >= first) and (last is None or at < last)


def _span(first: datetime | None, last: datetime | None) -> str:
    ends = (("from", first), ("to", last))
    return " ".join(f"{word} {at:%Y-%m-%d}" for word, at in ends if at is not None)
