"""What nobody sees in a name or a person's words is shown at every door where a person reads; JSON keeps the bytes."""

import io
import json
import shutil
import subprocess
from datetime import timedelta
from pathlib import Path

import openpyxl
import pytest

from api.ics.text import published_event
from scheduler.domain.base.enums import JobState, Role
from scheduler.domain.feed.revision import CalendarEntry
from scheduler.wording.invisible import visible_text
from tests.api.stage import AT, Stage
from tests.cli.calling import leadline

TURNED = "worn\u202enot"
SHOWN = "worn[U+202E]not"


@pytest.fixture(scope="module")
def told(module_stage: Stage) -> Stage:
    """A closed job whose findings turn the letters round, and a ship whose name does."""
    closed = module_stage.close("alarm_test:plover-plant:1", findings=TURNED, permit_no="=\u2066 1")
    assert closed.status_code == 200, closed.text
    document, etag = module_stage.document()
    document["name"] = f"Demo {TURNED}"
    put = module_stage.ask(
        "PUT", "/api/v1/vessels/demo-plover", role=Role.OFFICE, headers={"If-Match": etag}, json=document
    )
    assert put.status_code == 200, put.text
    return module_stage


def _history(stage: Stage, form: str) -> bytes:
    answer = stage.ask("GET", f"/api/v1/history?vessel=demo-plover&format={form}", role=Role.CHIEF)
    assert answer.status_code == 200, answer.text
    return bytes(answer.content)


@pytest.mark.parametrize(
    "letter",
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c\u200b\u2060\ufeff\xad\x1b\x9b\U000e0041",
)
def test_each_invisible_control_is_shown_as_its_code_point(letter: str) -> None:
    """Source: Unicode Standard Annex 9, 2; U+061C too. The neighbours of the ranges stay."""
    assert visible_text(f"a{letter}b") == f"a[U+{ord(letter):04X}]b"


def test_what_is_seen_or_spells_stays() -> None:
    """Letters beside the ranges, line ends, narrow spaces; a joiner in Persian stays, behind a Latin letter it is shown."""
    for text in ("a\tb\r\nc", "\xa0\xac\xae\u2010\u2027\u202f\u2070\u200a", "می\u200cخواهم", "Łódź Ж Ω 船"):
        assert visible_text(text) == text
    assert visible_text("A\u200dnn \u200d") == "A[U+200D]nn [U+200D]"


@pytest.mark.long
def test_pages_show_it(told: Stage) -> None:
    """The ship's name on her page and the words on the pump's record and the closed job's page."""
    browser = told.enter(_person(told))
    for path in ("/plants/plover-plant", "/people", "/vessels/demo-plover/find?q=worn"):
        page = browser.get(path).text
        assert "\u202e" not in page, path
    assert f"Demo {SHOWN}" in browser.get("/plants/plover-plant").text


def _person(stage: Stage) -> str:
    chief = stage.ask("GET", "/api/v1/people", role=Role.ADMIN).json()["people"]
    return str(next(one["id"] for one in chief if one["role"] == "chief" and one["vessel"] == "demo-plover"))


def test_the_calendar_shows_it() -> None:
    """Title, place and description; and the fingerprint is of what is shown."""
    entry = CalendarEntry(
        key="k:s:1",
        role="due",
        summary=TURNED,
        description=TURNED,
        starts=AT,
        ends=AT + timedelta(hours=1),
        state=JobState.AHEAD,
        status="CONFIRMED",
        opaque=False,
        categories=(TURNED,),
        path="",
        location=TURNED,
    )
    event = published_event(None, entry, vessel_id="v", base_url="", at=AT)
    assert (event.text + event.task).count(SHOWN) == 8
    assert "\u202e" not in event.text + event.task


def test_tables_show_it_and_json_lines_keep_it(told: Stage) -> None:
    """CSV and workbook; a formula behind an invisible letter is none."""
    table = _history(told, "csv").decode()
    assert SHOWN in table
    assert "'=[U+2066] 1" in table
    assert "\u202e" not in table
    book = openpyxl.load_workbook(io.BytesIO(_history(told, "xlsx")))
    cells = [str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert f"Demo {SHOWN}" in cells
    assert SHOWN in cells
    assert not [one for one in cells if "\u202e" in one]
    records = [json.loads(json.loads(line)["text"]) for line in _history(told, "jsonl").decode().splitlines()[1:]]
    assert TURNED in [one.get("findings") for one in records]
    assert told.document()[0]["name"] == f"Demo {TURNED}"


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
def test_paper_shows_it(told: Stage, tmp_path: Path) -> None:
    """In the heading, too."""
    (tmp_path / "h.pdf").write_bytes(_history(told, "pdf"))
    shown = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "h.pdf"), "-"], capture_output=True, text=True, check=True, timeout=60
    ).stdout
    assert f"Demo {SHOWN}" in shown


def test_the_command_line_shows_it_and_its_json_keeps_it(told: Stage) -> None:
    """In lines and in what it refuses."""
    on = ("--database", str(told.database))
    people = (*on, "key", "person", "turned", "--name", f"A. {TURNED}", "--role", "engineer", "--vessel", "demo-plover")
    assert leadline(*people).returncode == 0
    listed = leadline(*on, "people", "list")
    assert f"A. {SHOWN}" in listed.stdout, listed
    assert "\u202e" not in listed.stdout
    kept = json.loads(leadline(*on, "people", "list", "--json").stdout)
    assert f"A. {TURNED}" in [one["name"] for one in kept["people"]]
    refused = leadline(*on, "due", f"plover{TURNED}")
    assert SHOWN in refused.stderr
