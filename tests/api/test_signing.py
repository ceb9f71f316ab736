"""Handover notes signed by two, the month signed by the chief, and decisions on a page."""

import re
from datetime import timedelta

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

DECISIONS, HANDOVER = "/vessels/demo-plover/decisions", "/vessels/demo-plover/handover"
JOB = "knife_inspection:plover-pump-b-knives:1"


def _form(page: str, do: str, key: str, **more: str) -> dict[str, str]:
    return {"csrf": page.split('name="csrf" value="')[1].split('"')[0], "do": do, "idempotency_key": key, **more}


def test_a_handover_note_is_signed_by_two_different_people(fresh: Stage) -> None:
    """Who wrote it cannot sign it; another does, once; both stand on record."""
    send = "/api/v1/vessels/demo-plover/handovers"
    written = fresh.ask("POST", send, json={"text": "VP2 seal drips; part ordered."})
    assert written.status_code == 201, written.text
    assert fresh.ask("POST", f"{send}/1/signature", json={}).status_code == 403
    browser = fresh.enter("chief-plover")
    assert HANDOVER in browser.get("/plants/plover-plant").text
    page = browser.get(HANDOVER).text
    assert "I take over: sign" in page
    assert browser.post(HANDOVER, data=_form(page, "sign", "s1", number="1")).status_code == 303
    assert fresh.ask("POST", f"{send}/1/signature", role=Role.CHIEF, json={}).status_code == 409
    (note,) = fresh.ask("GET", send).json()["handovers"]
    assert note["written_by"] != note["signed_by"]
    history = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert "handover note written" in history
    assert "handover note signed" in history
    assert fresh.ask("POST", send, json={"text": " "}).status_code == 422
    assert fresh.ask("POST", f"{send}/7/signature", json={}).status_code == 404


@pytest.mark.long
def test_a_month_is_signed_by_the_chief_when_it_is_over_and_once(fresh: Stage) -> None:
    """The running month is refused in words, another person at the door, a second signature as done."""
    send = "/api/v1/vessels/demo-plover/reviews"
    assert fresh.ask("POST", send, json={"month": "2026-09"}).status_code == 403
    early = fresh.ask("POST", send, role=Role.CHIEF, json={"month": f"{AT:%Y-%m}"})
    assert early.status_code == 422
    assert "not over yet" in early.text
    assert fresh.ask("POST", send, role=Role.CHIEF, json={"month": "2026-13"}).status_code == 422
    browser, report = fresh.enter("chief-plover"), "/vessels/demo-plover/months/2026-09"
    page = browser.get(report).text
    assert "Sign the month" in page
    assert "Sign the month" not in fresh.enter("engineer-plover").get(report).text
    assert "Sign the month" not in browser.get(f"/vessels/demo-plover/months/{AT:%Y-%m}").text
    assert browser.post(report, data=_form(page, "review", "r1", text="two clogs")).status_code == 303
    assert browser.post(report, data=_form(page, "review", "r2", text="again")).status_code == 409
    assert fresh.ask("POST", send, role=Role.CHIEF, json={"month": "2026-09"}).status_code == 409
    page = browser.get(DECISIONS).text
    assert "two clogs" in page
    assert "September 2026" in page
    assert "two clogs" in browser.get(report).text


@pytest.mark.long
def test_a_postponement_is_asked_on_the_job_page_and_decided_on_its_own(fresh: Stage) -> None:
    """The engineer asks with reason and risk; who asked cannot decide; the chief grants, and the limit moves."""
    engineer, chief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    sheet = engineer.get(path).text
    assert "Ask for a postponement" in sheet
    ids = re.findall(r' id="([^"]+)"', sheet)
    assert len(ids) == len(set(ids))
    later = f"{AT + timedelta(days=60):%Y-%m-%dT%H:%M}"
    ask = {**_form(sheet, "", "p1"), "to_at": later, "why": "no part", "risk": "", "utc_offset_minutes": "60"}
    refused = engineer.post(f"{path}/postponements", data=ask)
    assert refused.status_code == 422
    assert "no part" in refused.text
    assert (
        engineer.post(f"{path}/postponements", data={**ask, "risk": "wear", "idempotency_key": "p2"}).status_code == 303
    )
    assert "Postponement 1" in engineer.get(path).text
    page = engineer.get(DECISIONS).text
    assert "one postponement to decide" in page.lower()
    assert "VP2 knife inspection" in page
    decide = "/vessels/demo-plover/decide/1"
    assert engineer.post(decide, data=_form(page, "", "d1", granted="yes")).status_code == 403
    assert f'{decide}">Decide' in chief.get(DECISIONS).text
    page = chief.get(decide).text
    assert chief.post(decide, data=_form(page, "", "d2", granted="maybe")).status_code == 422
    assert chief.post(decide, data=_form(page, "", "d3", granted="yes", note="with care")).status_code == 303
    told = fresh.ask("GET", f"/api/v1/jobs/{JOB}").json()
    assert told["postponed_to"] is not None
    assert told["limit_at"] == stamp(AT + timedelta(days=60) - timedelta(minutes=60))


@pytest.mark.long
def test_a_non_conformity_is_answered_and_closed_on_the_page_by_two_people(fresh: Stage) -> None:
    """A job closed past its limit opened one; the engineer answers with a cause, the chief closes it."""
    fresh.clock.at = AT + timedelta(days=120)
    assert fresh.close(JOB).status_code == 200
    engineer, chief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    page = engineer.get(DECISIONS).text
    assert "non-conformity to answer" in page.lower() or "non-conformities to answer" in page.lower()
    listed = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    number = str(listed[-1]["non_conformity"])
    own = f"/vessels/demo-plover/non-conformities/{number}"
    assert f'href="{own}"' in page
    page = engineer.get(own).text
    empty = engineer.post(own, data=_form(page, "answer", "a0", number=number, cause="no hands"))
    assert empty.status_code == 422
    assert "no hands" in empty.text
    answer = _form(page, "answer", "a1", number=number, cause="no hands", corrective_action="one more hand")
    assert engineer.post(own, data=answer).status_code == 303
    assert engineer.post(own, data=_form(page, "close", "c1", number=number)).status_code == 403
    page = chief.get(own).text
    assert "one more hand" in page
    assert chief.post(own, data=_form(page, "close", "c2", number=number)).status_code == 303
    assert chief.get("/vessels/demo-plover/non-conformities/999").status_code == 404


def test_where_the_page_of_notes_was_leads_to_the_decisions(stage: Stage) -> None:
    """A form that was drawn there before stores nothing, and says where it is done now."""
    browser = stage.enter("chief-plover")
    there = browser.get("/vessels/demo-plover/notes")
    assert (there.status_code, there.headers["location"]) == (303, DECISIONS)
    form = _form(browser.get(HANDOVER).text, "clog", "n1", object="wipe", riser="R1")
    gone = browser.post("/vessels/demo-plover/notes", data=form)
    assert gone.status_code == 409
    assert "Nothing was stored" in gone.text
    assert stage.ask("GET", "/api/v1/vessels/demo-plover/clogs").json()["clogs"] == []
