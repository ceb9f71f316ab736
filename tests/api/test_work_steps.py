"""The work on a job over HTTP: asked, refused in words; told as a fact, kept and flagged; the pump counts accordingly."""

import html
import json
from datetime import timedelta
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from api.server.deps import COOKIE
from scheduler.actions.people import people, sessions
from scheduler.domain.base.enums import Role
from tests.acts import POINTS, PROVED, Act, back, opened, tagged
from tests.api.stage import AT, Stage, stamp

JOB = "knife_inspection:plover-pump-b-knives:1"
SEND = f"/api/v1/jobs/{JOB}/steps"


def _step(
    stage: Stage, minutes: int, kind: str, *, fact: bool = False, role: Role = Role.ENGINEER, **told: Any
) -> Response:
    at = AT + timedelta(minutes=minutes)
    stage.clock.at = max(stage.clock.at, at)
    step = {"kind": kind, "at": stamp(at), "by": told.pop("by", "A. Second"), **told}
    return stage.ask("POST", SEND, role=role, json={"step": step, "fact": fact})


def _counts_for(stage: Stage) -> float:
    plant = stage.ask("GET", "/api/v1/plants/plover-plant").json()
    return next(p for p in plant["pumps"] if p["pump"] == "plover-pump-b")["counts_for_swept_m3_per_h"]


def _all(stage: Stage, acts: list[Act]) -> None:
    for minutes, kind, told in acts:
        answer = _step(stage, minutes, kind, **told)
        assert answer.status_code == 201, (kind, answer.text)
        assert answer.json()["flags"] == [], kind


def _records(stage: Stage, word: str) -> list[dict[str, Any]]:
    lines = stage.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text.splitlines()
    texts = [json.loads(json.loads(line)["text"]) for line in lines if '"text"' in line]
    return [one for one in texts if one["kind"] == word]


def _sheet(stage: Stage) -> list[Act]:
    """Every step and measure of the sheet, told at the open pump."""
    told = stage.ask("GET", f"/api/v1/jobs/{JOB}").json()
    steps = [one["text"] for one in told["sheet"] if not one["act"]]
    acts: list[Act] = [(20, "noted", {"about": "step", "name": text}) for text in steps]
    for one in told["measures"]:
        low, high = one["low"], one["high"]
        value = low if low is not None else (high or 0)
        limits = {name: bound for name, bound in (("low", low), ("high", high)) if bound is not None}
        acts.append((21, "noted", {"about": "measure", "name": one["name"], "value": value, **limits}))
    return acts


@pytest.mark.long
def test_a_job_from_permit_to_closed(fresh: Stage) -> None:
    """Every act in its order goes without a flag; the pump counts nothing while a lock hangs, provisionally when returned,
    then in full; tags, parts and measures stand in the record, nothing is missing, and no non-conformity is opened."""
    whole = _counts_for(fresh)
    browser = fresh.enter("chief-plover")
    assert "Margin while it is open" not in browser.get(f"/vessels/demo-plover/jobs/{JOB}").text
    _all(fresh, opened())
    assert _counts_for(fresh) == 0
    while_out = browser.get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert "Margin of the next 24 hours while it is open:" in while_out.partition("Margin while it is open")[2]
    wide = {"about": "measure", "name": "knife gap, widest", "value": 0.7, "unit": "mm", "low": 0.1, "high": 0.5}
    _all(fresh, [(18, "noted", wide), (19, "noted", {"about": "foreign object", "name": "cloth"})])
    _all(fresh, [*_sheet(fresh), (22, "noted", {"about": "part used", "name": "knife set", "text": "1"}), *back()])
    assert 0 < _counts_for(fresh) < whole
    assert _step(fresh, 60, "tested", **PROVED).json()["pump_counts"] == "in full"
    assert _counts_for(fresh) == whole
    close = {"done_at": stamp(AT + timedelta(minutes=61)), "done_by": "A. Second", "test": "none"}
    open_permit = fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json=close)
    assert open_permit.status_code == 409
    assert "CW-7 is still open" in open_permit.json()["detail"]
    assert _step(fresh, 62, "permit closed", number="CW-7").status_code == 201
    done = fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json={**close, "done_at": stamp(AT + timedelta(minutes=62))})
    assert done.status_code == 200, done.text
    assert done.json()["pump_state"] == "proved"
    assert done.json()["flags"] == []
    (record,) = _records(fresh, "closed job")
    for words in ("T-1: A. Second", "off A. Second"):
        assert words in record["tags"]
    assert "OUT OF LIMIT" in record["measures"]
    assert record["measures"].count("knife gap") == 2  # the failed figure and the later good one, both with their times
    assert ("knife set" in record["parts_used"], "cloth" in record["findings"]) == (True, True)
    assert record["permit_no"] == "CW-7"
    assert record["tests"].startswith("passed 45 s (limit 60 s)")
    assert record["not_recorded"] == []
    assert _step(fresh, 70, "people clear").status_code == 409
    listed = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert [one for one in listed if one["job"] == JOB] == []


