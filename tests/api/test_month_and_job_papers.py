"""The month's report and a closed job's paper: through their doors, the page and the command, one page each."""

import re
import shutil
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest

from api.exports.month_report import month_data
from scheduler.actions.record.due_next import NextDue
from scheduler.actions.record.month import last_month, month_bounds, month_facts, months_on
from scheduler.domain.base.enums import Role
from scheduler.errors import Refused
from scheduler.shiptime import ShipOffset
from tests.api.stage import AT, Stage, stamp
from tests.pictures import picture

POPPLER = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
JOB = "alarm_test:plover-plant:1"
SHIP = "/api/v1/vessels/demo-plover"


@pytest.fixture(scope="module")
def month(module_stage: Stage) -> Stage:
    """October: a job closed on the 20th, with a photo and a finding; a postponement asked; then it is November."""
    stage = module_stage
    stage.clock.at = AT
    done = {"done_at": stamp(AT), "done_by": "A. Second", "test": "passed", "findings": "Lamp Ж changed"}
    assert stage.ask("POST", f"/api/v1/jobs/{JOB}/close", json=done).status_code == 200
    overhaul = next(
        job for job in stage.ask("GET", "/api/v1/plants/plover-plant/due").json()["jobs"] if job["kind"] == "overhaul"
    )
    later = {
        "to_at": stamp(AT + timedelta(days=900)),
        "reason": "no seal aboard",
        "risk": "leak",
        "mitigation": "looked at",
    }
    assert stage.ask("POST", f"/api/v1/jobs/{overhaul['job']}/postponements", json=later).status_code in (200, 201)
    stage.clock.at = AT + timedelta(days=14)
    return stage


