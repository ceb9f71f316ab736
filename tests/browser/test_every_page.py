"""What holds on every page there is: targets, 320 px, forced colours, paper as by day, day and night without script.

All pages of the manual come from one template: each is walked once, on the phone for its targets and its width; in every
other light and size its contents, a search and the first page of each part stand for them.
"""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from api.ics.writer import calendar_writer
from api.pages.manual.chapters import PARTS, names
from api.pages.shared.help import MANUAL
from api.server.access import DOORS
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET
from tests.api.stage import stamp
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser

NO_PAGES = frozenset(
    {
        "/livez",
        "/first-run",  # the office's alone: tests/browser/test_first_run.py
        "/ships",  # the office's alone: tests/browser/test_ships.py
        "/readyz",
        "/metrics",
        "/problems/{name}",
        "/openapi.json",
        "/docs",
        "/vessels/{vessel_id}/plan",
        "/vessels/{vessel_id}/calendar.csv",
        "/vessels/{vessel_id}/notes",
    }
)
"""Answers that are no page of ours: files, machines' answers, a way on, and the vendored manual."""

MAIN = """[...document.querySelectorAll("main .go")].filter(e => e.checkVisibility())
  .map(e => [e.textContent.trim(), Math.round(e.getBoundingClientRect().height)]).filter(([_, high]) => high < 64)"""
"""Main buttons that are lower than 64 px."""

FAINT = """(least) => {
  const parse = said => { const n = said.match(/[\\d.]+/g).map(Number); return n.length < 4 ? [...n, 1] : n; };
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255).map(v => v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [.2126, .7152, .0722][i], 0);
  const under = e => { for (let at = e; at; at = at.parentElement) {
    const back = parse(getComputedStyle(at).backgroundColor); if (back[3] > .5) return back; } return [255, 255, 255, 1]; };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement, box = e.getBoundingClientRect();
    if (!node.textContent.trim() || !e.checkVisibility() || !box.width || e.closest(".vh, .skip, script, select")) continue;
    const style = getComputedStyle(e), front = parse(e.closest("svg") ? style.fill : style.color);
    const over = e.closest("svg") && style.stroke !== "none" && style.stroke !== style.fill && !style.paintOrder.startsWith("stroke");
    if (over) found.push(`${node.textContent.trim().slice(0, 40)}: its outline lies over it`);
    const [a, b] = [light(front), light(under(e))].sort((x, y) => y - x);
    if ((a + .05) / (b + .05) < least) found.push(`${node.textContent.trim().slice(0, 40)}: ${style.color}`);
  }
  return found;
}"""
"""Texts whose contrast to what lies under them is less than `least` (WCAG 2.2, 1.4.3: relative luminance)."""

DARK = """[...document.querySelectorAll("body, body *")].filter(e => e.checkVisibility()).filter(e => {
  const n = getComputedStyle(e).backgroundColor.match(/[\\d.]+/g).map(Number);
  return (n.length < 4 || n[3] > .5) && n[0] + n[1] + n[2] < 480; }).map(e => `${e.tagName} ${e.className}`)"""
"""Elements with a dark ground."""

UNSEEN = """[...document.querySelectorAll("svg.chart, svg.tube, svg.glyph")].filter(e => e.checkVisibility()).filter(e => {
  const canvas = getComputedStyle(document.body).backgroundColor;
  const seen = shape => ["stroke", "fill"].some(name => {
    const said = getComputedStyle(shape)[name]; return said !== "none" && !said.startsWith("url") && said !== canvas; });
  return ![...e.querySelectorAll("path, rect, line")].some(seen); }).map(e => e.outerHTML.slice(0, 120))"""
"""Drawings and signs of which nothing stands out from the page."""

BARS = """[...document.querySelectorAll(".rail nav a")].filter(a => a.checkVisibility()).filter(a => {
  const seen = getComputedStyle(a).borderBottomColor !== getComputedStyle(document.body).backgroundColor;
  return seen !== a.hasAttribute("aria-current"); }).map(a => a.textContent)"""