@pytest.mark.long
def test_asked_it_is_refused_told_as_a_fact_it_is_kept_and_flagged(fresh: Stage) -> None:
    """Opened with one lock of six: refused with each thing that lacks; then kept, and the flag stands on the page, in the
    export and among the non-conformities."""
    _all(fresh, opened()[:5])
    asked = _step(fresh, 6, "opened")
    assert asked.status_code == 409
    told = {one["code"]: one for one in asked.json()["objections"]}
    assert told["point not locked"]["points"] == [*POINTS[1:3], "suction valve", "discharge valve", POINTS[4]]
    wanted = {"start not tried", "no voltage not proved", "stored vacuum not let out", "gas not read at the cover"}
    assert told.keys() >= {*wanted, "no personal lock"}
    assert "record it as a fact" in asked.json()["detail"]
    kept = _step(fresh, 6, "opened", fact=True)
    assert kept.status_code == 201
    assert len(kept.json()["flags"]) >= 5
    assert _counts_for(fresh) == 0
    page = fresh.enter("chief-plover").get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert "Not locked and tagged: control and heater supply" in page
    number = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"][0][
        "non_conformity"
    ]
    matter = fresh.enter("chief-plover").get(f"/vessels/demo-plover/non-conformities/{number}").text
    assert "Not locked and tagged: control and heater supply" in matter
    (listed,) = (
        one
        for one in fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
        if one["job"] == JOB
    )
    assert (listed["about"], listed["state"]) == ("work on the pump", "open")
    (record,) = _records(fresh, "work: opened")
    assert record["told_as_fact"] is True
    assert {one["code"] for one in record["against"]} >= wanted
    for form in ("csv", "xlsx", "summary"):
        assert fresh.ask("GET", f"/api/v1/history?vessel=demo-plover&format={form}", role=Role.CHIEF).status_code == 200


@pytest.mark.long
def test_a_close_that_skips_the_work_says_so_and_stands_flagged(fresh: Stage) -> None:
    """Closed in one call: taken as a fact, with all that was never recorded, on page, record and non-conformity list."""
    done = fresh.close(JOB)
    assert done.status_code == 200, done.text
    (flag,) = done.json()["flags"]
    for words in ("Never recorded: permit", "locked and tagged: supply breaker", "gas read at the cover", "test after"):
        assert words in flag
    (record,) = _records(fresh, "closed job")
    assert [one["act"] for one in record["not_recorded"]][:2] == ["permit issued", "made ready"]
    page = fresh.enter("chief-plover").get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert "Never recorded" in page
    assert ".," not in page
    assert "if the job before is done" not in page
    listed = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert [one["about"] for one in listed if one["job"] == JOB] == ["closing the job"]


def test_a_job_told_from_paper_is_no_breach_and_says_what_was_not_seen_there(fresh: Stage) -> None:
    """The same close from its sheet: flagged apart, no non-conformity; its checker stands as on sheet."""
    done = fresh.close(JOB, from_paper=True, checked_by="B. Chief")
    assert done.json()["flags"][0].startswith("Not seen on paper: permit")
    assert done.json()["check"] == "as on sheet: B. Chief"
    listed = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert [one for one in listed if one["job"] == JOB] == []


