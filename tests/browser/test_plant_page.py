"""The plant page as people use it at 03:00: one look, one tap and a time, four taps; in one screen, with asserted maxima."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.counted import Counted
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module", params=[PLOVER, AVOCET], ids=["three pumps", "six pumps"])
def live(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """A ship with some weeks of past and a plan taken."""
    ship: ShipPlan = request.param
    with serving(str(tmp_path_factory.mktemp("plant") / "ship.db"), ship, years=0.2, clock=TurnedClock()) as server:
        held = planning.propose(server.context, ship.vessel, server.plant)
        place = Place(server.plant, ship.vessel, server.plant, AssetKind.PLANT)
        planning.take(server.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        refresh.refresh(server.context, calendar_writer(server.url), ship.vessel)
        yield server


def _bottom(page: Page, selector: str) -> float:
    return float(page.evaluate("s => document.querySelector(s).getBoundingClientRect().bottom + scrollY", selector))


def test_the_plant_in_one_screen(browser: Browser, live: Live) -> None:
    """At a desk answer, this week, pumps and margin end at 800 px; on a phone the whole page is under 2 200 px. One caution."""
    for width, height in SIZES:
        context, page, wrong = signed_in(browser, live, viewport={"width": width, "height": height})
        page.goto(f"{live.url}/plants/{live.plant}")
        if width > 700:
            ends = {name: _bottom(page, name) for name in (".lead", ".a-chart", ".a-pumps", ".week")}
            assert max(ends.values()) <= height, ends
        else:
            assert page.evaluate("document.documentElement.scrollHeight") < 2200
            assert page.evaluate("document.querySelector('.rail').offsetHeight") <= 96
        assert page.locator("main .caution:visible").count() == 1
        assert page.locator(".week li").count() <= 7
        assert wrong == []
        context.close()


def test_what_is_due_this_week_takes_one_look(browser: Browser, live: Live) -> None:
    """No tap: every job due or planned within seven days has a line with its day, or is counted in the line under them."""
    context, page, _ = signed_in(browser, live)
    page.goto(f"{live.url}/plants/{live.plant}")
    shown = set(page.locator(".week a").evaluate_all("all => all.map(a => a.getAttribute('href').split('/jobs/')[1])"))
    plan = live.chief.get(f"/api/v1/plants/{live.plant}/plan").json()["taken"]["slots"]
    until = f"{live.clock.at + timedelta(days=7):%Y-%m-%dT%H:%M:%SZ}"
    week = {slot["job"] for slot in plan if slot["from"] < until}
    more = page.locator(".a-week .small").count()
    assert week <= shown or more
    assert "due at counter" in page.inner_text(".a-pumps")
    for box in page.locator(".a-chart svg.chart:visible").all():
        dips = box.locator("text.halo").all_inner_texts()
        assert all(text.split()[0].lstrip("−").isdigit() for text in dips if text), dips
    context.close()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_may_i_open_takes_one_tap_and_a_time(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Any pump, tomorrow 09:00: until when, by how much, one trip more, and that it is no permit. Without script."""
    context, page, _ = signed_in(
        browser, live, viewport={"width": size[0], "height": size[1]}, java_script_enabled=False
    )
    page.goto(f"{live.url}/plants/{live.plant}")
    hand = Counted(page)
    hand.fill("[name=when]", "tomorrow 09:00")
    hand.tap(".which button >> nth=1")
    hand.say("may I open it tomorrow at 9", 1, 1)
    said = page.inner_text(".answer")
    assert "VP2, Wed 21 Oct 09:00" in said.replace("\u00a0", " ")
    assert "f one more pump trips" in said or "No time in the next" in said
    assert ("Not a permit." in said) == ("Capacity holds" in page.inner_text(".answer .yes") and "only" not in said)
    assert page.input_value("[name=when]") == "tomorrow 09:00"
    page.fill("[name=when]", "half past")
    page.click(".which button >> nth=1")
    assert "a time is expected" in page.inner_text(".a-may")
    assert page.input_value("[name=when]") == "half past"
    page.fill("[name=when]", "now")
    page.fill("[name=vacuum]", "5")
    page.click(".which button >> nth=1")
    assert "poorer than the start" in page.inner_text(".answer")
    context.close()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_pump_that_clogs_takes_four_taps(browser: Browser, live: Live, size: tuple[int, int]) -> None:
    """Pump, cause, back when, record: nothing typed. Then what is left by the hour, what to leave alone, and whom to tell; it runs
    after all keeps the stop."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    page.goto(f"{live.url}/plants/{live.plant}")
    hand = Counted(page)
    hand.tap("text=VP2 stopped")
    hand.tap("text=jammed, hums")
    hand.tap(".pills span:text('tomorrow')")
    hand.tap("text=Record: VP2 stopped")
    page.wait_for_url("**/stopped")
    hand.say("a pump clogs", 4, 0)
    said = page.inner_text("main")
    assert page.inner_text("h1").startswith("Leave VP1")
    assert "Do not open" in page.inner_text("h1")
    assert "jammed, hums. Back" in said
    assert "Officer of the watch" in said
    assert page.locator(".a-left table tbody tr").count() >= 2
    page.click("text=It runs after all")
    assert "VP2 runs after all. The stop of 0 min stays on record." in page.inner_text("main")
    assert wrong == []
    context.close()


def _ask_to_wait(live: Live, turn: int) -> str:
    """Another person asks for a postponement, of another job each turn; the name of the job."""
    who = f"second-{turn}"
    vessel = live.run.ship.vessel
    people.add_person(
        live.context, FIRST, person_id=who, name="Demo second", rank="second", role=Role.ENGINEER, vessel_id=vessel
    )
    key = people.add_key(live.context, FIRST, role=Role.ENGINEER, label=who, vessel_id=vessel, person_id=who)
    jobs = live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
    job = [one for one in jobs if one["kind"] == "knife_inspection" and one["open"]][turn]
    body = {
        "to_at": f"{live.clock.at + timedelta(days=200):%Y-%m-%dT%H:%M:%SZ}",
        "reason": "set is late",
        "risk": "worn knives",
        "mitigation": "current looked at weekly",
    }
    headers = {"Authorization": f"Bearer {key}", "Idempotency-Key": f"wait {turn}"}
    answer = live.chief.post(f"/api/v1/jobs/{job['job']}/postponements", json=body, headers=headers)
    assert answer.status_code == 201, answer.text
    return str(job["job"])


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_postponement_waits_for_who_decides_it_and_takes_two_taps(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """On plant and fleet a line with limit, hours then and margin; Decide shows if no against if yes, two buttons that weigh the same.
    Decided, the line is gone."""
    _ask_to_wait(live, SIZES.index(size))
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    page.goto(f"{live.url}/?all=1")
    assert "knife inspection to" in page.inner_text(".wait")
    assert page.locator(".ships svg.chart").count() == 1
    assert page.inner_text(".ships .job .state").strip()
    page.goto(f"{live.url}/plants/{live.plant}")
    line = page.inner_text(".wait")
    assert "knife inspection to" in line
    assert "asked by Demo second" in line
    hand = Counted(page)
    hand.tap(".wait a:has-text('Decide')")
    assert page.inner_text("h1").startswith("May VP")
    widths = page.locator(".pair button").evaluate_all("all => all.map(b => [b.offsetWidth, b.className])")
    assert len(widths) == 2
    assert widths[0] == widths[1]
    page.click(".pair button >> nth=1")
    assert "Say why it is refused" in page.inner_text("main") or "this is empty" in page.inner_text("main")
    hand.tap(".pair button >> nth=0")
    hand.say("a postponement decided", 2, 0)
    assert "Decided by Demo chief" in page.inner_text("h1")
    page.goto(f"{live.url}/plants/{live.plant}")
    assert page.locator(".wait a:has-text('Decide')").count() == 0
    assert [one for one in wrong if "422" not in one] == []
    context.close()


if AXE:

    @pytest.mark.parametrize(("size", "light"), [*zip(SIZES, ["night", "day"], strict=True)], ids=["desk", "phone"])
    def test_axe_finds_nothing_on_an_answer(browser: Browser, live: Live, size: tuple[int, int], light: str) -> None:
        """The plant with an answer, and a pump that stops: no violation, folds open."""
        context, page, _ = signed_in(browser, live, viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
        context.add_cookies([{"name": "light", "value": light, "url": live.url}])
        pump = live.run.ship.pump(1)
        for path in (f"/plants/{live.plant}?open={pump}&when=now&days=7", f"/pumps/{pump}/stopped"):
            page.goto(f"{live.url}{path}")
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
            assert axe_finds(page) == [], path
        context.close()
