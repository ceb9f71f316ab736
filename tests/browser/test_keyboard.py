"""Work done by the keyboard alone: focus is always on something, seen, in the page's order, and stands at what was refused."""

from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.chromium import signed_in
from tests.browser.test_work_page import GAS, OFF, job, live, steps  # noqa: F401 - the fixture
from tests.end_to_end.live import Live

pytestmark = pytest.mark.browser
MOST_TABS = 12
"""From the box of the next act to its button: its own fields, no more of the page."""
AT = """() => { const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect();
  return {on: e !== document.body, button: e.matches('#next button'), name: e.name || '', words: e.innerText.trim(),
          seen: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2, high: r.top >= 0 && r.bottom <= innerHeight}; }"""
FIELDS = {
    "L1": "11.4",
    "L2": "11.2",
    "L3": "11.3",
    "number": "PT-114",
    "valid_to": "23:00",
    "oxygen_percent": "20.9",
    "lel_percent": "0",
    "h2s_ppm": "1",
    "box_no": "L4",
    "pull_down_seconds": "88",
    "limit_seconds": "120",
    "measure:knife gap, widest": "0.34",
    "measure:largest chip": "0.5",
}
"""What is typed where an empty field of that name comes by."""


def _act(page: Page, fields: dict[str, str] = FIELDS) -> str:
    """From where the focus is, by Tab through the box's empty fields to its first button, and Enter there; the button's words."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        at = page.evaluate(AT)
        assert at["on"], "focus is lost"
        assert at["seen"], ("focus is not seen", at)
        assert at["high"], ("focus is off the screen", at)
        if at["name"] in fields and not page.evaluate("document.activeElement.value"):
            page.keyboard.type(fields[at["name"]])
        if at["button"]:
            with page.expect_navigation():
                page.keyboard.press("Enter")
            return str(at["words"])
    raise AssertionError(("the button is not reached", page.inner_text("#next")))


def test_a_whole_close_by_keyboard_alone(browser: Browser, live: Live) -> None:  # noqa: F811
    """Six points on and off, planned to closed: after each act the focus is at the next one; a refusal is where the focus goes."""
    context, page, _ = signed_in(browser, live)
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    page.goto(f"{live.url}/vessels/demo-plover/jobs/{key}#next")
    _act(page, {})
    assert page.evaluate(
        "!!document.activeElement.closest('[role=alert]') || document.activeElement.ariaInvalid === 'true'"
    )
    for _ in range(30):
        if page.locator("#next").count() == 0 or page.locator("#next button").count() == 0:
            break
        live.clock.at += timedelta(minutes=1)
        _act(page)
    assert "is closed" in page.inner_text("h1"), page.inner_text("main")
    assert {one["point"] for one in steps(live, key) if one["kind"] == "tag removed"} == set(OFF)
    assert len([one for one in steps(live, key) if one["kind"] == "tag placed"]) == len(OFF)
    context.close()
