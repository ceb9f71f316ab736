"""The page of the operating calendar: its view, its words and its drawing into HTML. Values in, text out."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from api.pages import drawing
from api.pages.shared.forms import FormRefusal, FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from api.pages.voyage.weeks import WeeksView
from scheduler.actions.voyage.days import Preview, StoredDays
from scheduler.domain.voyage.days import LEAST_LOGGED_DAYS
from scheduler.domain.voyage.from_csv import COLUMNS
from scheduler.domain.voyage.stretches import DayChange, Source, Spell, VoyageDays
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import day_count, day_label, inner, moment

SHOWN_BACK_DAYS, SHOWN_AHEAD_DAYS, YEAR_DAYS, MOST_CHANGES = 21, 60, 365, 40
STRIPS = {"wide": (14, 28, 1232), "narrow": (3, 11, 358)}
"""Days back, days ahead and px of the strip, on a desk and on a phone."""
_STANDS = {
    "sea": marked("At sea"),
    "port": marked("In port"),
    "anchor": marked("At anchor"),
    "yard": marked("In the yard"),
    "lay-up": marked("Laid up"),
}
FILE_EXAMPLE = "from,to,kind,source,note\n2026-11-20,2026-11-24,sea,log,\n2026-11-28,2026-11-30,port,plan,bunkers"


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysForm(FormState):
    """A form as typed, and what is wrong with it.

    faults: field to sentence. says: what stands in the way as a whole. lines: more sentences about it.
    """

    lines: tuple[str, ...] = ()

    @classmethod
    def of(cls, refused: FormRefusal) -> "DaysForm":
        """As it was refused."""
        return cls(values=refused.values, faults=refused.faults, says=refused.state.says)


@dataclass(frozen=True, slots=True, kw_only=True)
class VoyageView:
    """The page. entry, file, weights, clock: the four forms. looked_at: the file's preview, none before one was asked for.

    correcting: the stretch the entry form is about, none: a new one. may_change: this person may enter days.
    """

    frame: Frame
    found: StoredDays
    action: str
    idempotency_key: str
    may_change: bool
    show_all: bool = False
    entering: bool = False
    """The form for days is open."""
    correcting: Spell | None = None
    entry: DaysForm = field(default_factory=DaysForm)
    file: DaysForm = field(default_factory=DaysForm)
    weights: DaysForm = field(default_factory=DaysForm)
    undo_says: str = ""
    clock: DaysForm = field(default_factory=DaysForm)
    looked_at: Preview | None = None
    done: str = ""
    weeks: tuple[WeeksView, ...] = ()
    """Of each plant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """A line of the list: a stretch, or (kind empty) days that nobody entered."""

    when: str
    days: str
    kind: str
    source: str
    note: str
    edit_href: str
    now: bool


def voyage_page(view: VoyageView, *, light: str, csrf: str) -> str:
    """The operating calendar: the answer, the days, the form for a stretch, the file, the kinds."""
    book, today = view.found.book, view.found.today
    first, last = today - timedelta(days=SHOWN_BACK_DAYS), today + timedelta(days=SHOWN_AHEAD_DAYS)
    shown = [s for s in book.spells if view.show_all or (s.to_on >= first and s.from_on <= last)]
    looked = view.looked_at
    return render(
        "daybook.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=voyage_heading(book, today),
        ground=drawing.patterns() if view.weeks else "",
        clocks=view.weeks[0].clocks if view.weeks else (),
        today_words=voyage_day(today),
        span=voyage_span,
        kind_words=kind_words,
        sub=covered(book, today),
        strips={name: _strip(book, today, *size) for name, size in STRIPS.items()} if shown else {},
        patterns=drawing.day_patterns(),
        legend=[(drawing.day_swatch(book.kinds, kind), kind_words(kind)) for kind in _kinds_shown(book, today)],
        lines=day_lines(shown, today, view.action),
        left_out=len(book.spells) - len(shown),
        last=last_words(view),
        cells=[] if looked is None else sheet_cells(looked),
        changes=[] if looked is None or looked.laid is None else change_lines(looked.laid.changes, today),
        kept=[] if looked is None or looked.laid is None else change_lines(looked.laid.kept, today, kept=True),
        example=FILE_EXAMPLE,
        weights=[
            (k.code, f"w-{n}", view.weights.values.get(f"w-{n}", f"{k.weight:g}")) for n, k in enumerate(book.kinds)
        ],
    )


