"""What stands in sentences on paper and on a workbook's first sheet. Figures come in; nothing is counted here."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from scheduler.domain.record.closed_job import Verdict
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.shiptime import MONTHS, NBSP, ship_time
from scheduler.wording.figures import M3H, count_words, inner, listed, margin_number, number

NOT_DONE = marked("not done")
MINUS = "−"
PARTS = (
    Verdict.IN_WINDOW.value,
    Verdict.EARLY.value,
    Verdict.WITHIN_LIMIT.value,
    Verdict.POSTPONED.value,
    Verdict.LATE.value,
    NOT_DONE,
)
"""The parts of what fell due, in the order in which they are said; they add up to it."""


def day_on(on: date) -> str:
    """Like "25 Nov 2026", held together."""
    return _("{day}\u00a0{month}\u00a0{year}", day=on.day, month=_(MONTHS[on.month - 1]), year=on.year)


def day_at(at: datetime, offset_minutes: int) -> str:
    """The ship's date of an instant, as `day_on`."""
    return day_on(ship_time(at, offset_minutes).date())


def month_words(month: str) -> str:
    """ "2026-10" as "Oct 2026"."""
    year, number_of = month.split("-")
    return f"{_(MONTHS[int(number_of) - 1])}{NBSP}{year}"


def counted(count: int, one: str, many: str) -> str:
    """A count in figures with its noun: "41 jobs"."""
    return f"{number(count)}{NBSP}{one if count == 1 else many}"


def fell_due_words(counts: Mapping[str, int]) -> str:
    """The first page's sentence: "41 jobs fell due: 36 in window, 1 postponed, 4 not done."

    Args:
        counts: by the words of `PARTS`.

    >>> fell_due_words({"in window": 2, "not done": 1}).replace(NBSP, " ")
    '3 jobs fell due: 2 in window, 1 not done.'
    """
    due = sum(counts.get(part, 0) for part in PARTS)
    if not due:
        return "No job fell due."
    said = ", ".join(f"{number(counts[part])}{NBSP}{part}" for part in PARTS if counts.get(part))
    return f"{counted(due, 'job', 'jobs')} fell due: {said}."


def others_due_words(names: Sequence[str], counts: Mapping[str, int]) -> str:
    """What fell due and opens no pump: tests and the plant's own jobs; empty where there are no such kinds."""
    if not names:
        return ""
    due = sum(counts.get(part, 0) for part in PARTS)
    what = f"Tests and jobs that open no pump ({listed([inner(name) for name in names])})"
    if not due:
        return f"{what}: none fell due."
    said = listed([f"{number(counts[part])}{NBSP}{part}" for part in PARTS if counts.get(part)])
    return f"{what}: {number(due)} fell due, {said}."


def stops_words(count: int, hours: float | None) -> str:
    """Breakdowns of the period, and for how long pumps stood; none: not all of them are over."""
    if not count:
        return "No pump broke down."
    said = "A pump broke down once" if count == 1 else f"Pumps broke down {number(count)} times"
    return f"{said}, for {number(hours)}{NBSP}hours together." if hours is not None else f"{said}."


def margin_words(least: float | None, name: str, on: str) -> str:
    """The least margin while a pump stood open for a job, as reckoned at its close; empty where none was."""
    if least is None:
        return ""
    said = f"{margin_number(least)}{NBSP}{M3H}"
    if least < 0:
        by = f"{margin_number(least).removeprefix(MINUS)}{NBSP}{M3H}"
        return _(
            "While pumps stood open the plant fell below its minimum, at the most by {by} on {day}, {pump} open.",
            by=by,
            day=on,
            pump=name,
        )
    return _(
        "While pumps stood open the plant stayed at or over its minimum, as reckoned; least margin {least} on {day}, {pump} open.",
        least=said,
        day=on,
        pump=name,
    )


def missing_words(
    *,
    closed: int,
    estimated: int,
    by_hand: int,
    without_hours: int,
    unchecked: int,
    checked_on_sheet: int,
    from_paper: int,
    not_judged: int,
    struck: Sequence[int],
    cut: Sequence[int] = (),
) -> list[str]:
    """What is missing or estimated in the closed jobs of the period, a sentence each; empty for nothing."""
    of = f"of {counted(closed, 'closed job', 'closed jobs')}"
    said = []
    for count, one, many in (
        (estimated, "has its running hours estimated", "have their running hours estimated"),
        (by_hand, "has running hours read by hand", "have running hours read by hand"),
        (without_hours, "has no running hours at the close", "have no running hours at the close"),
        (unchecked, "was not checked by a second person", "were not checked by a second person"),
        (
            checked_on_sheet,
            "was checked as its sheet on paper says, not by own sign-in",
            "were checked as their sheets on paper say, not by own sign-in",
        ),
        (from_paper, "was taken from paper later", "were taken from paper later"),
        (
            not_judged,
            "is not judged: nobody knew when it was last done",
            "are not judged: nobody knew when they were last done",
        ),
    ):
        if count:
            said.append(f"{number(count)} {of} {one if count == 1 else many}.")
    if struck:
        numbers = listed([number(one) for one in struck])
        said.append(
            f"{count_words(len(struck), 'close was', 'closes were')} struck as entered by mistake (record {numbers}) and still "
            f"{'counts' if len(struck) == 1 else 'count'} above, as in the JSON Lines."
        )
    if cut:
        said.append(f"{count_words(len(cut), 'text is', 'texts are')} cut.")
    return said


