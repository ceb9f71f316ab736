"""A cut line, and two people on one job: what was typed is never lost, and what was sent twice is done once."""

import pytest
from playwright.sync_api import Browser

from scheduler.actions.people import people
from tests.browser.chromium import signed_in
from tests.browser.test_work_page import Hand, job, live, steps  # noqa: F401 - the fixture
from tests.end_to_end.live import Live

pytestmark = pytest.mark.browser


def test_with_the_network_cut_an_act_is_kept_and_sent_once(browser: Browser, live: Live) -> None:  # noqa: F811
    """Said so, kept over a reload, sent by itself when the network is back; tapped three times it is one entry."""
    context, page, _ = signed_in(browser, live, viewport={"width": 390, "height": 844})
    page.clock.install()
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    hand = Hand(page=page, live=live)
    hand.begin(key)
    page.get_by_label("Permit", exact=True).fill("PT-9")
    page.get_by_label("Valid until", exact=True).fill("23:00")
    page.get_by_label("Permit", exact=True).evaluate(
        "e => e.form.addEventListener('submit', () => { window.sent = true; })"
    )
    before = len(steps(live, key))
    context.set_offline(True)
    for _ in range(3):
        page.click("#next .go")
    page.wait_for_function("document.getElementById('say').textContent.startsWith('No network.')")
    assert len(steps(live, key)) == before
    context.set_offline(False)
    page.reload()
    assert page.get_by_label("Permit", exact=True).input_value() == "PT-9"
    context.set_offline(True)
    page.click("#next .go")
    page.wait_for_function("document.getElementById('say').textContent.startsWith('No network.')")
    context.set_offline(False)
    with page.expect_navigation():
        page.clock.fast_forward(10_500)
    assert "Read the gas in the room" in page.inner_text("h1")
    assert [one["number"] for one in steps(live, key) if one["kind"] == "permit issued"] == ["PT-9"]
    context.close()


def test_of_two_people_on_one_job_the_second_sees_what_the_first_did(browser: Browser, live: Live) -> None:  # noqa: F811
    """The first's permit stands; the second's own is refused in words, stays typed beside it, and makes no entry."""
    context, page, _ = signed_in(browser, live)
    other = browser.new_context()
    theirs = other.new_page()
    theirs.goto(f"{live.url}/enter/{people.make_link(live.context, 'second')}")
    theirs.click("main button")
    theirs.wait_for_url(f"{live.url}/plants/*")
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    mine, hers = Hand(page=page, live=live), Hand(page=theirs, live=live)
    mine.begin(key)
    hers.begin(key)
    mine.write(**{"Permit": "PT-1", "Valid until": "23:00"})
    hers.write(**{"Permit": "PT-2", "Valid until": "22:00"})
    with page.expect_navigation():
        page.click("#next .go")
    with theirs.expect_navigation():
        theirs.click("#next .go")
    said = theirs.inner_text("main")
    assert "PT-1" in said
    assert theirs.locator("[role=alert]").count() >= 1
    assert [one["number"] for one in steps(live, key) if one["kind"] == "permit issued"] == ["PT-1"]
    other.close()
    context.close()


@pytest.mark.parametrize("where", ["", "/paper"], ids=["the next act", "from paper"])
def test_what_was_typed_outlives_a_session_that_ran_out_and_a_page_that_the_phone_reloads(
    browser: Browser,
    live: Live,  # noqa: F811
    where: str,
) -> None:
    """Typed, reloaded: it is there. Sent with no session: nothing is recorded; signed in anew it is there, and is taken."""
    context, page, _ = signed_in(browser, live, viewport={"width": 390, "height": 844})
    key = job(live, "knife_inspection", "plover-pump-a-knives")
    path = f"{live.url}/vessels/demo-plover/jobs/{key}{where}"
    typed = {"done_by": "Demo relief", "finished": "0645"} if where else {"number": "PT-9", "valid_to": "23:00"}
    before = len(steps(live, key))
    page.goto(path)
    for name, text in typed.items():
        page.fill(f"main [name='{name}']", text)
    page.goto("about:blank")
    page.goto(path)
    assert {name: page.input_value(f"main [name='{name}']") for name in typed} == typed
    context.clear_cookies()
    button = "button[value=look]" if where else "#next .go"
    with page.expect_navigation():
        page.click(button)
    assert len(steps(live, key)) == before
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'chief')}")
    page.click("main button")
    page.wait_for_url(f"{live.url}/plants/*")
    page.goto(path)
    assert {name: page.input_value(f"main [name='{name}']") for name in typed} == typed
    with page.expect_navigation():
        page.click(button)
    assert "not seen on paper" in page.inner_text("main") if where else len(steps(live, key)) > before
    context.close()