def test_a_check_stands_not_checked_until_its_person_signs_in_the_own_sign_in(fresh: Stage) -> None:
    """Asked of the chief: the engineer cannot sign it, who did it cannot, a key of nobody's cannot; the chief does, once."""
    assert fresh.close(JOB, checked_by="Demo Hand").status_code == 422
    done = fresh.close(JOB, checked_by="Demo chief")
    assert done.json()["check"] == "not checked, asked of Demo chief"
    path = f"/api/v1/jobs/{JOB}/check"
    assert fresh.ask("POST", path).status_code == 403
    assert fresh.ask("POST", path, role=Role.OFFICE).status_code == 403
    page = fresh.enter("chief-plover")
    shown = page.get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert "not checked, asked of Demo chief" in shown
    assert "I checked this job" in shown
    assert "I checked this job" not in fresh.enter("engineer-plover").get(f"/vessels/demo-plover/jobs/{JOB}").text
    csrf = shown.split('name="csrf" value="')[1].split('"')[0]
    signed = page.post(f"/vessels/demo-plover/jobs/{JOB}/check", data={"csrf": csrf, "idempotency_key": "c1"})
    assert signed.status_code == 303
    assert "checked by Demo chief, chief" in page.get(f"/vessels/demo-plover/jobs/{JOB}").text
    assert _records(fresh, "job checked")[0]["checked_by"] == "Demo chief, chief"
    assert fresh.ask("POST", path, role=Role.CHIEF).status_code == 409


def test_who_did_it_does_not_check_it_though_asked_by_nobody(fresh: Stage) -> None:
    """The doer's own name in whatever letters, with or without the rank."""
    assert fresh.close(JOB, done_by="demo  CHIEF").status_code == 200
    assert fresh.ask("POST", f"/api/v1/jobs/{JOB}/check", role=Role.CHIEF).status_code == 403
    assert fresh.ask("POST", f"/api/v1/jobs/{JOB}/check").status_code == 403  # who recorded the close
    assert fresh.ask("POST", f"/api/v1/jobs/{JOB}/check", role=Role.OFFICE).status_code == 200


def test_a_close_is_struck_within_ten_minutes_and_the_pump_is_not_known(fresh: Stage) -> None:
    """By who recorded it; the job is open again with what it renewed, the pump returned and not proved; later it stays."""
    before = _counts_for(fresh)
    assert fresh.close(JOB, from_paper=True).status_code == 200
    path = f"/api/v1/jobs/{JOB}/close/strike"
    assert fresh.ask("POST", path, role=Role.CHIEF, json={}).status_code == 403
    fresh.clock.at += timedelta(minutes=10)
    struck = fresh.ask("POST", path, json={"reason": "wrong pump"})
    assert struck.status_code == 200, struck.text
    assert "go and look" in struck.json()["says"]
    assert 0 < _counts_for(fresh) < before
    assert fresh.ask("GET", f"/api/v1/jobs/{JOB}").json()["open"] is True
    assert fresh.close(JOB, from_paper=True).status_code == 200
    fresh.clock.at += timedelta(minutes=11)
    assert fresh.ask("POST", path, json={}).status_code == 409
    assert [one["strikes_record"] for one in _records(fresh, "close struck")] != []


def test_an_entry_is_struck_and_says_nothing_of_the_plant(fresh: Stage) -> None:
    """The newest, by who recorded it; a permit stays; the point is then not known, and the answer says so."""
    _all(fresh, opened()[:5])
    assert _step(fresh, 6, "entry struck", number=4).status_code == 409
    struck = _step(fresh, 6, "entry struck", number=5, reason="wrong point")
    assert struck.status_code == 201, struck.text
    assert struck.json()["not_known"] == ["supply breaker"]
    assert struck.json()["pump_counts"] == "for nothing"
    assert [one["struck"] for one in struck.json()["steps"]].count(True) == 1
    assert _step(fresh, 7, "entry struck", number=1).status_code == 409


