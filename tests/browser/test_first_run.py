"""A ship of one's own from nothing, on pages alone: typed or pasted, looked at, set up, labels printed; without a shell."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from scheduler.actions.people import people
from seed_fleet.ships import AVOCET
from tests.browser.chromium import AXE, SIZES, axe_finds
from tests.browser.counted import Counted
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import Live, TurnedClock, serving

pytestmark = pytest.mark.browser
MOST_TYPED, MOST_TAPS = 8, 3
"""Name, number, clock, receiver, two pressures, minimum and one paste; put in, look again, set up."""
SHIP = {"imo": "", "offset": "1", "receiver": "2", "start": "36", "stop": "50", "minimum": "70"}


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """A server with another ship on it."""
    with serving(str(tmp_path_factory.mktemp("first") / "ship.db"), AVOCET, years=0.02, clock=TurnedClock()) as server:
        yield server


def imo(n: int) -> str:
    """An invented number with a leading 0 whose check digit holds."""
    six = f"{n:06}"
    return six + str(sum(int(d) * w for d, w in zip(six, range(7, 1, -1), strict=True)) % 10)


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_ship_is_set_up_from_a_pasted_table(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Without script: a fault is named at its cell and typing stays; then stored, read at its counters, labelled."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'office')}")
    page.click("main button")
    page.goto(f"{live.url}/first-run")
    assert page.evaluate(SMALL, 44 if size[0] < 700 else 24) == []
    hand = Counted(page)
    name = f"Demo Dunlin {size[0]}"
    for field, value in {"ship": name, **SHIP, "imo": imo(size[0])}.items():
        hand.fill(f"[name={field}]", value)
    rows = [f"VP1\tDN-{size[0]}1\t71\t18 000\thours", f"VP2\tDN-{size[0]}2\t71\t180 00o\t0.1 h"]
    page.fill("[name=pasted]", "\n".join(rows))
    hand.filled("cv")  # pasted
    hand.tap("button[value=paste]")
    assert "One field does not fit. Nothing is stored yet." in page.inner_text("h1")
    assert page.input_value("[name=r1-shows]") == "180 00o"
    assert page.get_attribute("[name=r1-shows]", "aria-invalid") == "true"
    assert page.input_value("[name=ship]") == name
    page.set_viewport_size({"width": 320, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.fill("[name=r1-shows]", "180 000")
    hand.tap("button[value=look]")
    assert "last time not known, planned as due now" in page.inner_text("main")
    hand.tap("button[value=store]")
    assert f"{name} is set up: two pumps." in page.inner_text("h1")
    assert page.locator(".labels li svg").count() == 2
    hand.say("a ship of one's own from a pasted table", MOST_TAPS, MOST_TYPED)
    key = name.lower().replace(" ", "-")
    shown = live.office.get(f"/api/v1/counters/{key}-vp2-hours").json()
    assert shown["newest_value"] == 180_000
    page.goto(f"{live.url}/vessels/{key}/hours")
    assert "180\u202f000" in page.inner_text("main")
    context.close()


def test_the_labels_print_on_one_sheet(browser: Browser, live: Live) -> None:
    """Six labels on one A4."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'office')}")
    page.click("main button")
    page.goto(f"{live.url}/vessels/{AVOCET.vessel}/labels")
    assert page.locator(".labels li").count() == 6
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    context.close()


if AXE:

    def test_axe_finds_nothing_on_the_first_run(browser: Browser, live: Live) -> None:
        """Empty, and with faults."""
        context = browser.new_context(bypass_csp=True)
        page = context.new_page()
        page.goto(f"{live.url}/enter/{people.make_link(live.context, 'office')}")
        page.click("main button")
        page.goto(f"{live.url}/first-run")
        assert axe_finds(page) == []
        page.click("button[value=look]")
        page.wait_for_selector("[aria-invalid=true]")
        assert axe_finds(page) == []
        context.close()
