"""The plant page in one screen: the answer, what waits, this week, pumps, margin, may I open; the rest folded."""

from api.pages import drawing
from api.pages.plan.plan_line import plan_words
from api.pages.plant import rows as plant_rows
from api.pages.plant.opening import opening_chart
from api.pages.plant.view import PlantView
from api.pages.plant.week import week_lines
from api.pages.plant.words import action, least_words, plant_heading, plant_subline
from api.pages.shared.layout import render
from api.pages.shared.margin import minimum_words
from api.pages.shared.waits import waits_heading
from scheduler.domain.base.enums import JobState
from scheduler.domain.capacity.may_open import OpeningCode
from scheduler.domain.vessel.job_kinds import BREAKDOWN, caution_line
from scheduler.language import gettext as _
from scheduler.language import marked

MAY_TONES = {
    OpeningCode.LESS_LATER: "brass",
    OpeningCode.SHORT: "boot",
    OpeningCode.POOR_VACUUM: "boot",
    OpeningCode.WORKED_ON: "boot",
}
LEGEND = (
    (JobState.AHEAD, marked("Ahead")),
    (JobState.WINDOW_OPEN, marked("Window open")),
    (JobState.PAST_DUE, marked("Past due")),
    (JobState.PAST_LIMIT, marked("Past limit")),
    (JobState.POSTPONED, marked("Postponed")),
    (JobState.NOT_KNOWN, marked("Last time not known")),
    (JobState.DONE, marked("Done")),
)


def plant_page(view: PlantView, *, light: str, csrf: str) -> str:
    """The plant page: the answer, one action, what waits, this week, pumps, margin over the minimum, may I open; the rest folded.

    Args:
        light: "day", "night", or anything else for the system's setting. csrf: put into every form.
    """
    kinds = plant_rows.tube_kinds(view)
    week, more = week_lines(view)
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
        patterns=drawing.patterns(),
        pumps=[plant_rows.pump_block(p, view, kinds) for p in view.pumps],
        week=week,
        week_more=more,
        waits_said=waits_heading(view.waits),
        caution=caution_line(BREAKDOWN),
        may_chart=opening_chart(view),
        may_tone=MAY_TONES.get(view.may.answer.code, "") if view.may.answer else "",
        rows=rows,
        cautions=tuple(dict.fromkeys(row.caution for row in rows)),
        beyond=plant_rows.beyond(view),
        plan=plan,
        plan_says=plan_words(plan, view.frame.utc_offset_minutes) if plan else "",
        legend=[(state, _(words)) for state, words in LEGEND],
    )
