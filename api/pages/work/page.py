"""The page of a job: facts, cautions and isolation before anything else, the work, the close form."""

from secrets import token_hex

from api.pages import drawing
from api.pages.shared import job_line
from api.pages.shared.codes import code_words
from api.pages.shared.layout import render
from api.pages.work.forms import FORMS, FORMS_IN_USE, form_said
from api.pages.work.view import JobView
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.wording.due import date_words, job_name, limit_words
from scheduler.wording.figures import M3H, margin_number, moment, number, short_date

CAUTIONS = (
    marked(
        "Gas: hydrogen sulphide dulls the nose. Check O2, LEL and H2S before opening and keep the meter "
        "on you; leave at its low alarm."
    ),
    marked(
        "Automatic start: other pumps keep starting. Set this one off, isolate, lock and tag, then try to start it."
    ),
    marked(
        "Stored vacuum and pressure: break the vacuum and let it stand before a cover is slackened; "
        "liquid is thrown out."
    ),
    marked("Knives cut even at standstill, and move when the rotor is turned by hand."),
    marked(
        "Sewage: cover cuts, wear gloves, shield eyes and face; rinse first, drain to the sewage tank, "
        "never to the bilge; disinfect and wash."
    ),
    marked("Acid cleaners on sewage free H2S; acid with chlorine frees chlorine. Never together."),
    marked("Lifting: use gear that is rated and in date. A space that must be entered has its own permit."),
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
        cautions=[_(one) for one in CAUTIONS] if view.job.kind.takes_pump_out else (),
        sheet=view.sheet,
        postpone=view.postpone,
        once=token_hex(12),
        work=view.work,
        step_forms=[form_said(one) for one in (FORMS if view.job.kind.takes_pump_out else FORMS_IN_USE)],
        form=view.form,
        closed=view.closed,
        patterns=drawing.patterns(),
        close_steps=view.close_steps,
        close_measures=view.close_measures,
    )


def job_facts(view: JobView) -> tuple[tuple[str, str, str], ...]:
    """(what, figure, small print) of the job's facts."""
    due, offset = view.job.due, view.frame.utc_offset_minutes
    hours = view.running_hours
    by = _("first reached by {value}", value=code_words(due.trigger.value))
    early, late = (due.forecast.early_at, due.forecast.late_at) if due.forecast else (None, None)
    if early and late and late > view.now_at:
        by += _(
            "; early {short_date}, late {short_date_2}",
            short_date=short_date(early, offset),
            short_date_2=short_date(late, offset),
        )
    facts = [(_("Due"), short_date(due.due_at, offset), by)]
    if due.due_running_seconds is not None:
        figure = f"{number(due.due_running_seconds // 3600)} h"
        limit = due.limit_running_seconds
        facts.append(
            (
                _("Due at running hours"),
                figure,
                _("limit {number} h", number=number(limit // 3600)) if limit else "",
            )
        )
    if due.state is JobState.NOT_KNOWN:
        facts = [(_("Due"), _("now"), _("last time not known"))]
    else:
        facts.append((_("Window"), _("from {day}", day=short_date(due.window_opens_at, offset)), ""))
    limit_note = _("postponed from {short_date}", short_date=short_date(due.due_at, offset)) if due.postponed_to else ""
    facts.append((_("Limit"), limit_words(due, offset), limit_note))
    if hours is not None:
        said = _("estimated, read {moment}") if hours.estimated else _("read {moment}")
        read = said.format(moment=moment(hours.as_of, offset)) if hours.as_of else _("not read yet")
        if view.projected_hours is not None:
            read = _("about {number} h now; {read}", number=number(view.projected_hours), read=read)
        facts.append((_("Running hours"), f"{number(hours.hours, 1)} h", read))
    if view.job.slot_from_at and view.job.slot_to_at:
        to = _("to {moment}", moment=moment(view.job.slot_to_at, offset))
        facts.append((_("Planned"), moment(view.job.slot_from_at, offset), to))
    else:
        facts.append((_("Planned"), _("no slot"), ""))
    if view.job.margin_m3_per_h is not None:
        facts.append(
            (_("Least margin while open"), f"{margin_number(view.job.margin_m3_per_h)} {M3H}", _("calculated"))
        )
    people = ngettext("{hands} hand", "{hands} hands", due.hands).format(hands=due.hands)
    facts.append((_("Takes"), f"{due.takes_hours} h, {people}", _("isolation and test included")))
    return tuple(facts)
