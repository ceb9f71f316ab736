"""The counters and hours-by-hand pages in Chromium: by keyboard, without script, on a phone, in forced colours, on paper."""

import json
from collections.abc import Iterator
from datetime import timedelta

import httpx
import pytest
from playwright.sync_api import Browser, Page

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from seed_fleet.ships import AVOCET
from tests.api.stage import stamp
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.counted import Counted
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser

COUNTERS = f"/vessels/{AVOCET.vessel}/counters"
HOURS = f"/vessels/{AVOCET.vessel}/hours"
SMALL = """(least) => [...document.querySelectorAll("a[href], button, summary, input, textarea, select, label.pick")]
  .filter(e => e.type !== "hidden")
  .filter(e => !e.classList.contains("skip") && !e.closest("label.pick, svg") && e.checkVisibility())
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, box]) => box.width > 0 && (box.height < least - 0.5 || box.width < least - 0.5))
  .map(([e, box]) => `${e.tagName} ${(e.textContent || e.name).trim()} ${Math.round(box.width)}x${Math.round(box.height)}`)"""
"""Names and sizes of the targets on a page that are smaller than `least` px either way."""


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The six-pump ship: VP1 jumped, VP2 started again, VP6 is silent, and some readings were not stored."""
    with serving(str(tmp_path_factory.mktemp("pages") / "ship.db"), AVOCET, years=0.05, clock=TurnedClock()) as server:
        upset(server)
        yield server


def upset(live: Live) -> None:
    """What goes wrong in the two days after the quiet past."""
    ship = live.run.ship
    at = live.clock.at = live.clock.at + timedelta(hours=48)
    shown = [live.chief.get(f"/api/v1/counters/{ship.counter(n)}").json()["newest_value"] for n in range(6)]
    key = people.add_key(live.context, FIRST, role=Role.COUNTER, label="x", vessel_id=ship.vessel)
    for hours in (9, 5, 1):
        value = [int(shown[0]) + 90_000 - hours, 20 - hours, *(int(value) + 20 - hours for value in shown[2:5])]
        readings = [
            {"counter": ship.counter(n), "observed_at": stamp(at - timedelta(hours=hours)), "value": one}
            for n, one in enumerate(value)
        ]
        odd = [{**readings[2], "value": 1}, {"counter": "vp9", "observed_at": stamp(at), "value": "x" * 400}]
        told = httpx.post(
            f"{live.url}/api/v1/readings", json={"readings": readings + odd}, headers={"Authorization": f"Bearer {key}"}
        )
        assert [item["status"] for item in told.json()["items"]] == ["stored"] * 5 + ["conflict", "refused"]


def opened(page: Page, live: Live, path: str) -> None:
    """The page with everything on it folded out, one answer a question (they close each other)."""
    page.goto(f"{live.url}{path}")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_targets_are_large_and_nothing_scrolls_sideways(
    browser: Browser, live: Live, size: tuple[int, int], light: str
) -> None:
    """No target under 24 px, on a phone none under 44; no error, no foreign request, no sideways scroll at 320 px."""
    phone = size[0] < 700
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    for path in (COUNTERS, HOURS, f"/plants/{live.plant}", f"/plants/{live.plant}/figures"):
        opened(page, live, path)
        assert page.evaluate(SMALL, 44 if phone else 24) == [], path
        if phone:
            page.set_viewport_size({"width": 320, "height": size[1]})
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
            page.set_viewport_size({"width": size[0], "height": size[1]})
    assert wrong == []
    context.close()


if AXE:

    @pytest.mark.parametrize("light", ["day", "night"])
    @pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
    def test_axe_finds_nothing(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:
        """axe-core reports no violation, with the answers folded out and after a refusal too."""
        context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        for path in (COUNTERS, HOURS):
            opened(page, live, path)
            assert axe_finds(page) == [], path
            form = page.locator("main").locator("details[open] form, form.hand").first
            form.locator("[inputmode=decimal]").first.fill("12o4")
            form.locator("button").click()
            page.wait_for_selector("[aria-invalid=true]")
            assert axe_finds(page) == [], f"{path}, refused"
        context.close()


MOST_TYPED, MOST_TAPS = 6, 2
"""Hours of six pumps: a figure a counter, look, store."""


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_hours_of_six_pumps_take_six_figures_and_two_taps(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Typed, looked at with hours since and a day against usual, and only then stored."""
    live.clock.at += timedelta(hours=24)
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    page.goto(f"{live.url}{HOURS}")
    hand = Counted(page)
    fields = page.locator(".reads input[type=text]")
    shown = page.locator(".reads td[data-l=Showed]").all_inner_texts()
    for n, text in enumerate(shown):
        value = "".join(text.split("\n")[0].split(" ")[0].split())
        hand.fill(fields.nth(n), str(int(value) + 5))
    hand.tap("text=Look before storing")
    page.wait_for_selector("text=Nothing is stored yet.")
    assert page.locator(".reads .says p").count() == 6
    before = page.locator(".reads td[data-l=Showed]").all_inner_texts()
    hand.tap("button[value=store]")
    page.wait_for_selector("h1:has-text('readings are stored.')")
    assert page.locator(".reads td[data-l=Showed]").all_inner_texts() != before
    hand.say("hours of six pumps by hand", MOST_TAPS, MOST_TYPED)
    assert wrong == []
    context.close()


