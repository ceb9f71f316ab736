"""The plan page in Chromium: every state at 320 px, by keyboard, without script, in forced colours, light for a slow link."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page

from scheduler.actions.base.context import Hand
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.site import served
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving
from tests.unit.api.invented_plan import VIEWS

pytestmark = pytest.mark.browser

STATES = tuple(f"/plan-{name.replace(' ', '-').replace(',', '')}" for name in VIEWS)
PLAN = f"/plants/{AVOCET.key}-plant/plan"


@pytest.fixture(scope="module")
def invented() -> Iterator[str]:
    """The page functions with invented views."""
    with served() as url:
        yield url


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The six-pump ship with a plan taken."""
    with serving(str(tmp_path_factory.mktemp("plan") / "ship.db"), AVOCET, years=0.1, clock=TurnedClock()) as server:
        held = planning.propose(server.context, AVOCET.vessel, server.plant)
        place = Place(server.plant, AVOCET.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        yield server


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_every_state_fits_and_its_targets_are_large(
    browser: Browser, invented: str, size: tuple[int, int], light: str
) -> None:
    """No sideways scroll down to 320 px, no target under 24 px, on a phone none under 44; no error on any page."""
    phone = size[0] < 700
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, bypass_csp=bool(AXE))
    context.add_cookies([{"name": "light", "value": light, "url": invented}])
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("request", lambda request: wrong.append(request.url) if not request.url.startswith(invented) else None)
    for path in STATES:
        page.goto(f"{invented}{path}")
        assert page.evaluate(SMALL, 44 if phone else 24) == [], path
        if AXE:
            assert axe_finds(page) == [], path
        if phone:
            page.set_viewport_size({"width": 320, "height": size[1]})
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
            page.set_viewport_size({"width": size[0], "height": size[1]})
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], path
    if phone:
        page.goto(f"{invented}/plan-moving-holds")
        assert page.evaluate("document.querySelector('.set-form .go').getBoundingClientRect().height") >= 64
    assert wrong == []
    context.close()


def test_the_first_visit_is_light(browser: Browser, live: Live) -> None:
    """The bodies of a first visit to the plan page, the fonts apart, are at most 80 kB uncompressed."""
    context, page, _ = signed_in(browser, live)
    sizes: dict[str, int] = {}
    page.on("response", lambda response: sizes.update({response.url: len(response.body())}) if response.ok else None)
    page.goto(f"{live.url}{PLAN}", wait_until="networkidle")
    weight = sum(size for url, size in sizes.items() if ".woff2" not in url)
    print(f"\nfirst visit to the plan: {weight / 1000:.0f} kB of bodies besides fonts, uncompressed")
    assert sizes
    assert weight <= 80_000
    context.close()


def _tab_to(page: Page, words: str, most: int = 120) -> None:
    for _ in range(most):
        page.keyboard.press("Tab")
        focused = "document.activeElement.textContent.trim().replace(/\\s+/g, ' ')"
        if page.evaluate(focused).startswith(words):
            assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid", "focus unseen"
            return
    raise AssertionError(f"{words} is not reached by Tab")


def test_a_slot_is_moved_and_put_back_by_keyboard(browser: Browser, live: Live) -> None:
    """Tab to Move, Enter; type a day, look at it; arrow to a time that holds, Enter sets it; Tab to Undo, Enter puts it back."""
    context, page, wrong = signed_in(browser, live)
    page.goto(f"{live.url}{PLAN}")
    _tab_to(page, "Move")
    name = page.evaluate("document.activeElement.textContent.trim().replace(/\\s+/g, ' ')").removeprefix("Move ")
    name = name.rpartition(" of ")[0]
    page.keyboard.press("Enter")
    page.wait_for_selector(f"h2:has-text('Move {name}')")
    before = page.input_value("[name=seen_at]")
    page.focus("#f-day")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    _tab_to(page, "Look at this time")
    page.keyboard.press("Enter")
    page.wait_for_url("**day=**")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "start":
            break
    page.keyboard.press("ArrowDown")
    chosen = page.evaluate("document.activeElement.value")
    if chosen == before:
        page.keyboard.press("ArrowDown")
        chosen = page.evaluate("document.activeElement.value")
    page.keyboard.press("Tab")
    page.keyboard.type("bell on the other deck")
    page.keyboard.press("Enter")
    page.wait_for_url("**done=set-**")
    assert f"{name} is set for" in page.inner_text(".told")
    assert "bell on the other deck" in page.inner_text("#moves")
    _tab_to(page, "Undo")
    page.keyboard.press("Enter")
    page.wait_for_url("**done=undone-**")
    assert f"{name} is back on" in page.inner_text(".told")
    assert wrong == []
    context.close()


def test_without_script_the_plan_is_looked_at_moved_and_made_again(browser: Browser, live: Live) -> None:
    """With script off periods, preview, set, a stale page's words and planning again all work, and what was typed stays."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False)
    page.goto(f"{live.url}{PLAN}")
    page.click("text=90 days")
    assert "90 days" in page.inner_text(".period b")
    page.click(".slots .move a >> nth=0")
    stale = page.content()
    day = page.input_value("#f-day")
    page.fill("#f-day", f"{live.clock.at + timedelta(days=400):%Y-%m-%d}")
    page.click("text=Look at this time")
    assert "last day that is planned" in page.inner_text("#e-move")
    page.fill("#f-day", day)
    page.select_option("#f-at", "03:00")
    page.click("text=Look at this time")
    assert page.input_value("#f-at") == "03:00"
    assert page.get_attribute("#f-at", "aria-invalid") == "true"
    page.fill("#f-reason", "spare hand aboard")
    page.check("[name=start] >> nth=-1")
    older = context.new_page()
    older.goto(page.url)
    page.click("text=Set time")
    assert "is set for" in page.inner_text(".told")
    older.check("[name=start] >> nth=0")
    older.fill("#f-reason", "typed before")
    older.click("text=Set time")
    said = older.inner_text(".move-slot .err")
    assert "was set to" in said
    assert "now stands on" in said
    assert older.input_value("#f-reason") == "typed before"
    page.click("text=Plan again")
    assert page.inner_text(".told").startswith("Planned again")
    assert stale
    context.close()


def test_forced_colours_keep_blocks_and_brackets(browser: Browser, invented: str) -> None:
    """In forced colours planned, late and by-hand blocks are drawn in the text's colour and still differ in shape."""
    context = browser.new_context(forced_colors="active")
    page = context.new_page()
    page.goto(f"{invented}/plan-troubled")
    ink = page.evaluate("getComputedStyle(document.body).color")
    block, late, line = (
        page.evaluate(f"(([q, what]) => getComputedStyle(document.querySelector(q))[what])(['{q}', '{what}'])")
        for q, what in ((".s-block", "fill"), (".s-late", "stroke"), (".wide .s-ink", "stroke"))
    )
    assert (block, late, line) == (ink, ink, ink)
    assert page.evaluate("getComputedStyle(document.querySelector('.s-late')).fill") != ink
    context.close()
