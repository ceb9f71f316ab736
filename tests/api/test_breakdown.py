"""A pump that fails: out in one tap, its repair a job without a due point, planned again; a clog needs no job."""

import json
import re
from datetime import timedelta

import pytest

from scheduler.actions.plan.planning import propose
from scheduler.domain.base.enums import Role
from scheduler.planning.explain.dates import FactKind, plan_facts
from tests.acts import PROVED, back, opened
from tests.api.stage import AT, Stage, stamp

PUMP = "plover-pump-b"
JOB = f"breakdown:{PUMP}:1"


def _csrf(text: str) -> str:
    return text.split('name="csrf" value="')[1].split('"')[0]


def _closed(stage: Stage) -> dict[str, str]:
    lines = stage.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text.splitlines()
    texts = [json.loads(json.loads(line)["text"]) for line in lines if '"text"' in line]
    return next(one for one in texts if one.get("job_no") == JOB and "verdict" in one)


@pytest.mark.long
def test_one_tap_puts_a_pump_out_opens_its_repair_and_says_what_is_left(fresh: Stage) -> None:
    """No script, one form: the pump counts nothing, a plan is proposed on it, the page says the margin and leads on."""
    browser = fresh.enter("chief-plover")
    assert f'href="/pumps/{PUMP}/stopped"' in browser.get("/plants/plover-plant").text
    page = browser.get(f"/pumps/{PUMP}/stopped").text
    assert "VP2 stopped? Without it:" in page
    assert f'action="/pumps/{PUMP}/out"' in page
    sent = {"csrf": _csrf(page), "idempotency_key": "tap-1", "see": "jammed, hums", "back": "unknown"}
    tapped = browser.post(f"/pumps/{PUMP}/out", data=sent)
    assert tapped.headers["location"] == f"/pumps/{PUMP}/stopped"
    assert browser.post(f"/pumps/{PUMP}/out", data=sent).status_code == 303
    after = browser.get(tapped.headers["location"]).text
    assert "jammed, hums. Return not known: plans assume" in after
    assert "Leave VP1 and VP3 running in AUTO. Do not open them up." in after
    assert "If one more pump trips" in after or "if one more pump trips" in after
    assert f"/vessels/demo-plover/jobs/{JOB}" in after
    assert f'action="/pumps/{PUMP}/out"' not in after
    assert fresh.pump(PUMP)["counts_for_swept_m3_per_h"] == 0
    sheet = browser.get(f"/vessels/demo-plover/jobs/{JOB}")
    assert sheet.status_code == 200
    assert sheet.text.index("Isolation, before step 1") < sheet.text.index("Find the cause")


@pytest.mark.long
def test_a_repair_is_worked_in_steps_and_closed_without_a_verdict_on_time(fresh: Stage) -> None:
    """Opened once, worked like any other job, closed days later: neither late nor a non-conformity; the next is number 2."""
    answer = fresh.ask(
        "POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": stamp(AT), "reason": "tripped, smell of burning"}
    )
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert told["job"] == JOB
    assert told["plan"].startswith("Planned anew")
    assert "margin_swept_m3_per_h" in told
    again = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": stamp(AT), "reason": "x"})
    assert again.status_code == 409
    assert "A repair of VP2 is open already" in again.json()["detail"]
    assert again.json()["job"] == JOB
    fresh.clock.at = AT + timedelta(days=4)
    work = [(m, k, {**t}) for m, k, t in opened("CW-9", at=60)]
    for minutes, kind, more in work:
        step = {"kind": kind, "at": stamp(AT + timedelta(minutes=minutes)), "by": "A. Second", **more}
        sent = fresh.ask("POST", f"/api/v1/jobs/{JOB}/steps", json={"step": step})
        assert sent.status_code == 201, (kind, sent.text)
    assert fresh.close(JOB).status_code == 409  # a tag hangs
    told_sheet = fresh.ask("GET", f"/api/v1/jobs/{JOB}").json()["sheet"]
    steps = [(80, "noted", {"about": "step", "name": one["text"]}) for one in told_sheet if not one["act"]]
    for minutes, kind, more in (
        *steps,
        *back(at=300),
        (310, "tested", PROVED),
        (311, "permit closed", {"number": "CW-9"}),
    ):
        step = {"kind": kind, "at": stamp(AT + timedelta(minutes=minutes)), "by": "A. Second", **more}
        assert fresh.ask("POST", f"/api/v1/jobs/{JOB}/steps", json={"step": step}).status_code == 201, kind
    done = fresh.close(JOB, findings="contactor burnt")
    assert done.status_code == 200, done.text
    assert (done.json()["verdict"], done.json()["pump_state"]) == ("breakdown", "proved")
    record = _closed(fresh)
    assert (record["verdict"], record["trigger"], record["due_at"]) == ("breakdown", "breakdown", None)
    nothing = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert JOB not in [one["job"] for one in nothing]
    assert fresh.close(JOB).status_code == 409
    for form in ("csv", "xlsx"):
        assert fresh.ask("GET", f"/api/v1/history?vessel=demo-plover&format={form}", role=Role.CHIEF).status_code == 200
    at = stamp(fresh.clock.at)
    second = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": at, "reason": "again"})
    assert second.json()["job"] == f"breakdown:{PUMP}:2"


