"""The page Ships at a browser of the office: a parted line answered without script, on desk and phone, by day and night."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from scheduler.actions.people import people
from scheduler.storage.database import INSTALLATION
from scheduler.storage.shore.ships import LineState, ShipLineRow
from seed_fleet.ships import AVOCET
from tests.browser.chromium import AXE, SIZES, axe_finds
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import Live, TurnedClock, serving

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """A server with a ship of its own."""
    with serving(str(tmp_path_factory.mktemp("ships") / "ship.db"), AVOCET, years=0.02, clock=TurnedClock()) as server:
        yield server


def _parted(live: Live) -> None:
    facts = {"why": "parted", "life": "b7d2", "held_life": "a1c0", "held": 412, "number": 390, "key": "00000000"}
    at = live.clock.at
    with live.context.db.write(INSTALLATION) as session:
        session.merge(
            ShipLineRow(
                vessel_id="demo-dunlin",
                life="a1c0",
                number=412,
                hash="0" * 64,
                heard_at=at,
                skew_s=600,
                state=LineState.PARTED,
                since_at=at,
                facts=facts,
            )
        )


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_parted_line_is_answered(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """It says what parted and from where; without a reason it is drawn again, with one the line is open."""
    _parted(live)
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'office')}")
    page.click("main button")
    for light in ("day", "night"):
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        page.goto(f"{live.url}/ships")
        if AXE:
            assert axe_finds(page) == []
    assert page.evaluate(SMALL, 44 if size[0] < 700 else 24) == []
    assert "goes its own way after change 390" in page.inner_text("main")
    page.set_viewport_size({"width": 320, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.click("button[value='stray copy']")
    assert "Say why" in page.inner_text("main")
    page.fill("[name=reason]", "A copy in the workshop")
    page.click("button[value='stray copy']")
    assert "goes its own way" not in page.inner_text("main")
    context.close()
