"""Dates that moved through the real doors, and a silent counter's hours carried on in sight."""

from collections.abc import Iterator
from datetime import timedelta

import pytest

from api.ics.writer import calendar_writer
from scheduler.actions.feed import refresh
from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp

DUE = "/api/v1/plants/plover-plant/due"


@pytest.fixture(scope="module")
def ship(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with staged(tmp_path_factory.mktemp("moved"), (PLOVER,), days=6) as stage:
        refresh.refresh(stage.context, calendar_writer(stage.context.settings.shown_base_url()), PLOVER.vessel)
        yield stage


def adjust(stage: Stage, hours: int) -> None:
    body = {"kind": "adjustment", "at": stamp(AT - timedelta(hours=2)), "hours": hours, "reason": "log of the starter"}
    assert stage.ask("POST", "/api/v1/counters/plover-vp1-hours/events", json=body).status_code == 201
    refresh.refresh(stage.context, calendar_writer(stage.context.settings.shown_base_url()), PLOVER.vessel)


@pytest.mark.long
def test_the_list_is_read_on_from_where_one_was(ship: Stage) -> None:
    """Nothing at first; after an event its pump's dates, by cause, from which to which; then only what is new."""
    assert ship.ask("GET", f"{DUE}/moved").json() == {"plant": "plover-plant", "moved": [], "next": 0}
    before = {job["job"]: job for job in ship.ask("GET", DUE).json()["jobs"]}
    adjust(ship, 60)
    first = ship.ask("GET", f"{DUE}/moved").json()
    assert first["moved"]
    assert first["next"] == first["moved"][-1]["number"] == len(first["moved"])
    now = {job["job"]: job for job in ship.ask("GET", DUE).json()["jobs"]}
    for one in (one for one in first["moved"] if one["open"]):
        assert one["cause"] == "counter event"
        assert one["from"]["due_at"] == before[one["job"]]["published"]["due_at"] > one["to"]["due_at"]
        assert one["to"]["due_at"] == now[one["job"]]["published"]["due_at"] == now[one["job"]]["due_at"]
    assert ship.ask("GET", f"{DUE}/moved?since={first['next']}").json()["moved"] == []
    adjust(ship, 60)
    second = ship.ask("GET", f"{DUE}/moved?since={first['next']}&limit=1").json()
    assert [one["number"] for one in second["moved"]] == [first["next"] + 1]
    for wrong in ("since=-1", "limit=0", "limit=501", "since=x"):
        assert ship.ask("GET", f"{DUE}/moved?{wrong}").status_code == 422
    page = ship.enter("chief-plover").get("/plants/plover-plant/moved")
    assert page.status_code == 200
    assert "counter event" in page.text
    assert "earlier" in page.text


def test_every_due_date_says_what_it_rests_on(ship: Stage) -> None:
    """Hours as of, estimated or not, what is left in running hours and in days; published and reckoned side by side."""
    for job in ship.ask("GET", DUE).json()["jobs"]:
        assert {"due_at", "window_opens_at", "limit_at", "early_at", "late_at"} <= job["published"].keys() & job[
            "reckoned"
        ]
        assert job["published"]["since"] is not None
        assert isinstance(job["days_left"], float)
        if job["due_running_hours"] is not None:
            assert job["hours_as_of"] is not None
            assert isinstance(job["running_hours_left"], float)


def test_a_silent_counter_is_carried_on_in_sight(ship: Stage) -> None:
    """Four days on without a reading: hours as read, about how many now, and the same on page and command's words."""
    ship.clock.at = AT + timedelta(days=4)
    pump = ship.pump("plover-pump-a")["hours"]
    assert pump["estimated"]
    assert pump["projected_running_hours"] > pump["running_hours"] + 10
    job = next(j for j in ship.ask("GET", DUE, role=Role.OFFICE).json()["jobs"] if j["kind"] == "overhaul")
    assert job["projected_running_hours_left"] < job["running_hours_left"]
    assert job["estimated"]
    page = ship.enter("chief-plover").get("/plants/plover-plant").text
    assert "h more by now" in page.replace("\u00a0", " ")
    sheet = ship.enter("chief-plover").get(f"/vessels/demo-plover/jobs/{job['job']}").text
    assert "hours estimated, as of" in sheet
    assert "h now; estimated, read" in sheet
