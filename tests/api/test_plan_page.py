"""The plan page through its doors: before there is a plan, planned, taken, and what it says of slots, reasons and cover."""

import re
from collections.abc import Iterator
from html import unescape

import pytest
from starlette.testclient import TestClient

from scheduler.actions import planning
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
    cover = plan["one_more_failure"]
    assert f"{cover['hours_covered']} h" in said
    assert f"{len(plan['slots']) - len(week)} more slots" in said or "more slots later" in said
    assert "Why these times" in said
    assert browser.get(f"/vessels/{PLOVER.vessel}/plan", headers=HTML).headers["location"] == PLAN
    assert f'href="{PLAN}"' in shown(browser, f"/vessels/{PLOVER.vessel}/notes")
    again = browser.post(f"{PLAN}/again", data={"csrf": token(page)})
    assert "Planned again: nothing changes." in words(shown(browser, again.headers["location"]))
    assert browser.post(f"{PLAN}/again", data={"csrf": "forged"}).status_code == 403


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


def test_a_job_without_a_place_says_what_would_help(planned: Stage) -> None:
    """With a pump down the plan is made anew: the page names who has no place or is late, and help is found by solving."""
    browser = planned.enter("engineer-plover")
    answer = planned.ask(
        "POST", "/api/v1/pumps/plover-pump-c/down", json={"at": "2026-10-20T06:30:00Z", "reason": "bearing noise"}
    )
    assert answer.status_code == 200
    page = shown(browser)
    browser.post(f"{PLAN}/again", data={"csrf": token(page)})
    page = shown(browser, f"{PLAN}?days=90")
    proposed = planned.ask("GET", f"/api/v1{PLAN}").json()["proposed"]
    short = [one for one in proposed["shortfalls"] if one["job"]]
    assert short, "with one of the pumps down until further notice, some job has no place"
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
