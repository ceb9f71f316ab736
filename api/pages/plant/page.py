"""The plant page: the answer, one action, margin, tubes, next jobs, the plan."""

from secrets import token_hex

from api.pages import drawing
from api.pages.plan.plan_line import plan_words
from api.pages.plant import rows as plant_rows
from api.pages.plant.view import PlantView
from api.pages.plant.words import action, least_words, plant_heading, plant_subline
from api.pages.shared.layout import render
from api.pages.shared.margin import minimum_words
from scheduler.domain.base.enums import JobState

NEXT_JOBS = 3
"""Jobs beside the drawing; the rest stand below the tubes."""
LEGEND = (
    (JobState.AHEAD, "Ahead"),
    (JobState.WINDOW_OPEN, "Window open"),
    (JobState.PAST_DUE, "Past due"),
    (JobState.PAST_LIMIT, "Past limit"),
    (JobState.POSTPONED, "Postponed"),
    (JobState.NOT_KNOWN, "Last time not known"),
    (JobState.DONE, "Done"),
)


def plant_page(view: PlantView, *, light: str, csrf: str) -> str:
    """The plant page: the answer, one action, margin over the minimum, tubes, next jobs, the plan.

    Args:
        light: "day", "night", or anything else for the system's setting. csrf: put into every form.
    """
    kinds = plant_rows.tube_kinds(view)
    rows = plant_rows.tide_rows(view)
    plan = view.plan or view.proposed
    return render(
        "plant.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=plant_heading(view),
        sub=plant_subline(view),
        action=action(view),
        least=least_words(view),
        minimum=minimum_words(view.margins),
        charts=plant_rows.charts(view),
        middle_at=view.now_at + (view.horizon_at - view.now_at) / 2,
        patterns=drawing.patterns(),
        pumps=[plant_rows.pump_block(p, view, kinds) for p in view.pumps],
        next_rows=rows[:NEXT_JOBS],
        later_rows=rows[NEXT_JOBS:],
        beyond=plant_rows.beyond(view),
        plan=plan,
        plan_says=plan_words(plan, view.frame.utc_offset_minutes) if plan else "",
        legend=LEGEND,
        once=token_hex(12),
    )
