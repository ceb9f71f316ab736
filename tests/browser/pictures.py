"""The manual's and README's pictures, taken of the demo's ship in Chromium: python -m tests.browser.pictures.

Look at them, then commit what changed. `tests/api/test_manual.py` holds that each is there, is used, and is small.
"""

import base64
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Page, sync_playwright

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import AVOCET
from tests.api.stage import stamp
from tests.browser.chromium import FLAGS, signed_in
from tests.end_to_end.live import FIRST, Live, TurnedClock, serving

FOLDER = Path(__file__).parents[2] / "api" / "pages" / "static" / "manual"
OURS = """at => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode())
    node.textContent = node.textContent.replaceAll(at, "leadline.lan:8322");
  scrollTo(0, 0);
}"""
"""The server's address in the texts, as a ship would have it."""
PHONE, DESK = (390, 844), (1280, 800)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture to take. path: with {plant}, {vessel} and {job}. part: a selector, none: the screen. high: at most, in px.

    first: what is done on the page before. narrow: only as wide as the part, not as the screen.
    """

    name: str
    path: str
    part: str | None = None
    size: tuple[int, int] = PHONE
    high: int = 640
    first: Callable[[Page], object] | None = None
    narrow: bool = False


def _make_address(page: Page) -> None:
    page.fill("[name=label]", "my phone")
    page.click("text=Make the address")
    page.wait_for_selector(".qrrow")


PICTURES = (
    Picture("plant", "/plants/{plant}", size=DESK, high=800),
    Picture("plant-phone", "/plants/{plant}", high=844),
    Picture("plan", "/plants/{plant}/plan", ".board", high=800),
    Picture("move", "/plants/{plant}/plan?job={job}&day={day}&at=10:00", "#move", high=820),
    Picture("job", "/vessels/{vessel}/jobs/{next}", ".work2", high=640),
    Picture("hours", "/vessels/{vessel}/hours", "form.hand", high=520),
    Picture("feed", "/feeds", ".qrrow", high=420, first=_make_address),
    Picture("breakdown", f"/pumps/{AVOCET.pump(1)}/stopped", ".stop .a-ask", high=520),
    Picture("question", "/vessels/{vessel}/counters", "section.ask", high=720),
    Picture("minimum", "/plants/{plant}/minimum", ".cols > div", high=560),
    Picture("signs", "/plants/{plant}/signs", ".cols > div > section", size=DESK, high=420),
)


def take_all(live: Live, folder: Path) -> dict[str, tuple[int, int]]:
    """Takes every picture into the folder, as WebP; their sizes in px."""
    slots = _slots(live)
    slot = next(one for one in slots if one["at"] > live.clock.at + timedelta(days=8))
    words = {
        "plant": live.plant,
        "vessel": AVOCET.vessel,
        "next": slots[0]["job"],
        "job": slot["job"],
        "day": f"{slot['at'] + timedelta(days=1):%Y-%m-%d}",
    }
    sizes = {}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for one in PICTURES:
            context, page, _ = signed_in(
                browser,
                live,
                viewport={"width": one.size[0], "height": one.size[1]},
                color_scheme="light",
                locale="en-GB",
            )
            page.goto(f"{live.url}{one.path.format(**words)}")
            page.evaluate(OURS, live.url.removeprefix("http://"))
            if one.first:
                one.first(page)
                page.evaluate(OURS, live.url.removeprefix("http://"))
            sizes[one.name] = _save(page, one, folder / f"{one.name}.webp")
            context.close()
        browser.close()
    return sizes


def _save(page: Page, one: Picture, to: Path) -> tuple[int, int]:
    page.wait_for_load_state("networkidle")
    box: dict[str, float] = {"x": 0, "y": 0, "width": one.size[0], "height": one.high}
    if one.part:
        found: Any = page.locator(one.part).first.bounding_box()
        left, wide = (found["x"], found["width"]) if one.narrow else (0, one.size[0])
        box = {"x": left, "y": max(found["y"] - 8, 0), "width": wide, "height": min(found["height"] + 16, one.high)}
    box = {name: round(value) for name, value in box.items()}
    shot = page.context.new_cdp_session(page).send(
        "Page.captureScreenshot",
        {"format": "webp", "quality": 72, "captureBeyondViewport": True, "clip": {**box, "scale": 1}},
    )
    to.write_bytes(base64.b64decode(shot["data"]))
    return int(box["width"]), int(box["height"])


def _slots(live: Live) -> list[dict[str, Any]]:
    """The planned jobs that take a pump out, the earliest first, `at` as an instant."""
    found = live.chief.get(f"/api/v1/plants/{live.plant}/plan").json()
    slots = [
        {"job": one["job"], "at": datetime.fromisoformat(one["from"])} for one in found["taken"]["slots"] if one["pump"]
    ]
    return sorted(slots, key=lambda one: one["at"])


def _post_an_odd_value(live: Live) -> None:
    """A reading of VP3 that cannot be right: the page asks about it."""
    key = people.add_key(live.context, FIRST, role=Role.COUNTER, label="pictures", vessel_id=AVOCET.vessel)
    live.clock.at += timedelta(minutes=5)
    reading = {"counter": "avocet-vp6-hours", "observed_at": stamp(live.clock.at), "value": 41}
    answer = httpx.post(
        f"{live.url}/api/v1/readings",
        json={"readings": [reading]},
        headers={"Authorization": f"Bearer {key}"},
    )
    answer.raise_for_status()


def main() -> None:
    """Takes them all into the package."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as folder,
        serving(f"{folder}/ship.db", AVOCET, years=0.5, clock=TurnedClock()) as live,
    ):
        made = planning.propose(live.context, AVOCET.vessel, live.plant)
        place = Place(live.plant, AVOCET.vessel, live.plant, AssetKind.PLANT)
        planning.take(live.context, Hand(FIRST, "take", {"take": made.digest}), place, made.digest)
        refresh.refresh(live.context, calendar_writer(live.url), AVOCET.vessel)
        at = live.clock.at
        lower = {
            "minimum_swept_m3_per_h": 120,
            "from_at": stamp(at + timedelta(days=2)),
            "to_at": stamp(at + timedelta(days=5)),
        }
        live.chief.post(
            f"/api/v1/plants/{live.plant}/concessions",
            json={**lower, "reason": "few aboard"},
            headers={"Idempotency-Key": "lower"},
        ).raise_for_status()
        _post_an_odd_value(live)
        for name, (wide, high) in take_all(live, FOLDER).items():
            print(f"{name}.webp {wide} {high}, {(FOLDER / f'{name}.webp').stat().st_size // 1000} kB")


if __name__ == "__main__":
    main()
