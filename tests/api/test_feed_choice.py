"""What a calendar address shows besides its jobs: reminders at a ship's hour, the next days only, pumps that are out."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from icalendar import Calendar

from scheduler.actions.base.context import Hand
from scheduler.actions.capacity.outages import set_down
from scheduler.actions.feed import refresh
from scheduler.actions.feed.calendars import _text
from scheduler.actions.people import sessions
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.domain.feed.scope import Scope
from scheduler.planning.search.stagger import greedy_plan
from scheduler.shiptime import ShipOffset
from scheduler.storage.feed import FeedEventRow
from scheduler.storage.vessel import AssetKind
from tests.api.stage import AT, Stage, stamp
from tests.end_to_end.test_actions import ME, PEN_HERE

FEEDS = "/api/v1/feeds"
AHEAD = timedelta(hours=1)
"""Of the ship's clock."""


def body(stage: Stage, name: str = "address", **told: Any) -> str:
    """The calendar of a new address."""
    made = stage.ask("POST", FEEDS, json={"vessel": "demo-plover", **told})
    assert made.status_code == 201, made.text
    refresh.refresh(stage.context, PEN_HERE, "demo-plover")  # as the next tick does
    return stage.client.get(urlsplit(made.json()[name]).path).text.replace("\r\n ", "")


def events(text: str, kind: str = "VEVENT") -> list[Any]:
    """Its components."""
    return list(Calendar.from_ical(text.encode()).walk(kind))


@pytest.mark.long
def test_a_pump_that_is_out_stands_in_the_calendar_until_it_is_back_and_after(fresh: Stage) -> None:
    """Down: out, and plans' assumption as such; told: the date told; back: when it was out. Not among tasks, nor of a kind."""
    pump = "/api/v1/pumps/plover-pump-b"
    before = {str(one["UID"]) for one in events(body(fresh))}
    assert fresh.ask("POST", f"{pump}/breakdowns", json={"at": stamp(AT), "reason": "seized"}).status_code == 201

    def out() -> list[str]:
        return [str(one["SUMMARY"]) for one in events(body(fresh)) if "out" in str(one["CATEGORIES"].to_ical())]

    assert out() == ["VP2 out, back 3 Nov?"]
    assert any(
        "Breakdown" in str(one["DESCRIPTION"]) or "breakdown" in str(one["SUMMARY"]) for one in events(body(fresh))
    )
    told = {"expected_at": stamp(AT + timedelta(days=3))}
    assert fresh.ask("PUT", f"{pump}/expected-return", json=told, headers={"Idempotency-Key": "e"}).status_code == 200
    assert out() == ["VP2 out, back 23 Oct"]
    assert not [one for one in events(body(fresh, "tasks"), "VTODO") if str(one["SUMMARY"]).startswith("VP2 out")]
    assert "VP2 out" not in body(fresh, kinds=["alarm_test"])
    status = next(one for one in events(body(fresh)) if str(one["SUMMARY"]).startswith(("Plan as of", "No plan")))
    assert "1 pump out" in str(status["SUMMARY"])
    fresh.clock.at += timedelta(hours=5)
    assert (
        fresh.ask("POST", f"{pump}/runs-after-all", json={"at": stamp(fresh.clock.at), "reason": "ran"}).status_code
        == 200
    )
    assert out() == ["VP2 was out"]
    assert before <= {str(one["UID"]) for one in events(body(fresh))}


@pytest.mark.long
def test_reminders_ring_on_the_evening_before_at_the_hour_chosen(fresh: Stage) -> None:
    """18:00 aboard unless another was chosen; the reminder says position and job; none at night can be chosen."""
    digest = planning.bring_up(fresh.context, "demo-plover", "plover-plant", greedy_plan)[0].digest
    place = Place("plover-plant", "demo-plover", "plover-plant", AssetKind.PLANT)
    planning.take(fresh.context, Hand(ME, "take", {"take": 1}), place, digest)
    for told, hour in (({}, 18), ({"alarm_hour": 7}, 7)):
        alarmed = [one for one in events(body(fresh, alarms=True, **told)) if one.walk("VALARM")]
        assert alarmed
        for one in alarmed:
            (alarm,) = one.walk("VALARM")
            rings = alarm["TRIGGER"].dt + AHEAD
            assert (rings.hour, rings.minute) == (hour, 0)
            starts = one["DTSTART"].dt
            on = (starts + AHEAD).date() if isinstance(starts, datetime) else starts
            assert rings.date() == on - timedelta(days=1)
            assert str(alarm["DESCRIPTION"]) == str(one["SUMMARY"])
    for hour in (5, 22):
        assert (
            fresh.ask("POST", FEEDS, json={"vessel": "demo-plover", "alarms": True, "alarm_hour": hour}).status_code
            == 422
        )


@pytest.mark.long
def test_the_next_days_alone_can_be_shown(fresh: Stage) -> None:
    """Open jobs that start within them, and what is past due; nothing closed."""
    whole, near = events(body(fresh)), events(body(fresh, days_ahead=14))
    until = (AT + timedelta(days=14)).date()

    def on(one: Any) -> Any:
        starts = one["DTSTART"].dt
        return starts.date() if isinstance(starts, datetime) else starts

    jobs = [one for one in near if not str(one["SUMMARY"]).startswith(("Plan as of", "No plan"))]
    assert 0 < len(jobs) < len(whole) - 1
    assert all(on(one) <= until for one in jobs)
    assert len(jobs) == sum(on(one) <= until and " · done" not in str(one["SUMMARY"]) for one in whole) - 1


