"""The real server's pages in Debian's Chromium: signed in by the one-time link, at both sizes, day and night."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET
from tests.browser.chromium import SIZES, signed_in
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The six-pump ship with some weeks of past and a plan taken."""
    with serving(str(tmp_path_factory.mktemp("pages") / "ship.db"), AVOCET, years=0.2, clock=TurnedClock()) as server:
        held = planning.propose(server.context, AVOCET.vessel, server.plant)
        place = Place(server.plant, AVOCET.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        refresh.refresh(server.context, calendar_writer(server.url), AVOCET.vessel)
        yield server


def _paths(live: Live, page: Page) -> list[str]:
    page.goto(f"{live.url}/plants/{live.plant}")
    job = page.locator("a[href*='/jobs/']").first.get_attribute("href")
    days = f"/vessels/{AVOCET.vessel}/calendar"
    plant = f"/plants/{live.plant}"
    return [
        plant,
        f"{plant}/plan",
        f"{plant}/figures",
        f"{plant}/moved",
        str(job),
        days,
        "/?all=1",
        "/sign-in",
        "/plants/none",
    ]


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_pages_are_whole_quiet_and_never_scroll_sideways(
    browser: Browser, live: Live, size: tuple[int, int], light: str, tmp_path: Path
) -> None:
    """No error, no request to another host, no sideways scroll down to 320 px; a screenshot of each page is taken."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    for number, path in enumerate(_paths(live, page)):
        for width in {size[0], 320 if size[0] < 700 else size[0]}:
            page.set_viewport_size({"width": width, "height": size[1]})
            page.goto(f"{live.url}{path}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
        page.screenshot(path=str(tmp_path / f"{number}.png"))
        assert (tmp_path / f"{number}.png").stat().st_size > 5_000
    page.goto(f"{live.url}/docs")
    page.wait_for_selector(".opblock")
    assert [one for one in wrong if "404" not in one] == []
    context.close()


def test_a_job_is_closed_without_script_and_what_was_typed_is_kept(browser: Browser, live: Live) -> None:
    """With script off the form is refused in words, keeps what was typed, and closes the job when put right."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False)
    page.goto(f"{live.url}/plants/{live.plant}")
    job = page.locator("a[href*='/jobs/alarm_test']").first.get_attribute("href")
    page.goto(f"{live.url}{job}")
    page.fill("[name=findings]", "bell heard at the panel")
    page.fill("[name=checked_by]", page.input_value("[name=done_by]"))
    page.click("main form[action$='/close'] button")
    assert "checker is the doer" in page.inner_text("main")
    assert page.input_value("[name=findings]") == "bell heard at the panel"
    page.fill("[name=checked_by]", "Demo second")
    page.click("main form[action$='/close'] button")
    assert page.url == f"{live.url}{job}"
    assert "bell heard at the panel" in page.inner_text("main")
    assert page.locator("form[action$='/close']").count() == 0
    context.close()


def test_the_first_visit_is_light(browser: Browser, live: Live) -> None:
    """The bodies of a first visit to the plant page, the fonts apart, are at most 80 kB uncompressed."""
    context, page, _ = signed_in(browser, live)
    page.goto(f"{live.url}/plants/{live.plant}", wait_until="networkidle")
    sizes: dict[str, int] = dict(
        page.evaluate(
            """() => ["navigation", "resource"].flatMap(kind => performance.getEntriesByType(kind))
              .map(one => [one.name, one.decodedBodySize])"""
        )
    )
    weight = sum(size for url, size in sizes.items() if ".woff2" not in url)
    print(f"\nfirst visit: {weight / 1000:.0f} kB of bodies besides fonts, uncompressed")
    assert any("app.css" in url and size for url, size in sizes.items())
    assert weight <= 80_000
    context.close()


@pytest.mark.parametrize("size", SIZES)
def test_a_thin_line_paints_soon(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """What must come before the plant page is first painted, its looks as they are sent and the beginning of the page itself,
    takes 4 s at 64 kbit/s and 800 ms at most; the browser's own figure on such a line is printed."""
    context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    line = context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.setCacheDisabled", {"cacheDisabled": True})
    line.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 800, "downloadThroughput": 8000, "uploadThroughput": 8000},
    )
    page.goto(f"{live.url}/plants/{live.plant}", wait_until="load", timeout=120_000)
    painted = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    looks: list[int] = page.evaluate(
        """() => performance.getEntriesByType("resource").filter(one => one.renderBlockingStatus === "blocking")
          .map(one => one.transferSize)"""
    )
    print(f"\nfirst paint at 64 kbit/s, 800 ms: {painted / 1000:.1f} s; {sum(looks)} bytes of looks before it")
    assert looks
    assert 2 * 0.8 + (sum(looks) + 4000) / 8000 < 4
    context.close()
