"""The page of calendar addresses in Chromium: made, read off the screen by a camera's eyes, changed, withdrawn."""

import base64
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from playwright.sync_api import Browser, Page

from seed_fleet.ships import PLOVER
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import Live, TurnedClock, serving

pytestmark = pytest.mark.browser

DOTS = """async address => {
  const image = new Image();
  image.src = address;
  await image.decode();
  const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
  const brush = canvas.getContext("2d");
  brush.drawImage(image, 0, 0);
  const shown = brush.getImageData(0, 0, image.width, image.height).data;
  return [image.width, image.height, [...shown].filter((_, n) => n % 4 === 0)];
}"""
"""Width, height and red of each dot of a picture given as a data: address."""


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The three-pump ship."""
    with serving(str(tmp_path_factory.mktemp("feeds") / "ship.db"), PLOVER, years=0.05, clock=TurnedClock()) as server:
        yield server


def make(page: Page, live: Live, label: str = "my phone with a rather long name for a small screen") -> str:
    """The calendar's address as the page shows it after the form."""
    page.goto(f"{live.url}/feeds")
    page.fill("#f-label", label)
    page.fill("#f-days", "90")
    page.check("input[name=alarms]")
    page.click("#new button.go")
    return page.locator(".addr code").first.inner_text()


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_the_code_on_the_screen_is_read_by_day_and_night(
    browser: Browser, live: Live, size: tuple[int, int], light: str, tmp_path: Path
) -> None:
    """It decodes to the webcal address; nothing scrolls sideways down to 320 px, nothing goes wrong, targets are large."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    address = make(page, live)
    picture = page.locator(".qr").screenshot(path=str(tmp_path / "qr.png"))
    blank = context.new_page()
    width, height, dots = blank.evaluate(DOTS, "data:image/png;base64," + base64.b64encode(picture).decode())
    (found,) = zxingcpp.read_barcodes(np.array(dots, np.uint8).reshape(height, width))
    assert found.text == f"webcal://{address.partition('://')[2]}"
    for width in {size[0], 320 if size[0] < 700 else size[0]}:
        page.set_viewport_size({"width": width, "height": size[1]})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL, 44 if size[0] < 700 else 24) == []
    assert wrong == []
    context.close()


def test_an_address_is_changed_and_withdrawn_without_script(browser: Browser, live: Live) -> None:
    """What was wrong is told and kept; the old address is dead, the withdrawn one says so; neither is shown again."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False)
    page.goto(f"{live.url}/feeds")
    page.fill("#f-label", "bridge")
    page.fill("#f-days", "0")
    page.click("#new button.go")
    assert page.input_value("#f-label") == "bridge"
    assert "1 to 3650" in page.inner_text("main")
    old = make(page, live, "chart table")
    page.goto(f"{live.url}/feeds")
    assert "/cal/" not in page.content()
    page.locator(".feeds li", has_text="chart table").locator("form[action$='/rotate'] button").click()
    new = page.locator(".addr code").first.inner_text()
    assert "SUMMARY:This calendar address was withdrawn" in live.chief.get(old).text
    assert "BEGIN:VEVENT" in live.chief.get(new).text
    page.goto(f"{live.url}/feeds")
    page.locator(".feeds li", has_text="chart table").locator("form[action$='/revoke'] button").click()
    assert page.url == f"{live.url}/feeds"
    assert "SUMMARY:This calendar address was withdrawn" in live.chief.get(new).text
    context.close()


if AXE:

    @pytest.mark.parametrize("light", ["day", "night"])
    @pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
    def test_axe_finds_nothing(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:
        """Neither on the list nor where an address is shown."""
        context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        page.goto(f"{live.url}/feeds")
        assert axe_finds(page) == []
        make(page, live)
        assert axe_finds(page) == []
        context.close()