@pytest.mark.parametrize(("field", "value"), [("days_ahead", "0"), ("days_ahead", "soon"), ("alarm_hour", "23")])
def test_the_page_refuses_at_the_field(fresh: Stage, field: str, value: str) -> None:
    """What was typed is kept."""
    browser = fresh.enter("engineer-plover")
    signed = sessions.at_browser(fresh.context, browser.cookies["leadline"])
    assert signed is not None
    told = browser.post("/feeds", data={"csrf": signed.csrf, "vessel": "demo-plover", "alarms": "1", field: value})
    assert told.status_code == 422
    assert f'value="{value}"' in told.text


@pytest.mark.long
def test_tasks_say_how_pressing_when_planned_and_when_done(fresh: Stage) -> None:
    """PRIORITY by state, COMPLETED as an instant."""
    key = "alarm_test:plover-plant:1"
    done_at = AT - timedelta(hours=1)
    closed = fresh.close(key, done_at=stamp(done_at), done_by="A. Second", test="passed")
    assert closed.status_code == 200
    tasks = {str(one["SUMMARY"]): one for one in events(body(fresh, "tasks"), "VTODO")}
    assert tasks["Alarm test · done"]["COMPLETED"].dt == done_at
    assert "by A. Second" in str(tasks["Alarm test · done"]["DESCRIPTION"])
    assert re.search(
        r"Verdict: (in window|early|past due within limit|late)\.", str(tasks["Alarm test · done"]["DESCRIPTION"])
    )
    assert {int(one["PRIORITY"]) for one in tasks.values() if "PRIORITY" in one} <= {1, 2, 3, 5, 6, 7}
    assert fresh.ask("GET", FEEDS, role=Role.ENGINEER).json()["feeds"][0]["days_ahead"] is None


@pytest.mark.long
def test_an_outage_told_twice_from_one_second_does_not_stop_the_calendar(fresh: Stage) -> None:
    """Put right after all: the longer of the two stands."""
    pump = "/api/v1/pumps/plover-pump-b"
    at = AT - timedelta(hours=3)
    told = {"at": stamp(at), "reason": "seized"}
    back = {"at": stamp(at + timedelta(minutes=10)), "reason": "ran", "test": "passed"}
    assert fresh.ask("POST", f"{pump}/down", json=told).status_code == 200
    assert fresh.ask("POST", f"{pump}/back", json=back).status_code == 200
    assert fresh.ask("POST", f"{pump}/down", json={**told, "reason": "it never ran"}).status_code == 200
    assert [str(one["SUMMARY"]) for one in events(body(fresh)) if str(one["SUMMARY"]).startswith("VP2 ")].count(
        "VP2 out, back 3 Nov?"
    ) == 1


def test_an_evening_before_holds_for_a_slot_that_ends_at_midnight_utc() -> None:
    """A date and an hour are told apart by how the event stands, not by its end."""
    ends_at = datetime(2026, 12, 2, tzinfo=UTC)
    row = FeedEventRow(
        vessel_id="v",
        uid="u",
        plant_id="p",
        occurrence_key="a:b:1",
        text="BEGIN:VEVENT\r\nDTSTART:20261201T220000Z\r\nSTATUS:CONFIRMED\r\nSUMMARY:VP1 knife\r\nEND:VEVENT\r\n",
        task="",
        fingerprint="",
        sequence=0,
        changed_at=ends_at,
        created_at=ends_at,
        starts_s=int((ends_at - timedelta(hours=2)).timestamp()),
        ends_s=int(ends_at.timestamp()),
        state="window open",
    )
    text = _text(PEN_HERE, row, Scope(vessel_id="v", alarms=True), ShipOffset(600), "Plover")
    assert "TRIGGER;VALUE=DATE-TIME:20261201T080000Z" in text  # 18:00 aboard on the day before the 2nd
    assert "DESCRIPTION:\r\n Plover" in text


@pytest.mark.long
def test_what_is_only_forecast_rings_in_no_calendar(fresh: Stage) -> None:
    """Neither as an event nor as a task."""
    events_with = {str(one["SUMMARY"]) for one in events(body(fresh, alarms=True)) if one.walk("VALARM")}
    tasks_with = {
        str(one["SUMMARY"]) for one in events(body(fresh, "tasks", alarms=True), "VTODO") if one.walk("VALARM")
    }
    assert tasks_with == events_with


def test_work_on_a_planned_job_is_shown_by_the_job_alone(fresh: Stage) -> None:
    """A pump put out by the acts of a knife inspection is no breakdown."""
    key = "knife_inspection:plover-pump-b-knives:1"
    with fresh.context.db.write("demo-plover") as session:
        place = Place("plover-pump-b", "demo-plover", "plover-plant", AssetKind.PUMP)
        set_down(session, place, AT, "work", "A", AT, None, key)
    shown = [str(one["SUMMARY"]) for one in events(body(fresh))]
    assert not [one for one in shown if one.startswith("VP2 out")]
    assert not any("pump out" in one for one in shown)
