"""The counters page through the real application: what is asked, answered, refused, and what an answer changes."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp
from tests.unit.api.test_pages import Reader

PAGE = f"/vessels/{PLOVER.vessel}/counters"
COUNTER = PLOVER.counter(0)
HTML = {"Accept": "text/html"}


def newest(stage: Stage, counter: str = COUNTER) -> float:
    """What the counter showed last."""
    return float(stage.ask("GET", f"/api/v1/counters/{counter}").json()["newest_value"])


def jumped(stage: Stage, by: int = 50_000) -> int:
    """Three readings after a jump, the last an hour ago; the value of the first. A day has passed since the last sound one."""
    value = int(newest(stage)) + by
    stage.clock.at = AT + timedelta(hours=24)
    for n in range(3):
        at = AT + timedelta(hours=21 + n)
        told = stage.post({"counter": COUNTER, "observed_at": stamp(at), "value": value + n})
        assert told.json()["items"][0]["status"] == "stored"
    return value


def forms(page: str) -> dict[str, dict[str, str]]:
    """The fields of each answer form of a page, by what it answers; the address under "action"."""
    found: dict[str, dict[str, str]] = {}
    for part in page.split("<form ")[1:]:
        tags = Reader("<form " + part.split("</form>")[0]).tags
        if not (action := str(tags[0][1].get("action"))).startswith("/counters/"):
            continue
        fields = {str(h["name"]): str(h.get("value") or "") for t, h in tags if t == "input"}
        found[f"{fields['what']} {action.split('/')[2]}"] = {**fields, "action": action.split("#")[0]}
    return found


def send(browser: TestClient, form: Mapping[str, str], **typed: str) -> Response:
    """A form as it stands on the page with some fields typed anew."""
    data = {**{name: value for name, value in form.items() if name != "action"}, **typed}
    return browser.post(form["action"], data=data, headers=HTML)


def asked(browser: TestClient) -> dict[str, dict[str, str]]:
    """The forms of the counters page now."""
    page = browser.get(PAGE, headers=HTML)
    assert page.status_code == 200, page.text
    return forms(page.text)


def open_whats(browser: TestClient) -> set[str]:
    """The answers that are still to be chosen between."""
    return {name.split()[0] for name in asked(browser)} - {"adjust", "undo", "confirm"}


@pytest.mark.long
def test_the_plant_page_leads_to_the_counters(fresh: Stage) -> None:
    """The page says that all is counted, names every counter with its value and verdict, and asks nothing."""
    browser = fresh.enter("engineer-plover")
    assert f'href="{PAGE}"' in browser.get("/plants/plover-plant", headers=HTML).text
    words = Reader(browser.get(PAGE, headers=HTML).text).words
    for n in range(3):
        assert PLOVER.counter(n) in words
    assert "Nothing is asked" in words
    assert words.count("Latest reading") == 3
    assert open_whats(browser) == set()


def test_the_page_keeps_its_policy(fresh: Stage) -> None:
    """Ids are unique, every label and description points at something, no script or style inside, one h1."""
    jumped(fresh)
    found = Reader(fresh.enter("engineer-plover").get(PAGE, headers=HTML).text).tags
    ids = [held["id"] for _, held in found if "id" in held]
    assert len(ids) == len(set(ids))
    labels = {held["for"] for tag, held in found if tag == "label"}
    described = {one for _, held in found for one in (held.get("aria-describedby") or "").split()}
    assert labels | described <= set(ids)
    assert sum(tag == "h1" for tag, _ in found) == 1
    assert not any(name == "style" or name.startswith("on") for _, held in found for name in held)


def test_a_run_of_held_readings_asks_one_question(fresh: Stage) -> None:
    """Three held readings are one question with three answers, filled in with what the readings and the past propose."""
    old = newest(fresh)
    value = jumped(fresh)
    browser = fresh.enter("engineer-plover")
    page = browser.get(PAGE, headers=HTML).text
    assert "One question waits for an answer, on VP1." in Reader(page).words
    assert "3 readings held since. Replaced, misread, or preset?" in Reader(page).words
    found = forms(page)
    assert {name.split()[0] for name in found if name.endswith(COUNTER)} == {"replaced", "misread", "preset", "adjust"}
    replaced = found[f"replaced {COUNTER}"]
    assert (float(replaced["old_final"]), float(replaced["new_first"])) == (old, value)
    assert 0 < float(found[f"preset {COUNTER}"]["hours"]) <= 21
    assert all(form["reason"] for name, form in found.items() if not name.startswith("adjust"))


@pytest.mark.long
@pytest.mark.parametrize("what", ["replaced", "misread", "preset"])
def test_a_question_is_answered_in_one_step(fresh: Stage, what: str) -> None:
    """Sent as proposed, each answer is recorded, says hours before and after, and the question is gone."""
    jumped(fresh)
    browser = fresh.enter("engineer-plover")
    told = send(browser, asked(browser)[f"{what} {COUNTER}"])
    words = Reader(told.text).words
    assert told.status_code == 200, words
    assert "Recorded as record" in words
    assert "VP1 stays at" in words if what == "misread" else "it now has" in words
    assert "due date" in words or "falls due" in words
    assert open_whats(browser) == set()
    newest_three = fresh.ask("GET", f"/api/v1/counters/{COUNTER}").json()["entries"][:3]
    assert "held" not in {entry["verdict"] for entry in newest_three}


@pytest.mark.long
def test_a_change_of_scale_is_offered_when_it_would_fit(fresh: Stage) -> None:
    """A register that counts minutes from now on asks with a fourth answer, and goes on in minutes once that is given."""
    fresh.clock.at = AT + timedelta(hours=24)
    value = round((newest(fresh) + 4) * 60)
    fresh.post({"counter": COUNTER, "observed_at": stamp(AT + timedelta(hours=23)), "value": value})
    browser = fresh.enter("engineer-plover")
    told = send(browser, asked(browser)[f"rescaled {COUNTER}"])
    assert (told.status_code, "Recorded as record" in told.text) == (200, True), Reader(told.text).words
    assert open_whats(browser) == set()
    assert "minutes, read" in Reader(browser.get(PAGE, headers=HTML).text).words


@pytest.mark.long
def test_what_was_typed_is_kept_when_it_is_refused(fresh: Stage) -> None:
    """A figure that is none and an empty reason come back as typed, each fault at its field, nothing recorded."""
    jumped(fresh)
    browser = fresh.enter("engineer-plover")
    told = send(browser, asked(browser)[f"replaced {COUNTER}"], old_final="12o06", reason="  ", new_first="7")
    assert told.status_code == 422
    again = forms(told.text)[f"replaced {COUNTER}"]
    assert (again["old_final"], again["new_first"]) == ("12o06", "7")
    words = Reader(told.text).words
    assert "'12o06' is not one; a figure is expected" in words
    assert "say why in a few words" in words
    assert "One question waits" in words
    put_right = send(browser, again, old_final="", reason="Counter exchanged by the second engineer.")
    assert put_right.status_code == 200, Reader(put_right.text).words


@pytest.mark.long
def test_a_figure_no_counter_can_show_is_refused_at_its_field(fresh: Stage) -> None:
    """What the action refuses stands at the field as well: below 0, a preset worth more than any ship ran, to come."""
    jumped(fresh)
    browser = fresh.enter("engineer-plover")
    found = asked(browser)
    below = send(browser, found[f"replaced {COUNTER}"], new_first="-4")
    assert (below.status_code, "is below 0" in below.text) == (422, True)
    much = send(browser, found[f"preset {COUNTER}"], hours="9999999")
    assert (much.status_code, "0 to 200000 h" in much.text) == (422, True)
    later = send(browser, found[f"replaced {COUNTER}"], at="2026-12-24T18:00")
    assert (later.status_code, "still to come" in later.text) == (422, True)


@pytest.mark.long
def test_sent_twice_is_done_once_and_answered_by_another_is_told(fresh: Stage) -> None:
    """The same form again changes nothing and says so; another's form for the same question is told that it is answered."""
    jumped(fresh)
    one, other = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    mine, theirs = (asked(who)[f"preset {COUNTER}"] for who in (one, other))
    send(one, mine)
    again = send(one, mine)
    assert (again.status_code, "recorded before; nothing was done twice" in again.text) == (200, True)
    late = send(other, theirs)
    assert (late.status_code, "answered meanwhile" in late.text) == (409, True)
    kept = fresh.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.CHIEF).text
    assert kept.count("counter step decision") == 1


