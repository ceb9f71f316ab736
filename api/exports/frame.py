"""What an export says about itself: the frame, the counts by verdict, the completeness statement."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from api.exports.payload import payload_of
from scheduler.actions.record.history import ChosenRecords
from scheduler.domain.base.canonical import instant_text
from scheduler.domain.record.chain import GENESIS, Record
from scheduler.domain.record.closed_job import ClosedJob, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportFrame:
    """What an export says about itself. from_at and to_at: the period, end excluded, none: open."""

    vessel: str
    made_by: str
    as_of: datetime
    version: str
    from_at: datetime | None = None
    to_at: datetime | None = None
    asked_to: datetime | None = None
    """The end that was asked for and is still to come: nothing is recorded after `as_of`, so `to_at` is none."""
    filter: str | None = None
    """In words, what was left out; none: nothing. A filtered export cannot be verified."""

    def given(self) -> dict[str, Any]:
        """The frame as JSON has it."""
        return {
            "vessel": self.vessel,
            "made_by": self.made_by,
            "as_of": instant_text(self.as_of),
            "version": self.version,
            "from": None if self.from_at is None else instant_text(self.from_at),
            "to": None if self.to_at is None else instant_text(self.to_at),
            "filter": self.filter,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Counts by verdict (every verdict named), records by kind, first and last of the chain, the completeness statement.

    by_job_kind: of planned work, the counts by verdict of each job kind. closed_jobs: the job numbers that were closed.
    """

    records: int
    first_number: int
    last_number: int
    previous_hash: str
    head: str
    by_verdict: Mapping[str, int]
    by_kind: Mapping[str, int]
    by_job_kind: Mapping[str, Mapping[str, int]]
    closed_jobs: frozenset[str]
    gaps: tuple[str, ...]
    completeness: str


@dataclass(slots=True)
class _Closed:
    verdict: str
    job_kind: str
    job_no: str
    estimated: bool


@dataclass(slots=True)
class Tally:
    """Counts records one by one, so that a long history needs little memory."""

    records: int = 0
    first: Record | None = None
    last: Record | None = None
    gaps: list[str] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    closed: dict[int, _Closed] = field(default_factory=dict)
    corrections: list[int] = field(default_factory=list)
    replaced: set[int] = field(default_factory=set)

    def take(self, record: Record) -> None:
        """Count one more."""
        before = self.last
        if before is not None and record.number <= before.number:
            self.gaps.append(str(record.number))
        elif before is not None and record.number > before.number + 1:
            first, last = before.number + 1, record.number - 1
            self.gaps.append(str(first) if first == last else f"{first} to {last}")
        self.records += 1
        self.first = self.first or record
        self.last = record
        self.kinds[record.kind] += 1
        if record.kind == ClosedJob.KIND:
            self._closed(record, payload_of(record))

    def _closed(self, record: Record, members: Mapping[str, Any]) -> None:
        self.closed[record.number] = _Closed(
            str(members.get("verdict")),
            str(members.get("job_kind")),
            str(members.get("job_no")),
            members.get("hours_source") == "estimated",
        )
        if corrects := members.get("corrects"):
            self.corrections.append(record.number)
            self.replaced.add(int(corrects))

    def summary(self, *, also: Sequence[str] = ()) -> Summary:
        """The counts as they stand. A corrected record counts by its newest correction, once."""
        first, last = self.first, self.last
        counted = [one for number, one in self.closed.items() if number not in self.replaced]
        verdicts = Counter(one.verdict for one in counted)
        by_job_kind: dict[str, Counter[str]] = {}
        for one in counted:
            if one.verdict not in (Verdict.BREAKDOWN, Verdict.NOT_JUDGED):
                by_job_kind.setdefault(one.job_kind, Counter())[one.verdict] += 1
        span = f", {first.number} to {last.number}" if first and last else ""
        missing = f"missing: {', '.join(self.gaps)}" if self.gaps else "none missing"
        said = [
            f"{_counted(self.records, 'record')}{span}{f', {missing}' if self.records else ''}",
            f"corrections: {_listed(self.corrections)}",
            f"running hours estimated: {_listed([n for n, one in self.closed.items() if one.estimated])}",
            *also,
        ]
        return Summary(
            records=self.records,
            first_number=first.number if first else 1,
            last_number=last.number if last else 0,
            previous_hash=first.previous_hash if first else GENESIS,
            head=last.hash if last else GENESIS,
            by_verdict={verdict.value: verdicts.get(verdict.value, 0) for verdict in Verdict},
            by_kind=dict(sorted(self.kinds.items())),
            by_job_kind={kind: dict(counts) for kind, counts in sorted(by_job_kind.items())},
            closed_jobs=frozenset(one.job_no for one in counted),
            gaps=tuple(self.gaps),
            completeness="; ".join(said) + ".",
        )


def export_summary(records: Iterable[Record], *, also: Sequence[str] = ()) -> Summary:
    """Counts and the completeness statement. also: more sentences for it, such as which hours are missing."""
    tally = Tally()
    for record in records:
        tally.take(record)
    if isinstance(records, ChosenRecords):
        lacks = records.lacks_before(tally.first), *tally.gaps, records.lacks(tally.last)
        tally.gaps = [one for one in lacks if one]
    return tally.summary(also=also)


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers)) or "none"
