"""How many closed jobs were done in their window, early, past due and past the limit: counts and per cents, by job kind.

The verdict is the one on each record; nothing is judged a second time here.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.exports.frame import Summary
from scheduler.domain.record.choice import NotDone
from scheduler.domain.record.closed_job import Verdict

ALL = "all job kinds"
VERDICTS = tuple(one for one in Verdict if one not in (Verdict.BREAKDOWN, Verdict.NOT_JUDGED))
"""Those of planned work; a breakdown has no due point to be judged by, nor what nobody knew when it was last done."""
WORDS = (
    (
        "closed",
        "jobs closed, breakdowns and those not judged left out; a corrected record counts once, by its newest correction",
    ),
    ("due and not done", "jobs that fell due in the period and were not done in it, and are not among the closed ones"),
    ("in window, % of closed", "in window as a share of closed; an early job counts as closed, not as in window"),
    ("in window, % with not done", "in window as a share of closed and of due and not done together"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictCounts:
    """The closed jobs of a kind by verdict. not_done: none where nobody looked for them."""

    job_kind: str
    counts: Mapping[str, int]
    not_done: int | None = None

    @property
    def closed(self) -> int:
        """All of them."""
        return sum(self.counts.values())

    def per_cent(self, of: int | None) -> str:
        """Those in window as a share of so many, with one decimal; empty of none.

        >>> Judged(job_kind="x", counts={"in window": 2, "late": 1}).per_cent(3)
        '66.7'
        """
        return f"{100 * self.counts.get(Verdict.IN_WINDOW.value, 0) / of:.1f}" if of else ""

    def given(self) -> dict[str, Any]:
        """As a machine reads it; per cents are numbers, null of none."""
        with_these = None if self.not_done is None else self.closed + self.not_done
        return {
            "job_kind": self.job_kind,
            "closed": self.closed,
            **{verdict.value.replace(" ", "_"): self.counts.get(verdict.value, 0) for verdict in VERDICTS},
            "due_and_not_done": self.not_done,
            "in_window_percent_of_closed": _figure(self.per_cent(self.closed)),
            "in_window_percent_with_not_done": _figure(self.per_cent(with_these)),
        }


def judged(found: Summary, not_done: Sequence[NotDone] | None = None) -> tuple[VerdictCounts, ...]:
    """All kinds together first, then each by name.

    Args:
        not_done: what fell due and was not done; one whose record is among the closed ones is not counted twice.
    """
    missing = None if not_done is None else _missing(not_done, found.closed_jobs)
    kinds = sorted({*found.by_job_kind, *(missing or {})})
    each = [
        VerdictCounts(
            job_kind=kind,
            counts=found.by_job_kind.get(kind, {}),
            not_done=None if missing is None else missing[kind],
        )
        for kind in kinds
    ]
    whole: Counter[str] = Counter()
    for one in each:
        whole.update(one.counts)
    total = None if missing is None else sum(missing.values())
    return (VerdictCounts(job_kind=ALL, counts=whole, not_done=total), *each)


def _missing(not_done: Sequence[NotDone], closed_jobs: Collection[str]) -> Counter[str]:
    return Counter(one.kind for one in not_done if one.job not in closed_jobs)


def _figure(text: str) -> float | None:
    return float(text) if text else None
