"""When a job was last done is not known: it is planned as due now and judged by nothing, until the chief sets a first date."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduler.actions.people import sessions
from scheduler.actions.plan import planning
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import JobState, Role
from scheduler.planning.search.stagger import stagger
from tests.api.stage import AT, Stage

API = "/api/v1"
KEY = "overhaul:plover-pump-a:1"
ON = (AT + timedelta(days=60)).date()


def forget(stage: Stage, kind: str = "overhaul", **changed: Any) -> None:
    """The document without the last dates of a kind, its pumps with hours on them when they came."""
    told = stage.ask("GET", f"{API}/vessels/demo-plover", role=Role.OFFICE)
    document = told.json()
    for plant in document["plants"]:
        plant["last_done"] = [one for one in plant["last_done"] if one["kind"] != kind]
        for known in plant["job_kinds"]:
            if known["code"] == kind:
                known.update(changed)
    stored = stage.ask(
        "PUT",
        f"{API}/vessels/demo-plover",
        role=Role.OFFICE,
        params={"reason": "no paper found", "class_agreed": "agreed"},
        headers={"If-Match": told.headers["ETag"]},
        json=document,
    )
    assert stored.status_code == 200, stored.text


def due(stage: Stage, key: str = KEY) -> dict[str, Any]:
    """The open turn as the API tells it."""
    jobs = stage.ask("GET", f"{API}/plants/plover-plant/due").json()["jobs"]
    found: dict[str, Any] = next(one for one in jobs if one["job"] == key)
    return found


def ship_date(told: str) -> str:
    """The date aboard at an instant; the ship is an hour ahead of UTC."""
    return (datetime.fromisoformat(told) + timedelta(hours=1)).date().isoformat()


def set_first(stage: Stage, role: Role = Role.CHIEF, once: str = "a", **told: Any) -> Any:
    """Ask for a first date."""
    body = {"on": ON.isoformat(), "reason": "opened in dock, no paper", **told}
    return stage.ask("PUT", f"{API}/jobs/{KEY}/first-date", role=role, json=body, headers={"Idempotency-Key": once})


@pytest.mark.long
def test_not_known_is_due_now_without_limit_verdict_or_non_conformity(fresh: Stage) -> None:
    """On API, page, plan, calendar and list of what needs a look; nothing is opened against it."""
    forget(fresh)
    job = due(fresh)
    assert (job["state"], job["limit_at"], job["running_hours_left"]) == ("last time not known", None, None)
    assert job["due_at"] == AT.isoformat().replace("+00:00", "Z")
    assert "Nobody has said when this was last done" in job["why"]["sentence"]
    open_where_due(fresh.context)
    none = fresh.ask("GET", f"{API}/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert not [one for one in none if one["job"] == KEY]
    diagnoses = fresh.ask("GET", f"{API}/vessels/demo-plover/looks").json()["looks"]
    asked = [one["which"] for one in diagnoses if one["about"] == "last time not known"]
    assert KEY in asked
    assert len(asked) == 3
    late = {"to_at": (AT + timedelta(days=9)).isoformat(), "reason": "a", "risk": "b"}
    refused = fresh.ask("POST", f"{API}/jobs/{KEY}/postponements", json=late)
    assert refused.status_code == 422
    assert "no limit that could be put off" in refused.text
    planning.bring_up(fresh.context, "demo-plover", "plover-plant", stagger)
    proposed = fresh.ask("GET", f"{API}/plants/plover-plant/plan").json()["proposed"]
    slots = {slot["job"]: slot["from"] for slot in proposed["slots"]}
    assert slots[KEY] < (AT + timedelta(days=14)).isoformat()
    browser = fresh.enter("chief-plover")
    assert "Last time not known: planned as due now" in browser.get("/plants/plover-plant").text
    page = browser.get(f"/vessels/demo-plover/jobs/{KEY}").text
    assert "Set the first date" in page
    assert "Ask for a postponement" not in page
    assert "whose last time is not known" in browser.get("/?all=1").text


def test_the_chief_sets_a_first_date_with_a_reason_on_record(fresh: Stage) -> None:
    """Not the engineer; sent twice it counts once; then the job is like any other, and its dates say why they moved."""
    forget(fresh)
    assert set_first(fresh, Role.ENGINEER).status_code == 403
    empty = set_first(fresh, reason=" ")
    assert (empty.status_code, empty.json()["errors"][0]["pointer"]) == (422, "/reason")
    for _ in range(2):
        told = set_first(fresh, once="b")
        assert told.status_code == 200, told.text
    job = due(fresh)
    assert (ship_date(job["due_at"]), job["trigger"]) == (ON.isoformat(), "calendar")
    assert job["state"] != JobState.NOT_KNOWN.value
    assert job["limit_at"] is not None
    assert "as the chief engineer set it on" in job["why"]["sentence"]
    lines = fresh.ask("GET", f"{API}/history?vessel=demo-plover", role=Role.CHIEF).text
    assert lines.count("first date set") == 1
    assert "opened in dock, no paper" in lines


@pytest.mark.parametrize(
    ("days", "says"),
    [(0, "not to come"), (-1, "not to come"), (1, ""), (400, "")],
)
def test_a_first_date_is_to_come(fresh: Stage, days: int, says: str) -> None:
    """Today and before are refused: it is planned as due now already."""
    forget(fresh)
    told = set_first(fresh, on=(AT + timedelta(days=days)).date().isoformat())
    assert (told.status_code == 422) == bool(says), told.text
    assert says in told.text


@pytest.mark.long
def test_a_first_date_is_no_further_off_than_one_interval(fresh: Stage) -> None:
    """To the day; and it is brought forward only, never put off."""
    forget(fresh, interval_days=30, interval_months=None, window_days=3, tolerance_days=3)
    last = AT + timedelta(days=30)
    assert set_first(fresh, once="x", on=(last + timedelta(days=1)).date().isoformat()).status_code == 422
    assert set_first(fresh, once="y", on=last.date().isoformat()).status_code == 200
    same = set_first(fresh, once="z", on=last.date().isoformat())
    assert same.status_code == 422
    assert "ask for a postponement" in same.text
    assert set_first(fresh, once="w", on=(last - timedelta(days=1)).date().isoformat()).status_code == 200
    assert ship_date(due(fresh)["due_at"]) == (last - timedelta(days=1)).date().isoformat()


def test_a_class_item_needs_the_class_s_word(fresh: Stage) -> None:
    """As its postponement does."""
    forget(fresh, class_item=True)
    assert set_first(fresh, once="a").status_code == 422
    assert set_first(fresh, once="b", class_agreed="letter of 3 October").status_code == 200


def test_known_from_the_document_there_is_nothing_to_set(fresh: Stage) -> None:
    """What follows from a last date is not for anybody to say otherwise."""
    told = set_first(fresh)
    assert told.status_code == 422
    assert "was last done is known" in told.text


def test_done_while_not_known_it_is_not_judged_and_the_next_turn_counts_from_it(fresh: Stage) -> None:
    """The record says so; counted by no share of jobs done in time."""
    forget(fresh, "alarm_test")
    key = "alarm_test:plover-plant:1"
    body = {"done_at": AT.isoformat(), "done_by": "A. Second", "test": "passed"}
    closed = fresh.ask("POST", f"{API}/jobs/{key}/close", json=body)
    assert closed.status_code == 200, closed.text
    assert closed.json()["verdict"] == "not judged"
    lines = fresh.ask("GET", f"{API}/history?vessel=demo-plover", role=Role.CHIEF).text
    assert r"\"trigger\":\"last time not known\"" in lines
    assert due(fresh, "alarm_test:plover-plant:2")["state"] == "ahead"


def test_from_its_page_what_was_typed_is_kept_when_it_is_refused(fresh: Stage) -> None:
    """The chief's form; an engineer sees who may set it, and no form."""
    forget(fresh)
    page = f"/vessels/demo-plover/jobs/{KEY}"
    assert "may set it here" in fresh.enter("engineer-plover").get(page).text
    browser = fresh.enter("chief-plover")
    signed = sessions.at_browser(fresh.context, browser.cookies["leadline"])
    assert signed is not None
    wrong = browser.post(
        f"{page}/first-date", data={"csrf": signed.csrf, "idempotency_key": "p", "on": "soon", "reason": "as <far>"}
    )
    assert wrong.status_code == 422
    assert 'value="as &lt;far&gt;"' in wrong.text
    sent = browser.post(
        f"{page}/first-date",
        data={"csrf": signed.csrf, "idempotency_key": "q", "on": ON.isoformat(), "reason": "no paper"},
    )
    assert (sent.status_code, sent.headers["location"]) == (303, f"{page}#h-first-date")
    shown = browser.get(page).text
    assert "no paper" in shown
    assert "Bring the first date forward" in shown


