"""A page a pump: its jobs as curves and rows, its tests, what stopped it, its counter. Values ready to be set; no layout."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from api.exports.first_page import Papers, breakdowns
from scheduler.actions.record.period import PlantPeriod, PumpPeriod
from scheduler.domain.base.enums import Test
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.record.period import PeriodEntry, SinceMark, ship_date, since_curves, thinned
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.language import gettext as _
from scheduler.shiptime import MONTHS, NBSP
from scheduler.wording import papers
from scheduler.wording.figures import M3H, clock, inner, listed, number
from scheduler.wording.names import pump_words
from scheduler.wording.record import record_person

SIGNS = {
    Verdict.IN_WINDOW: "window",
    Verdict.EARLY: "early",
    Verdict.WITHIN_LIMIT: "within",
    Verdict.POSTPONED: "postponed",
    Verdict.LATE: "late",
    Verdict.BREAKDOWN: "breakdown",
    Verdict.NOT_JUDGED: "unknown",
}
MOST_PHOTOS = 2
"""Of a job on its row."""
MOST_POINTS = 120
"""Of a curve on paper, its stretches together; about as many as the eye tells apart there."""
_HOUR = 3600
_TICKS = ((4, 1), (14, 2), (30, 3), (72, 6))
"""(up to so many months, a tick every so many)."""
COUNTER_WORDS = {
    "replacement": "Counter replaced",
    "adjustment": "Hours of the counter set right",
    "opening balance": "Hours before the first reading given",
    "rescale": "Counter's scale changed",
    "primary": "Another counter counts from here",
    "bad reading": "Reading left out as wrong",
    "step decision": "Jump of the counter decided",
    "nothing missing": "Said: no hours are missing",
}


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Ship's dates from the first to the last of a period, as shares of a drawing's width."""

    first_on: date
    last_on: date

    def share(self, on: date) -> float:
        """0 at the first date, 1 at the last; what lies outside is put at the end it passed."""
        whole = max(1, (self.last_on - self.first_on).days)
        return round(min(1.0, max(0.0, (on - self.first_on).days / whole)), 4)

    def ticks(self) -> list[tuple[float, str]]:
        """(share, month) of the firsts of months; the year stands with the first of each."""
        months = (self.last_on.year - self.first_on.year) * 12 + self.last_on.month - self.first_on.month
        step = next((every for most, every in _TICKS if months <= most), 12)
        found, year = [], 0
        for count in range(1, months + 1):
            on = date(
                self.first_on.year + (self.first_on.month - 1 + count) // 12,
                (self.first_on.month - 1 + count) % 12 + 1,
                1,
            )
            if (on.month - 1) % step == 0:
                name = MONTHS[on.month - 1]
                found.append((self.share(on), name if on.year == year else f"{name} {on.year}"))
                year = on.year
        return found