def test_a_contractor_has_a_person_aboard_who_answers_for_the_job(fresh: Stage) -> None:
    """Without one it is refused at the field; the same name is no other person; both stand in the record."""
    told = {"done_by": "C. Fitter", "company": "Demo Pumps", "from_paper": True}
    for answers in ({}, {"answers_for": "c. fitter"}):
        refused = fresh.close(JOB, **told, **answers)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/answers_for"
    assert fresh.close(JOB, **told, answers_for="A. Second").status_code == 200
    (record,) = _records(fresh, "closed job")
    assert (record["company"], record["answers_for"]) == ("Demo Pumps", "A. Second")


@pytest.mark.long
def test_a_point_not_fitted_counts_beforehand_with_two_signatures(fresh: Stage) -> None:
    """Never the supply breaker; never by one person; never for today's job; the next day the point is not asked for."""
    path = "/api/v1/pumps/plover-pump-b/points"
    assert fresh.ask("POST", path, json={"point": "supply breaker", "reason": "none"}).status_code == 422
    assert fresh.ask("POST", path, json={"point": "magic valve", "reason": "none"}).status_code == 422
    assert fresh.ask("POST", path, json={"point": "selector to OFF", "reason": " "}).status_code == 422
    said = fresh.ask("POST", path, json={"point": "selector to OFF", "reason": "push buttons only"})
    assert said.status_code == 201, said.text
    sign = f"{path}/{said.json()['not_fitted']}/signature"
    assert fresh.ask("POST", sign, role=Role.CHIEF, json={"as": "office"}).status_code == 403
    assert fresh.ask("POST", sign, json={"as": "master", "name": "D. Master"}).status_code == 403
    assert fresh.ask("POST", sign, role=Role.CHIEF, json={"as": "master", "name": "D. Master"}).status_code == 403
    assert fresh.ask("POST", sign, role=Role.MASTER, json={"as": "master"}).status_code == 200
    assert fresh.ask("POST", path, json={"point": "selector to OFF", "reason": "again"}).status_code == 409
    less = [act for act in opened()[:-1] if act[2].get("point") != "selector to OFF"]
    _all(fresh, less)
    today = _step(fresh, 12, "opened")
    assert [one["code"] for one in today.json()["objections"]] == ["point not locked"]
    other = JOB.replace("pump-b", "pump-b").replace("knife_inspection", "seal_inspection").replace("knives", "seal")
    fresh.clock.at = AT + timedelta(days=1)
    work = fresh.ask("GET", f"/api/v1/jobs/{other}/work").json()
    assert work["points_not_fitted"] == ["selector to OFF"]
    withdraw = f"{path}/{said.json()['not_fitted']}/withdrawal"
    assert fresh.ask("POST", withdraw).status_code == 200
    assert fresh.ask("POST", withdraw).status_code == 409
    assert fresh.ask("GET", f"/api/v1/jobs/{other}/work").json()["points_not_fitted"] == []


@pytest.mark.long
def test_nobody_signs_off_with_locks_hanging_and_a_handover_carries_what_is_open(fresh: Stage) -> None:
    """Permit and locks are in the note by themselves; signed only when the relief hung own locks and the leaver's are off."""
    _all(fresh, [(m, k, {**t, "by": "Demo engineer"}) for m, k, t in opened()[:5]])
    send = "/api/v1/vessels/demo-plover/handovers"
    written = fresh.ask("POST", send, json={"text": "VP2 isolated."})
    carries = written.json()["carries"]
    assert carries["permits_open"][0]["permit"] == "CW-7"
    assert carries["tags_hanging"][0]["point"] == "supply breaker"
    assert carries["pumps_out"][0]["position"] == "VP2"
    sign = f"{send}/1/signature"
    refused = fresh.ask("POST", sign, role=Role.CHIEF, json={})
    assert refused.status_code == 409
    assert "supply breaker" in refused.json()["detail"]
    own = {"point": "supply breaker", "lock_no": "L30", "tag_no": "T-30"}
    assert _step(fresh, 20, "tag taken over", by="Demo chief", **own).status_code == 201
    off = _step(fresh, 21, "tag removed", by="Demo engineer", point="supply breaker")
    assert off.status_code == 201, off.text
    assert off.json()["tags_hanging"][0]["placed_by"] == "Demo chief"
    changed = fresh.ask("POST", sign, role=Role.CHIEF, json={})
    assert changed.status_code == 409
    says = changed.json()["detail"]
    assert "T-30 (VP2) not looked at together" in says
    assert "CW-7 (VP2) not issued anew to who takes over" in says
    assert "points locked and tagged changed since the first signature: both sign again" in says
    permit = opened("CW-8", at=22)[0]
    assert _step(fresh, 22, permit[1], **permit[2]).status_code == 201
    again = fresh.ask("POST", send, json={"text": "VP2 isolated, lock of the chief."})
    sign = f"{send}/{again.json()['handover']}/signature"
    assert fresh.ask("POST", sign, role=Role.CHIEF, json={}).status_code == 409
    looked_at = [{"job": JOB, "point": "supply breaker", "tag_no": "T-30"}]
    signed = fresh.ask("POST", sign, role=Role.CHIEF, json={"looked_at": looked_at})
    assert signed.status_code == 200, signed.text


