"""The page of a job: facts, cautions and isolation before anything else, the work, the close form."""

from secrets import token_hex

from api.pages.shared import job_line
from api.pages.shared.layout import render
from api.pages.work.forms import FORMS, FORMS_IN_USE
from api.pages.work.view import JobView
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.wording.due import date_words, job_name, limit_words
from scheduler.wording.figures import M3H, margin_number, moment, number, short_date

CAUTIONS = (
    "Gas: hydrogen sulphide dulls the nose. Check O2, LEL and H2S before opening and keep the meter on you; "
    "leave at its low alarm.",
    "Automatic start: other pumps keep starting. Set this one off, isolate, lock and tag, then try to start it.",
    "Stored vacuum and pressure: break the vacuum and let it stand before a cover is slackened; liquid is thrown out.",
    "Knives cut even at standstill, and move when the rotor is turned by hand.",
    "Sewage: cover cuts, wear gloves, shield eyes and face; rinse first, drain to the sewage tank, never to the bilge; "
    "disinfect and wash.",
    "Acid cleaners on sewage free H2S; acid with chlorine frees chlorine. Never together.",
    "Lifting: use gear that is rated and in date. A space that must be entered has its own permit.",
)
"""The cautions of a job sheet that opens a pump. Common practice, no source."""


def job_page(view: JobView, *, light: str, csrf: str) -> str:
    """One occurrence: facts, cautions and isolation before anything else, and the close form when it may be closed."""
    due, offset = view.job.due, view.frame.utc_offset_minutes
    return render(
        "job.html",
        view.frame,
        light,
        csrf,
        view=view,
        due=due,
        name=job_name(due),
        row=job_line.tide_row(view.job, view.now_at, offset),
        facts=job_facts(view) if view.closed is None else view.closed.facts,
        why=date_words(explain_date(due, view.now_at), offset) if view.closed is None else "",
        caution=caution_line(view.job.kind),
        cautions=CAUTIONS if view.job.kind.takes_pump_out else (),
        sheet=view.sheet,
        postpone=view.postpone,
        once=token_hex(12),
        work=view.work,
        step_forms=FORMS if view.job.kind.takes_pump_out else FORMS_IN_USE,
        form=view.form,
        closed=view.closed,
        close_steps=view.close_steps,
        close_measures=view.close_measures,
    )


def job_facts(view: JobView) -> tuple[tuple[str, str, str], ...]:
    """(what, figure, small print) of the job's facts."""
    due, offset = view.job.due, view.frame.utc_offset_minutes
    hours = view.running_hours
    by = f"first reached by {due.trigger.value}"
    early, late = (due.forecast.early_at, due.forecast.late_at) if due.forecast else (None, None)
    if early and late and late > view.now_at:
        by += f"; early {short_date(early, offset)}, late {short_date(late, offset)}"
    facts = [("Due", short_date(due.due_at, offset), by)]
    if due.due_running_seconds is not None:
        figure = f"{number(due.due_running_seconds // 3600)} h"
        limit = due.limit_running_seconds
        facts.append(("Due at running hours", figure, f"limit {number(limit // 3600)} h" if limit else ""))
    if due.state is JobState.NOT_KNOWN:
        facts = [("Due", "now", "last time not known")]
    else:
        facts.append(("Window", f"from {short_date(due.window_opens_at, offset)}", ""))
    limit_note = f"postponed from {short_date(due.due_at, offset)}" if due.postponed_to else ""
    facts.append(("Limit", limit_words(due, offset), limit_note))
    if hours is not None:
        about = "estimated, " if hours.estimated else ""
        read = f"{about}read {moment(hours.as_of, offset)}" if hours.as_of else "not read yet"
        if view.projected_hours is not None:
            read = f"about {number(view.projected_hours)} h now; {read}"
        facts.append(("Running hours", f"{number(hours.hours, 1)} h", read))
    if view.job.slot_from_at and view.job.slot_to_at:
        to = f"to {moment(view.job.slot_to_at, offset)}"
        facts.append(("Planned", moment(view.job.slot_from_at, offset), to))
    else:
        facts.append(("Planned", "no slot", ""))
    if view.job.margin_m3_per_h is not None:
        facts.append(("Least margin while open", f"{margin_number(view.job.margin_m3_per_h)} {M3H}", "calculated"))
    people = f"{due.hands} hand{'' if due.hands == 1 else 's'}"
    facts.append(("Takes", f"{due.takes_hours} h, {people}", "isolation and test included"))
    return tuple(facts)