def test_a_repair_that_was_not_opened_and_a_kind_of_that_name_are_refused(fresh: Stage) -> None:
    """The first names the way to open one; the code is reserved."""
    unknown = fresh.close(JOB)
    assert unknown.status_code == 404
    assert "plant page" in unknown.json()["detail"]
    document, etag = fresh.document()
    document["plants"][0]["job_kinds"][0]["code"] = "breakdown"
    sent = fresh.ask("PUT", "/api/v1/vessels/demo-plover", role=Role.OFFICE, headers={"If-Match": etag}, json=document)
    assert sent.status_code == 422
    assert "reserved" in sent.text


def test_a_clog_is_noted_in_one_form_without_a_job(fresh: Stage) -> None:
    """Object, riser, deck; a record; refused in words where it says not where, and what was typed is kept."""
    browser = fresh.enter("chief-plover")
    csrf = _csrf(browser.get("/vessels/demo-plover/clogs").text)
    form = {"csrf": csrf, "do": "clog", "idempotency_key": "clog-1", "object": "wipe <b>", "riser": "", "deck": ""}
    refused = browser.post("/vessels/demo-plover/clogs", data=form)
    assert refused.status_code == 422
    assert "wipe &lt;b&gt;" in refused.text
    assert "give the riser or the deck" in refused.text
    taken = browser.post("/vessels/demo-plover/clogs", data={**form, "riser": "R4", "idempotency_key": "clog-2"})
    assert taken.status_code == 303
    (clog,) = fresh.ask("GET", "/api/v1/vessels/demo-plover/clogs").json()["clogs"]
    assert (clog["object"], clog["riser"]) == ("wipe <b>", "R4")
    assert "riser R4" in browser.get(taken.headers["location"]).text


@pytest.mark.long
def test_a_breakdown_asks_when_the_pump_is_back_and_says_what_it_assumes(fresh: Stage) -> None:
    """Not told: fourteen days from the stop, named as assumed; told: that; a time that is past is refused at its field."""
    path = f"/api/v1/pumps/{PUMP}"
    past = {"at": stamp(AT), "reason": "seized", "expected_at": stamp(AT)}
    refused = fresh.ask("POST", f"{path}/breakdowns", json=past)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/expected_at"
    told = fresh.ask("POST", f"{path}/breakdowns", json={"at": stamp(AT), "reason": "seized"}).json()
    assert (told["plan_has_it_back_at"], told["assumed"]) == (stamp(AT + timedelta(days=14)), True)
    browser = fresh.enter("chief-plover")
    page = browser.get("/plants/plover-plant").text
    assert re.search(r"return not known, plans assume \D*3\D+Nov", page)
    heading = page.split("<h1>")[1].split("</h1>")[0]
    assert heading.startswith("VP2 is down")
    assert "Open VP2 repair" in page
    later = fresh.ask(
        "PUT",
        f"{path}/expected-return",
        json={"expected_at": stamp(AT + timedelta(days=3))},
        headers={"Idempotency-Key": "back-1"},
    )
    assert later.status_code == 200, later.text
    assert re.search(r"expected back \D*23\D+Oct", browser.get("/plants/plover-plant").text)
    fresh.clock.at = AT + timedelta(days=3)
    browser = fresh.enter("chief-plover")
    assert "has passed: say when it is back" in browser.get("/plants/plover-plant").text
    form = {
        "csrf": _csrf(browser.get("/plants/plover-plant").text),
        "idempotency_key": "back-2",
        "expected_at": "",
    }
    assert browser.post(f"/pumps/{PUMP}/return", data=form).status_code == 303
    assert "return not known" in browser.get("/plants/plover-plant").text


@pytest.mark.long
def test_two_people_who_say_when_a_pump_is_back_see_each_other(fresh: Stage) -> None:
    """The second, with a page from before, is shown what stands by now and keeps the own choice; sent again it counts."""
    out = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": stamp(AT), "reason": "seized"})
    assert out.status_code == 201, out.text
    chief, second = fresh.enter("chief-plover"), fresh.enter("engineer-plover")

    def form(text: str, once: str, back: str) -> dict[str, str]:
        version = text.split('name="version" value="')[1].split('"')[0]
        return {"csrf": _csrf(text), "version": version, "idempotency_key": once, "back": back}

    seen = [one.get(f"/pumps/{PUMP}/stopped").text for one in (chief, second)]
    assert chief.post(f"/pumps/{PUMP}/return", data=form(seen[0], "chief", "2026-10-23 08:00")).status_code == 303
    late = second.post(f"/pumps/{PUMP}/return", data=form(seen[1], "second", "unknown"))
    assert late.status_code == 412
    assert "It is expected back Fri 23 Oct 08:00 by now." in late.text.replace("\u00a0", " ")
    assert re.search(r'value="unknown" checked', late.text)
    assert second.post(f"/pumps/{PUMP}/return", data=form(late.text, "again", "unknown")).status_code == 303
    assert "Return not known" in chief.get(f"/pumps/{PUMP}/stopped").text