def _text(content: bytes, folder: Path) -> str:
    (folder / "paper.pdf").write_bytes(content)
    command = ["pdftotext", "-layout", str(folder / "paper.pdf"), "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout


@pytest.mark.long
@POPPLER
def test_a_month_is_one_page_with_what_was_done_falls_due_and_is_open(month: Stage, tmp_path: Path) -> None:
    """Before it is signed it says so; signed by the chief it names who, when and which record."""
    content = month.ask("GET", f"{SHIP}/months/2026-10", role=Role.CHIEF).content
    said = re.sub(r"\s+", " ", _text(content, tmp_path))
    assert "page 1 of 1" in said
    for words in (
        "1 job done",
        "Alarm test: 20 Oct",
        "Falls due in November",
        "no seal aboard",
        "Not signed yet",
        "Postponement 1 is not decided",
    ):
        assert words in said, words
    assert (
        month.ask(
            "POST", f"{SHIP}/reviews", role=Role.CHIEF, json={"month": "2026-10", "text": "Looked through."}
        ).status_code
        == 201
    )
    signed = re.sub(r"\s+", " ", _text(month.ask("GET", f"{SHIP}/months/2026-10", role=Role.OFFICE).content, tmp_path))
    assert "Signed by" in signed
    assert "Looked through." in signed
    later = _text(month.ask("GET", f"{SHIP}/months/2026-11", role=Role.CHIEF).content, tmp_path)
    assert "The month is not over." in later


def test_the_same_month_is_a_page(month: Stage) -> None:
    """With its answer as heading, the month before to go to, and the file."""
    answer = month.ask("GET", "/vessels/demo-plover/months/2026-10", role=Role.CHIEF)
    assert answer.status_code == 200
    assert "1\u00a0job done" in answer.text
    assert "/vessels/demo-plover/months/2026-09" in answer.text
    assert "/api/v1/vessels/demo-plover/months/2026-10" in answer.text


@pytest.mark.parametrize(
    "wrong", ["2026-13", "2026-1", "october", "9999-12", "0000-01", "2026-10-01", "2027-01", "x" * 300]
)
def test_what_is_no_month_or_has_not_begun_is_refused_in_words(month: Stage, wrong: str) -> None:
    """At the door and on the page, with what was expected."""
    for path in (f"{SHIP}/months/{wrong}", f"/vessels/demo-plover/months/{wrong}"):
        answer = month.ask("GET", path, role=Role.CHIEF)
        assert answer.status_code == 422, answer.text
    assert "month" in month.ask("GET", f"{SHIP}/months/{wrong}", role=Role.CHIEF).json()["detail"]


@POPPLER
def test_a_closed_job_is_a_page_of_its_own_with_its_photos(month: Stage, tmp_path: Path) -> None:
    """Verdict, found, who, record stamp; one that is open has none yet."""
    photo = {"photo": ("p.jpg", picture("JPEG", (900, 700)))}
    assert month.ask("POST", f"/api/v1/jobs/{JOB}/photos", files=photo, data={"text": "the lamp"}).status_code == 201
    answer = month.ask("GET", f"/api/v1/jobs/{JOB}/paper", role=Role.ENGINEER)
    assert answer.status_code == 200, answer.text
    said = re.sub(r"\s+", " ", _text(answer.content, tmp_path))
    for words in ("Lamp Ж changed", "A. Second", "not checked", "the lamp", "Record stamp", "page 1 of 1"):
        assert words in said, words
    assert month.ask("GET", "/api/v1/jobs/alarm_test:plover-plant:2/paper").status_code == 404
    assert answer.content == month.ask("GET", f"/api/v1/jobs/{JOB}/paper", role=Role.ENGINEER).content


@pytest.mark.long
@POPPLER
def test_what_was_open_at_the_end_of_a_month_stands_in_its_report_and_what_came_later_does_not(
    month: Stage, tmp_path: Path
) -> None:
    """A pump that broke down before the month's end and came back after it was out then; one that broke down later was not."""
    before, after = AT.replace(day=31), AT + timedelta(days=13)
    for pump, at in (("plover-pump-a", before), ("plover-pump-c", after)):
        told = {"at": stamp(at), "reason": "rotor held fast"}
        assert month.ask("POST", f"/api/v1/pumps/{pump}/breakdowns", json=told).status_code == 201
    back = {"at": stamp(after), "test": "passed", "reason": "cloth cut out"}
    assert month.ask("POST", "/api/v1/pumps/plover-pump-a/back", json=back).status_code == 200
    content = month.ask("GET", f"{SHIP}/months/2026-10", role=Role.CHIEF).content
    said = re.sub(r"\s+", " ", _text(content, tmp_path))
    assert "VP1 is out since 31 Oct 2026" in said
    assert "VP3 is out" not in said
    assert "Postponement 1 is not decided" in said


def test_months_follow_each_other_over_the_year() -> None:
    """Counted by hand; a month begins at the ship's midnight."""
    assert [months_on("2026-01", n) for n in (-1, 0, 1, 12, -13)] == [
        "2025-12",
        "2026-01",
        "2026-02",
        "2027-01",
        "2024-12",
    ]
    begin, end, after = month_bounds("2026-12", ShipOffset(120))
    assert [f"{one:%Y-%m-%dT%H}" for one in (begin, end, after)] == ["2026-11-30T22", "2026-12-31T22", "2027-01-31T22"]
    assert last_month(begin, ShipOffset(120)) == "2026-11"
    assert last_month(begin - timedelta(seconds=1), ShipOffset(120)) == "2026-10"
    with pytest.raises(Refused):
        month_bounds("1979-12", ShipOffset(0))


@pytest.mark.long
def test_what_was_going_to_fall_due_by_hours_stands_there_although_it_was_done_since(fresh: Stage) -> None:
    """As of the month's end, by the likely date of its hours, with what came of it; once the next month is over, what was not done
    says so; a job done before the month's end is not among them."""
    seal, alarm = "seal_inspection:plover-pump-c-seal:1", "alarm_test:plover-plant:1"
    fresh.clock.at = AT + timedelta(days=10)
    assert fresh.close("knife_inspection:plover-pump-a-knives:1").is_success
    before = {(one.position, one.kind): one for one in _next_due(fresh)}
    assert before["VP3", "Seal inspection"].state is not None
    assert ("VP1", "Knife inspection") not in before
    fresh.clock.at = AT + timedelta(days=20)
    for job in (seal, alarm):
        assert fresh.close(job).is_success
    after = {(one.position, one.kind): one for one in _next_due(fresh)}
    assert after.keys() == before.keys()
    for name in (("VP3", "Seal inspection"), ("Vacuum plant", "Alarm test")):
        assert after[name].due_at == before[name].due_at
        assert after[name].state is None
        assert after[name].done_at == fresh.clock.at - timedelta(hours=1)
    assert after["VP2", "Knife inspection"].state is not None
    fresh.clock.at = AT + timedelta(days=60)
    found = month_facts(fresh.context, "demo-plover", "2026-10")
    assert found.next_over
    rows = {(row["pump"], row["job"]): row for row in month_data(found, "a test")["next"]}
    assert rows["VP2", "Knife inspection"]["planned"] == "not done"
    assert rows["VP3", "Seal inspection"]["due"].startswith("due 17\xa0Nov\xa02026")
    assert rows["VP3", "Seal inspection"]["planned"].endswith("9\xa0Nov\xa02026")
    assert ("VP2", "Pull-down test") not in rows


def _next_due(stage: Stage) -> tuple[NextDue, ...]:
    return month_facts(stage.context, "demo-plover", "2026-10").next_due
