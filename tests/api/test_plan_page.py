"""The plan page through its doors: before there is a plan, planned, taken, and what it says of slots, reasons and cover."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from html import unescape

import pytest
from starlette.testclient import TestClient

from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import offset_now
from scheduler.errors import SchedulerError
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged

PLAN = f"/plants/{PLOVER.key}-plant/plan"
HTML = {"Accept": "text/html"}


def shown(browser: TestClient, path: str = PLAN) -> str:
    """The page as markup, its entities resolved."""
    answer = browser.get(path, headers=HTML)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


def words(page: str) -> str:
    """What can be read on a page."""
    return " ".join(re.sub(r"<[^>]+>", " ", page[page.index("<main") :]).split())


def token(page: str) -> str:
    """The page's token for its forms."""
    found = re.search(r'name="csrf" value="([^"]+)"', page)
    assert found
    return found[1]


def ship_clock(at: str, offset_minutes: int) -> datetime:
    """An instant of an answer on the ship's clock."""
    return datetime.fromisoformat(at) + timedelta(minutes=offset_minutes)


def held(page: str, name: str) -> str:
    """The value of the first hidden field of that name."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, name
    return found[1]


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The smaller ship with a plan that was planned and taken from the page itself."""
    with staged(tmp_path_factory.mktemp("plan"), (PLOVER,)) as stage:
        _plan_and_take(stage)
        yield stage


