"""The work on a pump on its page, as a second engineer does it: counted in taps and typed fields, on desk and phone."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.acts import isolated
from tests.api.stage import stamp
from tests.browser.chromium import AXE, SIZES, axe_finds, signed_in
from tests.browser.counted import Counted
from tests.browser.test_counters_pages import SMALL
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

pytestmark = pytest.mark.browser

MOST_TAPS, MOST_TYPED = 30, 16
HIGHEST_PHONE_PAGE = 2_500
GAS = {"O2, %": "20.9", "LEL, %": "0", "H2S, ppm": "1"}
OFF = (
    "flushing or seal water",
    "discharge valve",
    "supply breaker",
    "control and heater supply",
    "selector to OFF",
    "suction valve",
)


@pytest.fixture
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """The three-pump ship; on VP2 the locks of box L4 and both meters were used before."""
    with serving(str(tmp_path_factory.mktemp("work") / "ship.db"), PLOVER, years=0.1, clock=TurnedClock()) as server:
        people.add_person(
            server.context,
            FIRST,
            person_id="second",
            name="Demo second",
            rank="second engineer",
            role=Role.ENGINEER,
            vessel_id=PLOVER.vessel,
        )
        server.clock.at += timedelta(minutes=30)
        for minutes, kind, particulars in isolated():
            if kind in ("gas checked", "no voltage"):
                at = server.clock.at - timedelta(minutes=20 - minutes)
                act = {"kind": kind, "at": stamp(at), "by": "Demo second", **particulars}
                told(server, job(server, "knife_inspection", "plover-pump-b-knives"), act)
        yield server


def told(live: Live, key: str, step: dict[str, Any]) -> None:
    """A step by the API, kept whatever stands against it."""
    answer = live.chief.post(
        f"/api/v1/jobs/{key}/steps",
        json={"step": step, "fact": True},
        headers={"Idempotency-Key": f"{key} {step['kind']}"},
    )
    assert answer.is_success, answer.text


def job(live: Live, kind: str, subject: str) -> str:
    """The key of the open job of that kind."""
    due = live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
    return next(one["job"] for one in due if one["kind"] == kind and one["subject"] == subject and one["open"])


@dataclass(kw_only=True)
class Hand(Counted):
    """Who works on a job's page."""

    live: Live
    highest: int = 0
    headings: list[str] = field(default_factory=list)

    def press(self, name: str) -> None:
        """A button or link by its whole name; time goes on by a minute."""
        self.live.clock.at += timedelta(minutes=1)
        found = self.page.locator("main").get_by_role("button", name=name, exact=True)
        assert found.count() == 1, (name, self.page.inner_text("main"))
        with self.page.expect_navigation():
            self.tap(found)
        self.headings.append(self.page.inner_text("h1"))
        self.highest = max(self.highest, self.page.evaluate("document.documentElement.scrollHeight"))

    def write(self, **fields: str) -> None:
        """Fields of the box, by their labels."""
        for label, text in fields.items():
            self.fill(self.page.locator("#next").get_by_label(label, exact=True), text, unit="box")

    def enter(self) -> None:
        """The form in which the focus is, sent by the keyboard."""
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def begin(self, key: str) -> None:
        """From the plant's page to the job's, one tap."""
        self.page.goto(f"{self.live.url}/plants/{self.live.plant}")
        self.tap(f"main a[href$='{key}']")
        self.page.wait_for_url(f"**{key}")


def isolate(hand: Hand) -> None:
    """From the permit to the moment before it is opened."""
    hand.write(**{"Permit": "PT-114", "Valid until": "23:00"})
    hand.press("All so: permit in hand")
    hand.write(**GAS)
    hand.press("Gas read; meter bump tested today")
    hand.write(**{"Lock box": "L4"})
    hand.press("Rinsed, drained, stopped")
    for test in ("Start tried, control alive: dead", "No voltage; meter proved before and after"):
        while hand.page.locator("main").get_by_role("button", name=test, exact=True).count() == 0:
            hand.press("Locked and tagged")
        hand.press(test)
    while hand.page.get_by_role("button", name="Locked and tagged", exact=True).count():
        hand.press("Locked and tagged")
    hand.press("Gauge at zero and stays; drained")
    hand.press("My lock hangs on box L4")
    hand.write(**GAS)
    hand.press("Gas read; meter bump tested today")


