"""The pages of a pump's record and of the search, by their doors."""

import html
import re
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

PUMP, KNIFE = "plover-pump-b", "knife_inspection:plover-pump-b-knives:1"
FIND = "/vessels/demo-plover/find"


def _read(page: str) -> str:
    """What a person reads of a page's main part."""
    body = re.sub(r"<svg.*?</svg>", " ", page.split("<main", 1)[1].split(">", 1)[1], flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def _close(stage: Stage, job: str, **more: Any) -> None:
    told = {"done_at": stamp(AT), "done_by": "A. Second", "test": "passed", "findings": "two red cloths", **more}
    answer = stage.ask("POST", f"/api/v1/jobs/{job}/close", json=told)
    assert answer.status_code < 300, answer.text


@pytest.fixture
def worked(fresh: Stage) -> Stage:
    """VP2 had its knives looked at, stopped and came back; VP1's close was struck; VP3's stands."""
    _close(fresh, KNIFE)
    _close(fresh, "knife_inspection:plover-pump-a-knives:1", findings="wrong pump, a cloth")
    struck = {"reason": "wrong pump"}
    assert fresh.ask(
        "POST", "/api/v1/jobs/knife_inspection:plover-pump-a-knives:1/close/strike", json=struck
    ).is_success
    _close(fresh, "knife_inspection:plover-pump-c-knives:1", findings="edges dull")
    for door, reason in (("down", "seal leaks"), ("back", "seal renewed")):
        told = {"at": stamp(AT), "reason": reason} | ({"test": "passed"} if door == "back" else {})
        assert fresh.ask("POST", f"/api/v1/pumps/{PUMP}/{door}", json=told).is_success
    return fresh


@pytest.mark.long
def test_a_pumps_page_has_its_jobs_stops_and_what_the_record_lacks_and_no_other_pumps(worked: Stage) -> None:
    """Verdict, findings and hours of each close; a struck close is none of them; no id of anything is read."""
    browser = worked.enter("chief-plover")
    said = _read(browser.get(f"/pumps/{PUMP}/record").text)
    assert said.startswith("VP1 VP2 VP3 serial DP-1042 VP2: one job in 2 years")
    assert "two red cloths" in said
    assert "seal leaks" in said
    assert "seal renewed" in said
    assert "edges dull" not in said
    assert "One job not checked by a second person." in said
    assert "plover-pump" not in said
    assert "wrong pump" not in _read(browser.get("/pumps/plover-pump-a/record").text)


def test_who_checked_a_job_is_said_as_it_is_on_record(fresh: Stage) -> None:
    """By own sign-in later, or as its sheet on paper says; what opens no pump needs no check."""
    page = f"/pumps/{PUMP}/record"
    _close(fresh, "pull_down_test:plover-pump-b:1")
    _close(fresh, KNIFE, from_paper=True, checked_by="B. Chief")
    _close(fresh, "seal_inspection:plover-pump-b-seal:1")
    browser = fresh.enter("chief-plover")
    said = _read(browser.get(page).text)
    assert "One job not checked by a second person." in said
    assert "One job checked as the sheet on paper says, not by own sign-in." in said
    assert "A. Second, as on sheet: B. Chief" in said
    checked = fresh.ask("POST", "/api/v1/jobs/seal_inspection:plover-pump-b-seal:1/check", role=Role.CHIEF)
    assert checked.is_success, checked.text
    said = _read(browser.get(page).text)
    assert "not checked by a second person" not in said
    assert "A. Second, checked by" in said


@pytest.mark.long
def test_the_file_for_the_auditor_holds_the_closed_jobs_of_that_pump(worked: Stage) -> None:
    """The page's link leads to a paper; the engineer, who may not export, sees who can."""
    chief, page = worked.enter("chief-plover"), f"/pumps/{PUMP}/record"
    link = html.unescape(re.findall(r'href="(/api/v1/history[^"]*format=pdf[^"]*)"', chief.get(page).text)[0])
    paper = worked.ask("GET", link, role=Role.CHIEF)
    assert paper.content.startswith(b"%PDF")
    engineer = worked.enter("engineer-plover").get(page).text
    assert "/api/v1/history" not in engineer
    assert "The chief engineer and the office can take it out as a file." in _read(engineer)


@pytest.mark.parametrize(
    ("typed", "found", "missing"),
    [
        ("cloth", ["VP2 knife inspection", "two red cloths"], ["VP3 knife inspection"]),
        ("CLOTH vp2", ["VP2 knife inspection"], ["VP1"]),
        ("cloth VP3", ["Nothing on this ship holds"], ["knife inspection"]),
        ("vp2", ["pump, serial DP-1042", "seal leaks"], ["edges dull"]),
        ("dp-1042", ["VP2", "pump, serial DP-1042"], ["edges dull"]),
        ("chief", ["Demo chief"], []),
        ("", ["Find a pump, a job"], ["Nothing"]),
        ("zzz", ["Nothing on this ship holds “zzz”."], []),
    ],
)
def test_words_names_and_positions_are_found(worked: Stage, typed: str, found: list[str], missing: list[str]) -> None:
    """The job where a cloth was found in VP2: by the words of the finding, narrowed by the position."""
    said = _read(worked.enter("engineer-plover").get(FIND, params={"q": typed}).text)
    assert [one for one in found if one not in said] == [], said
    assert [one for one in missing if one in said.replace("such as VP2 narrows", "")] == []
    assert "plover-pump" not in said


@pytest.mark.parametrize("typed", ['" OR "', "*", "a" * 5000, "😀", "1e308", "NEAR(", "<script>alert(1)</script>"])
def test_nothing_that_is_typed_breaks_the_search(stage: Stage, typed: str) -> None:
    """It stands in its field again, escaped."""
    answer = stage.enter("engineer-plover").get(FIND, params={"q": typed})
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text


def test_a_job_closed_today_stands_inside_its_curve(fresh: Stage) -> None:
    """The drawing reaches to the ship's day of today, also where no day of hours is over yet."""
    _close(fresh, KNIFE)
    page = fresh.enter("chief-plover").get(f"/pumps/{PUMP}/record").text
    marks = [float(one) for one in re.findall(r'<circle[^>]* cx="([\d.]+)"', page)]
    assert marks
    assert max(marks) <= 932
