"""The whole main job on a live server: a year of a six-pump ship, from the counters' posts to a verified export."""

import re
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import Hand
from scheduler.actions.plan.planning import propose
from scheduler.actions.plant_state.load import plant_state
from scheduler.domain.record.verify import Broken, Verified, verify_lines
from scheduler.planning.judge.check import judge, margin_series
from seed_fleet.ships import AVOCET
from tests.clients import calendar_client
from tests.end_to_end.live import AT, Live, TurnedClock, database_file, serving

ASKED = iter(range(10_000))


def _post(live: Live, path: str, body: dict) -> dict:
    answer = live.chief.post(path, json=body, headers={"Idempotency-Key": f"e2e {next(ASKED)}"})
    assert answer.is_success, answer.text
    return answer.json()


def _events(text: str) -> dict[str, str]:
    """Event text by UID, unfolded."""
    found = re.findall(r"BEGIN:VEVENT\r\n.*?END:VEVENT\r\n", text, flags=re.DOTALL)
    unfolded = [re.sub(r"\r\n[ \t]", "", one) for one in found]
    return {re.search(r"\r\nUID:(\S+)\r\n", one)[1]: one for one in unfolded}  # type: ignore[index]


@pytest.mark.long
def test_a_year_of_a_six_pump_ship_from_posts_to_a_verified_record(tmp_path: Path) -> None:
    """Posts over HTTP become due jobs, a plan lawful at every hour, a calendar in a real client, a closed job, a record."""
    clock = TurnedClock()
    with serving(database_file(tmp_path), AVOCET, years=1, clock=clock) as live:
        due = live.chief.get(f"/api/v1/plants/{live.plant}/due").json()["jobs"]
        assert len(due) > 20
        assert {job["state"] for job in due} >= {"ahead", "window open"}

        plan = live.chief.post(f"/api/v1/plants/{live.plant}/plan/previews").json()["proposed"]
        assert plan["lawful"]
        assert plan["certificate"]["proven"]
        _post(live, f"/api/v1/plants/{live.plant}/plan", {"digest": plan["digest"]})
        now = plant_state(live.context, AVOCET.vessel, live.plant)
        assert now.taken is not None
        assert judge(now.taken.problem, now.taken.plan).lawful
        runs = margin_series(now.taken.problem, now.taken.plan)
        assert runs[-1].to_step >= 180 * 24
        assert all(run.available >= run.minimum for run in runs)
        placed = {slot["job"] for slot in plan["slots"]} | {short["job"] for short in plan["shortfalls"]}
        horizon = AT + timedelta(days=180)
        wanted = [job for job in now.jobs if job.due_at < horizon and job.renewed_by is None]
        assert {job.job_id.key for job in wanted} <= placed

        address = live.feed()
        first = live.chief.get(address)
        events = _events(first.text)
        client = calendar_client(tmp_path)
        seen = client.sync(address)
        assert len(seen) == len(events) > 40
        assert live.chief.get(address, headers={"If-None-Match": first.headers["etag"]}).status_code == 304

        job = next(job for job in due if job["takes_pump_out"] and job["state"] != "ahead")
        body = {"done_at": (AT - timedelta(hours=1)).isoformat(), "done_by": "Demo second", "test": "passed"}
        closed = _post(live, f"/api/v1/jobs/{job['job']}/close", body)
        after = _events(live.chief.get(address).text)
        changed = {uid for uid in events.keys() & after.keys() if events[uid] != after[uid]}
        done = [uid for uid in changed if " · done\r\n" in after[uid]]
        assert len(done) == 1
        assert job["job"] in after[done[0]]
        assert any(one.title.endswith(" · done") for one in client.sync(address))

        propose(live.context, AVOCET.vessel, live.plant)
        again = live.chief.get(f"/api/v1/plants/{live.plant}/plan").json()
        old = {slot["job"]: slot["from"] for slot in again["taken"]["slots"]}
        new = {slot["job"]: slot["from"] for slot in again["proposed"]["slots"]}
        kind_and_subject = job["job"].rpartition(":")[0]
        moved = [key for key in old.keys() & new.keys() if old[key] != new[key]]
        assert [key for key in moved if not key.startswith(kind_and_subject)] == []
        _post(live, f"/api/v1/plants/{live.plant}/plan", {"digest": again["proposed"]["digest"]})
        last = _events(live.chief.get(address).text)
        assert after.keys() - last.keys() == set() or all(
            kind_and_subject in after[u] for u in after.keys() - last.keys()
        )

        export = live.office.get("/api/v1/history", params={"vessel": AVOCET.vessel}).text
        lines = export.splitlines(keepends=True)
        whole = verify_lines(lines, expected_head=_head(live))
        assert isinstance(whole, Verified)
        assert closed["stamp"] in export
        broken = verify_lines(export.replace("Demo second", "Demo sec0nd").splitlines(keepends=True))
        assert isinstance(broken, Broken)
        assert broken.number == closed["record"]


def _head(live: Live) -> str:
    from scheduler.actions.record.history import head_of

    return head_of(live.context, AVOCET.vessel)[1]


@pytest.mark.long
def test_nothing_new_changes_no_byte(tmp_path: Path) -> None:
    """Planning and writing the calendar again, hours later and with nothing new, leaves slots, events and ETag as they are."""
    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh
    from scheduler.actions.plan import planning
    from scheduler.actions.vessel.fleet import Place
    from scheduler.storage.vessel import AssetKind
    from tests.end_to_end.live import FIRST

    clock = TurnedClock()
    with serving(database_file(tmp_path), AVOCET, years=0.2, clock=clock) as live:
        vessel, plant = AVOCET.vessel, live.plant
        held = planning.propose(live.context, vessel, plant)
        place = Place(plant, vessel, plant, AssetKind.PLANT)
        planning.take(live.context, Hand(FIRST, "take", {"take": held.digest}), place, held.digest)
        pen = calendar_writer(live.url)
        first = refresh.refresh(live.context, pen, vessel)
        clock.at = AT + timedelta(minutes=20)
        second = refresh.refresh(live.context, pen, vessel)
        assert (second.body, second.etag, second.changed_at) == (first.body, first.etag, first.changed_at)
        assert planning.slot_differences(plant_state(live.context, vessel, plant)) == ()
        planning.propose(live.context, vessel, plant)
        assert planning.slot_differences(plant_state(live.context, vessel, plant)) == ()
