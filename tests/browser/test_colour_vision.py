"""Each state is told from every other by its sign alone, whatever colours the reader sees: four simulations by the browser."""

from collections.abc import Iterator
from io import BytesIO
from itertools import combinations

import pytest
from PIL import Image, ImageChops
from playwright.sync_api import Browser

from api.pages.drawing.glyphs import glyph
from scheduler.domain.base.enums import JobState
from seed_fleet.ships import PLOVER
from tests.browser.chromium import signed_in
from tests.end_to_end.live import Live, TurnedClock, serving

pytestmark = pytest.mark.browser

VISIONS = ("protanopia", "deuteranopia", "tritanopia", "achromatopsia")
LEAST_PIXELS, LEAST_LIGHT = 12, 48
"""Pixels of the 400 of a sign that differ at least, and by how much of 255 in light: a stroke of the sign, clearly seen."""


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The three-pump ship, for a page with our looks."""
    with serving(str(tmp_path_factory.mktemp("eyes") / "ship.db"), PLOVER, years=0.05, clock=TurnedClock()) as server:
        yield server


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("vision", VISIONS)
def test_each_sign_tells_itself_apart(browser: Browser, live: Live, vision: str, light: str) -> None:
    """As this eye sees them, no two signs are alike in light and dark."""
    context, page, _ = signed_in(browser, live)
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    page.goto(f"{live.url}/plants/{live.plant}")
    signs = "".join(f'<p class="state" data-sign="{state.value}">{glyph(state)}</p>' for state in JobState)
    page.evaluate("signs => { document.querySelector('main').innerHTML = signs; }", signs)
    context.new_cdp_session(page).send("Emulation.setEmulatedVisionDeficiency", {"type": vision})
    seen = {
        state: Image.open(BytesIO(page.locator(f"[data-sign='{state.value}'] svg").screenshot())).convert("L")
        for state in JobState
    }
    alike = []
    for one, two in combinations(seen, 2):
        apart = ImageChops.difference(seen[one], seen[two])
        if sum(apart.histogram()[LEAST_LIGHT:]) < LEAST_PIXELS:
            alike.append((one.value, two.value))
    assert alike == []
    context.close()
