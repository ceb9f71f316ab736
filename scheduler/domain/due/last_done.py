"""When a job was last done, as far as that is known: jobs by kind, subject and number, and where their intervals start."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

from scheduler.domain.base.enums import Subject
from scheduler.domain.due.intervals import calendar_due, interval_seconds
from scheduler.domain.due.subjects import Key, renewals, subjects_of
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind, LastDone


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class JobId:
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

    job_id: JobId
    done_at: datetime
    running_seconds: int
    """Of the subject at that time; 0 for a plant, which has no hours."""
    estimated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstDate:
    """When the first turn falls due, as the chief engineer set it, where nobody knew when the job was last done.

    The turn falls due at `due_at`, or earlier when the subject has run a whole interval since it was set. running_seconds:
    of the subject at `set_at`; none for a plant.
    """

    due_at: datetime
    set_at: datetime
    running_seconds: int | None = None


SET_UP = timedelta(days=1)
"""A pump that came new within so long before its kind was set up came with it."""


HoursAt = Callable[[Subject, str, datetime], RunningHours]


def reckon_first(
    plant: Plant, hours_at: HoursAt, *, since: Mapping[str, datetime] = MappingProxyType({})
) -> dict[Key, Done]:
    """Where the first intervals start: the plant's `last_done` as sequence 0, so the first turn kept here is 1.

    Hours not given are taken from the ledger at that time, and marked estimated where they matter. Of several
    entries for one job the latest counts; a later entry that renews the job counts before it. Without an entry the
    interval starts where a pump or part was put to use new; what is in neither way known is left out.

    Args:
        since: by job kind, when it was first set up here. Of what was in place before that nobody kept count. Neither hours nor
            intervals decide it, so that no later entry makes known what is not, or the other way round.
    """
    found = dict(_put_to_use_new(plant, since))
    entries = sorted(plant.last_done, key=lambda entry: (entry.done_at, entry.kind, entry.subject))
    for last in entries:
        found[last.kind, last.subject] = _zeroth(plant.kind(last.kind), last.subject, last, hours_at)
    for last in entries:
        for code, subject in renewals(plant, plant.kind(last.kind), last.subject, last.done_at):
            own = found.get((code, subject))
            if own is None or own.done_at < last.done_at:
                same = last if subject == last.subject else replace(last, running_hours=None)
                found[code, subject] = _zeroth(plant.kind(code), subject, same, hours_at)
    return found


def known_from(
    plant: Plant, hours_at: HoursAt, since: Mapping[str, datetime], recorded: Mapping[Key, Done]
) -> dict[Key, Done]:
    """Where the interval of each kind and subject starts, as far as that is known: by the record kept here, else by the document."""
    return {**reckon_first(plant, hours_at, since=since), **recorded}


def _put_to_use_new(plant: Plant, since: Mapping[str, datetime]) -> Iterator[tuple[Key, Done]]:
    """Pumps and parts that came new while the kind was kept count of: no job on them can be older than that."""
    for kind in plant.job_kinds:
        spans: Sequence[tuple[str, datetime, float]]
        match kind.subject:
            case Subject.PUMP:
                spans = [(s.pump, s.from_at, s.opening_running_hours) for s in plant.stays]
            case Subject.PART:
                own = {part.id for part in plant.parts if part.kind == kind.part_kind}
                spans = [(f.part, f.from_at, f.opening_running_hours) for f in plant.fittings if f.part in own]
            case _:
                spans = []
        first: dict[str, tuple[datetime, float]] = {}
        for subject, from_at, opening in sorted(spans, key=lambda span: span[1]):
            first.setdefault(subject, (from_at, opening))
        for subject, (from_at, opening) in first.items():
            asked = since.get(kind.code)
            if opening == 0 and (asked is None or from_at >= asked - SET_UP):
                zeroth = JobId(kind=kind.code, subject=subject, sequence=0)
                yield (kind.code, subject), Done(job_id=zeroth, done_at=from_at.astimezone(UTC), running_seconds=0)


def _zeroth(kind: JobKind, subject: str, last: LastDone, hours_at: HoursAt) -> Done:
    job_id = JobId(kind=kind.code, subject=subject, sequence=0)
    done_at = last.done_at.astimezone(UTC)
    if kind.subject is Subject.PLANT:
        return Done(job_id=job_id, done_at=done_at, running_seconds=0)
    if last.running_hours is not None:
        return Done(job_id=job_id, done_at=done_at, running_seconds=round(last.running_hours * 3600))
    seconds = hours_at(kind.subject, subject, done_at).seconds
    matters = kind.interval_running_hours is not None
    return Done(job_id=job_id, done_at=done_at, running_seconds=seconds, estimated=matters)


def last_not_known(
    plant: Plant, done: Mapping[Key, Done], first_dates: Mapping[Key, FirstDate], at: datetime
) -> tuple[Key, ...]:
    """What stands as `State.NOT_KNOWN` at `at`, in the plant's order."""
    return tuple(
        (kind.code, subject)
        for kind in plant.job_kinds
        if interval_seconds(kind) is not None or calendar_due(kind, at, 1) is not None
        for subject in subjects_of(plant, kind, at)
        if (kind.code, subject) not in done and (kind.code, subject) not in first_dates
    )
