"""What the first page of the paper and the first sheet of the workbook say: one reckoning for both, and the counts are those of
the JSON Lines of the same choice."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.exports.frame import ExportFrame, Summary
from api.exports.judged import VERDICTS, VerdictCounts, judged
from scheduler.actions.record.history import ExportExtras
from scheduler.actions.record.period import PumpPeriod, VesselPeriod
from scheduler.domain.base.enums import Trigger
from scheduler.domain.record.choice import NotDone
from scheduler.domain.record.closed_job import HoursSource, Verdict
from scheduler.domain.record.period import PeriodEntry, PeriodFacts, months_over
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.shiptime import NBSP
from scheduler.wording import papers
from scheduler.wording.figures import M3H, clock, listed, number, offset_words
from scheduler.wording.names import job_words, pump_words

MOST_MONTHS = 36
_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class KindCounts:
    """What fell due of a job kind, by the words of `papers.PARTS`. opens: it takes the pump out."""

    name: str
    counts: Mapping[str, int]
    opens: bool

    @property
    def due(self) -> int:
        """All of them."""
        return sum(self.counts.values())

    @property
    def percent(self) -> str:
        """Those in window as a share of all; empty of none."""
        return f"{100 * self.counts.get(Verdict.IN_WINDOW.value, 0) / self.due:.0f}{NBSP}%" if self.due else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPage:
    """The answer: what fell due and what came of it, what is missing, what went against the rules, which months are signed.

    months: (month as "2026-10", signed by, signed on in words; both empty where nobody signed). plants: a line each.
    """

    vessel: str
    imo: str
    period: str
    plants: tuple[str, ...]
    note: str
    answer: str
    more: str
    kinds: tuple[KindCounts, ...]
    total: KindCounts
    complete: str
    missing: tuple[str, ...]
    nonconformities_open: int
    nonconformities_closed: int
    months: tuple[tuple[str, str, str], ...]
    signers: str
    record: int
    stamp: str
    check: str
    made: str

    @property
    def signed(self) -> int:
        """Months that are signed."""
        return sum(bool(by) for _, by, _ in self.months)


@dataclass(frozen=True, slots=True, kw_only=True)
class Papers:
    """All that paper and workbook are made from."""

    frame: ExportFrame
    found: Summary
    facts: PeriodFacts
    extras: ExportExtras
    period: VesselPeriod

    @property
    def kinds(self) -> Mapping[str, JobKind]:
        """Job kinds of all plants by code, as they are now."""
        return {BREAKDOWN.code: BREAKDOWN} | {
            kind.code: kind for one in self.period.plants for kind in one.plant.job_kinds
        }

    @property
    def plant_names(self) -> frozenset[str]:
        """What stands for a position in the record of a plant's own job."""
        return frozenset(one.plant.name for one in self.period.plants)

    @property
    def missed(self) -> tuple[NotDone, ...]:
        """What fell due and was not done, as it is counted: nothing twice that is among the closed ones."""
        return tuple(one for one in self.extras.not_done if one.job not in self.found.closed_jobs)

    def job_name(self, key: str, at: datetime) -> str:
        """What people call a job of that key."""
        for one in self.period.plants:
            said = job_words(one.plant, at, key)
            if said != key:
                return said
        return key

    def ship_day(self, at: datetime) -> str:
        """The ship's date of an instant."""
        return papers.day_at(at, self.period.offset)


def first_page(given: Papers) -> FirstPage:
    """The page's figures and sentences."""
    frame, found, facts, period = given.frame, given.found, given.facts, given.period
    kinds, total = _kinds(given)
    opening = _sum(one.counts for one in kinds if one.opens)
    others = [one for one in kinds if not one.opens]
    outages = breakdowns(facts)
    hours = [end - start for start, end, _ in outages if end is not None]
    stopped = sum(hours, timedelta()).total_seconds() / _HOUR if len(hours) == len(outages) else None
    least = min(
        (one for one in facts.closed if one.figure("least_margin_swept_m3_per_h") is not None),
        key=lambda one: one.figure("least_margin_swept_m3_per_h") or 0.0,
        default=None,
    )
    said = [
        papers.others_due_words([one.name for one in others], _sum(one.counts for one in others)),
        papers.stops_words(len(outages), stopped),
        ""
        if least is None
        else papers.margin_words(
            least.figure("least_margin_swept_m3_per_h"), least.text("position"), given.ship_day(least.at)
        ),
    ]
    months = _months(period)
    conformed = [one["state"] == "closed" for one in given.extras.non_conformities]
    unchecked = _unchecked(given)
    missing = papers.missing_words(
        closed=len(facts.closed),
        estimated=facts.estimated,
        by_hand=facts.count("hours_source", HoursSource.BY_HAND.value),
        without_hours=sum(
            one.members.get("running_seconds") is None and one.members.get("trigger") == Trigger.RUNNING_HOURS.value
            for one in facts.closed
        ),
        unchecked=sum(not one.sheet_check for one in unchecked),
        checked_on_sheet=sum(bool(one.sheet_check) for one in unchecked),
        from_paper=sum(bool(one.members.get("from_paper")) for one in facts.closed),
        not_judged=facts.count("verdict", Verdict.NOT_JUDGED.value),
        struck=facts.struck,
    )
    for plant in period.plants:
        for pump in plant.pumps:
            missing += papers.silent_words(pump_words(plant.plant, frame.as_of, pump.pump.id), *gaps_of(pump))
    return FirstPage(
        vessel=frame.vessel,
        imo=period.imo,
        period=f"{papers.day_on(period.first_on)} to {papers.day_on(period.last_on)}",
        plants=tuple(_plant_line(one.plant) for one in period.plants),
        note=f"All times are ship time, {_offsets(given)}. "
        + (
            f"Records {number(found.first_number)} to {number(found.last_number)}."
            if found.records
            else "No record is in it."
        )
        + ("" if frame.asked_to is None else " The end asked for is still to come: it ends when it was made."),
        answer=papers.fell_due_words(opening),
        more=" ".join(one for one in said if one),
        kinds=kinds,
        total=total,
        complete=papers.complete_words(
            found.records, found.first_number, found.last_number, found.gaps, facts.corrections, frame.filter
        ),
        missing=tuple(missing),
        nonconformities_open=len(conformed) - sum(conformed),
        nonconformities_closed=sum(conformed),
        months=months,
        signers=listed([f"{name} ({count})" for name, count in Counter(by for _, by, _ in months if by).most_common()]),
        record=found.last_number,
        stamp=found.head,
        check=papers.check_words(found.last_number),
        made=f"Made {given.ship_day(frame.as_of)} {clock(frame.as_of, period.offset)} by {frame.made_by}, Leadline {frame.version}",
    )


