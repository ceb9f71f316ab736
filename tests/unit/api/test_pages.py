"""The pages as HTML: whole, escaped, cautious, and allowed by their own content policy."""

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from api.pages.error.page import error_page
from api.pages.figures.page import figures_page
from api.pages.people.page import signin_page
from api.pages.plant import rows as plant_rows
from api.pages.plant.page import plant_page
from api.pages.vessel.page import empty_page, fleet_page
from api.pages.work.page import CAUTIONS, job_page
from api.pages.work.view import JobView
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.wording.invisible import visible_text
from tests.unit.api import invented

PLANTS = {
    "calm": invented.calm(),
    "states": invented.all_states(),
    "deficit": invented.deficit(),
    "nothing": invented.nothing(),
    "no plan": invented.plant(5, planned=False),
    "long names": invented.long_names(),
}
PAGES: dict[str, Callable[[str], str]] = {
    **{n: lambda light, v=v: plant_page(v, light=light, csrf="c") for n, v in PLANTS.items()},
    "figures": lambda light: figures_page(invented.all_states(), light=light, csrf="c"),
    "job": lambda light: job_page(invented.job_view(), light=light, csrf="c"),
    "refused": lambda light: job_page(invented.job_refused(), light=light, csrf="c"),
    "closed": lambda light: job_page(invented.job_closed(), light=light, csrf="c"),
    "fleet": lambda light: fleet_page(invented.fleet(), light=light, csrf="c"),
    "sign in": lambda light: signin_page(invented.sign_in(), light=light, csrf="c"),
    "enter": lambda light: signin_page(invented.sign_in(token="t", person="A"), light=light, csrf="c"),
    "error": lambda light: error_page(invented.error(), light=light, csrf="c"),
    "empty": lambda light: empty_page(invented.empty(), light=light, csrf="c"),
}
NASTY = "<b onclick=x>\"&' \u202eשלום\u202c"


class Reader(HTMLParser):
    """Collects the tags of a page with their attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words += data


@pytest.mark.parametrize("name", PAGES)
def test_a_page_needs_nothing_its_policy_forbids(name: str) -> None:
    """No style attribute, style element, inline script, handler or address on another host; one h1; ids are unique."""
    found = Reader(PAGES[name]("day")).tags
    for tag, held in found:
        assert tag != "style"
        assert not any(a == "style" or a.startswith("on") for a in held)
        assert tag != "script" or held.get("src")
        for address in (held.get("src"), held.get("href"), held.get("action")):
            assert not re.match(r"(?i)(\w+:)?//|javascript:|data:", address or "")
    assert sum(tag == "h1" for tag, _ in found) == 1
    ids = [held["id"] for _, held in found if "id" in held]
    assert len(ids) == len(set(ids))
    known = set(ids)
    assert {f for t, h in found if t == "label" and (f := h.get("for"))} <= known


@pytest.mark.parametrize("name", PAGES)
def test_every_form_that_posts_carries_the_token(name: str) -> None:
    """A form that changes something holds the token against forged requests; no page says "guaranteed"."""
    page = PAGES[name]("day")
    for form in re.findall(r"<form[^>]*method=\"post\".*?</form>", page, re.S):
        assert 'name="csrf" value="c"' in form
    assert "guarant" not in page.lower()


@pytest.mark.parametrize("junk", ["", "dusk", '"><script>', "Night", "\u202e"])
def test_an_unknown_light_is_ignored(junk: str) -> None:
    """A cookie that is neither day nor night leaves the page to the system's setting and is not echoed."""
    tag, held = Reader(PAGES["calm"](junk)).tags[0]
    assert (tag, "data-light" in held) == ("html", False)
    assert PAGES["calm"](junk) == PAGES["calm"]("")
    assert 'data-light="night"' in PAGES["calm"]("night")


def test_every_job_has_its_caution() -> None:
    """Each row of the job list, each slot of the figures and the job sheet carry the caution line of their kind."""
    view = invented.all_states()
    for row in plant_rows.tide_rows(view):
        assert row.caution
    page = Reader(PAGES["states"]("day")).words
    assert page.count(caution_line(invented.KNIFE)) >= 1
    sheet = Reader(PAGES["job"]("day")).words
    assert caution_line(invented.KNIFE) in sheet
    assert all(c in sheet for c in CAUTIONS)
    assert sheet.index(CAUTIONS[0]) < sheet.index("Close this job")


def test_the_job_list_is_in_time_order_and_loses_no_job() -> None:
    """Planned jobs stand by their start; every open job is in the list or counted as lying beyond."""
    view = invented.all_states()
    rows = plant_rows.tide_rows(view)
    assert len(rows) + plant_rows.beyond(view) == len(view.jobs)
    planned = [j for j in view.jobs if j.slot_from_at]
    assert {r.href for r in rows} >= {j.href for j in planned}
    for job in planned:
        row = next(r for r in rows if r.href == job.href)
        assert row.time != "due, no slot"
        assert row.margin


def test_names_stay_text() -> None:
    """A name with markup, quotes, an ampersand or right-to-left text comes back as text, what turns letters round shown."""
    view = invented.plant(3)
    jobs = tuple(replace(j, due=replace(j.due, kind_name=NASTY)) for j in view.jobs)
    pumps = tuple(replace(p, serial=NASTY) for p in view.pumps)
    named = replace(view, frame=invented.frame(vessel=NASTY, person=NASTY), jobs=jobs, pumps=pumps)
    for page in (
        plant_page(named, light="", csrf=NASTY),
        figures_page(named, light="", csrf=NASTY),
        job_page(_nasty_job(), light="", csrf=NASTY),
    ):
        read = Reader(page)
        assert visible_text(NASTY) in read.words
        assert not any(tag == "b" and "onclick" in held for tag, held in read.tags)
        tokens = [h.get("value") for t, h in read.tags if t == "input" and h.get("name") == "csrf"]
        assert tokens
        assert set(tokens) == {visible_text(NASTY)}


def _nasty_job() -> JobView:
    view = invented.job_refused()
    assert view.form is not None
    typed = {**view.form.values, "findings": NASTY, "checked_by": NASTY}
    return replace(view, form=replace(view.form, values=typed, faults={"checked_by": NASTY}))


def test_a_refused_form_keeps_what_was_typed_and_points_at_the_faults() -> None:
    """Typed values come back, each fault stands at its field and in the summary, and the key is a fresh one."""
    view = invented.job_refused()
    assert view.form is not None
    read = Reader(job_page(view, light="", csrf="c"))
    inputs = {h.get("name"): h for t, h in read.tags if t == "input"}
    assert inputs["running_hours"]["value"] == "1395.2"
    assert inputs["idempotency_key"]["value"] == view.form.idempotency_key
    for name, fault in view.form.faults.items():
        assert read.words.count(fault) == 2
        assert inputs[name]["aria-invalid"] == "true"
        assert f"e-{name}" in str(inputs[name]["aria-describedby"])
    assert view.form.values["findings"] in read.words


def test_numbers_have_narrow_spaces() -> None:
    """Thousands are parted by a narrow no-break space, on the sheet and under the pumps."""
    assert "13\u202f905.2 h" in Reader(PAGES["job"]("")).words
    assert "9\u202f731.3" in Reader(PAGES["calm"]("")).words
