"""The work on a job over HTTP: asked, refused in words; told as a fact, kept and flagged; the pump counts accordingly."""

from datetime import timedelta
from typing import Any

from httpx2 import Response
from starlette.testclient import TestClient

from api.deps import COOKIE
from scheduler.actions import people
from scheduler.domain.words import Role
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


def test_a_job_from_permit_to_closed(fresh: Stage) -> None:
    """Every step in its order goes; the pump counts nothing while a tag hangs, provisionally when returned, then in full;
    tags, parts and measures stand in the record."""
    whole = _counts_for(fresh)
    for minutes, kind, told in (
        (0, "permit issued", {"number": "CW-7", "permit_kind": "cold work", "issued_by": "A. Chief"}),
        (5, "tag placed", {"point": "supply breaker", "lock_no": "12", "tag_no": "T-12"}),
        (6, "tag placed", {"point": "suction valve", "tag_no": "T-13"}),
        (8, "tested dead", {"text": "start tried, vacuum broken"}),
        (10, "gas checked", {"oxygen_percent": 20.9, "lel_percent": 0, "h2s_ppm": 1, "meter": "G-2"}),
        (12, "opened", {"rinsed": True, "drained_to": "sewage tank"}),
        (
            30,
            "noted",
            {"about": "measure", "name": "knife clearance", "value": 0.7, "unit": "mm", "low": 0.2, "high": 0.5},
        ),
        (31, "noted", {"about": "foreign object", "name": "cloth"}),
        (40, "noted", {"about": "part used", "name": "knife set", "text": "1"}),
        (50, "people clear", {}),
        (51, "tag removed", {"point": "suction valve"}),
        (52, "tag removed", {"point": "supply breaker"}),
        (53, "people told", {"names": "bridge, hotel"}),
        (55, "returned", {"current_ampere": 8.1}),
    ):
        answer = _step(fresh, minutes, kind, **told)
        assert answer.status_code == 201, (kind, answer.text)
        assert answer.json()["flags"] == [], kind
        if kind == "tag placed":
            assert _counts_for(fresh) == 0
    assert 0 < _counts_for(fresh) < whole
    assert _step(fresh, 60, "tested", result="passed").json()["pump_counts"] == "in full"
    assert _counts_for(fresh) == whole
    close = {"done_at": stamp(AT + timedelta(minutes=61)), "done_by": "A. Second", "test": "none"}
    open_permit = fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json=close)
    assert open_permit.status_code == 409
    assert "CW-7 is still open" in open_permit.json()["detail"]
    assert _step(fresh, 62, "permit closed", number="CW-7").status_code == 201
    done = fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json={**close, "done_at": stamp(AT + timedelta(minutes=62))})
    assert done.status_code == 200, done.text
    assert done.json()["pump_state"] == "proved"
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    record = next(line for line in history.splitlines() if '"closed job' in line or "closed job" in line)
    for words in ("T-12", "off A. Second", "knife set", "OUT OF LIMIT", "cloth", "CW-7"):
        assert words in record
    assert _step(fresh, 70, "people clear").status_code == 409


def test_asked_it_is_refused_told_as_a_fact_it_is_kept_and_flagged(fresh: Stage) -> None:
    """Opened without permit, tag, dead test or gas check: refused with each reason, then kept with the same words."""
    asked = _step(fresh, 0, "opened", by="A. Second")
    assert asked.status_code == 409
    codes = {one["code"] for one in asked.json()["objections"]}
    assert codes >= {"no tag", "not dead", "no gas check", "no permit"}
    assert "record it as a fact" in asked.json()["detail"]
    told = _step(fresh, 0, "opened", fact=True)
    assert told.status_code == 201
    assert len(told.json()["flags"]) >= 4
    assert _counts_for(fresh) == 0


def test_no_tag_comes_off_by_another_hand_nor_is_anything_proved_under_it(fresh: Stage) -> None:
    """Neither by a step, nor by bringing the pump back or testing it at another door."""
    _step(fresh, 0, "permit issued", number="CW-8")
    assert _step(fresh, 1, "tag placed", point="supply breaker").status_code == 201
    other = _step(fresh, 2, "tag removed", point="supply breaker", by="B. Fitter")
    assert other.status_code == 409
    assert "placed by A. Second" in other.json()["detail"]
    assert _step(fresh, 2, "tag removed", point="discharge valve", fact=True).status_code == 409
    back = {"at": stamp(fresh.clock.at), "test": "passed", "reason": "tried"}
    assert "A tag hangs" in fresh.ask("POST", "/api/v1/pumps/plover-pump-b/back", json=back).json()["detail"]
    figures = {"from_vacuum_kpa": 35, "to_vacuum_kpa": 50, "seconds": 45}
    test = {"at": stamp(fresh.clock.at), "result": "passed", "done_by": "A", "figures": figures}
    assert fresh.ask("POST", "/api/v1/pumps/plover-pump-b/test", json=test).status_code == 409
    close = {"done_at": stamp(fresh.clock.at), "done_by": "A. Second", "test": "passed"}
    assert "A tag hangs" in fresh.ask("POST", f"/api/v1/jobs/{JOB}/close", json=close).json()["detail"]
    assert _step(fresh, 3, "permit closed", number="CW-8").status_code == 409
    assert _counts_for(fresh) == 0