def kind_words(kind: str) -> str:
    """How a ship stands on a day of that kind.

    >>> kind_words("port"), kind_words("canal transit")
    ('In port', 'Canal transit')
    """
    return _(_STANDS[kind]) if kind in _STANDS else f"{kind[:1].upper()}{kind[1:]}"


def voyage_day(on: date, today: date | None = None) -> str:
    """Like "Wed 25 Nov", with the year unless it is today's; ship's dates have no clock and no offset."""
    return day_label(on, None if today is not None and on.year == today.year else on.year)


def voyage_span(from_on: date, to_on: date, today: date) -> str:
    """Both ends, or the one day."""
    return (
        voyage_day(from_on, today)
        if from_on == to_on
        else _(
            "{first} to {last}",
            first=voyage_day(from_on, today),
            last=voyage_day(to_on, today),
        )
    )


def voyage_heading(book: VoyageDays, today: date) -> str:
    """The heading: how she stands today, and what comes next."""
    if not book.spells:
        return _("No day is entered yet: forecasts take every day alike.")
    here = book.on(today)
    said = _("{kind_words} today", kind_words=kind_words(here.kind)) if here else _("Nothing is entered for today")
    said += _(" as planned") if here and here.source is Source.PLAN else ""
    here_to = here.to_on if here else today
    coming = next((s for s in book.spells if s.from_on > here_to and (here is None or s.kind != here.kind)), None)
    if coming is None:
        last = book.spells[-1].to_on
        return (
            _("{said}. Nothing is entered after {day}.", said=said, day=voyage_day(last, today))
            if last >= today
            else f"{said}."
        )
    return _(
        "{said}; {kind} from {day}.",
        said=said,
        kind=inner(kind_words(coming.kind)),
        day=voyage_day(coming.from_on, today),
    )


def covered(book: VoyageDays, today: date) -> str:
    """How far the log reaches, and whether forecasts rest on it."""
    logged = book.logged_days(today - timedelta(days=YEAR_DAYS), today - timedelta(days=1))
    said = _("The log covers {logged} of the last {year_days} days.", logged=logged, year_days=YEAR_DAYS)
    if logged < LEAST_LOGGED_DAYS:
        return _(
            "{said} From {days} on, due dates are reckoned in operating days.",
            said=said,
            days=LEAST_LOGGED_DAYS,
        )
    return _("{said} Due dates are reckoned in operating days; days not entered count as the usual mix.", said=said)


def _strip(book: VoyageDays, today: date, back: int, ahead: int, width: int) -> str:
    first, last = today - timedelta(days=back), today + timedelta(days=ahead)
    name = strip_words(book, first, last, today)
    return drawing.days_strip(book.spells, book.kinds, first=first, last=last, today=today, width=width, name=name)


def strip_words(book: VoyageDays, first: date, last: date, today: date) -> str:
    """What the strip shows: how many of its days are of each kind, and today's."""
    tally: dict[str, int] = {}
    for n in range((last - first).days + 1):
        there = book.on(first + timedelta(days=n))
        kind = inner(kind_words(there.kind)) if there else _("nothing entered")
        tally[kind] = tally.get(kind, 0) + 1
    counts = ", ".join(f"{kind} {count}" for kind, count in sorted(tally.items(), key=lambda one: (-one[1], one[0])))
    here = book.on(today)
    now = inner(kind_words(here.kind)) if here else _("nothing entered")
    return _(
        "The days from {first} to {last}: {counts}. Today: {kind}.",
        first=voyage_day(first, today),
        last=voyage_day(last, today),
        counts=counts,
        kind=now,
    )