def silent_words(name: str, unknown_days: int, laid_days: int, laid_hours: float) -> list[str]:
    """What a pump's counter left open, a sentence each."""
    said = []
    if unknown_days:
        said.append(
            f"{name}: on {counted(unknown_days, 'day', 'days')} no running hours are known: not counted, or it stood in no position."
        )
    if laid_days:
        said.append(
            f"{name}: {number(laid_hours)}{NBSP}hours on {counted(laid_days, 'day', 'days')} are laid over a gap between two readings."
        )
    return said


def complete_words(
    records: int, first: int, last: int, gaps: Sequence[str], corrections: int, filter_: str | None
) -> str:
    """Whether all records of the period are there."""
    fixed = (
        f"; {counted(corrections, 'correction', 'corrections')}, each beside what it corrects" if corrections else ""
    )
    if filter_ is not None:
        return (
            f"A choice: {filter_}. What was left out is not in here, and a choice cannot be verified as a chain{fixed}."
        )
    if not records:
        return "No record was made in the period."
    if gaps:
        return f"Records are missing: {', '.join(gaps)}{fixed}."
    return f"No record is missing: {number(first)} to {number(last)} without a gap{fixed}."


def check_words(record: int, what: str = "paper") -> str:
    """How whoever holds the paper checks it."""
    return (
        "To check it: ask the vessel or the office for the JSON Lines of the same period and run leadline verify FILE on any "
        f"computer, without a network. It reckons every record anew and must end at record {number(record)} with this stamp. "
        f"This {what} alone proves nothing; the stamp does."
    )


def found_words(*texts: str) -> str:
    """What was found and measured as one line: parts that end in a full stop lose it.

    >>> found_words("No damage.; cloth: Around two knives.", "", "gap 0.3 mm")
    'No damage; cloth: Around two knives; gap 0.3 mm'
    """
    parts = (part.strip().rstrip(".") for text in texts for part in text.split("; "))
    return "; ".join(part for part in parts if part)


def stamp_groups(stamp: str) -> list[str]:
    """A record stamp in groups of eight, as it is read out."""
    return [stamp[at : at + 8] for at in range(0, len(stamp), 8)]


def from_due_words(hours: float | None, days: int | None) -> str:
    """How far from due, signed: "−46 h", "+3 d"; empty where there was no due point.

    >>> from_due_words(-46.4, None), from_due_words(None, 3), from_due_words(0.2, None)
    ('−46\\xa0h', '+3\\xa0d', '0\\xa0h')
    """
    value, unit = (hours, "h") if hours is not None else (days, "d")
    if value is None:
        return ""
    whole = int(value)
    return f"{'+' if whole > 0 else ''}{number(whole)}{NBSP}{unit}"


DEFINITIONS: tuple[tuple[str, str], ...] = (
    (
        "due",
        "the original due point, by running hours or calendar, whichever came first; a postponement never moves it",
    ),
    ("window", "from when the job may be done in time"),
    ("limit", "due point plus the tolerance of the job kind; a granted postponement gives a later one"),
    ("early", "done before the window opened"),
    ("in window", "done from the opening of the window to the due point"),
    ("past due within limit", "done after the due point, not after the original limit"),
    ("postponed", "done after the original limit, within a limit that was granted"),
    ("late", "done after every limit that was given"),
    ("not done", "fell due in the period and was not done in it"),
    ("breakdown", "a repair that was not planned; it has no due point and is judged by none"),
    ("not judged", "nobody knew when the job was last done and no first date was set: it has no due point"),
    (
        "closed",
        "jobs closed, breakdowns and those not judged left out; a corrected record counts once, by its newest correction",
    ),
    ("in window, %", "in window as a share of what fell due; an early job fell due, and is not in window"),
    (
        "running hours from",
        "counter: read at that time; estimated: between two readings or projected; by hand: as given",
    ),
    (
        "laid over a gap",
        "readings before and after a silence of more than 48 h tell how long the pump ran, not on which of its days",
    ),
    ("margin", "capacity available less minimum capacity, swept m³/h at the stop setpoint; calculated, not measured"),
    ("swept volume", "what a pump drew in its pull-down test, at the stop setpoint"),
    ("record stamp", "the chain hash of a record: SHA-256 over the stamp before it and its own text"),
)
"""Words used on paper, and in the workbook."""
