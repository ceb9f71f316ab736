"""A postponement to be decided: if no against if yes, why it is asked, and two equal buttons."""

from dataclasses import dataclass

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.work.postponement_facts import PostponementFacts
from scheduler.domain.base.enums import Trigger
from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.wording.capacity import over_or_short
from scheduler.wording.figures import NBSP, moment, number, short_date
from scheduler.wording.hours import counts_words
from scheduler.wording.names import job_words


@dataclass(frozen=True, slots=True, kw_only=True)
class DecideView:
    """facts: of the postponement. may_decide: this person may, and nobody has; unfit: why this person may not."""

    frame: Frame
    plant: Plant
    plant_href: str
    job_href: str
    action: str
    once: str
    facts: PostponementFacts
    may_decide: bool
    unfit: str = ""
    form: FormState = FormState()  # noqa: RUF009 - frozen

    @property
    def offset(self) -> int:
        """The ship's clock."""
        return self.frame.utc_offset_minutes

    @property
    def job(self) -> str:
        """The job by its position and kind."""
        return job_words(self.plant, self.facts.row.asked_at, self.facts.row.job_key)


@dataclass(frozen=True, slots=True)
class DecideRow:
    """A line of the comparison; both: one cell for if no and if yes."""

    what: str
    no: str
    yes: str = ""
    both: bool = False
    tone: str = ""


def decide_page(view: DecideView, *, light: str, csrf: str) -> str:
    """The page of one postponement."""
    row = view.facts.row
    return render(
        "decide.html",
        view.frame,
        light,
        csrf,
        view=view,
        row=row,
        heading=decide_heading(view),
        asked=moment(row.asked_at, view.offset),
        lines=compared(view),
        before=_before(view.facts),
        yes=_("Yes, to {short_date}", short_date=short_date(row.to_at, view.offset, view.frame.now_at)),
    )


def decide_heading(view: DecideView) -> str:
    """The question, or how it was decided."""
    row = view.facts.row
    to = short_date(row.to_at, view.offset, view.frame.now_at)
    if row.granted is None:
        return _("May {job} wait until {to}?", job=view.job, to=to)
    said = _("may wait until {to}", to=to) if row.granted else _("may not wait: the limit stays")
    by = f"{row.decided_by}" + (_(", the link to the office being down") if row.decided_as == "master" else "")
    return _("{job} {said}. Decided by {by}.", job=view.job, said=said, by=by)


def compared(view: DecideView) -> list[DecideRow]:
    """If no against if yes."""
    facts, offset = view.facts, view.offset
    row, job = facts.row, facts.job
    lines = [
        DecideRow(
            _("Limit"),
            _limit(short_date(row.limit_at, offset, view.frame.now_at), facts.counter_if_no),
            _limit(short_date(row.to_at, offset, view.frame.now_at), facts.counter_if_yes, about=True),
        )
    ]
    if facts.hours_if_no is not None and facts.hours_if_yes is not None and facts.interval_hours:
        of = _("of {number}{nbsp}h", number=number(facts.interval_hours), nbsp=NBSP)
        lines.append(
            DecideRow(
                _("Hours at the limit"),
                f"{number(facts.hours_if_no)} {of}",
                _("about {number} {of}", number=number(facts.hours_if_yes), of=of),
            )
        )
    if facts.slot is not None:
        planned = moment(facts.slot[0], offset)
        lines.append(
            DecideRow(_("Planned"), planned, _("{planned}, until it is planned again", planned=planned), tone="")
        )
    if facts.margin_m3_per_h is not None and facts.after_trip_m3_per_h is not None:
        margin, trip = (round(one * 1000) for one in (facts.margin_m3_per_h, facts.after_trip_m3_per_h))
        lines.append(
            DecideRow(
                _("Margin while open, as planned"), over_or_short(margin), both=True, tone="boot" if margin < 0 else ""
            )
        )
        lines.append(DecideRow(_("If one more pump trips then"), over_or_short(trip), both=True))
    if job is not None:
        said = _("due {short_date} in both cases", short_date=short_date(job.due_at, offset, view.frame.now_at))
        if job.trigger is Trigger.RUNNING_HOURS and job.since_seconds is not None and job.forecast is not None:
            rate = number(job.forecast.h_per_day, 1)
            said = _(
                "{number}{nbsp}h since the last, {rate}{nbsp}h a day; {said}",
                number=number(job.since_seconds // 3600),
                nbsp=NBSP,
                rate=rate,
                said=said,
            )
        lines.append(DecideRow(_("Now"), said, both=True))
    else:
        lines.append(DecideRow(_("Now"), _("closed meanwhile"), both=True))
    return lines


def _limit(day: str, counter: int | None, *, about: bool = False) -> str:
    if counter is None:
        return day
    said = counts_words(counter // 1000 * 1000)
    if about:
        return _("{day}, about counter {counter}", day=day, counter=said)
    return _("{day}, counter {counter}", day=day, counter=said)


def _before(facts: PostponementFacts) -> str:
    own = _("first for this job") if not facts.before else _("{before}. time for this job", before=facts.before + 1)
    return _("{own}; {this_year} granted on this ship in a year", own=own, this_year=facts.this_year)
