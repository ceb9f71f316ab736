"""Hours by hand through the real application: one instant, a field a counter, each judged apart, nothing typed lost."""

from datetime import timedelta

import pytest
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


def unticked(page: str) -> dict[str, str]:
    """The same as a browser sends them with nothing ticked."""
    return {name: value for name, value in fields(page).items() if not name.startswith("so:")}


def look(browser: TestClient, **entered: str) -> Response:
    """The page's form with some fields filled in, looked at."""
    page = browser.get(PAGE, headers=HTML)
    assert page.status_code == 200, page.text
    return browser.post(PAGE, data={**fields(page.text), **entered, "do": "look"}, headers=HTML)


def store(browser: TestClient, seen: Response, **entered: str) -> Response:
    """What was looked at, stored, with some fields changed since."""
    return browser.post(PAGE, data={**unticked(seen.text), **entered, "do": "store"}, headers=HTML)


def send(browser: TestClient, **entered: str) -> Response:
    """Looked at, and then stored as it stands, whether it fits or not where a person may say so."""
    seen = look(browser, **entered)
    ticks = {name: "yes" for name in fields(seen.text) if name.startswith("so:")}
    return store(browser, seen, **ticks)


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
    assert form["at"] == f"{AT + timedelta(minutes=offset):%Y-%m-%d %H:%M}"
    assert f"{shown(fresh)[0]:,}".replace(",", "\u202f") in words


@pytest.mark.long
def test_nothing_is_stored_before_it_was_looked_at(fresh: Stage) -> None:
    """Fits, does not fit, cannot be read: said with hours since and a day against the usual; every figure stays as typed."""
    one, two, three = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    seen = look(browser, **{VP1: f"{one + 2}", VP2: f"{two + 90_000}", VP3: "12 3x"})
    words, form = Reader(seen.text).words, fields(seen.text)
    assert seen.status_code == 200
    assert "Two of three do not fit. Nothing is stored yet." in words
    assert "More than can have run since." in words
    assert "'12 3x' is not one; a figure is expected" in words
    assert "Store the one that fits, and what is ticked" in words
    assert (form[VP1], form[VP2], form[VP3]) == (f"{one + 2}", f"{two + 90_000}", "12 3x")
    assert shown(fresh) == [one, two, three]
    again = look(browser, **{VP1: f"{one + 2}", VP2: f"{two + 2}"})
    assert "All two fit. Nothing is stored yet." in Reader(again.text).words
    assert shown(fresh) == [one, two, three]


@pytest.mark.long
def test_what_fits_is_stored_and_the_rest_stays(fresh: Stage) -> None:
    """The one that fits is stored and its field empty for the next; what does not fit stands as typed until it is right."""
    one, two, three = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    stored = store(browser, look(browser, **{VP1: f"{one + 2}", VP2: f"{two + 90_000}", VP3: "12 3x"}))
    words, form = Reader(stored.text).words, fields(stored.text)
    assert "One reading is stored. None of two fits." in words
    assert (form[VP1], form[VP2], form[VP3]) == ("", f"{two + 90_000}", "12 3x")
    assert shown(fresh) == [one + 2, two, three]
    right = browser.post(PAGE, data={**unticked(stored.text), VP2: f"{two + 2}", VP3: "", "do": "look"}, headers=HTML)
    assert "The reading fits. Nothing is stored yet." in Reader(right.text).words
    done = store(browser, right)
    assert "One reading is stored." in Reader(done.text).words
    assert shown(fresh) == [one + 2, two + 2, three]


@pytest.mark.long
def test_what_changed_since_it_was_looked_at_is_looked_at_again(fresh: Stage) -> None:
    """Another figure, another time, a tick for another figure, or what the counter posted meanwhile: nothing is stored."""
    one, two, _ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    seen = look(browser, **{VP1: f"{one + 2}"})
    earlier = fields(seen.text)["at"][:-5] + "00:30"
    for entered in ({VP1: f"{one + 20}"}, {VP2: f"{two + 2}"}, {"at": earlier}):
        refused = store(browser, seen, **entered)
        assert refused.status_code == 409
        assert "something changed since it was looked at" in Reader(refused.text).words
        assert fields(refused.text).items() >= entered.items()
    fresh.post(
        {"counter": PLOVER.counter(0), "observed_at": stamp(fresh.clock.at - timedelta(hours=1)), "value": one + 9}
    )
    assert store(browser, seen).status_code == 409
    assert shown(fresh)[:2] == [one + 9, two]