def pump_pages(given: Papers, axis: TimeAxis, pictures: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """The pages of the pumps by position, then one of what the plant's own jobs were.

    Args:
        pictures: file of a photo's thumbnail by its SHA-256; only these are shown.
    """
    closed = {one.number: one for one in given.facts.closed}
    for plant in given.period.plants:
        for pump in plant.pumps:
            mine = [one for one in closed.values() if one.text("pump_serial") == pump.pump.serial]
            for one in mine:
                closed.pop(one.number)
            if given.frame.filter is None or mine:
                yield _pump_page(given, plant, pump, mine, axis, pictures)
    if closed:
        yield _rest_page(given, list(closed.values()), pictures)


def job_row(given: Papers, one: PeriodEntry, pictures: Mapping[str, str]) -> dict[str, Any]:
    """A closed job as a row of a table."""
    offset = _offset(given, one)
    running, due_hours, due_at = one.figure("running_seconds"), one.figure("due_running_seconds"), one.instant("due_at")
    postponed = one.instant("postponed_to_at")
    notes = [f"put off to {papers.day_at(postponed, offset)}"] if postponed else []
    notes += ["hours estimated"] if one.text("hours_source") == "estimated" else []
    notes += ["from paper"] if one.members.get("from_paper") else []
    photos = given.facts.photos.get(one.text("job_no"), ())
    test = one.text("test")
    return {
        "x": 0.0,
        "on": papers.day_at(one.at, offset),
        "time": clock(one.at, offset),
        "position": "" if one.text("position") in given.plant_names else one.text("position"),
        "counter": "" if running is None else number(running // _HOUR),
        "job": one.text("job_kind"),
        "due": number(due_hours // _HOUR)
        if due_hours is not None
        else ""
        if due_at is None
        else papers.day_at(due_at, offset),
        "sign": SIGNS[one.verdict],
        "off": papers.from_due_words(one.hours_from_due, _days(one)),
        "word": _("breakdown repair") if one.verdict is Verdict.BREAKDOWN else _(one.verdict.value),
        "note": ", ".join(notes),
        "found": papers.found_words(one.text("findings"), one.text("measures")),
        "test": "" if test == Test.NONE.value else _(test),
        "test_bad": test == Test.FAILED.value,
        "by": one.text("done_by"),
        "checked": given.facts.checked_by(one) or one.sheet_check,
        "photos": [pictures[each.text("sha256")] for each in photos if each.text("sha256") in pictures][:MOST_PHOTOS],
        "photo_count": len(photos),
    }


def _pump_page(
    given: Papers,
    plant: PlantPeriod,
    pump: PumpPeriod,
    mine: Sequence[PeriodEntry],
    axis: TimeAxis,
    pictures: Mapping[str, str],
) -> dict[str, Any]:
    ident, facts = pump.pump.id, given.facts
    name = pump_words(plant.plant, given.frame.as_of, ident)
    tests = [one for one in facts.tests if one.text("pump") == ident]
    broke = [one for one in breakdowns(facts) if one[2].text("pump") == ident]
    downs = [one for one in facts.stops if one.kind in ("pump down", "pump back") and one.text("pump") == ident]
    events = [one for one in facts.counters if _pump_of_counter(plant, one) == ident]
    swaps = [one for one in events if one.text("event") == "replacement"]
    missed = [one for one in given.missed if one.position == name]
    planned = [one for one in mine if one.verdict is not Verdict.BREAKDOWN]
    ran = sum(day.seconds or 0 for day in pump.days) / _HOUR
    known = sum(day.seconds is not None for day in pump.days)
    facts_line = [f"Serial {pump.pump.serial}"]
    if pump.hours_at_end is not None:
        facts_line.append(f"{number(pump.hours_at_end)}{NBSP}running{NBSP}h at the end")
    if known:
        facts_line.append(f"ran {number(ran)}{NBSP}h, {number(ran / known, 1)} a day")
    facts_line.append(f"rated {number(pump.pump.rated_swept_m3_per_h, 1)}{NBSP}{M3H} swept")
    if pump.measured is not None:
        facts_line.append(f"counts for {number(pump.measured, 1)}{NBSP}{M3H}")
    rows = [job_row(given, one, pictures) for one in mine]
    for row, one in zip(rows, mine, strict=True):
        row["x"] = axis.share(ship_date(one.at, _offset(given, one)))
    lines = [*_breakdown_lines(given, broke), *_down_lines(given, downs), *_counter_lines(given, events)]
    empty = [
        what
        for what, there in (("job", mine), ("test", tests), ("breakdown", broke), ("counter event", events))
        if not there
    ]
    return {
        "name": name,
        "heading": f"{name}: {_heading(planned, missed)}",
        "facts": f"{', '.join(facts_line)}.",
        "curves": [
            curve
            for kind in sorted(plant.plant.job_kinds, key=lambda one: (one.interval_running_hours or 0, one.code))
            if (curve := _curve(given, pump, kind, plant.plant.job_kinds, mine, axis, swaps)) is not None
        ],
        "jobs": rows,
        "tests": _tests(given, pump, tests, mine, axis),
        "lines": sorted(lines, key=lambda line: line["at"]),
        "empty": f"In the period no {listed(empty, 'and no')}." if empty else "",
    }


def _heading(planned: Sequence[PeriodEntry], missed: Sequence[Any]) -> str:
    counts = {part: sum(one.verdict.value == part for one in planned) for part in papers.PARTS}
    said = f"{papers.counted(len(planned), 'job', 'jobs')} done" if planned else "no job done"
    parts = [f"{number(counts[part])}{NBSP}{part}" for part in papers.PARTS if counts[part]]
    if parts:
        said += f": {', '.join(parts)}"
    return f"{said}; {listed([inner(one.kind) for one in missed])} not done" if missed else said


def _curve(
    given: Papers,
    pump: PumpPeriod,
    kind: JobKind,
    kinds: Sequence[JobKind],
    mine: Sequence[PeriodEntry],
    axis: TimeAxis,
    swaps: Sequence[PeriodEntry],
) -> dict[str, Any] | None:
    interval = kind.interval_running_hours
    if not interval or kind.code == BREAKDOWN.code or not pump.days:
        return None
    renewing = {one.code: one.name for one in kinds if kind.code in one.renews}
    own = [one for one in mine if one.kind_code == kind.code]
    others = [one for one in mine if one.kind_code in renewing and one.verdict is not Verdict.BREAKDOWN]
    if not own and not others and kind.code not in pump.since:
        return None
    marks: list[SinceMark] = []
    for one in sorted([*own, *others], key=lambda entry: (entry.at, entry.number)):
        on = ship_date(one.at, _offset(given, one))
        mine_too = one.kind_code == kind.code
        hours = interval + (one.hours_from_due or 0.0) if mine_too else _between(pump, marks, on, interval)
        marks.append(SinceMark(on=on, since_hours=hours, entry=one, other="" if mine_too else renewing[one.kind_code]))
    ends = [(one.on, one.since_hours) for one in marks]
    runs = since_curves(pump.days, ends, since_now_hours=pump.since.get(kind.code))
    if not runs:
        return None
    shown = [one for one in marks if one.on >= pump.days[0].on]
    now = pump.since.get(kind.code, runs[-1][-1][1])
    limit = interval + kind.tolerance_running_hours
    said = [f"{inner(one.other) or one.entry.verdict.value} {papers.day_on(one.on)}" for one in shown]
    return {
        "name": kind.name,
        "every": number(interval),
        "due": interval,
        "open": interval - kind.window_running_hours,
        "limit": limit,
        "runs": [
            [(axis.share(on), round(hours, 1)) for on, hours in thinned(run, max(3, MOST_POINTS // len(runs)))]
            for run in runs
        ],
        "marks": [
            {
                "x": axis.share(one.on),
                "h": round(one.since_hours, 1),
                "sign": "other" if one.other else SIGNS[one.entry.verdict],
                "label": inner(one.other)
                if one.other
                else papers.from_due_words(one.entry.hours_from_due, None).removesuffix(f"{NBSP}h"),
            }
            for one in shown
        ],
        "swaps": [axis.share(ship_date(one.at, given.period.offset)) for one in swaps],
        "now": number(now),
        "now_raw": round(now, 1),
        "alt": f"Running hours since {inner(kind.name)}, due at {number(interval)}: "
        f"{'; '.join(said) or 'not done in the period'}. At the end {number(now)}.",
    }


def _between(pump: PumpPeriod, marks: Sequence[SinceMark], on: date, interval: int) -> float:
    """Hours run since the mark before; before the first nobody knows, and the interval's share so far is not shown higher."""
    since = marks[-1].on if marks else None
    ran = sum((day.seconds or 0) / _HOUR for day in pump.days if (since is None or day.on >= since) and day.on < on)
    return min(ran, float(interval)) if since is None else ran


def _tests(
    given: Papers, pump: PumpPeriod, tests: Sequence[PeriodEntry], mine: Sequence[PeriodEntry], axis: TimeAxis
) -> dict[str, Any]:
    measured = [one for one in tests if one.figure("swept_m3_per_h") is not None]
    rated = pump.pump.rated_swept_m3_per_h
    values = [one.figure("swept_m3_per_h") or 0.0 for one in measured]
    return {
        "rated": rated,
        "mark": 0.9 * rated,
        "mark_words": number(0.9 * rated),
        "low": min([0.8 * rated, *(value - 0.06 * rated for value in values)]),
        "high": max([rated, *values]),
        "points": [
            {
                "x": axis.share(ship_date(one.at, given.period.offset)),
                "v": value,
                "words": number(value, 1),
                "good": one.text("test") == Test.PASSED.value,
                "on": given.ship_day(one.at),
            }
            for one, value in zip(measured, values, strict=True)
        ],
        "renewed": [
            {"x": axis.share(ship_date(one.at, given.period.offset)), "words": inner(one.text("job_kind"))}
            for one in mine
            if one.kind_code in given.kinds and given.kinds[one.kind_code].renews
        ],
    }


def _breakdown_lines(
    given: Papers, broke: Sequence[tuple[datetime, datetime | None, PeriodEntry]]
) -> Iterator[dict[str, str]]:
    for begin, end, one in broke:
        after = "not back at the end of the period"
        if end is not None:
            hours = number((end - begin).total_seconds() / _HOUR, 1)
            after = f"back {given.ship_day(end)} {clock(end, given.period.offset)}, after {hours}{NBSP}h"
        yield _line(
            given, one, "Broke down", f"{_ended(one.text('reason'))} {after[0].upper()}{after[1:]}.", "breakdown"
        )


def _down_lines(given: Papers, downs: Sequence[PeriodEntry]) -> Iterator[dict[str, str]]:
    for one in downs:
        test = one.text("test")
        said = f" Test: {test}." if one.kind == "pump back" and test else ""
        yield _line(given, one, "Put back" if one.kind == "pump back" else "Put out", _ended(one.text("reason")) + said)


def _counter_lines(given: Papers, events: Sequence[PeriodEntry]) -> Iterator[dict[str, str]]:
    for one in events:
        what = one.text("event") or one.kind.removeprefix("counter ")
        yield _line(given, one, COUNTER_WORDS.get(what, f"Counter: {what}"), _ended(one.text("reason")))


def _line(given: Papers, one: PeriodEntry, what: str, text: str, sign: str = "") -> dict[str, str]:
    by = record_person(one.members)
    when = f"{given.ship_day(one.at)} {clock(one.at, given.period.offset)}"
    return {"at": one.at.isoformat(), "head": f"{what} {when}.", "text": text, "by": by, "sign": sign}


def _ended(text: str) -> str:
    text = text.strip()
    return text if not text or text[-1] in ".!?" else f"{text}."


def _rest_page(given: Papers, rest: Sequence[PeriodEntry], pictures: Mapping[str, str]) -> dict[str, Any]:
    """Jobs of no pump of today's: in full where something was off or found, else their dates in one line a kind."""
    full, plain = [], dict[str, list[str]]()
    for one in rest:
        quiet = one.verdict is Verdict.IN_WINDOW and not one.text("pump_serial")
        if quiet and not one.text("findings") and one.text("test") != Test.FAILED.value:
            plain.setdefault(one.text("job_kind"), []).append(papers.day_at(one.at, _offset(given, one)))
        else:
            full.append(job_row(given, one, pictures))
    return {
        "heading": f"The plant's own jobs: {papers.counted(len(rest), 'job', 'jobs')} done",
        "plain": [{"kind": kind, "count": len(dates), "dates": _dates(dates)} for kind, dates in sorted(plain.items())],
        "jobs": full,
    }


def _dates(dates: Sequence[str]) -> str:
    """The dates in a row, the year only where it changes."""
    said, year = [], ""
    for one in dates:
        rest, _, this = one.rpartition(NBSP)
        said.append(one if this != year else rest)
        year = this
    return ", ".join(said)


def _pump_of_counter(plant: PlantPeriod, one: PeriodEntry) -> str | None:
    counter = next((each for each in plant.plant.counters if each.id == one.text("counter")), None)
    return None if counter is None else plant.plant.pump_in(counter.position, one.at)


def _days(one: PeriodEntry) -> int | None:
    days = one.figure("days_from_due")
    return None if days is None else int(days)


def _offset(given: Papers, one: PeriodEntry) -> int:
    """The ship's clock when a job was done, as its record has it; the vessel's for what has none."""
    minutes = one.figure("utc_offset_minutes")
    return given.period.offset if minutes is None else int(minutes)
