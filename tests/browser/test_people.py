"""A control-room computer as its people use it: made shared, looked at, recorded on by PIN, left; and a colleague's code."""

import pytest
from argon2 import PasswordHasher
from playwright.sync_api import Browser

from scheduler.actions.people import passphrases, people
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.browser.chromium import signed_in
from tests.end_to_end.live import FIRST, TurnedClock, serving

pytestmark = pytest.mark.browser
WORDS = "anchor tide brass nine"


def test_from_a_code_to_a_pin_on_the_shared_computer(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typed and tapped as people do, our own forms' origin let through by a real browser; a wrong PIN is said, the name kept."""
    monkeypatch.setattr(passphrases, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    folder = tmp_path_factory.mktemp("people")
    with serving(str(folder / "ship.db"), PLOVER, years=0.02, clock=TurnedClock()) as live:
        people.add_person(
            live.context,
            FIRST,
            person_id="third",
            name="Demo third",
            rank="third engineer",
            role=Role.ENGINEER,
            vessel_id=PLOVER.vessel,
        )
        context, page, wrong = signed_in(browser, live)
        page.goto(f"{live.url}/people")
        page.get_by_role("button", name="Show the code for Demo third").click()
        link = page.locator("code.hash").first.inner_text()
        assert link.startswith(f"{live.url}/enter/")
        other = browser.new_context()
        phone = other.new_page()
        phone.goto(link)
        phone.click("main button")
        phone.goto(f"{live.url}/you")
        phone.fill("#passphrase-passphrase", WORDS)
        phone.fill("#passphrase-again", WORDS)
        phone.click("#passphrase button")
        phone.fill("#pin-pin", "2468")
        phone.click("#pin button")
        phone.get_by_text("Chosen", exact=True).wait_for()
        page.goto(f"{live.url}/people")
        page.fill("#share--label", "control room")
        page.get_by_role("button", name="Make this a shared computer").click()
        page.get_by_role("button", name="Sign out", exact=True).first.click()
        page.goto(f"{live.url}/plants/{live.plant}")
        assert "control room, looking only" in page.locator("header.rail").inner_text()
        page.click("text=Tap your name >> visible=true")
        page.click("text=Demo third, third engineer")
        page.fill("#pin", "1357")
        page.click("text=This is me")
        assert "do not go together" in page.locator("[role=alert]").inner_text()
        assert page.locator("input[name=person]:checked").get_attribute("value") == "third"
        page.fill("#pin", "2468")
        page.click("text=This is me")
        page.wait_for_url(f"{live.url}/plants/*")
        assert "Demo third" in page.locator("header.rail").inner_text()
        assert page.locator("header.rail").get_by_role("link", name="Someone else").is_visible()
        assert [one for one in wrong if "401" not in one] == []
        other.close()
        context.close()
