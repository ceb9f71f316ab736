"""Why a job is due when it is, through the doors and on the page, also where a counter may have lost hours."""

from datetime import timedelta
from html import unescape

from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

COUNTER = PLOVER.counter(0)


def test_every_open_job_says_why_and_its_page_says_the_same(fresh: Stage) -> None:
    """List, single job and page carry one sentence; its figures are those of the job."""
    for job in fresh.due().values():
        why = job["why"]
        assert why["first_reached_by"] == job["trigger"]
        assert why["running_hours_left"] == job["running_hours_left"]
        assert why["h_per_day"] == job["h_per_day"]
        assert why["sentence"].endswith(".")
    job = next(j for j in fresh.due().values() if j["running_hours_left"])
    assert fresh.ask("GET", f"/api/v1/jobs/{job['job']}").json()["why"]["sentence"] == job["why"]["sentence"]
    page = fresh.enter("engineer-plover").get(
        f"/vessels/{PLOVER.vessel}/jobs/{job['job']}", headers={"Accept": "text/html"}
    )
    assert job["why"]["sentence"] in unescape(page.text)


def test_hours_a_restarted_counter_may_have_lost_count_until_answered(fresh: Stage) -> None:
    """VP1's counter starts again from nought: its hour jobs are estimated and early by up to the gap, until that is settled."""
    fresh.clock.at = AT + timedelta(hours=40)
    before = {key: job for key, job in fresh.due().items() if job["position"] == "plover-vp1" and job["early_at"]}
    assert before
    for n, value in enumerate((3, 4)):
        told = fresh.post({"counter": COUNTER, "observed_at": stamp(AT + timedelta(hours=36 + n)), "value": value})
        assert told.json()["items"][0]["status"] == "stored"
    lost = {key: job for key, job in fresh.due().items() if key in before}
    for job in lost.values():
        assert job["estimated"]
        assert 24 <= job["why"]["may_miss_running_hours"] <= 36
        assert "more may have run where a counter started again" in job["why"]["sentence"]
    answer = {"kind": "nothing missing", "at": stamp(AT + timedelta(hours=36)), "reason": "battery changed, pump stood"}
    done = fresh.ask("POST", f"/api/v1/counters/{COUNTER}/events", json=answer)
    assert done.status_code in (200, 201), done.text
    for key, job in fresh.due().items():
        if key in before:
            assert job["why"]["may_miss_running_hours"] == 0
            assert job["early_at"] >= lost[key]["early_at"]
    assert any(job["early_at"] > lost[key]["early_at"] for key, job in fresh.due().items() if key in before)
