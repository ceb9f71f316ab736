"""Five ships: who is in trouble? Answered by one look, without a tap, at a desk and on a phone."""

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.capacity import outages
from scheduler.actions.feed import refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan
from tests.browser.chromium import AXE, SIZES, axe_finds
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving
from tests.end_to_end.test_actions import _post

pytestmark = pytest.mark.browser

DUNLIN = replace(PLOVER, key="dunlin", name="Demo Dunlin of the Long Northern Coast", imo="0123462")
CURLEW = replace(PLOVER, key="curlew", name="Demo Curlew", imo="0123474")
GODWIT = replace(PLOVER, key="godwit", name="Demo Godwit", imo="0123486")
SHIPS = (PLOVER, AVOCET, DUNLIN, CURLEW, GODWIT)
YEARS = 0.1


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """One with two pumps down, one never read and without a plan, three as they are after some weeks."""
    folder = tmp_path_factory.mktemp("fleet")
    with serving(str(folder / "ships.db"), PLOVER, years=YEARS, clock=TurnedClock()) as server:
        for ship in SHIPS[1:]:
            _put_ship(server.context, ship, server.clock)
        for ship in SHIPS:
            if ship is not DUNLIN:
                _take(server.context, ship)
        for number in (0, 1):
            place = Place(CURLEW.pump(number), CURLEW.vessel, f"{CURLEW.key}-plant", AssetKind.PUMP)
            at = server.clock.at - timedelta(hours=2)
            outages.pump_down(server.context, Hand(FIRST, f"down {number}", {}), place, at=at, reason="seized")
        for ship in SHIPS:
            refresh.refresh(server.context, calendar_writer(server.url), ship.vessel)
        yield server


def _put_ship(context: Context, ship: ShipPlan, clock: TurnedClock) -> None:
    run = Run(ship, 1, clock.at, YEARS)
    changes.put_vessel(context, FIRST, VESSEL.validate_python(vessel_document(run)), if_new=True)
    if ship is not DUNLIN:
        _post(context, run)


def _take(context: Context, ship: ShipPlan) -> None:
    plant = f"{ship.key}-plant"
    held = planning.propose(context, ship.vessel, plant)
    place = Place(plant, ship.vessel, plant, AssetKind.PLANT)
    planning.take(context, Hand(FIRST, f"take {plant}", {"take": held.digest}), place, held.digest)


def _office(browser: Browser, live: Live, **options: object) -> tuple[BrowserContext, Page, list[str]]:
    """Somebody of the office, just signed in: this is the page they land on."""
    context = browser.new_context(**options)  # type: ignore[arg-type]
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'office')}")
    page.click("main button")
    page.wait_for_url(f"{live.url}/")
    return context, page, wrong


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_who_is_in_trouble_takes_no_tap(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Taps: 0. The heading names the worst by name; a strip a ship, worst first, each with her least margin and when, her worst job
    by name, the age of her hours and what waits. At a desk the five are seen without scrolling; on a phone the worst ship is."""
    phone = size[0] < 700
    context, page, wrong = _office(browser, live, viewport={"width": size[0], "height": size[1]})
    assert page.inner_text("h1").startswith("Demo Curlew is short now. Demo Dunlin of the Long Northern Coast has ")
    rows = page.locator(".ships > li")
    assert rows.count() == len(SHIPS)
    said = rows.locator("h3 a").all_inner_texts()
    assert said[0] == "Demo Curlew"
    assert set(said) == {ship.name for ship in SHIPS}
    for number in range(len(SHIPS)):
        row = rows.nth(number)
        never_read = row.locator("h3 a").inner_text() == DUNLIN.name
        assert row.locator(".least").inner_text().strip()
        assert row.locator(".job .state").inner_text().strip()
        assert row.locator(".dec").inner_text().strip()
        assert ("never read" in row.locator(".age").inner_text()) is never_read
        assert row.locator("svg.chart").count() == 1
    least = rows.nth(0).locator(".least").inner_text()
    assert "−" in least
    assert least.endswith("Oct")
    ends = page.evaluate("[...document.querySelectorAll('.ships > li')].map(e => e.getBoundingClientRect().bottom)")
    assert (ends[0] if phone else ends[-1]) <= size[1], ends
    assert page.evaluate(SMALL, 44 if phone else 24) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.set_viewport_size({"width": 320, "height": 700})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert wrong == []
    context.close()


if AXE:

    @pytest.mark.parametrize("light", ["day", "night"])
    @pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
    def test_the_fleet_is_clean_to_axe(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:
        """Axe-core finds nothing, by day and night."""
        context, page, _ = _office(browser, live, viewport={"width": size[0], "height": size[1]})
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        page.goto(f"{live.url}/?all=1")
        if os.environ.get("LEADLINE_TEST_PICTURES"):
            page.screenshot(path=f"{os.environ['LEADLINE_TEST_PICTURES']}/fleet-{size[0]}-{light}.png", full_page=True)
        assert axe_finds(page) == []
        context.close()