@pytest.mark.long
def test_no_tag_comes_off_by_another_hand_nor_is_anything_proved_under_it(fresh: Stage) -> None:
    """Neither by an act, nor by bringing the pump back or testing it at another door."""
    _all(fresh, opened("CW-8")[:5])
    other = _step(fresh, 6, "tag removed", point="supply breaker", by="B. Fitter")
    assert other.status_code == 409
    assert "placed by A. Second" in other.json()["detail"]
    assert _step(fresh, 6, "tag removed", point="discharge valve", fact=True).status_code == 409
    back_in = {"at": stamp(fresh.clock.at), "test": "passed", "reason": "tried"}
    assert "A tag hangs" in fresh.ask("POST", "/api/v1/pumps/plover-pump-b/back", json=back_in).json()["detail"]
    figures = {"from_vacuum_kpa": 35, "to_vacuum_kpa": 50, "seconds": 45}
    test = {"at": stamp(fresh.clock.at), "result": "passed", "done_by": "A", "figures": figures}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/test", json=test).status_code == 409
    close = {"done_at": stamp(fresh.clock.at), "done_by": "A. Second", "test": "passed"}
    assert "A tag hangs" in fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json=close).json()["detail"]
    assert _step(fresh, 7, "permit closed", number="CW-8").status_code == 409
    assert _counts_for(fresh) == 0


@pytest.mark.long
def test_below_the_minimum_the_first_tag_is_refused_with_the_times_that_hold(fresh: Stage) -> None:
    """The chief engineer may override with a reason, the engineer may not; a second lock is no longer asked."""
    down = {"at": stamp(AT), "reason": "seized"}
    for pump in ("plover-pump-a", "plover-pump-c"):
        fresh.ask("POST", f"/api/v1/pumps/{pump}/down", json=down)
    _all(fresh, opened("CW-9")[:4])
    lock = tagged("supply breaker")
    asked = _step(fresh, 5, "tag placed", **lock)
    assert asked.status_code == 409
    assert "short by" in asked.json()["detail"]
    assert "UTC" not in asked.json()["detail"]
    assert "times_that_hold" in asked.json()
    assert _step(fresh, 5, "tag placed", **lock, override="must").status_code == 403
    override = _step(fresh, 5, "tag placed", **lock, override="leak, must be shut", role=Role.CHIEF)
    assert override.status_code == 201
    assert _step(fresh, 6, "tag placed", **tagged("suction valve")).status_code == 201


@pytest.mark.long
def test_a_failed_test_loops_back_and_a_new_round_needs_everything_again(fresh: Stage) -> None:
    """The pump counts nothing after it; the next lock needs a new permit; old proofs do not serve the second opening."""
    _all(fresh, [*opened("CW-5"), *back(at=20)])
    assert _step(fresh, 60, "tested", result="failed").json()["pump_counts"] == "for nothing"
    assert _counts_for(fresh) == 0
    old = _step(fresh, 61, "tag placed", **tagged("supply breaker"))
    assert {one["code"] for one in old.json()["objections"]} >= {"permit of before the failure"}
    again = opened("CW-6", at=62)
    _all(fresh, again[:5])
    codes = {one["code"] for one in _step(fresh, 68, "opened").json()["objections"]}
    assert codes >= {
        "start not tried",
        "no voltage not proved",
        "stored vacuum not let out",
        "gas not read at the cover",
    }
    _all(fresh, again[5:])


