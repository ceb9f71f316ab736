"""The longer words of another language break no page: seven pages in German, on a desk and a phone."""

import pytest
from playwright.sync_api import Browser
from sqlalchemy import text

from seed_fleet.ships import AVOCET
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.test_counters_pages import SMALL
from tests.browser.test_every_page import MAIN, live  # noqa: F401 - the fixture
from tests.end_to_end.live import Live

pytestmark = pytest.mark.browser


WIDE = """[...document.querySelectorAll("body *")].filter(e => e.checkVisibility() && e.getBoundingClientRect().right > innerWidth + 1)
  .map(e => `${e.tagName} ${e.className} ${e.textContent.trim().slice(0, 30)}`).slice(-5)"""
"""What reaches beyond the screen, the innermost last."""


@pytest.mark.parametrize(("size", "light"), [*zip(SIZES, ["day", "night"], strict=True)], ids=["desk", "phone"])
def test_german_fits(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:  # noqa: F811 - the fixture
    """Nothing wider than the phone or 320 px, targets of 44 px on a phone and 24 at a desk, no violation that axe-core knows."""
    with live.context.db.write("") as session:
        session.connection().execute(text("UPDATE person SET language = 'de'"))
    phone = size[0] < 700
    found: dict[str, object] = {}
    context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    due = live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
    overhaul = next(job["job"] for job in due if job["kind"] == "overhaul" and job["open"])
    vessel, plant = f"/vessels/{AVOCET.vessel}", f"/plants/{live.plant}"
    for path in (
        plant,
        f"{plant}/plan",
        f"{vessel}/jobs/{overhaul}",
        f"{vessel}/hours",
        f"{vessel}/counters",
        f"{vessel}/decisions",
        f"{vessel}/clogs",
    ):
        page.goto(f"{live.url}{path}")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert page.locator("html").get_attribute("lang") == "de", path
        found[f"{path} targets"] = page.evaluate(SMALL, 44 if phone else 24)
        found[f"{path} axe"] = axe_finds(page) if AXE else []
        if phone:
            found[f"{path} main"] = page.evaluate(MAIN)
            for width in (320, size[0]):
                page.set_viewport_size({"width": width, "height": size[1]})
                wide = page.evaluate("document.documentElement.scrollWidth")
                found[f"{path} {width} wide"] = [] if wide <= width else [wide, *page.evaluate(WIDE)]
    assert {where: what for where, what in found.items() if what} == {}
    context.close()
