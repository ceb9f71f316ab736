"""The history as the office and the auditor get it: workbook, paper, schema, choices, what was due and not done."""

import io
import json
import shutil
import subprocess
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest

from scheduler.domain.base.enums import Role
from scheduler.domain.record.verify import Broken, Verified, verify_lines
from tests.api.stage import AT, Stage, stamp

JOB = "alarm_test:plover-plant:1"
EVIL = ("=1+1", "+1", "-cmd", "@x", "\tx")


@pytest.fixture(scope="module")
def worked(module_stage: Stage) -> Stage:
    """Three turns of one job closed, with findings that a spreadsheet might run and letters outside Latin-1."""
    module_stage.clock.at = AT
    for turn, findings in enumerate((*EVIL[:2], "Łódź Ж Ω"), 1):
        module_stage.clock.at = AT + timedelta(days=31 * (turn - 1))
        told = {
            "done_at": stamp(module_stage.clock.at),
            "done_by": "A. Second",
            "test": "passed",
            "findings": findings,
            "permit_no": EVIL[turn + 1],
        }
        key = JOB.removesuffix("1") + str(turn)
        answer = module_stage.ask("POST", f"/api/v1/jobs/{key}/close", json=told)
        assert answer.status_code == 200, answer.text
    return module_stage


def _get(stage: Stage, query: str, role: Role = Role.CHIEF) -> bytes:
    answer = stage.ask("GET", f"/api/v1/history?vessel=demo-plover&{query}", role=role)
    assert answer.status_code == 200, answer.text
    return bytes(answer.content)


@pytest.mark.long
def test_no_text_becomes_a_formula_and_all_sheets_are_there(worked: Stage) -> None:
    """Reloaded by another library: no formula cell, no link, the text kept and marked as text; empty sheets are there as well."""
    book = openpyxl.load_workbook(io.BytesIO(_get(worked, "format=xlsx")))
    assert book.sheetnames == [
        "Answer", "Jobs", "Not done", "Hours", "Tests", "Postponements", "Non-conformities", "Changes", "All records", "Words",
    ]  # fmt: skip
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type == "f" or cell.hyperlink]
    texts = {str(cell.value): cell for cell in cells}
    assert {"=1+1", "+1", "Łódź Ж Ω"} <= texts.keys()
    assert texts["=1+1"].quotePrefix


def test_the_summary_is_asked_for_like_any_other_form(worked: Stage) -> None:
    """Counts of the same records, narrowed in the same way; what fell due and was not done is counted beside them."""
    told = json.loads(_get(worked, "format=summary"))
    whole, kind = told["done_in_window"][:2]
    assert (whole["closed"], kind["job_kind"], kind["closed"]) == (3, "Alarm test", 3)
    assert sum(kind[name] for name in ("early", "in_window", "past_due_within_limit", "postponed", "late")) == 3
    assert whole["due_and_not_done"] >= 0
    assert json.loads(_get(worked, "format=summary&pump=no-such-pump"))["done_in_window"][0]["closed"] == 0


@pytest.mark.long
def test_same_arguments_same_bytes_in_every_form(worked: Stage) -> None:
    """With the instant and the end of the period given, two exports are equal to the byte: that each was made is recorded later."""
    worked.clock.at = AT + timedelta(hours=1)
    for form in ("jsonl", "csv", "xlsx", "pdf", "summary"):
        query = f"format={form}&as_of={stamp(AT)}&to={stamp(AT + timedelta(minutes=30))}"
        assert _get(worked, query) == _get(worked, query), form
    worked.clock.at = AT


def test_an_export_is_on_record_by_whom_and_what_was_chosen(worked: Stage) -> None:
    """It holds that itself; a summary, which has counts alone, leaves nothing."""
    whole = _get(worked, "format=jsonl").decode().splitlines()
    made = json.loads(json.loads(whole[-1])["text"])
    assert (made["kind"], made["form"], made["choice"], made["from"]) == ("export made", "jsonl", None, None)
    assert made["by"] == json.loads(whole[0])["made_by"]
    _get(worked, f"format=csv&pump=DP-1041&from={stamp(AT - timedelta(days=9))}")
    _get(worked, "format=summary")
    made = json.loads(json.loads(_get(worked, "format=jsonl").decode().splitlines()[-2])["text"])
    assert (made["form"], made["from"]) == ("csv", stamp(AT - timedelta(days=9)))
    assert "DP-1041" in made["choice"]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
