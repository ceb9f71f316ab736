"""The plan in figures."""

from dataclasses import dataclass

from api.pages.plan.plan_line import plan_words
from api.pages.plant.view import PlantView
from api.pages.plant.words import capacity_sentence
from api.pages.shared import job_line
from api.pages.shared.layout import render
from api.pages.shared.margin import MarginStretch
from scheduler.language import gettext as _
from scheduler.wording.due import job_rank
from scheduler.wording.figures import moment, number


def figures_page(view: PlantView, *, light: str, csrf: str) -> str:
    """The plan in figures: margin stretches, slots, shortfalls in words, what a proposed plan would change."""
    offset = view.frame.utc_offset_minutes
    slots = sorted(
        (j for j in view.jobs if j.slot_from_at), key=lambda j: (j.slot_from_at or view.now_at, job_rank(j.due))
    )
    plan = view.plan or view.proposed
    return render(
        "figures.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=capacity_sentence(view),
        stretches=[margin_row(r, offset) for r in view.margins],
        slots=[job_line.tide_row(j, view.now_at, offset) for j in slots],
        without=[
            job_line.tide_row(j, view.now_at, offset)
            for j in sorted(view.jobs, key=lambda j: job_rank(j.due))
            if not j.slot_from_at
        ],
        plan=plan,
        plan_says=plan_words(plan, offset) if plan else "",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginRow:
    """A row of the figures: when, and swept m3/h as printed; short: below the minimum."""

    start: str
    end: str
    available: str
    minimum: str
    margin: str
    why: str
    short: bool


def margin_row(run: MarginStretch, offset_minutes: int) -> MarginRow:
    """A margin run as printed; available rounded down, minimum up, so that margin never looks larger than it is."""
    why = [_("{names} open", names=", ".join(run.open_positions))] if run.open_positions else []
    why += [_("{several} down or not proved", several=", ".join(run.down_positions))] if run.down_positions else []
    why += [run.minimum_label] if run.minimum_label != "minimum" else []
    return MarginRow(
        start=moment(run.from_at, offset_minutes),
        end=moment(run.to_at, offset_minutes),
        available=number(run.available_m3_per_h, 1),
        minimum=number(run.minimum_m3_per_h, 1),
        margin=number(run.margin_m3_per_h, 1),
        why="; ".join(why) or _("all pumps"),
        short=run.margin_m3_per_h < 0,
    )
