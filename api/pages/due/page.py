"""The page of due dates that moved: from which date to which, and why."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.published import MovedDate
from scheduler.language import gettext as _
from scheduler.wording.due import cause_words
from scheduler.wording.figures import count_words, day_count, inner, moment, ship, short_date


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedLine:
    """A date that moved, in words. href empty: the job is open no more."""

    when: str
    name: str
    href: str
    was: str
    now: str
    by: str
    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedView:
    """The page: newest first."""

    frame: Frame
    plant: str
    plant_href: str
    days: int
    lines: tuple[MovedLine, ...]


def moved_page(view: MovedView, *, light: str, csrf: str) -> str:
    """The list, under the answer."""
    said = count_words(len(view.lines), "date", "dates")
    answer = _("{said} moved in the last {days} days.", said=said, days=view.days)
    return render("moved.html", view.frame, light, csrf, view=view, answer=answer)


def moved_lines(now: PlantState, found: Sequence[MovedDate]) -> tuple[MovedLine, ...]:
    """The moves in words, in ship time."""
    names = {job.job_id.key: f"{now.position_name(job.position)} {inner(job.kind_name)}" for job in now.jobs}
    kinds = {kind.code: kind.name for kind in now.plant.job_kinds}
    offset = now.offset_minutes
    return tuple(
        MovedLine(
            when=moment(one.at, offset),
            name=names.get(one.job) or _("{name}, done or gone", name=kinds.get(one.job.split(":")[0], one.job)),
            href=f"/vessels/{now.vessel.id}/jobs/{one.job}" if one.job in names else "",
            was=short_date(one.from_due_at, offset, now.at),
            now=short_date(one.to_due_at, offset, now.at),
            by=by_words(one, offset),
            cause=cause_words(one.cause),
        )
        for one in found
    )


def by_words(one: MovedDate, offset_minutes: int) -> str:
    """By how many days, in which direction; early and late dates alone may move too.

    The days are those of the ship's calendar.
    """
    was, now = ship(one.from_due_at, offset_minutes).date(), ship(one.to_due_at, offset_minutes).date()
    days = (now - was).days
    if not days:
        return _("same day; early or late date moved")
    return _("{days} later", days=day_count(days)) if days > 0 else _("{days} earlier", days=day_count(days))