@pytest.mark.long
def test_a_slow_pull_down_leaves_the_pump_returned_and_not_proved(fresh: Stage) -> None:
    """Refused as passed; told as a fact it is kept, flagged, and proves nothing; both figures stay in the record."""
    whole = _counts_for(fresh)
    _all(fresh, [*opened(), *back(at=20)])
    slow = {**PROVED, "pull_down_seconds": 61}
    assert _step(fresh, 60, "tested", **slow).status_code == 409
    kept = _step(fresh, 60, "tested", fact=True, **slow)
    assert kept.json()["pump_counts"] == "provisionally"
    assert 0 < _counts_for(fresh) < whole
    assert _step(fresh, 70, "tested", **PROVED).json()["pump_counts"] == "in full"


@pytest.mark.long
def test_only_the_chief_accepts_a_measure_out_of_limit_and_nobody_above_nameplate(fresh: Stage) -> None:
    """By role, with a reason; the motor's nameplate is never exceeded by a word."""
    _all(fresh, opened())
    for name, limits in (("knife gap, widest", {"low": 0.1, "high": 0.5}), ("motor current", {"high": 12})):
        _all(fresh, [(13, "noted", {"about": "measure", "name": name, "value": 13, **limits})])
    gap = {"name": "knife gap, widest", "reason": "set on order"}
    assert _step(fresh, 14, "measure accepted", **gap).status_code == 403
    assert _step(fresh, 14, "measure accepted", role=Role.CHIEF, by="Demo chief", **gap).status_code == 201
    plate = _step(fresh, 15, "measure accepted", role=Role.CHIEF, fact=True, name="motor current", reason="it runs")
    assert plate.status_code == 409
    assert "nameplate" in plate.json()["detail"]


@pytest.mark.long
def test_the_page_keeps_what_was_typed_and_takes_the_fact(fresh: Stage) -> None:
    """Refused, the form comes back with its words, its values and the way to keep it as a fact; kept, the flag is shown."""
    browser = TestClient(fresh.client.app, raise_server_exceptions=False, follow_redirects=False)
    browser.post(f"/enter/{people.make_link(fresh.context, 'engineer-plover')}")
    found = sessions.at_browser(fresh.context, browser.cookies[COOKIE])
    assert found is not None
    path = f"/vessels/demo-plover/jobs/{JOB}"
    form = {
        "csrf": found.csrf,
        "kind": "tag placed",
        "at": "2026-10-20T06:50",
        "by": "A. Second",
        "point": "suction valve",
    }
    refused = browser.post(f"{path}/steps", data={**form, "tag_no": "T-77", "idempotency_key": "a"})
    assert refused.status_code == 409
    assert "No permit holds at that time" in refused.text
    assert 'value="T-77"' in refused.text
    assert 'name="fact"' in refused.text
    unread = browser.post(
        f"{path}/steps", data={**form, "kind": "gas checked", "h2s_ppm": "much", "idempotency_key": "b"}
    )
    assert unread.status_code == 422
    assert "a figure is expected" in unread.text
    kept = browser.post(f"{path}/steps", data={**form, "tag_no": "T-77", "fact": "yes", "idempotency_key": "c"})
    assert kept.status_code == 303
    shown = browser.get(path, headers={"Accept": "text/html"}).text
    assert "tag T-77" in shown
    assert "No permit holds at that time" in shown