@pytest.mark.long
def test_a_reset_asks_whether_hours_are_missing(fresh: Stage) -> None:
    """What may be missing is proposed; added, it is an adjustment; said to be nothing, it is not asked again."""
    fresh.clock.at = AT + timedelta(hours=24)
    for n in range(2):
        fresh.post({"counter": PLOVER.counter(n), "observed_at": stamp(AT + timedelta(hours=22)), "value": 1})
        fresh.post({"counter": PLOVER.counter(n), "observed_at": stamp(AT + timedelta(hours=23)), "value": 2})
    browser = fresh.enter("engineer-plover")
    page = Reader(browser.get(PAGE, headers=HTML).text).words
    assert "may be missing. Add them?" in page
    found = asked(browser)
    added = send(browser, found[f"missing {PLOVER.counter(0)}"], hours="5")
    assert (added.status_code, "it now has" in added.text) == (200, True)
    none = send(browser, found[f"nothing {PLOVER.counter(1)}"])
    assert (none.status_code, "VP2 stays at" in none.text) == (200, True)
    assert open_whats(browser) == set()
    kinds = [e["verdict"] for e in fresh.ask("GET", f"/api/v1/counters/{PLOVER.counter(0)}").json()["entries"][:4]]
    assert "adjustment" in kinds


