"""What was done on one pump, out to a file, and a job that is remembered by a word: counted in taps and typed fields."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser

from seed_fleet.ships import PLOVER
from tests.api.stage import stamp
from tests.browser.chromium import SIZES, signed_in
from tests.browser.counted import Counted
from tests.browser.test_work_page import job
from tests.end_to_end.live import Live, TurnedClock, serving

pytestmark = pytest.mark.browser

MOST_TAPS_TO_A_FILE, MOST_TAPS_TO_FIND = 3, 2
FOUND = "a cloth wound round the rotor, taken out in two pieces"


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The three-pump ship; VP2's seal was inspected and something found."""
    with serving(str(tmp_path_factory.mktemp("record") / "ship.db"), PLOVER, years=0.1, clock=TurnedClock()) as server:
        key = job(server, "seal_inspection", "plover-pump-b-seal")
        closed = {
            "done_at": stamp(server.clock.at - timedelta(hours=1)),
            "done_by": "Demo second",
            "test": "passed",
            "findings": FOUND,
        }
        answer = server.chief.post(f"/api/v1/jobs/{key}/close", json=closed, headers={"Idempotency-Key": "seal"})
        assert answer.is_success, answer.text
        yield server


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_pumps_jobs_are_three_taps_from_a_file(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """From the plant page: what the file lacks stands above the button that gives it, and a PDF comes."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    hand = Counted(page)
    hand.tap("main a[href='/pumps/plover-pump-b/record']")
    assert "seal inspection" in page.inner_text("main").lower()
    said = page.locator("#h-export")
    button = page.get_by_role("link", name="Its closed jobs as PDF")
    assert said.evaluate("e => e.getBoundingClientRect().top") < button.evaluate("e => e.getBoundingClientRect().top")
    with page.expect_download() as coming:
        hand.tap(button)
    assert coming.value.path().read_bytes().startswith(b"%PDF-")
    hand.say("a pump's jobs for the auditor", MOST_TAPS_TO_A_FILE, 0)
    assert wrong == []
    context.close()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_the_job_where_a_cloth_was_found_is_found_by_the_word(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """Two words typed in one field; the job's own page is one tap from what was found, with the finding on it."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    hand = Counted(page)
    box = page.locator("header input[name='q'], nav input[name='q']").first
    if not box.is_visible():
        hand.tap("a[href$='/find']:visible")
        box = page.locator("main input[name='q']")
    hand.fill(box, "cloth VP2")
    box.press("Enter")
    page.wait_for_url(re.compile(r"/find\?"))
    hit = page.locator(".hits a").first
    assert "seal" in hit.inner_text().lower()
    hand.tap(hit)
    assert FOUND in page.inner_text("main")
    hand.say("the job where a cloth was found", MOST_TAPS_TO_FIND, 1)
    assert wrong == []
    context.close()
