"""Hours by hand through the real application: one instant, a field a counter, each judged apart, nothing typed lost."""

from datetime import timedelta

from httpx2 import Response
from starlette.testclient import TestClient

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp
from tests.unit.api.test_pages import Reader

PAGE = f"/vessels/{PLOVER.vessel}/hours"
VP1, VP2, VP3 = (f"counter:{PLOVER.counter(n)}" for n in range(3))
HTML = {"Accept": "text/html"}


def fields(page: str) -> dict[str, str]:
    """Name and value of each field of the page's form."""
    tags = Reader(page).tags
    start = next(n for n, (tag, held) in enumerate(tags) if tag == "form" and held.get("action") == PAGE)
    return {str(h["name"]): str(h.get("value") or "") for t, h in tags[start:] if t == "input"}


def send(browser: TestClient, **typed: str) -> Response:
    """The page's form with some fields typed."""
    page = browser.get(PAGE, headers=HTML)
    assert page.status_code == 200, page.text
    return browser.post(PAGE, data={**fields(page.text), **typed}, headers=HTML)


def shown(stage: Stage) -> list[int]:
    """What each counter showed last."""
    return [int(stage.ask("GET", f"/api/v1/counters/{PLOVER.counter(n)}").json()["newest_value"]) for n in range(3)]


def test_all_counters_stand_on_one_page(fresh: Stage) -> None:
    """A field a counter with what it showed last and when; the instant, in ship time, is now."""
    browser = fresh.enter("engineer-plover")
    page = browser.get(PAGE, headers=HTML).text
    form, words = fields(page), Reader(page).words
    assert {VP1, VP2, VP3} <= form.keys()
    offset = int(form["utc_offset_minutes"])
    assert form["at"] == f"{AT + timedelta(minutes=offset):%Y-%m-%dT%H:%M}"
    assert words.count("Showed ") == 3
    assert f"{shown(fresh)[0]:,}".replace(",", "\u202f") in words


def test_each_value_is_judged_beside_its_field(fresh: Stage) -> None:
    """Counted, held and refused in one go: the good one is stored, all typed figures stay, nothing is lost."""
    one, two, _ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    told = send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2}", VP2: f"{two + 90_000}", VP3: "12 3x"})
    words, again = Reader(told.text).words, fields(told.text)
    assert told.status_code == 422
    assert "Two readings are stored; one was not taken and still stands below." in words
    assert "h counted since the reading before" in words
    assert "held, not counted (impossible). It waits for an answer on the counters page." in words
    assert "Refused: '12 3x' is not one; a figure is expected" in words
    assert (again[VP1], again[VP2], again[VP3]) == (f"{one + 2}", f"{two + 90_000}", "12 3x")
    assert shown(fresh)[0] == one + 2


def test_far_more_than_usual_is_said_at_entry_and_the_next_honest_one_asks_which_was_wrong(fresh: Stage) -> None:
    """A slip of the hand that can have run: told with figures; later "the one before was misread" puts all right."""
    one, *_ = shown(fresh)
    for day in range(1, 4):
        fresh.clock.at = AT + timedelta(days=day)
        assert send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2 * day}"}).status_code == 200
    fresh.clock.at = AT + timedelta(days=4)
    told = Reader(send(fresh.enter("engineer-plover"), **{VP1: f"{one + 23}"}).text).words
    assert "of which 1 far more than usual: look again below" in told
    assert "h more than the usual" in told
    for day in (5, 6):
        fresh.clock.at = AT + timedelta(days=day)
        assert (
            "held: see the counters page"
            in Reader(send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2 * day}"}).text).words
        )
    browser = fresh.enter("engineer-plover")
    page = browser.get(f"/vessels/{PLOVER.vessel}/counters", headers=HTML).text
    words = Reader(page).words
    assert "Was that misread?" in words
    assert "wiring" not in words
    assert "It was preset" not in words
    assert "It was misread" not in words
    start = page.index('value="earlier"')
    form = page[page.rindex("<form", 0, start) : page.index("</form>", start)]
    data = {str(h["name"]): str(h.get("value") or "") for t, h in Reader(form).tags if t == "input"}
    counter = PLOVER.counter(0)
    for what in ("misread", "preset"):
        refused = browser.post(
            f"/counters/{counter}/answers",
            data={**data, "what": what, "hours": "2", "idempotency_key": what},
            headers=HTML,
        )
        assert refused.status_code == 422
        assert "mark that one as misread" in Reader(refused.text).words
    answered = browser.post(f"/counters/{counter}/answers", data=data, headers=HTML)
    assert answered.status_code == 200
    assert (
        browser.post(f"/counters/{counter}/answers", data=data, headers=HTML).status_code == 200
    )  # sent twice, done once
    assert "Was that misread?" not in Reader(answered.text).words
    entries = fresh.ask("GET", f"/api/v1/counters/{counter}").json()["entries"]
    assert [entry["verdict"] for entry in entries[:3]] == ["credited", "credited", "glitch"]
    assert sum(entry["credit_hours"] for entry in entries[:6]) == 12


def test_once_more_is_a_duplicate_and_another_value_a_conflict(fresh: Stage) -> None:
    """The same value at the same instant is known; another one is kept apart and told with the one that stands."""
    one, two, _ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    assert send(browser, **{VP1: f"{one + 2}", VP2: f"{two + 2}"}).status_code == 200
    told = send(browser, **{VP1: f"{one + 2}", VP2: f"{two + 3}"})
    words = Reader(told.text).words
    assert "Known already, the same value" in words
    assert f"Conflict: {two + 2:,} is stored for this instant".replace(",", "\u202f") in words
    assert shown(fresh)[:2] == [one + 2, two + 2]


def test_a_comma_and_spaces_are_understood(fresh: Stage) -> None:
    """1 234,5 is taken as 1234.5, which is what many people write."""
    fresh.clock.at = AT + timedelta(hours=24)
    one = shown(fresh)[0]
    send(fresh.enter("engineer-plover"), **{VP1: f"{one + 1:,}".replace(",", " ") + ",5"})
    assert fresh.ask("GET", f"/api/v1/counters/{PLOVER.counter(0)}").json()["newest_value"] == one + 1.5


def test_an_instant_to_come_or_unreadable_stores_nothing(fresh: Stage) -> None:
    """The fault stands at the instant and every figure stays as typed."""
    browser, before = fresh.enter("engineer-plover"), shown(fresh)
    for at, words in (("2026-12-24T18:00", "this is still to come"), ("yesterday", "a date and time are expected")):
        told = send(browser, at=at, **{VP1: "77777"})
        again = fields(told.text)
        assert (told.status_code, words in told.text, again["at"], again[VP1]) == (422, True, at, "77777")
    nothing = send(browser)
    assert (nothing.status_code, "nothing was typed" in nothing.text) == (422, True)
    assert shown(fresh) == before


def test_who_read_them_stands_in_the_record(fresh: Stage) -> None:
    """Readings carry no author, so one record names the reader, the instant and the values that were stored."""
    one = shown(fresh)[0]
    fresh.clock.at = AT + timedelta(hours=24)
    assert send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2}", VP2: "x"}).status_code == 422
    kept = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    (line,) = [text for text in kept.splitlines() if "hours read by hand" in text]
    assert f'"value":"{one + 2}"' in line.replace("\\", "")
    assert stamp(fresh.clock.at) in line
    assert "Demo engineer" in line
    assert PLOVER.counter(1) not in line