@pytest.mark.long
def test_a_postponement_from_before_puts_no_first_date_off(fresh: Stage) -> None:
    """What was granted while the last time was known is over with it; what is granted after the first date binds, and the date is
    brought forward no more."""
    later = {"to_at": (AT + timedelta(days=900)).isoformat(), "reason": "a", "risk": "b"}
    assert fresh.ask("POST", f"{API}/jobs/{KEY}/postponements", json=later).status_code == 201
    grant = {"granted": True, "note": "yes"}
    path = f"{API}/vessels/demo-plover/postponements"
    assert fresh.ask("POST", f"{path}/1/decision", role=Role.OFFICE, json=grant).status_code == 200
    forget(fresh)
    fresh.clock.at += timedelta(minutes=1)
    assert set_first(fresh).status_code == 200
    job = due(fresh)
    assert (job["postponed_to"], ship_date(job["due_at"])) == (None, ON.isoformat())
    fresh.clock.at += timedelta(minutes=1)
    assert fresh.ask("POST", f"{API}/jobs/{KEY}/postponements", json=later).status_code == 201
    assert fresh.ask("POST", f"{path}/2/decision", role=Role.OFFICE, json=grant).status_code == 200
    assert due(fresh)["postponed_to"] is not None
    told = set_first(fresh, once="c", on=(ON - timedelta(days=5)).isoformat())
    assert told.status_code == 422
    assert "was postponed to" in told.text
