"""A job sheet as it comes out of the printer: one A4 page, whatever its job kind asks for within what the check lets pass."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from playwright.sync_api import Browser, Page

from api.pages.work.page import job_page
from api.pages.work.sheet import job_sheet_of
from scheduler.domain.checks.job_sheets import sheet_faults
from scheduler.domain.vessel.job_kinds import JobKind
from tests.browser.fullest_sheet import FULLEST, KINDS
from tests.browser.site import served
from tests.unit.api import invented
from tests.unit.domain.plants import plant as plant_of

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    """A page of Debian's Chromium on a site with the look."""
    with served() as address:
        found = browser.new_page()
        found.goto(f"{address}/fleet")
        yield found
        found.close()


@pytest.mark.parametrize("kind", [*KINDS.values(), FULLEST], ids=[*KINDS, "the fullest"])
def test_a_sheet_prints_on_one_page_with_its_cautions_and_tag_grid_before_step_1(page: Page, kind: JobKind) -> None:
    """Chromium's own paper, A4: one page; what must come first comes first; buttons and forms stay off the paper."""
    assert not list(sheet_faults("", kind))
    view = invented.job_view()
    sheet = job_sheet_of(
        plant_of(),
        kind,
        (),
        (),
        offset_minutes=60,
        also_due=("Seal inspection, window open, due Mon 2 Nov", "Overhaul, past due, due Fri 30 Oct"),
        address="http://leadline.lan:8322/vessels/demo-plover/jobs/knife_inspection:plover-pump-b-knives:1",
        printed_from="Printed Tue 20 Oct 08:00 UTC+1, plan 8f2c41d9, after record 12",
        stamp="5f" * 32,
    )
    job = replace(view.job, kind=kind, due=replace(view.job.due, kind_name=kind.name))
    text = job_page(replace(view, job=job, sheet=sheet), light="night", csrf="c")
    page.evaluate("text => { document.documentElement.innerHTML = text }", text)
    page.evaluate("document.fonts.ready")
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    page.emulate_media(media="print")
    shown = page.inner_text("body")
    page.emulate_media(media=None)
    assert "Close the job" not in shown
    assert "5f5f" in shown
    first = shown.index("Steps")
    assert shown.index("Before anything is opened") < first
    if kind.takes_pump_out:
        assert shown.index("Isolation, before step 1") < first