def _plan_and_take(stage: Stage) -> None:
    browser = stage.enter("engineer-plover")
    page = shown(browser)
    assert "There is no plan yet." in words(page)
    assert ">Plan now</button>" in page
    answer = browser.post(f"{PLAN}/again", data={"csrf": token(page), "days": "28"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{PLAN}?days=28&done=again")
    page = shown(browser, answer.headers["location"])
    assert "Planned. Look at it, then take it." in words(page)
    assert "Proposed, not taken yet" in words(page)
    taken = browser.post(
        PLAN,
        data={"csrf": token(page), "digest": held(page, "digest"), "idempotency_key": held(page, "idempotency_key")},
    )
    assert (taken.status_code, taken.headers["location"]) == (303, f"{PLAN}?done=taken")
    assert "The plan is taken" in words(shown(browser, taken.headers["location"]))


@pytest.mark.long
def test_the_page_tells_the_plan_that_the_api_tells(planned: Stage) -> None:
    """Every slot of the period has its job, time in ship time and margin; keys stand in no sentence; cover is that of the API;
    the feed's link leads here, the navigation of every page too, and who may only look has no button."""
    browser = planned.enter("engineer-plover")
    page = shown(browser, f"{PLAN}?days=7")
    said = words(page)
    plan = planned.ask("GET", f"/api/v1{PLAN}").json()["taken"]
    week = [slot for slot in plan["slots"] if slot["from"] < "2026-10-27T07"]
    assert week
    main = page[page.index("<main") :]
    for slot in week:
        assert f"/vessels/{PLOVER.vessel}/jobs/{slot['job']}" in main
        assert re.sub(r"\s+", " ", slot["name"]) in said
    for slot in plan["slots"]:
        assert slot["job"] not in said
    assert re.search(r"Counter shows [^;]+; since [^;]+; due at", words(shown(browser, f"{PLAN}?days=90")))
    cover = plan["one_more_failure"]
    assert f"{cover['hours_covered']} h" in said
    assert f"{len(plan['slots']) - len(week)} more slots" in said or "more slots later" in said
    assert "Why these times" in said
    assert browser.get(f"/vessels/{PLOVER.vessel}/plan", headers=HTML).headers["location"] == PLAN
    assert f'href="{PLAN}"' in shown(browser, f"/vessels/{PLOVER.vessel}/decisions")
    again = browser.post(f"{PLAN}/again", data={"csrf": token(page)})
    assert "Planned again: nothing changes." in words(shown(browser, again.headers["location"]))
    assert browser.post(f"{PLAN}/again", data={"csrf": "forged"}).status_code == 403


@pytest.mark.long
def test_a_slot_is_moved_and_put_back(planned: Stage) -> None:
    """A start that does not hold is refused in words beside the times that do; one of those is set, pinned and listed, and
    undone from the list. Without a choice, or on a page that is older than the plan, nothing is set and what was typed stays."""
    browser = planned.enter("engineer-plover")
    slots = planned.ask("GET", f"/api/v1{PLAN}").json()["taken"]["slots"]
    other = next(slot for slot in slots if slot["pump"])
    night = ship_clock(other["from"], offset_now(planned.context, PLOVER.vessel)) + timedelta(days=1)
    at = night.replace(hour=3)
    page = shown(browser, f"{PLAN}?job={other['job']}&day={at:%Y-%m-%d}&at={at:%H:%M}")
    assert f"Move {other['name']}" in words(page)
    assert 'aria-invalid="true"' in page
    assert "Times that hold the minimum" in words(page)
    assert "as asked" not in words(page)
    assert ", as planned" in words(page)
    times = re.findall(r'name="start" value="([^"]+)"', page)
    planned_at = other["from"].replace("Z", "+00:00")
    assert planned_at in times
    to = next(one for one in times if one != planned_at)
    sent = {
        name: held(page, name) for name in ("csrf", "job", "version", "idempotency_key", "looked_at", "seen_at", "days")
    }
    unchosen = browser.post(f"{PLAN}/moves", data={**sent, "reason": "port call"}, headers=HTML)
    assert unchosen.status_code == 422
    assert "Choose one of the times" in words(unescape(unchosen.text))
    assert 'value="port call"' in unchosen.text
    sent["idempotency_key"] = "a second one"
    done = browser.post(f"{PLAN}/moves", data={**sent, "start": to, "reason": "port call"}, headers=HTML)
    assert done.status_code == 303, done.text
    page = shown(browser, done.headers["location"].partition("#")[0].replace("days=28", "days=90"))
    assert f"{other['name']} is set for" in words(page)
    assert "pinned by hand" in words(page)
    assert "It was set there by hand, by Demo engineer" in words(page)
    assert "Last changed by hand" in words(page)
    assert "port call" in words(page)
    now_there = {one["job"]: one["from"] for one in planned.ask("GET", f"/api/v1{PLAN}").json()["taken"]["slots"]}
    assert now_there[other["job"]] == to.replace("+00:00", "Z")
    stale = browser.post(
        f"{PLAN}/moves", data={**sent, "start": planned_at, "reason": "again", "idempotency_key": "x"}, headers=HTML
    )
    assert stale.status_code == 412
    assert f"{other['name']} was set to" in words(unescape(stale.text))
    assert f"{other['name']} now stands on" in words(unescape(stale.text))
    assert 'value="again"' in stale.text
    action = re.search(rf'action="({PLAN}/moves/\d+/undo)"', page)
    assert action
    undone = browser.post(action[1], data={"csrf": token(page), "idempotency_key": "undo"}, headers=HTML)
    assert undone.status_code == 303, undone.text
    page = shown(browser, undone.headers["location"].partition("#")[0])
    assert f"{other['name']} is back on" in words(page)
    assert "Undone by Demo engineer" in words(page)
    twice = browser.post(action[1], data={"csrf": token(page), "idempotency_key": "undo 2"}, headers=HTML)
    assert twice.status_code == 409
    assert "undone already" in words(unescape(twice.text))


@pytest.mark.long
def test_what_cannot_be_read_or_moved_is_said(planned: Stage) -> None:
    """A day that is none, an hour that is no whole one, and a job that the plan does not have: each in words, the page whole."""
    browser = planned.enter("engineer-plover")
    key = planned.ask("GET", f"/api/v1{PLAN}").json()["taken"]["slots"][-1]["job"]
    page = words(shown(browser, f"{PLAN}?job={key}&day=2026-13-01&at=25:00"))
    assert "a date as 2026-11-25 is expected" in page
    assert "a time is expected, as 14:00" in page
    odd = shown(browser, f"{PLAN}?job={key}&day=2026-10-28&at=09:17")
    assert "the nearest are" in words(odd)
    assert "<option selected>09:17</option>" in odd
    assert "There is no open job nothing:at:1" in words(shown(browser, f"{PLAN}?job=nothing:at:1"))


def test_a_fault_of_the_judge_is_said_and_the_plan_aboard_stays(
    planned: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the judge faults is not kept; the page says so over the plan that is still the one aboard."""
    browser = planned.enter("engineer-plover")

    def faulted(*_: object) -> None:
        raise SchedulerError("The plan was faulted by the judge and is not kept: below the minimum.")

    monkeypatch.setattr(planning, "propose", faulted)
    answer = browser.post(f"{PLAN}/again", data={"csrf": token(shown(browser))}, headers=HTML)
    assert answer.status_code == 500
    said = words(unescape(answer.text))
    assert "faulted by the judge and is not kept" in said
    assert "jobs are planned to" in said


@pytest.mark.long
def test_a_job_without_a_place_says_what_would_help(planned: Stage) -> None:
    """With a pump down the plan is made anew: the page names who has no place or is late, and help is found by solving."""
    browser = planned.enter("engineer-plover")
    answer = planned.ask(
        "POST", "/api/v1/pumps/plover-pump-c/down", json={"at": "2026-10-06T06:30:00Z", "reason": "bearing noise"}
    )
    assert answer.status_code == 200
    page = shown(browser)
    browser.post(f"{PLAN}/again", data={"csrf": token(page)})
    page = shown(browser, f"{PLAN}?days=90")
    proposed = planned.ask("GET", f"/api/v1{PLAN}").json()["proposed"]
    short = [one for one in proposed["shortfalls"] if one["job"]]
    assert short, "with one of the pumps out for longer than is assumed, and so without end, some job has no place"
    taken = browser.post(
        PLAN,
        data={"csrf": token(page), "digest": held(page, "digest"), "idempotency_key": held(page, "idempotency_key")},
    )
    page = shown(browser, taken.headers["location"])
    assert "no place" in words(page)[:400]
    assert f"What would help {short[0]['name']}" in words(page)
    helped = words(shown(browser, f"{PLAN}?help={short[0]['job']}"))
    assert "Each was tried by planning again" in helped or "No single change aboard would help" in helped
    assert "Late or without a place" in words(shown(browser, f"{PLAN}?help=nothing:at:1&days=many"))
