"""vdirsyncer 0.20+ and khal 0.13+ as subscribers of the real server, through a turn's changes."""

from datetime import timedelta
from pathlib import Path

import pytest

from api.ics.writer import calendar_writer
from scheduler.actions.feed import refresh
from seed_fleet.documents import vessel_document
from seed_fleet.ships import PLOVER
from tests.clients import Seen, calendar_client
from tests.end_to_end.live import Live, TurnedClock, database_file, serving

pytestmark = pytest.mark.clients
ASKED = iter(range(10_000))


def _post(live: Live, path: str, body: dict) -> dict:
    answer = live.chief.post(path, json=body, headers={"Idempotency-Key": f"clients {next(ASKED)}"})
    assert answer.is_success, answer.text
    return answer.json()


def _plan(live: Live) -> dict[str, str]:
    """A new plan, taken: start of each slot by job."""
    plan = live.chief.post(f"/api/v1/plants/{live.plant}/plan/previews").json()["proposed"]
    _post(live, f"/api/v1/plants/{live.plant}/plan", {"digest": plan["digest"]})
    return {slot["job"]: slot["from"] if "from" in slot else slot["start_at"] for slot in plan["slots"]}


def _put(live: Live, document: dict) -> None:
    path = f"/api/v1/vessels/{PLOVER.vessel}"
    version = live.office.get(path).headers["etag"]
    answer = live.office.put(f"{path}?reason=tried", json=document, headers={"If-Match": version})
    assert answer.is_success, answer.text
    refresh.refresh(live.context, calendar_writer(live.url), PLOVER.vessel)


def _timed(one: Seen) -> bool:
    """Whether it is planned and presses by nothing else: firm, and neither past due nor done nor the status of the plan."""
    return one.status == "CONFIRMED" and " · " not in one.title and not one.title.startswith(("Plan as of", "No plan"))


def _shown(one: Seen) -> tuple[str, str, str]:
    """Without its name, which follows from its whole text: the hours in words are those of the new clock."""
    return one.title, one.status, one.starts


def test_a_subscriber_follows_create_move_done_withdraw_and_a_change_of_zone(tmp_path: Path) -> None:
    """N events in the feed are N in the client after every poll; each change is there at the next one, nothing else."""
    with serving(database_file(tmp_path), PLOVER, years=0.1, clock=TurnedClock()) as live:
        address, client = live.feed(), calendar_client(tmp_path)

        def poll() -> list[Seen]:
            seen = client.sync(address)
            count = live.chief.get(address).text.count("BEGIN:VEVENT\r\n")
            assert len(seen) == client.files() == count
            return seen

        created = poll()
        assert not [one for one in created if _timed(one)]

        _plan(live)
        planned = poll()
        starts = {one.uid: one.starts for one in planned if _timed(one)}
        assert starts
        assert all(one.status == "CONFIRMED" for one in planned if _timed(one))

        document = vessel_document(live.run)
        last = max(job for job in starts.values())
        day = live.clock.at.replace(
            year=int(last[:4]), month=int(last[5:7]), day=int(last[8:10]), hour=0, minute=0, second=0
        )
        away = {"from_at": day.isoformat(), "to_at": (day + timedelta(days=1)).isoformat(), "label": "drill"}
        document["plants"][0]["crew"]["no_work"] = [*document["plants"][0]["crew"].get("no_work", ()), away]
        _put(live, document)
        _plan(live)
        moved = poll()
        assert not [one for one in moved if _timed(one) and one.starts.startswith(last[:10])]

        job = next(
            one
            for one in live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
            if one["kind"] == "alarm_test" and one["open"]
        )
        body = {"done_at": live.context.now().isoformat(), "done_by": "Demo hand", "test": "passed"}
        _post(live, f"/api/v1/jobs/{job['job']}/close", body)
        done = poll()
        assert [one for one in done if one.title == "Alarm test · done" and one.status == "CONFIRMED"]

        for fitting in document["plants"][0]["fittings"]:
            if fitting["part"] == "plover-pump-a-knives":
                fitting["to_at"] = live.context.now().isoformat()
        _put(live, document)
        gone = [one for one in poll() if one.title.endswith(" · withdrawn")]
        assert gone
        assert {one.status for one in gone} == {"CANCELLED"}

        before = poll()
        for minutes in (-300, 780, -660):
            live.clock.at += timedelta(minutes=1)
            told = {"from_at": live.clock.at.isoformat(), "utc_offset_minutes": minutes, "reason": "crossing"}
            _post(live, f"/api/v1/vessels/{PLOVER.vessel}/clock", told)
            refresh.refresh(live.context, calendar_writer(live.url), PLOVER.vessel)
        assert sorted(map(_shown, poll())) == sorted(map(_shown, before))
