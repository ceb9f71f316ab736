"""The page of a stay in dock: what is better done there, what it takes, and one form that takes it as a batch."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.work.dock_facts import DockedJob, DockFacts
from scheduler.language import gettext as _
from scheduler.wording.figures import (
    M3H,
    NBSP,
    capital,
    count_words,
    day_count,
    day_label,
    inner,
    listed,
    margin_number,
    moment,
    number,
    short_date,
)
from scheduler.wording.names import job_words

TICK = "job:"
"""Before a job's key in the names of the ticks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DockView(FormState):
    """facts: of the stay asked about, none while none is known or its days make no sense. days: the two fields as they are filled.

    ticked: keys of the jobs ticked when the form was refused, none: as proposed. may_choose: this person may take a batch.
    refused: which form was.
    """

    frame: Frame
    action: str
    voyage_href: str
    minimum_href: str
    facts: DockFacts | None
    days: Mapping[str, str] = field(default_factory=dict)
    ticked: frozenset[str] | None = None
    may_choose: bool = False
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""

    @property
    def days_form(self) -> FormState:
        """The form of the days."""
        return FormState(values=self.days, faults=self.faults if self.refused == "days" else {})


@dataclass(frozen=True, slots=True)
class DockLine:
    """A job on the list. name: of its tick; chosen: it is in a batch already."""

    name: str
    ticked: bool
    chosen: bool
    what: str
    due: str
    why: str
    aboard: str
    there: str
    href: str


def dock_page(view: DockView, *, light: str, csrf: str) -> str:
    """The page."""
    facts = view.facts
    lines = [] if facts is None else dock_lines(facts, view.ticked)
    offset = view.frame.utc_offset_minutes
    return render(
        "dock.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=dock_heading(facts),
        stay="" if facts is None else _stay(facts),
        lines=lines,
        choosable=any(not line.chosen for line in lines),
        does=[] if facts is None else list(dock_effects(facts)),
        batches=[
            (
                row.number,
                _(
                    "{counted} for {first} to {last}, chosen by {chosen_by}, {chosen}",
                    counted=count_words(len(row.jobs), "job", "jobs"),
                    first=moment(row.from_at, offset),
                    last=moment(row.to_at, offset),
                    chosen_by=row.chosen_by,
                    chosen=moment(row.chosen_at, offset),
                ),
            )
            for row in (facts.batches if facts is not None else ())
        ],
    )


def dock_heading(facts: DockFacts | None) -> str:
    """How many jobs are better done there, and what was chosen."""
    if facts is None:
        return _("No dry dock is known to come. Give its days.")
    if not facts.jobs:
        return _("No job is better done in this dock: none that opens a pump falls due in it or soon after.")
    said = count_words(len(facts.jobs), "job is better done in dry dock", "jobs are better done in dry dock")
    chosen, fits = sum(one.batch is not None for one in facts.jobs), sum(one.in_window for one in facts.jobs)
    if chosen == len(facts.jobs):
        return _("{said}; chosen.", said=said)
    if chosen:
        return f"{said}; {inner(count_words(chosen, 'is chosen', 'are chosen'))}."
    return _(
        "{said}; {fit} in the window by then.",
        said=said,
        fit=inner(count_words(fits, "is", "are")) if fits else _("none is"),
    )


def dock_lines(facts: DockFacts, ticked: frozenset[str] | None) -> list[DockLine]:
    """The jobs by due point, ticked where the window has opened by the end of the stay."""
    now = facts.now
    lines = []
    for one in facts.jobs:
        job, key = one.job, one.job.job_id.key
        due = _("due {short_date}", short_date=short_date(job.due_at, now.offset_minutes, now.at))
        if job.limit_at is not None:
            due += _(", limit {short_date}", short_date=short_date(job.limit_at, now.offset_minutes, now.at))
        lines.append(
            DockLine(
                name=f"{TICK}{key}",
                ticked=one.batch is None and (one.in_window if ticked is None else key in ticked),
                chosen=one.batch is not None,
                what=f"{job_words(now.plant, now.at, key)}, {job.takes_hours}{NBSP}h",
                due=due,
                why=" ".join(_why(facts, one)),
                aboard=_margin(one.aboard_m3_per_h),
                there=_margin(one.there_m3_per_h),
                href=f"/vessels/{now.vessel.id}/jobs/{key}",
            )
        )
    return lines