@pytest.mark.long
def test_the_sheet_on_the_page_is_ticked_and_measured_with_one_tap_each(fresh: Stage) -> None:
    """A step ticked is a record with its time; a measure out of its limits is kept and told so; the answer has the sheet."""
    told = fresh.ask("GET", f"/api/v1/jobs/{JOB}").json()
    assert {"steps", "measures", "parts", "tools", "also_due"} <= told.keys()
    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    page = browser.get(path).text
    assert page.index("Isolation, before step 1") < page.index(html.escape(told["steps"][0]))
    _all(fresh, opened())
    own = [one["text"] for one in told["sheet"] if not one["act"]]
    early = next(one["text"] for one in told["sheet"] if one["when"] == "back in use")
    assert _step(fresh, 13, "noted", about="step", name=early).status_code == 409
    for n, step in enumerate(own[:3]):
        page = browser.get(path).text
        assert f'name="name" value="{html.escape(step)}"' in page.replace("&#39;", "&#x27;")
        form = {
            name: page.split(f'name="{name}" value="')[1].split('"')[0]
            for name in ("csrf", "act", "version", "idempotency_key")
        }
        gap = told["measures"][0]["name"]
        typed = {"name": step, f"measure:{gap}": "0,9" if n == 2 else ""}
        if n == 2:
            refused = browser.post(f"{path}/acts", data={**form, **typed, f"measure:{gap}": "wide"})
            assert refused.status_code == 422
            assert "a figure is expected" in refused.text
            assert 'value="wide"' in refused.text
        assert browser.post(f"{path}/acts", data={**form, **typed}).status_code == 303
    after = browser.get(path).text
    acts = sum(
        one["act"] in ("made ready", "rinsed", "start tried", "no voltage", "vacuum let out") for one in told["sheet"]
    )
    assert f"{3 + acts} of {len(told['steps'])} done" in after
    assert "0.9 mm, out of limit" in after


@pytest.mark.long
def test_the_second_of_two_people_sees_what_the_first_did_and_loses_nothing(fresh: Stage) -> None:
    """By key: 412 with the newer steps, and the version to send then. On the page: the newer state and what was typed."""
    work = f"/api/v1/jobs/{JOB}/work"
    seen = fresh.ask("GET", work).headers["etag"]
    assert seen == '"0"'
    note = {"kind": "noted", "at": stamp(AT), "by": "A. Second", "about": "step", "name": "cover off"}
    first = fresh.ask("POST", SEND, headers={"If-Match": seen}, json={"step": note})
    assert (first.status_code, first.headers["etag"]) == (201, '"1"')
    late = fresh.ask("POST", SEND, headers={"If-Match": seen}, json={"step": {**note, "name": "gap read"}})
    assert late.status_code == 412
    assert late.json()["version"] == 1
    assert late.json()["newer_steps"][0]["name"] == "cover off"
    close = {"done_at": stamp(AT), "done_by": "A. Second", "test": "passed"}
    gone_on = fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", headers={"If-Match": seen}, json=close)
    assert gone_on.status_code == 412

    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    csrf = browser.get(path).text.split('name="csrf" value="')[1].split('"')[0]
    typed = {"csrf": csrf, "version": "0", "idempotency_key": "second", "utc_offset_minutes": "60"}
    step = {**typed, "kind": "noted", "about": "finding", "name": "edges <blunt>", "by": "A. Third"}
    told = browser.post(f"{path}/steps", data=step)
    assert told.status_code == 412
    assert "cover off" in told.text
    assert "edges &lt;blunt&gt;" in told.text
    assert 'name="version" value="1"' in told.text
    form = {
        **typed,
        "done_at": f"{AT:%Y-%m-%dT%H:%M}",
        "done_by": "A. Third",
        "test": "passed",
        "findings": "seal <dry>",
    }
    kept = browser.post(f"{path}/close", data=form)
    assert kept.status_code == 412
    assert "seal &lt;dry&gt;" in kept.text
    assert fresh.close(JOB).status_code == 200
    closed = browser.post(f"{path}/close", data={**form, "version": "1", "idempotency_key": "third"})
    assert closed.status_code == 409
    assert "done already" in closed.text
    assert "seal &lt;dry&gt;" in closed.text


def test_too_little_rest_by_the_steps_on_record_is_a_warning_and_no_refusal(fresh: Stage) -> None:
    """Fifteen hours on one job; a person who did little is not warned. Source: STCW Code A-VIII/1."""
    fresh.clock.at = AT + timedelta(hours=1)
    assert _step(fresh, 0, "people clear").json()["warnings"] == []
    late = _step(fresh, 15 * 60 + 10, "people clear")
    assert late.status_code == 201
    assert any("24 hours" in one for one in late.json()["warnings"])
    assert _step(fresh, 15 * 60 + 20, "people clear", by="B. Fitter").json()["warnings"] == []
