"""Handover and the week in Chromium: on paper at the size they promise, on a phone, without script."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser

from scheduler.actions.base.context import Hand
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET
from tests.acts import isolated
from tests.api.stage import stamp
from tests.browser.chromium import SIZES, signed_in
from tests.browser.counted import Counted
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser
HANDOVER = f"/vessels/{AVOCET.vessel}/handover"
MOST_TAPS, MOST_TYPED = 10, 1
"""A handover with all six points of a pump locked: six ticks, a text, one signature, from the plant page."""


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The six-pump ship with a plan taken and a pump isolated: six points locked and tagged."""
    with serving(str(tmp_path_factory.mktemp("paper") / "ship.db"), AVOCET, years=0.1, clock=TurnedClock()) as server:
        plan = planning.propose(server.context, AVOCET.vessel, server.plant)
        place = Place(server.plant, AVOCET.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": plan.digest}), place, plan.digest)
        due = server.chief.get(f"/api/v1/plants/{server.plant}/due").json()["jobs"]
        job = next(one["job"] for one in due if one["kind"] == "knife_inspection" and one["open"])
        began = server.clock.at
        for minutes, kind, particulars in isolated()[:-3]:
            server.clock.at = began + timedelta(minutes=minutes)
            step = {"kind": kind, "at": stamp(server.clock.at), "by": "Demo chief", **particulars}
            key = {"Idempotency-Key": f"{minutes} {kind} {particulars.get('point')}"}
            told = server.chief.post(f"/api/v1/jobs/{job}/steps", json={"step": step, "fact": True}, headers=key)
            assert told.status_code == 201, told.text
        yield server


@pytest.mark.parametrize(
    ("path", "most"),
    [(HANDOVER, 2), (f"/plants/{AVOCET.key}-plant/week", 1), (f"/plants/{AVOCET.key}-plant/plan", 4)],
)
def test_they_fit_their_paper(browser: Browser, live: Live, path: str, most: int) -> None:
    """The week on one A4, the handover on two at most, a plan of six pumps on four."""
    context, page, _ = signed_in(browser, live)
    page.goto(f"{live.url}{path}")
    page.evaluate("document.fonts.ready")
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= most
    context.close()


def test_a_plan_prints_its_list_first(browser: Browser, live: Live) -> None:
    """Above the drawings, as it is read aboard."""
    context, page, _ = signed_in(browser, live)
    page.goto(f"{live.url}/plants/{live.plant}/plan")
    page.emulate_media(media="print")
    tops = [page.locator(f"section[aria-labelledby={name}]").bounding_box() for name in ("h-slots", "h-margin")]
    assert tops[0] is not None
    assert tops[1] is not None
    assert tops[0]["y"] < tops[1]["y"]
    context.close()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_handover_takes_a_tick_a_point_and_one_signature(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Without script: refused with the points by name, nothing lost, then signed; targets large, no sideways scroll at 320 px."""
    context, page, _ = signed_in(
        browser, live, viewport={"width": size[0], "height": size[1]}, java_script_enabled=False
    )
    hand = Counted(page)
    hand.tap(".rail summary")
    hand.tap(f".rail a[href='{HANDOVER}']")
    assert page.evaluate(SMALL, 44 if size[0] < 700 else 24) == []
    page.set_viewport_size({"width": 320, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.set_viewport_size({"width": size[0], "height": size[1]})
    button = page.locator("form.handing button")
    assert "go" not in (button.get_attribute("class") or "").split()
    hand.fill("[name=text]", "VP3 hums.")
    button.click()
    assert "not looked at together" in page.inner_text("[role=alert]")
    assert page.input_value("[name=text]") == "VP3 hums."
    for tick in page.locator("form.handing label.pick").all():
        hand.tap(tick)
    hand.tap("form.handing button")
    assert "Signed. It waits for who takes over." in page.inner_text("main")
    hand.say("hand over to the relief, six points locked", MOST_TAPS, MOST_TYPED)
    context.close()