def test_below_the_minimum_the_first_tag_is_refused_with_the_times_that_hold(fresh: Stage) -> None:
    """The chief engineer may override with a reason, the engineer may not; a second tag is no longer asked."""
    down = {"at": stamp(AT), "reason": "seized"}
    for pump in ("plover-pump-a", "plover-pump-c"):
        fresh.ask("POST", f"/api/v1/pumps/{pump}/down", json=down)
    _step(fresh, 0, "permit issued", number="CW-9")
    asked = _step(fresh, 1, "tag placed", point="supply breaker")
    assert asked.status_code == 409
    assert "below its minimum" in asked.json()["detail"]
    assert "times_that_hold" in asked.json()
    assert _step(fresh, 1, "tag placed", point="supply breaker", override="must").status_code == 403
    override = _step(fresh, 1, "tag placed", point="supply breaker", override="leak, must be shut", role=Role.CHIEF)
    assert override.status_code == 201
    assert _step(fresh, 2, "tag placed", point="suction valve").status_code == 201


def test_a_failed_test_loops_back_and_a_new_round_needs_everything_again(fresh: Stage) -> None:
    """The pump counts nothing after it, and the old dead test and gas check do not serve the second opening."""
    _step(fresh, 0, "permit issued", number="CW-5")
    _step(fresh, 1, "tag placed", point="supply breaker")
    _step(fresh, 2, "tested dead")
    _step(fresh, 3, "gas checked", oxygen_percent=20.9, lel_percent=0, h2s_ppm=0)
    assert _step(fresh, 4, "opened").status_code == 201
    _step(fresh, 5, "people clear")
    _step(fresh, 6, "tag removed", point="supply breaker")
    _step(fresh, 7, "people told", names="all")
    _step(fresh, 8, "returned")
    assert _step(fresh, 9, "tested", result="failed").json()["pump_counts"] == "for nothing"
    assert _counts_for(fresh) == 0
    assert _step(fresh, 10, "tag placed", point="supply breaker").status_code == 201
    assert {one["code"] for one in _step(fresh, 11, "opened").json()["objections"]} == {"not dead", "no gas check"}


def test_the_page_keeps_what_was_typed_and_takes_the_fact(fresh: Stage) -> None:
    """Refused, the form comes back with its words, its values and the way to keep it as a fact; kept, the flag is shown."""
    browser = TestClient(fresh.client.app, raise_server_exceptions=False, follow_redirects=False)
    browser.post(f"/enter/{people.make_link(fresh.house, 'engineer-plover')}")
    found = people.at_browser(fresh.house, browser.cookies[COOKIE])
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
    assert "a number is expected" in unread.text
    kept = browser.post(f"{path}/steps", data={**form, "tag_no": "T-77", "fact": "yes", "idempotency_key": "c"})
    assert kept.status_code == 303
    shown = browser.get(path, headers={"Accept": "text/html"}).text
    assert "tag T-77" in shown
    assert "No permit holds at that time" in shown


def test_the_sheet_on_the_page_is_ticked_and_measured_with_one_tap_each(fresh: Stage) -> None:
    """A step ticked is a record with its time; a measure out of its limits is kept and told so; the answer has the sheet."""
    told = fresh.ask("GET", f"/api/v1/jobs/{JOB}").json()
    assert {"steps", "measures", "parts", "tools", "also_due"} <= told.keys()
    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    page = browser.get(path).text
    assert page.index("Isolation, before step 1") < page.index(told["steps"][0])
    csrf = page.split('name="csrf" value="')[1].split('"')[0]
    form = {"csrf": csrf, "kind": "noted", "by": "A. Second", "idempotency_key": "tick-1", "utc_offset_minutes": "60"}
    for step in told["steps"][:2]:
        sent = browser.post(f"{path}/steps", data={**form, "about": "step", "name": step})
        assert sent.status_code == 303, sent.text
    gap = told["measures"][0]
    wide = {"about": "measure", "name": gap["name"], "unit": gap["unit"], "low": gap["low"], "high": gap["high"]}
    assert browser.post(f"{path}/steps", data={**form, **wide, "value": "0,9"}).status_code == 303
    after = browser.get(path).text
    assert f"2 of {len(told['steps'])} done" in after
    assert "0.9 mm, out of limit" in after
    refused = browser.post(f"{path}/steps", data={**form, **wide, "value": "wide", "idempotency_key": "k9"})
    assert refused.status_code == 422
    assert "a number is expected" in refused.text
    assert "wide" in refused.text


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