def test_what_was_typed_is_corrected_freely_until_it_is_stored(browser: Browser, live: Live) -> None:
    """By script: a slip is named and marked, put right, looked at again, stored; a reload before that loses nothing."""
    live.clock.at += timedelta(hours=24)
    context, page, _ = signed_in(browser, live)
    page.goto(f"{live.url}{HOURS}")
    field = page.locator(".reads input[type=text]").nth(3)
    before = live.chief.get(f"/api/v1/counters/{AVOCET.counter(3)}").json()["newest_value"]
    field.fill(str(int(before) + 900))
    page.click("text=Look before storing")
    page.wait_for_selector("h1:has-text('does not fit. Nothing is stored yet.')")
    assert field.get_attribute("aria-invalid") == "true"
    assert page.locator("button.go").inner_text() == "Look again"
    page.goto(f"{live.url}{HOURS}")
    assert field.input_value() == str(int(before) + 900)
    field.fill(str(int(before) + 9))
    page.click("text=Look before storing")
    page.wait_for_selector("h1:has-text('The reading fits. Nothing is stored yet.')")
    assert page.locator("button.go").inner_text() == "Store this reading"
    page.click("button.go")
    page.wait_for_selector("h1:has-text('One reading is stored.')")
    page.reload()
    page.goto(f"{live.url}{HOURS}")
    assert field.input_value() == ""
    context.close()


def test_hours_are_filled_in_without_script(browser: Browser, live: Live) -> None:
    """With script off every value is looked at beside its field, and what was typed stays when one does not fit."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False)
    page.goto(f"{live.url}{HOURS}")
    fields = page.locator(".reads input[type=text]")
    assert fields.count() == 6
    before = live.chief.get(f"/api/v1/counters/{AVOCET.counter(2)}").json()["newest_value"]
    fields.nth(3).fill("12 3x")
    fields.nth(2).fill(jump := str(int(before) + 90_000))
    page.click("main form button")
    words = page.inner_text("main")
    assert "is not one; a figure is expected" in words
    assert "More than can have run since." in words
    assert (fields.nth(3).input_value(), fields.nth(2).input_value()) == ("12 3x", jump)
    assert fields.nth(3).get_attribute("aria-invalid") == "true"
    context.close()


def test_a_held_question_is_answered_by_keyboard(browser: Browser, live: Live) -> None:
    """Tab to the answer, Enter opens it, Tab to its field, type, Enter sends; the page says what changed."""
    context, page, wrong = signed_in(browser, live)
    page.goto(f"{live.url}{COUNTERS}")
    question = f"#q-{AVOCET.counter(0)}"
    assert "Replaced, misread, or preset?" in page.inner_text("main")
    _tab_to(page, f"summary in {question}", "It was preset")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.name") == "hours"
    page.keyboard.press("Control+A")
    page.keyboard.type("7")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("Set by hand after the battery was changed.")
    page.keyboard.press("Enter")
    page.wait_for_selector(".told")
    told = page.inner_text(".told")
    assert "Recorded as record" in told
    assert "VP1 had" in told
    assert page.locator(question).count() == 0
    assert wrong == []
    context.close()


def _tab_to(page: Page, what: str, words: str) -> None:
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == words:
            assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid", (
                f"{what}: focus unseen"
            )
            return
    raise AssertionError(f"{what}: {words} is not reached by Tab")


def test_a_question_is_answered_without_script_in_night(browser: Browser, live: Live) -> None:
    """With script off the answer is unfolded by the browser itself, refused with what was typed, and recorded when right."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False)
    context.add_cookies([{"name": "light", "value": "night", "url": live.url}])
    page.goto(f"{live.url}{COUNTERS}")
    page.click("summary:has-text('Add the missing hours')")
    page.fill("details[open] [name=hours]", "many")
    page.click("details[open] button")
    assert page.input_value("details[open] [name=hours]") == "many"
    assert "a figure is expected" in page.inner_text("details[open]")
    page.fill("details[open] [name=hours]", "2,5")
    page.click("details[open] button")
    assert "Recorded as record" in page.inner_text(".told")
    assert "VP2 had" in page.inner_text(".told")
    context.close()


