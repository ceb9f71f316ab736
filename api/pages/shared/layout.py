"""The pages, rendered on the server. Views in, HTML text out; nothing here asks the store, the clock or the network."""

from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from secrets import token_hex
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from api.pages import drawing, words
from api.pages.shared import rows as shared_rows
from api.pages.shared.view import EmptyView, ErrorView, FleetView, Frame, JobView, PlantView, SignInView
from api.pages.work.forms import FORMS, FORMS_IN_USE
from scheduler.domain.base.enums import JobState, Test
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.vessel.document import caution_line
from scheduler.wording.due import date_words

_PAGES = Path(__file__).parents[1]
STATIC = _PAGES / "static"
"""The folder the application serves at /static."""

CSP = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"
"""Content-Security-Policy of every page but /docs: no inline script or style, nothing from outside."""

DOCS_CSP = (
    "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'; object-src 'none'"
)
"""Content-Security-Policy of /docs alone: the vendored viewer sets style attributes and draws icons from data: URLs."""

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


@cache
def asset(name: str) -> str:
    """Address of a static file with a mark of its content, so that a browser may keep it for ever."""
    return f"/static/{name}?v={sha256((STATIC / name).read_bytes()).hexdigest()[:10]}"


def unit_markup(said: str) -> Markup:
    """The text, escaped, with cubic metres an hour raised the way a reader can see and kept with their figure."""
    held = said.replace("m3/h", words.M3H).replace(f" {words.M3H}", f"{words.NBSP}{words.M3H}")
    return escape(held).replace(words.M3H, Markup("m<sup>3</sup>/h"))


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(sorted(folder for folder in _PAGES.iterdir() if folder.is_dir())),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters["unit"] = unit_markup
    env.globals.update(asset=asset, say=words, glyph=drawing.glyph, State=JobState, Test=Test)
    return env


_ENV = _environment()


def render(template: str, frame: Frame, light: str, csrf: str, **values: Any) -> str:
    """A template with what every page has around it. light: "day", "night", or anything else for the system's."""
    shown = light if light in ("day", "night") else ""
    return _ENV.get_template(template).render(
        frame=frame, light=shown, csrf=csrf, offset=frame.utc_offset_minutes, **values
    )


def plant_page(view: PlantView, *, light: str, csrf: str) -> str:
    """The plant page: the answer, one action, margin over the minimum, tubes, next jobs, the plan.

    Args:
        light: "day", "night", or anything else for the system's setting. csrf: put into every form.
    """
    kinds = shared_rows.tube_kinds(view)
    rows = shared_rows.tide_rows(view)
    shown = view.plan or view.proposed
    return render(
        "plant.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=words.plant_heading(view),
        sub=words.plant_subline(view),
        action=words.action(view),
        least=words.least_words(view),
        minimum=words.minimum_words(view.runs),
        charts=shared_rows.charts(view),
        middle_at=view.now_at + (view.horizon_at - view.now_at) / 2,
        patterns=drawing.patterns(),
        pumps=[shared_rows.pump_block(p, view, kinds) for p in view.pumps],
        next_rows=rows[:NEXT_JOBS],
        later_rows=rows[NEXT_JOBS:],
        beyond=shared_rows.beyond(view),
        plan=shown,
        legend=LEGEND,
        once=token_hex(12),
    )


def figures_page(view: PlantView, *, light: str, csrf: str) -> str:
    """The plan in figures: margin runs, slots, shortfalls in words, what a proposed plan would change."""
    offset = view.frame.utc_offset_minutes
    slots = sorted(
        (j for j in view.jobs if j.slot_from_at), key=lambda j: (j.slot_from_at or view.now_at, words.rank(j))
    )
    return render(
        "figures.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=words.capacity_sentence(view),
        runs=[shared_rows.margin_row(r, offset) for r in view.runs],
        slots=[shared_rows.tide_row(j, view.now_at, offset) for j in slots],
        without=[
            shared_rows.tide_row(j, view.now_at, offset)
            for j in sorted(view.jobs, key=words.rank)
            if not j.slot_from_at
        ],
        plan=view.plan or view.proposed,
    )


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
        name=words.job_name(due),
        row=shared_rows.tide_row(view.job, view.now_at, offset),
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
    )


