"""Who was told that a pump stopped: by page, API and command, on record, in the pump's record."""

from datetime import timedelta

import pytest

from scheduler.domain.capacity.notices import Notified, notices_of
from tests.api.stage import AT, Stage, stamp

PUMP = "plover-pump-b"
DOOR = f"/api/v1/pumps/{PUMP}/notices"


def _stopped(stage: Stage, minutes: int = 0) -> None:
    body = {"at": stamp(AT + timedelta(minutes=minutes)), "reason": "jammed, hums"}
    assert stage.ask("POST", f"/api/v1/pumps/{PUMP}/breakdowns", json=body).status_code == 201


@pytest.mark.long
def test_who_was_told_of_a_stop_is_one_tap_and_stands_there_and_in_the_record(fresh: Stage) -> None:
    """Page and API write the same list, the page says when and by whom in place of its button, and so does the pump's record."""
    _stopped(fresh)
    fresh.clock.at = AT + timedelta(minutes=4)
    browser = fresh.enter("chief-plover")
    page = browser.get(f"/pumps/{PUMP}/stopped").text
    assert page.count(f'action="/pumps/{PUMP}/notices"') == 4
    sent = {
        "csrf": page.partition('name="csrf" value="')[2].partition('"')[0],
        "idempotency_key": "n",
        "whom": "bridge",
    }
    for _ in range(2):  # the second is the same tap
        told = browser.post(f"/pumps/{PUMP}/notices", data=sent)
        assert told.headers["location"] == f"/pumps/{PUMP}/stopped#h-tell"
    assert fresh.ask("POST", DOOR, json={"whom": "hotel", "at": stamp(AT + timedelta(minutes=4))}).status_code == 201
    listed = fresh.ask("GET", DOOR).json()
    assert [(one["whom"], one["at"]) for one in listed["notices"]] == [
        ("bridge", stamp(AT + timedelta(minutes=4))),
        ("hotel", stamp(AT + timedelta(minutes=4))),
    ]
    assert listed["stopped_at"] == stamp(AT)
    page = browser.get(f"/pumps/{PUMP}/stopped").text
    assert page.count(f'action="/pumps/{PUMP}/notices"') == 2
    assert page.count("told Tue") == 2
    record = browser.get(f"/pumps/{PUMP}/record").text
    assert record.count("told of the stop") == 2
    assert "Officer of the watch" in record
    assert (
        browser.post(f"/pumps/{PUMP}/notices", data={**sent, "idempotency_key": "m", "whom": "galley"}).status_code
        == 422
    )


@pytest.mark.long
def test_nobody_is_told_before_the_stop_or_in_time_to_come(fresh: Stage) -> None:
    """At the instant of the stop it counts, a minute before it does not; now it counts, later it does not."""
    fresh.clock.at = AT + timedelta(minutes=30)
    _stopped(fresh)
    for minutes, status in ((-1, 422), (0, 201), (30, 201), (45, 422)):
        told = {"whom": "chief", "at": stamp(AT + timedelta(minutes=minutes))}
        assert fresh.ask("POST", DOOR, json=told).status_code == status, minutes


@pytest.mark.long
def test_each_stop_has_its_own_notices_and_a_pump_that_is_not_out_has_none(fresh: Stage) -> None:
    """Before the stop nobody can be told of it; after it runs again the next stop begins with nobody told."""
    chief = {"whom": "chief", "at": stamp(AT)}
    assert fresh.ask("POST", DOOR, json=chief).status_code == 409
    _stopped(fresh)
    assert fresh.ask("POST", DOOR, json=chief).status_code == 201
    fresh.clock.at = AT + timedelta(minutes=20)
    ran = {"at": stamp(AT + timedelta(minutes=10))}
    assert fresh.ask("POST", f"/api/v1/pumps/{PUMP}/runs-after-all", json=ran).status_code == 200
    assert fresh.ask("GET", DOOR).json() == {"pump": PUMP, "stopped_at": None, "notices": []}
    _stopped(fresh, 15)
    assert fresh.ask("GET", DOOR).json()["notices"] == []


def test_notices_are_of_one_pump_and_one_stop_in_order_of_record() -> None:
    """Another pump's, and those of another stop, are left out."""
    first = {
        "pump": "a",
        "stopped_at": "2026-10-20T07:00:00Z",
        "whom": "bridge",
        "at": "2026-10-20T07:05:00Z",
        "by": "x",
    }
    other, before = {**first, "pump": "b"}, {**first, "stopped_at": "2026-10-19T07:00:00Z"}
    found = notices_of([(4, first), (3, other), (2, before), (1, {**first, "whom": "office"})], "a", AT)
    assert [(one.record, one.whom) for one in found] == [(1, Notified.OFFICE), (4, Notified.BRIDGE)]