def _kinds_shown(book: VoyageDays, today: date) -> list[str]:
    """The kinds in the longer strip, in the book's order."""
    back, ahead, _ = STRIPS["wide"]
    first, last = today - timedelta(days=back), today + timedelta(days=ahead)
    there = {spell.kind for spell in book.spells if spell.to_on >= first and spell.from_on <= last}
    return [kind.code for kind in book.kinds if kind.code in there]


def day_lines(spells: Sequence[Spell], today: date, action: str) -> list[DayLine]:
    """The stretches by date, with a line for the days between two that nobody entered."""
    lines: list[DayLine] = []
    after: date | None = None
    for spell in spells:
        if after is not None and spell.from_on > after:
            lines.append(_line(after, spell.from_on - timedelta(days=1), "", "", "", "", today))
        edit = f"{action}?edit={spell.from_on}#entry"
        lines.append(_line(spell.from_on, spell.to_on, spell.kind, spell.source.value, spell.note, edit, today))
        after = spell.to_on + timedelta(days=1)
    return lines


def _line(first: date, last: date, kind: str, source: str, note: str, edit: str, today: date) -> DayLine:
    days = (last - first).days + 1
    return DayLine(
        when=voyage_span(first, last, today),
        days=day_count(days),
        kind=kind_words(kind) if kind else "",
        source=source,
        note=note,
        edit_href=edit,
        now=first <= today <= last,
    )


_CHANGES = {
    "stored anew": marked("Stored anew"),
    "days entered": marked("Days entered"),
    "days corrected": marked("Days corrected"),
    "days cleared": marked("Days cleared"),
    "kinds of day changed": marked("Kinds of day changed"),
    "last change taken back": marked("Last change taken back"),
}
"""What a person reads of each kind of change; of a file its rows are counted."""


def _change(what: str) -> str:
    rows = re.fullmatch(r"file of (\d+) rows taken in", what)
    if rows:
        return _("File of {count} rows taken in", count=rows[1])
    return _(_CHANGES[what]) if what in _CHANGES else f"{what[:1].upper()}{what[1:]}"


def last_words(view: VoyageView) -> str:
    """The last change in a sentence, empty before the first."""
    if not view.found.versions:
        return ""
    row, offset = view.found.versions[0], view.frame.utc_offset_minutes
    at = moment(row.recorded_at, offset)
    said = _("{change} by {actor}, {at}").format(change=_change(row.what), actor=row.actor, at=at)
    return f"{said}: {row.reason}." if row.reason else f"{said}."


def change_lines(changes: Sequence[DayChange], today: date, *, kept: bool = False) -> list[str]:
    """Changed days in sentences; the rest in a count beyond forty."""
    said = [
        _(
            "{days}: stays {was} as logged, the file says {now}.",
            days=voyage_span(c.from_on, c.to_on, today),
            was=c.was,
            now=c.now,
        )
        if kept
        else _(
            "{days}: {was}, then {now}.",
            days=voyage_span(c.from_on, c.to_on, today),
            was=c.was or _("nothing entered"),
            now=c.now or _("nothing"),
        )
        for c in changes[:MOST_CHANGES]
    ]
    more = len(changes) - MOST_CHANGES
    return [*said, _("And {more} more.", more=more)] if more > 0 else said


def sheet_cells(looked: Preview) -> list[tuple[int, list[tuple[str, str, str]]]]:
    """Rows with something wrong: number, and (column, text, what is wrong) of each cell."""
    wrong: dict[int, dict[str, str]] = {}
    for fault in looked.sheet.faults:
        wrong.setdefault(fault.row, {})[fault.column] = fault.says
    return [
        (row.number, [(name, row.cells.get(name, ""), wrong[row.number].get(name, "")) for name in COLUMNS])
        for row in looked.sheet.rows
        if row.number in wrong
    ]