"""Seen links of the row of pages, and of its fold, whose bar is not what it should be."""


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The six-pump ship: a plan taken, a job closed, a pump out, and something in every list."""
    with serving(str(tmp_path_factory.mktemp("every") / "ship.db"), AVOCET, years=0.1, clock=TurnedClock()) as server:
        held = planning.propose(server.context, AVOCET.vessel, server.plant)
        place = Place(server.plant, AVOCET.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        refresh.refresh(server.context, calendar_writer(server.url), AVOCET.vessel)
        _fill(server)
        yield server


def _fill(live: Live) -> None:
    at = live.clock.at

    def told(path: str, **body: object) -> None:
        answer = live.chief.post(f"/api/v1{path}", json=body, headers={"Idempotency-Key": path})
        assert answer.is_success, answer.text

    told("/jobs/alarm_test:avocet-plant:1/close", done_at=stamp(at), done_by="Demo hand", test="passed")
    told(f"/pumps/{AVOCET.pump(0)}/breakdowns", at=stamp(at), reason="seal leaks")
    told("/pumps/avocet-pump-b/points", point="flushing or seal water", reason="dry running seal")
    told(f"/vessels/{AVOCET.vessel}/clogs", at=stamp(at), object="wipe", riser="R4", deck="5")
    told(f"/vessels/{AVOCET.vessel}/handovers", text="VP2 runs warm.")
    overhaul = next(job["job"] for job in _due(live) if job["kind"] == "overhaul")
    later = {
        "to_at": stamp(at + timedelta(days=900)),
        "reason": "no seal aboard",
        "risk": "leak",
        "mitigation": "looked at",
    }
    told(f"/jobs/{overhaul}/postponements", **later)
    lower = {"from_at": stamp(at), "to_at": stamp(at + timedelta(days=3)), "reason": "few aboard"}
    told(f"/plants/{live.plant}/concessions", minimum_swept_m3_per_h=100, **lower)


def _due(live: Live) -> list[dict[str, Any]]:
    """The open jobs."""
    found = live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
    return [job for job in found if job["open"]]


def _pages(live: Live) -> dict[str, list[str]]:
    """The paths of each page door."""
    opened = [next(job["job"] for job in _due(live) if job["kind"] == kind) for kind in ("overhaul", "alarm_test")]
    closed = "alarm_test:avocet-plant:1"
    repair = re.findall(r"/jobs/(breakdown:[^\"#]+)", _plant_page(live))
    vessel, plant = f"/vessels/{AVOCET.vessel}", f"/plants/{live.plant}"
    return {
        "/": ["/?all=1"],
        "/plants/{plant_id}": [plant, f"{plant}?days=7&open=avocet-pump-b&when=now&vacuum=5", "/plants/none"],
        **{
            door: [door.replace("{plant_id}", live.plant)]
            for _, door in DOORS
            if door.startswith("/plants/{plant_id}/")
        },
        "/plants/{plant_id}/dock": [
            f"{plant}/dock",
            f"{plant}/dock?from_at={_day(live, 40)} 08:00&to_at={_day(live, 50)} 18:00",
        ],
        "/vessels/{vessel_id}/jobs/{key}": [f"{vessel}/jobs/{key}" for key in (*opened, closed, repair[0])],
        "/vessels/{vessel_id}/jobs/{key}/paper": [f"{vessel}/jobs/{opened[0]}/paper"],
        "/pumps/{pump_id}/record": ["/pumps/avocet-pump-b/record"],
        "/pumps/{pump_id}/points": ["/pumps/avocet-pump-b/points"],
        "/pumps/{pump_id}/stopped": ["/pumps/avocet-pump-b/stopped", f"/pumps/{AVOCET.pump(0)}/stopped"],
        "/vessels/{vessel_id}/find": [f"{vessel}/find", f"{vessel}/find?q=seal"],
        "/vessels/{vessel_id}/decide/{number}": [f"{vessel}/decide/1"],
        "/vessels/{vessel_id}/decisions": [f"{vessel}/decisions"],
        "/vessels/{vessel_id}/requests": [f"{vessel}/requests"],
        "/vessels/{vessel_id}/non-conformities/{number}": [f"{vessel}/non-conformities/1"],
        "/vessels/{vessel_id}/versions/{number}": [f"{vessel}/versions/1"],
        "/vessels/{vessel_id}/clogs": [f"{vessel}/clogs"],
        "/vessels/{vessel_id}/handover": [f"{vessel}/handover"],
        "/vessels/{vessel_id}/labels": [f"{vessel}/labels"],
        "/vessels/{vessel_id}/months/{month}": [f"{vessel}/months/{live.clock.at:%Y-%m}"],
        "/vessels/{vessel_id}/calendar": [f"{vessel}/calendar"],
        "/vessels/{vessel_id}/counters": [f"{vessel}/counters"],
        "/vessels/{vessel_id}/hours": [f"{vessel}/hours"],
        "/feeds": ["/feeds"],
        "/people": ["/people"],
        "/you": ["/you"],
        "/sign-in": ["/sign-in"],
        "/enter/{token}": ["/enter/nobody"],
        MANUAL: [MANUAL, f"{MANUAL}?find=lock"],
        f"{MANUAL}/{{name}}": [f"{MANUAL}/{name}" for name in names()],
    }


def _day(live: Live, later: int) -> str:
    return f"{live.clock.at + timedelta(days=later):%Y-%m-%d}"


def _plant_page(live: Live) -> str:
    return str(live.chief.get(f"/plants/{live.plant}", headers={"Accept": "text/html"}).text)


def _paths(live: Live, *, whole: bool = False) -> list[str]:
    """The paths to walk. whole: every page of the manual, not the first of each part alone."""
    found = _pages(live)
    if not whole:
        found[f"{MANUAL}/{{name}}"] = [f"{MANUAL}/{part.names[0]}" for part in PARTS]
    there = {door for method, door in DOORS if method == "GET" and not door.startswith(("/api/", "/cal/"))}
    assert there - NO_PAGES <= set(found), "a page is not looked at here"
    return [path for door in sorted(there - NO_PAGES) for path in found[door]]


def _opened(page: Page, live: Live, path: str) -> None:
    """The page with everything on it folded out."""
    page.goto(f"{live.url}{path}")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_targets_are_large_enough_and_nothing_scrolls_sideways(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """No target under 24 px, on a phone none under 44 and no main button under 64; nothing wider than 320 px.

    No field that a browser draws with its own clock of 12 or 24 hours: times are typed.
    """
    phone = size[0] < 700
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    found: dict[str, object] = {}
    for path in _paths(live, whole=phone):
        _opened(page, live, path)
        found[f"{path} targets"] = page.evaluate(SMALL, 44 if phone else 24)
        found[f"{path} clocks"] = page.locator("input[type=time], input[type=datetime-local]").count()
        if phone:
            found[f"{path} main"] = page.evaluate(MAIN)
            page.set_viewport_size({"width": 320, "height": size[1]})
            wide = page.evaluate("document.documentElement.scrollWidth")
            found[f"{path} wide"] = [] if wide <= 320 else wide
            page.set_viewport_size({"width": size[0], "height": size[1]})
    assert {where: what for where, what in found.items() if what} == {}
    assert [one for one in wrong if "404" not in one] == []
    context.close()


@pytest.mark.parametrize(("scheme", "light"), [("light", "night"), ("dark", "day")])
def test_every_text_and_drawing_stands_out_in_forced_colours(
    browser: Browser, live: Live, scheme: str, light: str
) -> None:
    """The system's colours against the page's own light: text at 4.5 to what is under it, some line of each drawing and
    sign seen, and in the row of pages a bar under the one that is shown alone."""
    context, page, _ = signed_in(browser, live, forced_colors="active", color_scheme=scheme)
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    found: dict[str, object] = {}
    for path in _paths(live):
        _opened(page, live, path)
        assert page.evaluate("matchMedia('(forced-colors: active)').matches")
        found[f"{path} faint"] = page.evaluate(FAINT, 4.5)
        found[f"{path} unseen"] = page.evaluate(UNSEEN)
        found[f"{path} bars"] = page.evaluate(BARS)
    assert {where: what for where, what in found.items() if what} == {}
    context.close()


def test_paper_is_day_whatever_the_screen_shows(browser: Browser, live: Live) -> None:
    """Chosen night and a dark system alike: a white ground, nothing dark on it, all text at 4.5."""
    context, page, _ = signed_in(browser, live, color_scheme="dark")
    found: dict[str, object] = {}
    for light in ("night", ""):
        context.clear_cookies(name="light")
        if light:
            context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        for path in _paths(live):
            page.emulate_media(media="screen")
            page.goto(f"{live.url}{path}")
            assert page.evaluate(DARK), f"{path} is not dark on the screen: the check would prove nothing"
            page.emulate_media(media="print")
            ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
            found[f"{path} {light} ground"] = "" if ground == "rgb(255, 255, 255)" else ground
            found[f"{path} {light} dark"] = page.evaluate(DARK)
            found[f"{path} {light} faint"] = page.evaluate(FAINT, 4.5)
    assert {where: what for where, what in found.items() if what} == {}
    context.close()


def test_day_and_night_are_switched_without_script(browser: Browser, live: Live) -> None:
    """The one button that shows changes the light, keeps the page, and shows its counterpart."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False, color_scheme="light")
    for path in _paths(live):
        context.clear_cookies(name="light")
        page.goto(f"{live.url}{path}")
        title = page.title()
        for light, other in (("night", "day"), ("day", "night")):
            assert page.locator("form.light button:visible").all_inner_texts() == [light.capitalize()], path
            page.click(f"form.light .to-{light}:visible")
            assert page.locator("html").get_attribute("data-light") == light, path
            assert page.locator("form.light button:visible").all_inner_texts() == [other.capitalize()], path
            if title != "Not possible · Leadline" and not path.startswith("/enter/"):
                assert page.title() == title, path
    context.close()


if AXE:

    @pytest.mark.parametrize(("size", "light"), [*zip(SIZES, ["day", "night"], strict=True)], ids=["desk", "phone"])
    def test_axe_finds_nothing(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:
        """axe-core reports no violation on any page, with everything folded out: each size and each light once."""
        context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        found: dict[str, object] = {}
        for path in _paths(live):
            _opened(page, live, path)
            found[path] = axe_finds(page)
        assert {where: what for where, what in found.items() if what} == {}
        context.close()