def test_letters_outside_latin_1_reach_paper_and_nothing_is_read_as_markup(worked: Stage, tmp_path: Path) -> None:
    """pdftotext finds the letters; what looks like a formula stands there as typed, without the spreadsheet's apostrophe."""
    (tmp_path / "h.pdf").write_bytes(_get(worked, "format=pdf"))
    shown = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "h.pdf"), "-"], capture_output=True, text=True, check=True, timeout=60
    ).stdout
    assert "Łódź Ж Ω" in shown
    assert "=1+1" in shown
    assert "'=1+1" not in shown
    assert "No record is missing" in shown


def test_every_line_is_as_the_schema_says_and_every_text_too(worked: Stage) -> None:
    """Source: JSON Schema 2020-12, by the library jsonschema; a line with a member more or a wrong hash is refused."""
    schema = worked.ask("GET", "/api/v1/history/schema", role=Role.OFFICE).json()
    checker = jsonschema.Draft202012Validator(schema)
    checker.check_schema(schema)
    members = jsonschema.Draft202012Validator({**schema["$defs"]["members"], "$defs": schema["$defs"]})
    lines = [json.loads(line) for line in _get(worked, "").decode().splitlines()]
    for line in lines:
        checker.validate(line)
    for line in lines[1:]:
        members.validate(json.loads(line["text"]))
    for wrong in ({**lines[1], "more": 1}, {**lines[1], "hash": "x"}, {**lines[0], "records": "3"}):
        assert not checker.is_valid(wrong)


def test_a_choice_lists_closed_jobs_only_says_so_and_is_not_taken_for_a_chain(worked: Stage) -> None:
    """By pump, kind, due and done dates; verify refuses it, and a plain period still verifies."""
    worked.clock.at = AT + timedelta(days=100)  # after all there is on record: each export is on record too

    def chosen(query: str) -> list[dict[str, Any]]:
        return [json.loads(line) for line in _get(worked, query).decode().splitlines()]

    kind = chosen("kind=alarm_test")
    assert len(kind) == 4
    assert kind[0]["filter"] == "closed jobs only, job kind alarm_test"
    assert isinstance(verify_lines(_get(worked, "kind=alarm_test").splitlines(keepends=True)), Broken)
    assert len(chosen("pump=no-such-pump")) == 1
    first = (AT + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert len(chosen(f"done_from={first}")) == 3
    assert len(chosen(f"done_to={first}")) == 2
    later = (AT + timedelta(days=99)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert isinstance(verify_lines(_get(worked, f"from={later}").splitlines(keepends=True)), Verified)


def test_what_fell_due_and_was_not_done_is_listed(worked: Stage) -> None:
    """The open turn once its due date is past, and a turn of the period that was done after it."""
    worked.clock.at = AT + timedelta(days=150)
    book = openpyxl.load_workbook(io.BytesIO(_get(worked, "format=xlsx")))
    rows = list(book["Not done"].iter_rows(min_row=2, values_only=True))
    assert any(row[6] == "alarm_test:plover-plant:4" and row[4] in ("past due", "past limit") for row in rows)
    assert not any(row[6] == JOB for row in rows)


def test_an_end_still_to_come_is_cut_at_now_and_said(worked: Stage) -> None:
    """No period beyond what is recorded is claimed; an end a second ago stays as asked; nor is it as of a later day."""
    ahead = stamp(worked.clock.at + timedelta(days=365))
    header = json.loads(_get(worked, f"to={ahead}&as_of={ahead}").decode().splitlines()[0])
    assert (header["to"], header["as_of"]) == (None, stamp(worked.clock.at))
    book = openpyxl.load_workbook(io.BytesIO(_get(worked, f"format=xlsx&to={ahead}")))
    said = [str(cell.value) for row in book["Answer"].iter_rows() for cell in row if cell.value is not None]
    assert [one for one in said if "still to come: it ends when it was made" in one]
    past = stamp(worked.clock.at)
    assert json.loads(_get(worked, f"to={past}").decode().splitlines()[0])["to"] == past