def test_day_and_night_are_chosen_with_and_without_script(browser: Browser, live: Live) -> None:
    """The button turns the page at once with script and by a form without; the choice holds on the next page."""
    for script in (True, False):
        context, page, _ = signed_in(browser, live, java_script_enabled=script, color_scheme="light")
        page.goto(f"{live.url}{COUNTERS}")
        page.click("form.light button:visible")
        assert page.get_attribute("html", "data-light") == "night"
        assert page.url.split("#")[0] == f"{live.url}{COUNTERS}"
        page.goto(f"{live.url}{HOURS}")
        assert page.get_attribute("html", "data-light") == "night"
        dark = "rgb(10, 15, 18)"
        assert script is False or page.evaluate("getComputedStyle(document.body).backgroundColor") == dark
        page.click("form.light button:visible")
        assert page.get_attribute("html", "data-light") == "day"
        context.close()


def test_paper_is_day_whatever_the_screen_is(browser: Browser, live: Live) -> None:
    """Printed in the night the page is dark ink on white, without navigation, buttons and forms."""
    context, page, _ = signed_in(browser, live, color_scheme="dark")
    context.add_cookies([{"name": "light", "value": "night", "url": live.url}])
    for path in (COUNTERS, f"/plants/{live.plant}"):
        page.goto(f"{live.url}{path}")
        page.emulate_media(media="print")
        colours = page.evaluate(
            "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.querySelector('h1')).color]"
        )
        assert colours == ["rgb(255, 255, 255)", "rgb(18, 35, 43)"], path
        seen = page.evaluate(
            "[...document.querySelectorAll('nav, button, summary, .btn')].filter(e => e.checkVisibility()).length"
        )
        assert seen == 0, path
        page.emulate_media(media="screen")
    context.close()


def test_forced_colours_keep_every_sign_and_button(browser: Browser, live: Live) -> None:
    """In forced colours signs and drawings are drawn in the text's colour, the main button and the focus are seen."""
    context, page, _ = signed_in(browser, live, forced_colors="active")
    opened(page, live, COUNTERS)
    diagnoses = json.loads(
        page.evaluate(
            """() => { const of = (q, what) => { const e = document.querySelector(q); return e && getComputedStyle(e)[what]; };
            const go = document.querySelector("details[open] .go"); go.focus();
            return JSON.stringify({go: of("details[open] .go", "backgroundColor"), paper: of("body", "backgroundColor"),
              edge: of("main details", "borderTopStyle"), focus: getComputedStyle(go).outlineStyle,
              field: of("details[open] input:not([type=hidden])", "borderTopStyle")}) }"""
        )
    )
    assert diagnoses["go"] != diagnoses["paper"]
    assert (diagnoses["edge"], diagnoses["field"], diagnoses["focus"]) == ("solid", "solid", "solid")
    page.goto(f"{live.url}/plants/{live.plant}")
    colours = page.evaluate(
        """() => { const ink = getComputedStyle(document.body).color;
        const drawn = q => [...document.querySelectorAll(q)];
        return [drawn(".glyph").length, drawn(".glyph").filter(e => getComputedStyle(e).color !== ink).length,
          drawn(".s-surf, .s-min, .s-due, .s-level").filter(e => getComputedStyle(e).stroke !== ink).length] }"""
    )
    assert colours[0] > 0
    assert colours[1:] == [0, 0]
    shapes = page.evaluate("[...document.querySelectorAll('.legend .glyph')].map(e => e.innerHTML)")
    assert len(shapes) == len(set(shapes)) > 4, "each state's sign has a shape of its own"
    context.close()
