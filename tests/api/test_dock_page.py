"""The page of a dry dock and the weeks of the voyage: chosen as a batch, refused with ticks kept, the clock recorded."""

import re
from datetime import timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from scheduler.actions.people import sessions
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

PAGE, DAYS = "/plants/plover-plant/dock", "/vessels/demo-plover/calendar"
FROM, TO = AT + timedelta(days=10), AT + timedelta(days=18)
STAY = {"from_at": f"{FROM:%Y-%m-%d} 08:00", "to_at": f"{TO:%Y-%m-%d} 08:00", "utc_offset_minutes": "60"}


def _send(stage: Stage, browser: TestClient, page: str, once: str, **told: str) -> Any:
    signed = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert signed is not None
    return browser.post(page, data={"csrf": signed.csrf, "idempotency_key": once, **told})


def _enter_yard(stage: Stage) -> None:
    stretch = {"from_on": f"{FROM:%Y-%m-%d}", "to_on": f"{TO:%Y-%m-%d}", "kind": "yard", "source": "plan"}
    version = stage.ask("GET", f"/api/v1{DAYS}").json()["version"]
    sent = stage.ask("PATCH", f"/api/v1{DAYS}", json={"stretches": [stretch]}, headers={"If-Match": f'"{version}"'})
    assert sent.status_code == 200, sent.text


def _no_minimum(stage: Stage) -> None:
    plant = "/api/v1/plants/plover-plant/concessions"
    body = {"from_at": stamp(FROM - timedelta(days=1)), "to_at": stamp(TO + timedelta(days=1)), "reason": "in dock"}
    asked = stage.ask("POST", plant, json={**body, "minimum_swept_m3_per_h": 0})
    sign = f"{plant}/{asked.json()['concession']}/signature"
    assert stage.ask("POST", sign, role=Role.CHIEF, json={"as": "chief"}).status_code == 200
    assert stage.ask("POST", sign, role=Role.HOTEL, json={"as": "hotel"}).status_code == 200


@pytest.mark.long
def test_a_batch_is_taken_into_the_dock_and_back_on_its_page(fresh: Stage) -> None:
    """The days come from those entered as yard; refused while a minimum holds, ticks kept; chosen once; taken back; on record."""
    engineer = fresh.enter("engineer-plover")
    assert "No dry dock is known to come" in engineer.get(PAGE).text
    _enter_yard(fresh)
    page = engineer.get(PAGE).text
    assert "better done in dry dock" in page
    assert "entered as yard or lay-up" in page
    names = re.findall(r'name="(job:[^"]+)" value="yes"( checked)?', page)
    assert names
    asked = {"do": "choose", **STAY, names[0][0]: "yes"}
    early = _send(fresh, engineer, PAGE, "a", **asked)
    assert early.status_code == 422
    assert "a minimum holds in these days" in early.text
    assert re.findall(r'name="(job:[^"]+)" value="yes" checked', early.text) == [names[0][0]]
    assert 'class="go"' not in early.text
    _no_minimum(fresh)
    nothing = _send(fresh, engineer, PAGE, "b", do="choose", **STAY)
    assert nothing.status_code == 422
    assert "Nothing is ticked" in nothing.text
    for _ in range(2):
        chosen = _send(fresh, engineer, PAGE, "c", **asked)
        assert chosen.status_code == 303, chosen.text
    after = engineer.get(chosen.headers["location"]).text
    assert "Chosen, and on record" in after
    assert (
        len(fresh.ask("GET", f"/api/v1{PAGE}", params={"from_at": stamp(FROM), "to_at": stamp(TO)}).json()["batches"])
        == 1
    )
    assert f'name="{names[0][0]}"' not in after
    back = _send(fresh, engineer, PAGE, "d", do="withdraw", number="1")
    assert back.status_code == 303
    assert _send(fresh, engineer, PAGE, "e", do="withdraw", number="1").status_code == 409
    assert "dock batch withdrawn" in fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text


def test_days_of_a_dock_that_make_no_sense_are_said_at_their_field(fresh: Stage) -> None:
    """What was typed stays; nothing else of the page is lost."""
    engineer = fresh.enter("engineer-plover")
    for typed, says in (
        ({"from_at": "soon", "to_at": STAY["to_at"]}, "a date and time are expected"),
        ({"from_at": STAY["to_at"], "to_at": STAY["from_at"]}, "12 hours to 180 days"),
    ):
        answer = engineer.get(PAGE, params={**typed, "utc_offset_minutes": "60"})
        assert answer.status_code == 422
        assert says in answer.text
        assert f'value="{typed["from_at"]}"' in answer.text


@pytest.mark.long
def test_the_coming_weeks_stand_on_the_voyage_with_the_clock(fresh: Stage) -> None:
    """Legs with minimum and what is planned or has room; a change of the clock is recorded there and read there before it comes."""
    engineer = fresh.enter("engineer-plover")
    _enter_yard(fresh)
    page = engineer.get(DAYS).text
    assert "Next twelve weeks" in page
    assert "in the yard" in page
    assert "room for" in page
    assert f'href="{PAGE}"' in page
    wrong = _send(
        fresh, engineer, DAYS, "a", do="clock", clock_at="then", clock_offset="0.001", utc_offset_minutes="60"
    )
    assert wrong.status_code == 422
    assert wrong.text.count('aria-invalid="true"') == 1
    part = _send(
        fresh, engineer, DAYS, "a2", do="clock", clock_at=STAY["from_at"], clock_offset="0.001", utc_offset_minutes="60"
    )
    assert "whole minutes ahead of UTC" in part.text
    sent = _send(
        fresh,
        engineer,
        DAYS,
        "b",
        do="clock",
        clock_at=f"{FROM:%Y-%m-%d} 02:00",
        clock_offset="0",
        utc_offset_minutes="60",
    )
    assert sent.status_code == 303, sent.text
    page = engineer.get(sent.headers["location"]).text
    assert "The change of the clock is recorded" in page
    assert re.search(r"Coming clock change:</b> \w+.\d+.\w+ 02:00 UTC\+1 becomes 01:00 UTC\.", page)
    assert "hour that comes twice" in page