def work(hand: Hand) -> None:
    """Opened, looked at, measured, closed up."""
    hand.press("Opened")
    hand.press("Done")
    hand.press("Done")
    hand.write(**{"Knife gap, widest": "0.34", "Largest chip": "0.5"})
    hand.press("Done: as it should be")
    hand.press("Done")


def back(hand: Hand) -> None:
    """People clear, locks off one by one, started locally."""
    hand.press("Clear; my lock is off the box")
    for point in OFF:
        assert hand.page.locator(".points .now .n").inner_text() == point
        with hand.page.expect_navigation():
            hand.tap("#next form button")
        hand.live.clock.at += timedelta(minutes=1)


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_knife_inspection_from_planned_to_closed_and_proved(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """Six points, each confirmed by itself on and off; 30 taps and 16 typed fields at most; the page stays at the next act."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    hand = Hand(page=page, live=live)
    hand.begin(key)
    isolate(hand)
    locked = [one for one in steps(live, key) if one["kind"] == "tag placed"]
    assert [one["lock_no"] for one in locked] == [f"L4-{n}" for n in range(1, 7)]
    assert {one["box_no"] for one in locked} == {"L4"}
    assert page.url.endswith("#next")
    assert page.evaluate("document.activeElement.id") == "next"
    work(hand)
    back(hand)
    hand.write(**{"L1, A": "11.4", "L2, A": "11.2", "L3, A": "11.3"})
    hand.press("Good: local start")
    hand.press("In AUTO")
    hand.write(**{"Pull-down, s": "88"})
    hand.press("Passed, close")
    print(f"\nhighest page {hand.highest} px")
    assert "is closed" in page.inner_text("h1")
    hand.say("knife inspection with six points, from planned to closed and proved", MOST_TAPS, MOST_TYPED)
    if size[0] < 700:
        assert hand.highest <= HIGHEST_PHONE_PAGE
    points = {one["point"] for one in steps(live, key) if one["kind"] == "tag removed"}
    assert points == set(OFF)
    assert [one for one in steps(live, key) if one["flags"]] == []
    closed = live.chief.get(f"/api/v1/jobs/{key}").json()
    assert (closed["state"], closed["test"], closed["flags"]) == ("done", "passed", [])
    assert live.chief.get("/api/v1/pumps/plover-pump-a").json()["state"] == "available"
    assert wrong == []
    context.close()


def steps(live: Live, key: str) -> list[dict[str, Any]]:
    """The entries of the work as the API tells them."""
    found: list[dict[str, Any]] = live.chief.get(f"/api/v1/jobs/{key}/work").json()["steps"]
    return found


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_job_done_already_is_taken_in_from_its_sheet_in_under_two_minutes(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """From its page: all that a full sheet shows is typed in the order of the sheet, one look, one tap; under 120 s by the model."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    key = job(live, "knife_inspection", "plover-pump-c-knives")
    page.goto(f"{live.url}/vessels/{PLOVER.vessel}/jobs/{key}")
    hand = Counted(page)
    hand.tap("text=Done already: take it in from paper")
    day = page.input_value("[name=done_on]")
    order = page.locator("form.paperform input[type=text], form.paperform input:not([type]), form.paperform select")
    names = [one for one in order.evaluate_all("all => all.map(e => e.name)") if one in FULL_SHEET]
    assert names == list(FULL_SHEET), "the form is in the order of the sheet"
    hand.passed()
    for name, text in FULL_SHEET.items():
        if name == "seen":
            page.select_option("[name=seen]", text)
            hand.filled("as")  # two letters choose it
        else:
            hand.fill(f"[name='{name}']", text, unit=name.partition(":")[0])
    hand.tap("input[name=ticked]")
    with page.expect_navigation():
        hand.tap("button[value=look]")
    assert "the sheet shows every act" in page.inner_text("h1"), page.inner_text("main")
    assert {name: page.input_value(f"[name='{name}']") for name in FULL_SHEET} == FULL_SHEET
    with page.expect_navigation():
        hand.tap("button[value=take]")
    assert "is closed" in page.inner_text("h1")
    hand.say("a job done already, a full sheet of paper", MOST_PAPER_TAPS, MOST_PAPER_TYPED, within=120)
    closed = live.chief.get(f"/api/v1/jobs/{key}").json()
    assert (closed["from_paper"], closed["test"]) == (True, "passed")
    assert closed["closed_at"].startswith(day)
    assert wrong == []
    context.close()


def test_a_line_left_empty_is_not_seen_on_paper(browser: Browser, live: Live) -> None:
    """On a phone: Look says what the sheet lacks and keeps all that was typed, one more tap takes it in."""
    context, page, wrong = signed_in(browser, live, viewport={"width": 390, "height": 844})
    key = job(live, "knife_inspection", "plover-pump-c-knives")
    page.goto(f"{live.url}/vessels/{PLOVER.vessel}/jobs/{key}/paper")
    assert "Demo second" in page.locator("datalist#aboard option").evaluate_all("all => all.map(e => e.value)")
    for name, text in SHEET.items():
        page.fill(f"[name='{name}']", text)
    with page.expect_navigation():
        page.get_by_role("button", name="Look", exact=True).click()
    assert "acts are not seen on paper" in page.inner_text("h1")
    assert "stored vacuum let out" in page.inner_text("main").casefold()
    assert {name: page.input_value(f"[name='{name}']") for name in SHEET} == SHEET
    assert page.evaluate(SMALL, 44) == []
    with page.expect_navigation():
        page.get_by_role("button", name="Take it in:").click()
    assert "is closed" in page.inner_text("h1")
    assert "Not seen on paper" in page.inner_text("main")
    closed = live.chief.get(f"/api/v1/jobs/{key}").json()
    assert (closed["from_paper"], closed["check"]) == (True, "as on sheet: Demo second")
    assert wrong == []
    context.close()


SHEET = {
    "permit issued:number": "PT-98",
    "tag placed:tags": "T-31 to T-36",
    "tag placed:at": "05:41",
    "no voltage:meter": "VM-2",
    "gas at the cover:oxygen": "20.9",
    "gas at the cover:lel": "0",
    "gas at the cover:h2s": "1",
    "opened:at": "05:52",
    "started locally:current": "10.8",
    "returned:at": "06:41",
    "measure:knife gap, widest": "0.31",
    "finished": "06:45",
    "done_by": "Demo relief",
    "checked_by": "Demo second",
}
GAS_READ = {"oxygen": "20.9", "lel": "0", "h2s": "1"}
FULL_SHEET = {
    "permit issued:number": "PT-98",
    "permit issued:at": "0515",
    "made ready:told": "bridge, hotel",
    "made ready:at": "0520",
    **{f"gas in the room:{name}": text for name, text in GAS_READ.items()},
    "rinsed:drained": "sewage tank",
    "rinsed:at": "0530",
    "tag placed:tags": "31 to 36",
    "tag placed:at": "0541",
    "start tried:at": "0542",
    "no voltage:meter": "VM-2",
    "no voltage:at": "0543",
    "vacuum let out:at": "0545",
    **{f"gas at the cover:{name}": text for name, text in GAS_READ.items()},
    "personal lock on:names": "Demo second",
    "opened:at": "0552",
    "people clear:at": "0630",
    "people told:names": "bridge",
    "started locally:current": "11 11 11",
    "returned:at": "0641",
    "tested:seconds": "88",
    "tested:limit": "120",
    "measure:knife gap, widest": "0.31",
    "measure:largest chip": "0.5",
    "seen": "as it should be",
    "finished": "0645",
    "done_by": "Demo second",
    "checked_by": "Demo chief",
}
"""Every line written."""
MOST_PAPER_TAPS, MOST_PAPER_TYPED = 4, 35
"""The form, the steps ticked, look, take it in."""


def test_refused_undone_and_by_keyboard_alone_without_script(browser: Browser, live: Live) -> None:
    """What was typed is kept and the reason stands at the top and beside the button; an undo says what it leaves behind."""
    context, page, _ = signed_in(browser, live, java_script_enabled=False, viewport={"width": 390, "height": 844})
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    hand = Hand(page=page, live=live)
    hand.begin(key)
    hand.write(**{"Permit": "PT-9"})
    hand.enter()
    alert = page.locator("[role=alert]")
    assert alert.get_attribute("class") == "refuse no-print"
    assert page.locator("#next .besides").inner_text().startswith("Not taken.")
    assert page.get_by_label("Permit", exact=True).input_value() == "PT-9"
    assert page.locator("#next .go").count() == 0
    alert.get_by_role("link").click()
    assert page.evaluate("document.activeElement.name") == "valid_to"
    hand.write(**{"Valid until": "23:00"})
    hand.enter()
    assert "Read the gas in the room" in page.inner_text("h1")
    hand.write(**{**GAS, "H2S, ppm": "30"})
    hand.enter()
    assert "above the OSHA ceiling" in page.locator("[role=alert]").inner_text()
    assert page.get_by_label("H2S, ppm", exact=True).input_value() == "30"
    page.get_by_label("H2S, ppm", exact=True).fill("1")
    hand.enter()
    hand.write(**{"Lock box": "L4"})
    hand.press("Rinsed, drained, stopped")
    hand.press("Locked and tagged")
    assert "1 of 6 locked and tagged" in page.inner_text("h1")
    undo = page.locator("form.undo")
    assert "not known: go and look" in undo.inner_text()
    with page.expect_navigation():
        undo.get_by_role("button").click()
    assert page.inner_text("h1") == "Not known: supply breaker. Go and look."
    hand.press("Locked and tagged")
    live.clock.at += timedelta(minutes=11)
    page.reload()
    assert page.locator("form.undo").count() == 0
    context.close()


def test_stopped_work_says_stop_and_a_current_above_the_nameplate_keeps_it_out_of_auto(
    browser: Browser, live: Live
) -> None:
    """Stale gas is the next act until it is read; after 13.4 A only "read once more" and "it failed" are there, both light."""
    context, page, _ = signed_in(browser, live, viewport={"width": 390, "height": 844}, bypass_csp=True)
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    hand = Hand(page=page, live=live)
    hand.begin(key)
    isolate(hand)
    assert page.locator("button[disabled]").count() == 0
    hand.press("Opened")
    assert "Margin" in page.locator(".while-out").inner_text()
    assert "If one more pump trips" in page.locator(".while-out").inner_text()
    live.clock.at += timedelta(minutes=31)
    page.reload()
    assert page.inner_text("h1") == "Stop work: read the gas again."
    assert "Stop work" in page.locator("[role=alert]").inner_text()
    hand.write(**GAS)
    hand.press("Gas read; meter bump tested today")
    for name in ("Done", "Done", "Done: as it should be", "Done"):
        hand.press(name)
    back(hand)
    hand.write(**{"L1, A": "13.4", "L2, A": "12.9", "L3, A": "13.1"})
    hand.press("Good: local start")
    assert "13.4 A of 12: stop it." in page.inner_text("h1")
    assert "out of AUTO" in page.locator("[role=alert]").inner_text()
    assert page.locator("#next .go").count() == 0
    assert page.evaluate(SMALL, 44) == []
    if AXE:
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert axe_finds(page) == []
    hand.write(**{"L1, A": "11.4", "L2, A": "11.2", "L3, A": "11.3"})
    hand.press("Read once more")
    assert "1 thing to put right" in page.inner_text("main") or "One thing to put right" in page.inner_text("main")
    hand.write(**{"Why it is better now": "water in the housing, drained"})
    hand.press("Read once more")
    hand.press("In AUTO")
    hand.write(**{"Pull-down, s": "88"})
    hand.press("Passed, close")
    assert "13.4" in page.inner_text("main")
    assert "Undo the close" in page.inner_text("main")
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    with page.expect_navigation():
        page.get_by_role("button", name="Undo the close").click()
    assert page.locator("#next").count() == 1
    context.close()