@pytest.mark.long
def test_a_tick_stores_what_does_not_fit_and_it_is_held(fresh: Stage) -> None:
    """Nothing is stored of what does not fit without a tick; with one it is held, and asked about."""
    one, *_ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    seen = look(browser, **{VP1: f"{one + 90_000}"})
    assert (bare := store(browser, seen)).status_code == 422
    assert "Nothing is stored: none fits, and none is ticked." in Reader(bare.text).words
    done = store(browser, seen, **{f"so:{PLOVER.counter(0)}": "yes"})
    assert "One reading is stored, of which 1 held: Hours asks what happened." in Reader(done.text).words
    assert "Replaced, misread, or preset?" in browser.get(f"/vessels/{PLOVER.vessel}/counters", headers=HTML).text


@pytest.mark.long
def test_a_form_sent_twice_stores_once(fresh: Stage) -> None:
    """The same form again: known already, one record."""
    one, *_ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    seen = look(browser, **{VP1: f"{one + 2}"})
    assert [store(browser, seen).status_code for _ in range(2)] == [200, 200]
    record = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    assert record.count("hours read by hand") == 1


@pytest.mark.long
def test_far_more_than_usual_is_said_at_entry_and_the_next_honest_one_asks_which_was_wrong(fresh: Stage) -> None:
    """A slip of the hand that can have run: told with figures; later "the one before was misread" puts all right."""
    one, *_ = shown(fresh)
    for day in range(1, 4):
        fresh.clock.at = AT + timedelta(days=day)
        assert send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2 * day}"}).status_code == 200
    fresh.clock.at = AT + timedelta(days=4)
    told = Reader(send(fresh.enter("engineer-plover"), **{VP1: f"{one + 23}"}).text).words
    assert "h more than the usual" in told
    for day in (5, 6):
        fresh.clock.at = AT + timedelta(days=day)
        sent = send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2 * day}"})
        assert "held: Hours asks what happened" in Reader(sent.text).words
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


@pytest.mark.long
def test_once_more_is_known_and_another_value_stays_out(fresh: Stage) -> None:
    """The same value at the same instant is known; another one cannot be stored, and the one that stands is named."""
    one, two, _ = shown(fresh)
    fresh.clock.at = AT + timedelta(hours=24)
    browser = fresh.enter("engineer-plover")
    assert send(browser, **{VP1: f"{one + 2}", VP2: f"{two + 2}"}).status_code == 200
    seen = look(browser, **{VP1: f"{one + 2}", VP2: f"{two + 3}"})
    words = Reader(seen.text).words
    assert "Known already, the same value." in words
    assert f"{two + 2:,} is stored for this minute and stays".replace(",", "\u202f") in words
    assert f"so:{PLOVER.counter(1)}" not in fields(seen.text)
    forced = store(browser, seen, **{f"so:{PLOVER.counter(1)}": "yes"})
    assert shown(fresh)[:2] == [one + 2, two + 2]
    assert fields(forced.text)[VP2] == f"{two + 3}"


def test_a_comma_and_spaces_are_understood(fresh: Stage) -> None:
    """1 234,5 is taken as 1234.5, which is what many people write."""
    fresh.clock.at = AT + timedelta(hours=24)
    one = shown(fresh)[0]
    send(fresh.enter("engineer-plover"), **{VP1: f"{one + 1:,}".replace(",", " ") + ",5"})
    assert fresh.ask("GET", f"/api/v1/counters/{PLOVER.counter(0)}").json()["newest_value"] == one + 1.5


@pytest.mark.long
def test_an_instant_to_come_or_unreadable_stores_nothing(fresh: Stage) -> None:
    """The fault stands at the instant and every figure stays as typed."""
    browser, before = fresh.enter("engineer-plover"), shown(fresh)
    for at, words in (("2026-12-24T18:00", "this is still to come"), ("yesterday", "a date and time are expected")):
        told = look(browser, at=at, **{VP1: "77777"})
        again = fields(told.text)
        assert (told.status_code, words in told.text, again["at"], again[VP1]) == (422, True, at, "77777")
    nothing = look(browser)
    assert (nothing.status_code, "Nothing was typed" in nothing.text) == (422, True)
    assert shown(fresh) == before


@pytest.mark.long
def test_who_read_them_stands_in_the_record(fresh: Stage) -> None:
    """Readings carry no author, so one record names the reader, the instant and the values that were stored."""
    one = shown(fresh)[0]
    fresh.clock.at = AT + timedelta(hours=24)
    assert send(fresh.enter("engineer-plover"), **{VP1: f"{one + 2}", VP2: "x"}).status_code == 200
    kept = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    (line,) = [text for text in kept.splitlines() if "hours read by hand" in text]
    assert f'"value":"{one + 2}"' in line.replace("\\", "")
    assert stamp(fresh.clock.at) in line
    assert "Demo engineer" in line
    assert PLOVER.counter(1) not in line