@pytest.mark.long
def test_it_runs_after_all_keeps_the_stop_with_its_minutes(fresh: Stage) -> None:
    """Untouched it counts as before, its repair is withdrawn, the record has the minutes; with work on record it is refused."""
    before = fresh.pump(PUMP)["counts_for_swept_m3_per_h"]
    fresh.ask("POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": stamp(AT), "reason": "tripped"})
    fresh.clock.at = AT + timedelta(minutes=25)
    told = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/runs-after-all", json={"at": stamp(fresh.clock.at)})
    assert told.status_code == 200, told.text
    assert told.json()["minutes"] == 25
    assert fresh.pump(PUMP)["counts_for_swept_m3_per_h"] == before
    again = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/runs-after-all", json={"at": stamp(fresh.clock.at)})
    assert again.status_code == 409
    second = fresh.ask(
        "POST", f"/api/v1/pumps/{PUMP}/breakdowns", json={"at": stamp(fresh.clock.at), "reason": "again"}
    )
    assert second.json()["job"] == f"breakdown:{PUMP}:2"
    step = {"kind": "permit issued", "at": stamp(fresh.clock.at), "by": "A", "number": "CW-1"}
    fresh.ask("POST", f"/api/v1/jobs/breakdown:{PUMP}:2/steps", json={"step": step})
    worked = fresh.ask("POST", f"/api/v1/pumps/{PUMP}/runs-after-all", json={"at": stamp(fresh.clock.at)})
    assert worked.status_code == 409


def test_the_lead_order_changed_at_the_panel_is_told_and_handed_over(fresh: Stage) -> None:
    """The newest counts; a position missing, twice or unknown, and an instant to come, are refused by name."""
    send = "/api/v1/plants/plover-plant/lead-order"
    for order in (["VP2", "VP1", "VP3"], ["VP3", "VP1", "VP2"]):
        told = fresh.ask("POST", send, json={"order": order, "at": stamp(AT)})
        assert told.status_code == 201, told.text
    for wrong in (["VP1", "VP2"], ["VP1", "VP1", "VP2", "VP3"], ["VP1", "VP2", "VP9"]):
        refused = fresh.ask("POST", send, json={"order": wrong, "at": stamp(AT)})
        assert refused.status_code == 422
        assert "VP1, VP2, VP3" in refused.text
    ahead = {"order": ["VP2", "VP1", "VP3"], "at": stamp(AT + timedelta(minutes=5, seconds=1))}
    assert fresh.ask("POST", send, json=ahead).status_code == 422
    assert fresh.ask("POST", send, json={**ahead, "at": stamp(AT + timedelta(minutes=5))}).status_code == 201
    fresh.ask("POST", send, json={"order": ["VP3", "VP1", "VP2"], "at": stamp(AT)})
    note = fresh.ask("POST", "/api/v1/vessels/demo-plover/handovers", json={"text": "VP3 leads."}).json()
    (lead,) = note["carries"]["lead_order"]
    assert lead["order"] == ["VP3", "VP1", "VP2"]
    assert lead["by"]


@pytest.mark.long
def test_no_postponement_rests_on_a_return_that_nobody_told(fresh: Stage) -> None:
    """Asked while the return was told, decided when it is not known any more: not granted; asked then: refused; refusing is free."""
    path = f"/api/v1/pumps/{PUMP}"
    told = {"at": stamp(AT), "reason": "seized", "expected_at": stamp(AT + timedelta(days=4))}
    assert fresh.ask("POST", f"{path}/breakdowns", json=told).status_code == 201
    held = propose(fresh.context, "demo-plover", "plover-plant")
    (fact,) = (one for one in plan_facts(held.problem, held.plan) if one.code is FactKind.RESTS_ON_RETURN)
    key = next(one for one in fact.keys if not one.startswith("breakdown"))
    body = {"to_at": stamp(AT + timedelta(days=900)), "reason": "no seal aboard", "risk": "leak"}
    asked = fresh.ask("POST", f"/api/v1/jobs/{key}/postponements", json=body)
    assert asked.status_code == 201, asked.text
    open_end = fresh.ask(
        "PUT", f"{path}/expected-return", json={"expected_at": None}, headers={"Idempotency-Key": "not known"}
    )
    assert open_end.status_code == 200, open_end.text
    held = propose(fresh.context, "demo-plover", "plover-plant")
    (fact,) = (one for one in plan_facts(held.problem, held.plan) if one.code is FactKind.RESTS_ON_RETURN)
    assert fact.assumed
    decide = f"/api/v1/vessels/demo-plover/postponements/{asked.json()['postponement']}/decision"
    assert key in fact.keys
    refused = fresh.ask("POST", decide, role=Role.OFFICE, json={"granted": True})
    assert refused.status_code == 409, refused.text
    assert "nobody told" in refused.json()["detail"]
    assert fresh.ask("POST", decide, role=Role.OFFICE, json={"granted": False, "note": "wait"}).status_code == 200
    again = fresh.ask("POST", f"/api/v1/jobs/{key}/postponements", json=body)
    assert again.status_code == 422, again.text
