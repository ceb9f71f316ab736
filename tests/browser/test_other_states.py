"""States that come seldom, on a ship of two pumps: each looked at on a desk and a phone, by day and by night."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import PLOVER, Minimums
from tests.api.stage import stamp
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.test_counters_pages import SMALL
from tests.browser.test_every_page import FAINT, MAIN
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser

TWO = replace(PLOVER, pumps=PLOVER.pumps[:2], minimums=Minimums(48.0, 38.0, 50.0, 52.0, 54.0, 30.0))
"""Either pump alone carries the ship."""
KNIFE = f"knife_inspection:{TWO.pump(1)}-knives:1"
OVERHAUL = f"overhaul:{TWO.pump(0)}:1"
VESSEL, PLANT = f"/vessels/{TWO.vessel}", f"/plants/{TWO.key}-plant"
POINTS = f"/pumps/{TWO.pump(1)}/points"
LIGHTS = [(size, light) for size in SIZES for light in ("day", "night")]
each_light = pytest.mark.parametrize(("size", "light"), LIGHTS, ids=["desk", "desk, night", "phone", "phone, night"])
State = Callable[[Page, Live], None]


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The ship with a plan taken; a job closed with acts left out, points said not to be fitted, a counter exchanged."""
    with serving(str(tmp_path_factory.mktemp("two") / "ship.db"), TWO, years=0.1, clock=TurnedClock()) as server:
        held = planning.propose(server.context, TWO.vessel, server.plant)
        place = Place(server.plant, TWO.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        refresh.refresh(server.context, calendar_writer(server.url), TWO.vessel)
        _fill(server)
        yield server


def _fill(live: Live) -> None:
    at, keys = live.clock.at, count()

    def told(path: str, office: bool = False, **body: object) -> None:
        client = live.office if office else live.chief
        answer = client.post(f"/api/v1{path}", json=body, headers={"Idempotency-Key": f"key {next(keys)}"})
        assert answer.is_success, answer.text

    told(f"/jobs/{KNIFE}/close", done_at=stamp(at), done_by="Demo hand", test="none", reason="it clogged")
    told(POINTS, point="flushing or seal water", reason="dry running seal, drawing 12")
    told(POINTS, point="discharge valve", reason="straight into the tank")
    told(f"{POINTS}/1/signature", office=True, **{"as": "office"})
    counter = f"/counters/{TWO.counter(0)}"
    shown = float(live.chief.get(f"/api/v1{counter}").json()["newest_value"])
    live.clock.at = at + timedelta(hours=2)
    exchange = {"kind": "replacement", "at": stamp(at + timedelta(hours=1)), "reason": "glass broken"}
    told(f"{counter}/events", **exchange, old_final=shown, new_first=0)
    told(f"{counter}/events", kind="adjustment", at=stamp(at), hours=-2, reason="ran on the bench")


def _plant(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{PLANT}")
    assert page.locator(".set li").count() == 2
    assert page.evaluate("document.documentElement.scrollHeight") < 2200


def _opening(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{PLANT}?open={TWO.pump(0)}&when=now#may")
    said = page.inner_text("#may .answer")
    assert "VP1" in said
    assert "if one more pump trips" in said.lower() or "not known" in said.lower(), said


def _plan(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{PLANT}/plan")
    assert page.inner_text("main").count("while one is open the other runs alone") == 1


def _points(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{POINTS}")
    said = page.inner_text("main")
    assert "counts for work begun from" in said
    assert "not signed, so it counts for nothing" in said


def _non_conformity(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{VESSEL}/decisions")
    page.click("#h-nc ~ article a, section[aria-labelledby=h-nc] article a")
    page.wait_for_selector("h1:has-text('to be answered')")
    assert "VP2 knife inspection" in page.inner_text("h1")
    page.click("main button.go")
    page.wait_for_selector("[role=alert]")
    page.fill("[name=cause]", "nobody looked at the list")
    assert page.input_value("[name=cause]") == "nobody looked at the list"


def _move(page: Page, live: Live) -> None:
    page.goto(f"{live.url}{PLANT}/plan")
    page.click("a:has-text('Move'):visible >> nth=0")
    page.wait_for_selector("#move")
    page.click("text=Look at this time")
    page.wait_for_url("**day=**")
    assert page.locator(".against:visible, .holds:visible").count() >= 1
    assert page.locator("#move figure svg").count() >= 1


def _move_refused(page: Page, live: Live) -> None:
    """A day long past: refused in words, the field marked, and the times that hold offered."""
    page.goto(f"{live.url}{PLANT}/plan")
    page.click("a:has-text('Move'):visible >> nth=0")
    page.wait_for_selector("#move")
    page.fill("#f-day", f"{live.clock.at - timedelta(days=3):%Y-%m-%d}")
    page.click("text=Look at this time")
    page.wait_for_selector(".against, #e-day")
    assert page.get_attribute("#f-day", "aria-invalid") == "true"


def _postponement(page: Page, live: Live) -> None:
    """Refused beside its fields, with what was typed."""
    page.goto(f"{live.url}{VESSEL}/jobs/{OVERHAUL}")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.fill("[name=why]", "no bearings aboard")
    page.click("section:has(#h-postpone) button.go")
    page.wait_for_selector("section:has(#h-postpone) .bad, section:has(#h-postpone) [role=alert]")
    assert page.input_value("[name=why]") == "no bearings aboard"


def _hours_events(page: Page, live: Live) -> None:
    """What was recorded of a counter, what waits for another person, and what can be undone; the exchange's form unfolded."""
    page.goto(f"{live.url}{VESSEL}/counters")
    said = page.inner_text(f"#counter-{TWO.counter(0)}")
    assert "glass broken" in said
    assert "waits for another person" in said
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert page.locator(f"#counter-{TWO.counter(0)} button:has-text('Undo this')").count() == 1


STATES: dict[str, State] = {
    "plant": _plant,
    "may I open": _opening,
    "plan": _plan,
    "points not fitted": _points,
    "non-conformity": _non_conformity,
    "move looked at": _move,
    "move refused": _move_refused,
    "postponement refused": _postponement,
    "hours events": _hours_events,
}


@each_light
def test_seldom_states_are_whole_in_both_sizes_and_lights(
    browser: Browser, live: Live, tmp_path: Path, size: tuple[int, int], light: str
) -> None:
    """Each says what it must; targets, 320 px, contrast and axe as on every page; nothing goes wrong."""
    phone = size[0] < 700
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
    context.add_cookies([{"name": "light", "value": light, "url": live.url}])
    found: dict[str, object] = {}
    for name, reach in STATES.items():
        reach(page, live)
        page.screenshot(path=str(tmp_path / f"{name}.png"), full_page=True)
        found[f"{name} targets"] = page.evaluate(SMALL, 44 if phone else 24)
        found[f"{name} main"] = page.evaluate(MAIN) if phone else []
        found[f"{name} faint"] = page.evaluate(FAINT, 4.5)
        found[f"{name} axe"] = axe_finds(page) if AXE else []
        if phone:
            page.set_viewport_size({"width": 320, "height": size[1]})
            wide = page.evaluate("document.documentElement.scrollWidth")
            found[f"{name} wide"] = [] if wide <= 320 else wide
            page.set_viewport_size({"width": size[0], "height": size[1]})
    assert {where: what for where, what in found.items() if what} == {}
    assert [one for one in wrong if "422" not in one] == []
    context.close()
