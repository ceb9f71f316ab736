"""The work on a pump on its page, as a second engineer does it: counted in taps and typed fields, on desk and phone."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.acts import isolated
from tests.api.stage import stamp
from tests.browser.chromium import SIZES, signed_in
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


@dataclass
class Hand:
    """Who taps and types on a page, and how often."""

    page: Page
    live: Live
    taps: int = 0
    typed: int = 0
    highest: int = 0
    headings: list[str] = field(default_factory=list)

    def tap(self, name: str) -> None:
        """A button or link by its whole name; time goes on by a minute."""
        self.live.clock.at += timedelta(minutes=1)
        found = self.page.locator("main").get_by_role("button", name=name, exact=True)
        assert found.count() == 1, (name, self.page.inner_text("main"))
        found.click()
        self.page.wait_for_load_state()
        self.taps += 1
        self.headings.append(self.page.inner_text("h1"))
        self.highest = max(self.highest, self.page.evaluate("document.documentElement.scrollHeight"))

    def write(self, **fields: str) -> None:
        """Fields of the box, by their labels."""
        for label, text in fields.items():
            self.page.locator("#next").get_by_label(label, exact=True).fill(text)
            self.typed += 1

    def begin(self, key: str) -> None:
        """From the plant's page to the job's, one tap."""
        self.page.goto(f"{self.live.url}/plants/{self.live.plant}")
        self.page.locator(f"main a[href$='{key}']").first.click()
        self.page.wait_for_url(f"**{key}")
        self.taps += 1


def isolate(hand: Hand) -> None:
    """From the permit to the moment before it is opened."""
    hand.write(**{"Permit": "PT-114", "Valid until": "23:00"})
    hand.tap("All so: permit in hand")
    hand.write(**GAS)
    hand.tap("Gas read; meter bump tested today")
    hand.write(**{"Lock box": "L4"})
    hand.tap("Rinsed, drained, stopped")
    for test in ("Start tried, control alive: dead", "No voltage; meter proved before and after"):
        while hand.page.locator("main").get_by_role("button", name=test, exact=True).count() == 0:
            hand.tap("Locked and tagged")
        hand.tap(test)
    while hand.page.get_by_role("button", name="Locked and tagged", exact=True).count():
        hand.tap("Locked and tagged")
    hand.tap("Gauge at zero and stays; drained")
    hand.tap("My lock hangs on box L4")
    hand.write(**GAS)
    hand.tap("Gas read; meter bump tested today")


def work(hand: Hand) -> None:
    """Opened, looked at, measured, closed up."""
    hand.tap("Opened")
    hand.tap("Done")
    hand.tap("Done")
    hand.write(**{"Knife gap, widest": "0.34", "Largest chip": "0.5"})
    hand.tap("Done: as it should be")
    hand.tap("Done")


def back(hand: Hand) -> None:
    """People clear, locks off one by one, started locally."""
    hand.tap("Clear; my lock is off the box")
    for point in OFF:
        assert hand.page.locator(".points .now .n").inner_text() == point
        hand.page.locator("#next form button").first.click()
        hand.page.wait_for_load_state()
        hand.live.clock.at += timedelta(minutes=1)
        hand.taps += 1


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_knife_inspection_from_planned_to_closed_and_proved(
    browser: Browser, live: Live, size: tuple[int, int]
) -> None:
    """Six points, each confirmed by itself on and off; 30 taps and 16 typed fields at most; the page stays at the next act."""
    context, page, wrong = signed_in(browser, live, viewport={"width": size[0], "height": size[1]})
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    hand = Hand(page, live)
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
    hand.tap("Good: local start")
    hand.tap("In AUTO")
    hand.write(**{"Pull-down, s": "88"})
    hand.tap("Passed, close")
    print(f"\n{hand.taps} taps, {hand.typed} typed fields, highest page {hand.highest} px")
    assert "is closed" in page.inner_text("h1")
    assert hand.taps <= MOST_TAPS
    assert hand.typed <= MOST_TYPED
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