def job_facts(view: JobView) -> tuple[tuple[str, str, str], ...]:
    """(what, figure, small print) of the job's facts."""
    due, offset = view.job.due, view.frame.utc_offset_minutes
    hours = view.running_hours
    by = f"first reached by {due.trigger.value}"
    early, late = (due.forecast.early_at, due.forecast.late_at) if due.forecast else (None, None)
    if early and late and late > view.now_at:
        by += f"; early {words.short_date(early, offset)}, late {words.short_date(late, offset)}"
    facts = [("Due", words.short_date(due.due_at, offset), by)]
    if due.due_running_seconds is not None:
        figure = f"{words.number(due.due_running_seconds / 3600)} h"
        limit = due.limit_running_seconds
        facts.append(("Due at running hours", figure, f"limit {words.number(limit / 3600)} h" if limit else ""))
    if due.state is JobState.NOT_KNOWN:
        facts = [("Due", "now", "last time not known")]
    else:
        facts.append(("Window", f"from {words.short_date(due.window_opens_at, offset)}", ""))
    limit_note = f"postponed from {words.short_date(due.due_at, offset)}" if due.postponed_to else ""
    facts.append(("Limit", words.limit_words(due, offset), limit_note))
    if hours is not None:
        about = "estimated, " if hours.estimated else ""
        read = f"{about}read {words.moment(hours.as_of, offset)}" if hours.as_of else "not read yet"
        if view.projected_hours is not None:
            read = f"about {words.number(view.projected_hours)} h now; {read}"
        facts.append(("Running hours", f"{words.number(hours.hours, 1)} h", read))
    if view.job.slot_from_at and view.job.slot_to_at:
        to = f"to {words.moment(view.job.slot_to_at, offset)}"
        facts.append(("Planned", words.moment(view.job.slot_from_at, offset), to))
    else:
        facts.append(("Planned", "no slot", ""))
    if view.job.margin_m3_per_h is not None:
        facts.append(
            ("Least margin while open", f"{words.margin_number(view.job.margin_m3_per_h)} {words.M3H}", "calculated")
        )
    people = f"{due.hands} hand{'' if due.hands == 1 else 's'}"
    facts.append(("Takes", f"{due.takes_hours} h, {people}", "isolation and test included"))
    return tuple(facts)


def fleet_page(view: FleetView, *, light: str, csrf: str) -> str:
    """The vessels, one line each, worst first."""
    lines = sorted(view.vessels, key=words.vessel_rank)
    return render("fleet.html", view.frame, light, csrf, view=view, lines=lines, answer=fleet_answer(view))


def fleet_answer(view: FleetView) -> str:
    """The heading of the fleet page."""
    late = sum(1 for v in view.vessels if v.past_limit)
    past = sum(1 for v in view.vessels if v.past_due or v.past_limit)
    low = sum(1 for v in view.vessels if v.below_at)
    if not view.vessels:
        return "No vessel is set up yet."
    if not past and not low:
        return f"Nothing is past due on {words.count_words(len(view.vessels), 'vessel', 'vessels').lower()}."
    said = []
    if late:
        said.append(words.count_words(late, "vessel has a job past its limit.", "vessels have jobs past their limit."))
    elif past:
        said.append(words.count_words(past, "vessel has a job past due.", "vessels have jobs past due."))
    if low:
        said.append(words.count_words(low, "vessel goes below its minimum.", "vessels go below their minimum."))
    return " ".join(said)


def signin_page(view: SignInView, *, light: str, csrf: str) -> str:
    """Asks for the one-time link; when one was opened, asks to confirm it."""
    return render("signin.html", view.frame, light, csrf, view=view)


def error_page(view: ErrorView, *, light: str, csrf: str) -> str:
    """An error in words and the ways on."""
    return render("error.html", view.frame, light, csrf, view=view)


def empty_page(view: EmptyView, *, light: str, csrf: str) -> str:
    """First run: no vessel yet, and what to do."""
    return render("empty.html", view.frame, light, csrf, view=view)


def docs_page(openapi_href: str = "/openapi.json") -> str:
    """The interface description, shown by the vendored viewer; send it with DOCS_CSP."""
    return _ENV.get_template("docs.html").render(openapi_href=openapi_href)


def typed_moment(at: datetime, offset_minutes: int) -> str:
    """An instant as a datetime-local field holds it, in ship time."""
    return f"{words.ship(at, offset_minutes):%Y-%m-%dT%H:%M}"