def _margin(m3_per_h: float) -> str:
    if m3_per_h >= 0:
        return margin_number(m3_per_h)
    return _("short by {lack}", lack=margin_number(m3_per_h).lstrip("−-"))


def _why(facts: DockFacts, one: DockedJob) -> Iterator[str]:
    now = facts.now
    if one.batch is not None:
        yield _("Chosen.")
    if one.early_days and not one.in_window:
        opens = short_date(one.job.window_opens_at, now.offset_minutes, now.at)
        share = (
            _(": gives away {number}{nbsp}% of the interval", number=number(one.given_away * 100), nbsp=NBSP)
            if one.given_away
            else ""
        )
        yield _(
            "{days} early{share}. Its window opens {opens}; not proposed.",
            days=capital(day_count(one.early_days)),
            share=share,
            opens=opens,
        )
    elif one.early_days:
        share = (
            _(", {number}{nbsp}% of its interval", number=number(one.given_away * 100), nbsp=NBSP)
            if one.given_away
            else ""
        )
        yield _("{days} before its due point{share}.", days=capital(day_count(one.early_days)), share=share)
    elif one.job.due_at < facts.from_at:
        yield _("Falls due before it; its limit reaches it.")
    else:
        yield _("Falls due in it.")
    if one.short_parts:
        when = "" if one.parts_on is None else _(", there from {day}", day=day_label(one.parts_on))
        yield _("Short of {parts}{when}.", parts=listed(one.short_parts), when=when)
    if one.uncounted:
        yield _("Not counted: {parts}.", parts=listed(one.uncounted))
    if not one.planned:
        yield _("Aboard: over the usual minimum, all other pumps well.")


def _stay(facts: DockFacts) -> str:
    now = facts.now
    minimum = number(facts.minimum_m3_per_h, 1).removesuffix(".0")
    return _(
        "{first} to {last}, minimum {minimum} {m3h}; margin there with every pump well {margin}",
        first=moment(facts.from_at, now.offset_minutes, now.at),
        last=moment(facts.to_at, now.offset_minutes, now.at),
        minimum=minimum,
        m3h=M3H,
        margin=_margin(facts.whole_m3_per_h),
    )


def dock_effects(facts: DockFacts) -> Iterator[str]:
    """What taking the batch does, and what is not settled."""
    now = facts.now
    mine = [one for one in facts.jobs if one.in_window or one.batch is not None]
    takes = sum(one.job.takes_hours * one.job.hands for one in mine)
    yield (
        _(
            "Work: {takes} of the {hand_hours} hours of hands that the crew has in these days, {hands} at "
            "most at once; the yard's own hands are not counted.",
            takes=takes,
            hand_hours=facts.hand_hours,
            hands=facts.hands,
        )
    )
    yield (
        _(
            "The next plan puts the chosen jobs into these days, near their beginning, as far as each one's "
            "limit reaches. It is proposed, and waits to be taken."
        )
    )
    if facts.tests:
        names = list(dict.fromkeys(job_words(now.plant, now.at, job.job_id.key) for job in facts.tests))
        tail = _(" and {more} more", more=len(names) - 6) if len(names) > 6 else ""
        yield (
            _(
                "{counted} due meanwhile: {tests}{tail}. Due by the calendar runs on; plan them for after "
                "the dock, or ask to postpone.",
                counted=count_words(len(facts.tests), "test falls", "tests fall"),
                tests=", ".join(names[:6]),
                tail=tail,
            )
        )
    if facts.laid_up:
        yield _("The days are entered as yard or lay-up: counters that stand still raise no flag.")
    else:
        yield _(
            "The days are not entered as yard or lay-up yet: enter them, else counters that stand still raise flags."
        )
    out = list(dict.fromkeys(now.position_name(one.job.position) for one in mine if one.job.position))
    if out:
        share = number(now.plant.provisional_derate * 100)
        yield (
            _(
                "Before leaving: local start, AUTO and pull-down of {pumps}. Until proved each counts for "
                "{share}{nbsp}% of its capacity.",
                pumps=listed(out),
                share=share,
                nbsp=NBSP,
            )
        )