def breakdowns(facts: PeriodFacts) -> list[tuple[datetime, datetime | None, PeriodEntry]]:
    """(from, to, its record) of each breakdown of the period; to: when its repair was closed or it ran after all, none: not yet."""
    ends: dict[str, datetime] = {}
    for one in (*facts.stops, *facts.closed):
        again = one.instant("ran_again_at") if one.kind == "runs after all" else None
        if again is not None:
            ends[one.text("job_no")] = again
        elif one.members.get("verdict") == Verdict.BREAKDOWN.value:
            ends[one.text("job_no")] = one.at
    return [(one.at, ends.get(one.text("job_no")), one) for one in facts.stops if one.kind == "breakdown opened"]


def gaps_of(pump: PumpPeriod) -> tuple[int, int, float]:
    """Days without hours since the first that has them, days whose hours are laid over a gap, and those hours."""
    days = list(pump.days)
    while days and days[0].seconds is None:
        days.pop(0)
    while days and days[-1].seconds is None:
        days.pop()
    laid = [day for day in days if day.interpolated and day.seconds is not None]
    return sum(day.seconds is None for day in days), len(laid), sum(day.seconds or 0 for day in laid) / _HOUR


def _kinds(given: Papers) -> tuple[tuple[KindCounts, ...], KindCounts]:
    """Those that open a pump first, the shortest interval first; then all of them together."""
    whole, *each = judged(given.found, given.extras.not_done)
    by_name = {kind.name: kind for kind in given.kinds.values()}

    def counts(one: VerdictCounts, opens: bool) -> KindCounts:
        counted = {verdict.value: one.counts.get(verdict.value, 0) for verdict in VERDICTS}
        return KindCounts(name=one.job_kind, counts={**counted, papers.NOT_DONE: one.not_done or 0}, opens=opens)

    rows = [counts(one, by_name[one.job_kind].takes_pump_out if one.job_kind in by_name else True) for one in each]
    rows.sort(key=lambda one: (not one.opens, *_interval(by_name.get(one.name)), one.name))
    return tuple(rows), counts(whole, False)


def _interval(kind: JobKind | None) -> tuple[float, float]:
    if kind is None:
        return (float("inf"), 0)
    days = kind.interval_days or 30 * (kind.interval_months or 0)
    return (kind.interval_running_hours or 0, days)


def _sum(counts: Iterable[Mapping[str, int]]) -> Counter[str]:
    whole: Counter[str] = Counter()
    for one in counts:
        whole.update(one)
    return whole


def _unchecked(given: Papers) -> list[PeriodEntry]:
    """Closed jobs that opened a pump and were checked by nobody else, by own sign-in."""
    opens = {code for code, kind in given.kinds.items() if kind.takes_pump_out}
    return [one for one in given.facts.closed if one.kind_code in opens and not given.facts.checked_by(one)]


def _months(period: VesselPeriod) -> tuple[tuple[str, str, str], ...]:
    signed = {str(one["month"]): one for one in period.reviews}
    months = months_over(period.first_on, period.last_on)[-MOST_MONTHS:]
    return tuple(
        (
            month,
            str(signed[month]["by"]) if month in signed else "",
            papers.day_at(datetime.fromisoformat(str(signed[month]["at"])), period.offset) if month in signed else "",
        )
        for month in months
    )


def _plant_line(plant: Plant) -> str:
    least = [plant.minimum_swept_m3_per_h, *(one.minimum_swept_m3_per_h for one in plant.minimum_blocks)]
    low, high = min(least), max(least)
    said = f"{number(low)} to {number(high)}" if low < high else number(low)
    pumps = papers.counted(len(plant.pumps), "pump", "pumps")
    return f"{plant.name}, {pumps} on a receiver of {number(plant.receiver_m3, 1)} m³. Minimum {said} {M3H} swept."


def _offsets(given: Papers) -> str:
    """The offset, and that it changed where it did."""
    offset = given.period.offset
    begin = given.facts.first_at or given.frame.as_of
    there = {offset.at(begin), *(minutes for at, minutes in offset.changes if begin <= at <= given.frame.as_of)}
    if len(there) == 1:
        return f"{offset_words(there.pop())} for the whole period"
    return f"by the clock of the day ({listed([offset_words(one) for one in sorted(there)])})"