@pytest.mark.long
def test_hours_are_taken_away_by_two_people(fresh: Stage) -> None:
    """Asked for by the engineer nothing changes; the page says so, the engineer cannot confirm it, the chief can, once."""
    engineer, chief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    told = send(engineer, asked(engineer)[f"adjust {COUNTER}"], hours="\u22124", reason="counted twice")
    assert told.status_code == 200, Reader(told.text).words
    assert "hours are taken away by two people" in told.text
    assert "adjustment" not in verdicts(fresh)
    assert "One correction waits for another person" in engineer.get(PAGE, headers=HTML).text
    assert f"confirm {COUNTER}" not in asked(engineer)
    forged = {**asked(chief)[f"confirm {COUNTER}"], "csrf": asked(engineer)[f"undo {COUNTER}"]["csrf"]}
    refused = send(engineer, forged)
    assert (refused.status_code, "may not confirm" in refused.text) == (403, True)
    confirmed = send(chief, asked(chief)[f"confirm {COUNTER}"])
    assert (confirmed.status_code, "it now has" in confirmed.text) == (200, True)
    assert "adjustment" in verdicts(fresh)
    assert f"confirm {COUNTER}" not in asked(chief)


@pytest.mark.long
def test_an_event_is_undone_from_the_page(fresh: Stage) -> None:
    """Hours added by mistake are taken back by the one who added them, with a reason; without one it is refused."""
    browser = fresh.enter("engineer-plover")
    send(browser, asked(browser)[f"adjust {COUNTER}"], hours="4", reason="wrong counter")
    undo = asked(browser)[f"undo {COUNTER}"]
    bare = send(browser, undo, reason="")
    assert (bare.status_code, "this is empty" in bare.text) == (422, True)
    undone = send(browser, forms(bare.text)[f"undo {COUNTER}"], reason="it was VP2")
    assert (undone.status_code, "it now has" in undone.text) == (200, True), Reader(undone.text).words
    assert "(undone)" in Reader(undone.text).words


def verdicts(stage: Stage) -> set[str]:
    """The verdicts of the counter's newest entries."""
    return {entry["verdict"] for entry in stage.ask("GET", f"/api/v1/counters/{COUNTER}").json()["entries"]}


def test_the_intake_log_is_on_the_page(fresh: Stage) -> None:
    """A refused and a conflicting reading stand there as they came, with the words of why."""
    at = stamp(AT)
    nasty = "<script>alert(1)</script>"
    fresh.post({"counter": COUNTER, "observed_at": at, "value": 1}, {"counter": nasty, "observed_at": at, "value": 2})
    page = fresh.enter("engineer-plover").get(PAGE, headers=HTML).text
    words = Reader(page).words
    assert "conflict" in words
    assert "There is no counter" in words
    assert nasty in words
    assert nasty not in page


def test_the_office_reads_every_ships_counters(stage: Stage) -> None:
    """Both ships' pages open for the office; a ship's own people see hers alone."""
    pages = {vessel: stage.ask("GET", f"/vessels/{vessel}/counters", role=Role.OFFICE) for vessel in stage.runs}
    assert {answer.status_code for answer in pages.values()} == {200}
    foreign: Any = stage.ask("GET", "/vessels/demo-avocet/counters")
    assert foreign.status_code == 404
