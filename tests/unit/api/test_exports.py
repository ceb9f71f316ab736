"""The history as files: JSON Lines, CSV and the summary in words."""

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from api.exports import BOM, COLUMNS, ExportFrame, csv_rows, export_summary, jsonl
from scheduler.domain.base.enums import Test, Trigger
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.closed_job import ClosedJob, DuePoint, HoursSource
from scheduler.domain.record.verify import Verified, verify_lines
from scheduler.errors import Refused

AT = datetime(2026, 11, 25, 7, tzinfo=UTC)
FRAME = ExportFrame(vessel="Demo Plover", made_by="office", as_of=AT, version="0.1.0")
CLOSED = ClosedJob(
    vessel="Demo Plover",
    position="VP1",
    pump_serial="DP-001",
    job_kind="knife inspection",
    job_no="knives:P1:4",
    due=DuePoint(
        trigger=Trigger.RUNNING_HOURS,
        window_opens_running_seconds=1400 * 3600,
        due_running_seconds=1500 * 3600,
        limit_running_seconds=1550 * 3600,
    ),
    done_at=AT,
    utc_offset_minutes=-210,
    running_seconds=1480 * 3600 + 1800,
    hours_source=HoursSource.COUNTER,
    done_by="A. Example, 2/E",
    checked_by=None,
    recorded_by="A. Example",
    findings='worn, "blunt"\nno play',
    test=Test.PASSED,
    least_margin_swept_m3_per_h=-2.5,
)


def records(*jobs: ClosedJob, notes: int = 0) -> list[Record]:
    """The closed jobs, then so many notes, chained."""
    found: list[Record] = []
    previous = GENESIS
    payloads = [(ClosedJob.KIND, job.payload()) for job in jobs]
    payloads += [("interval change", {"vessel": "Demo Plover", "from": 1500, "to": 1400, "why": "sand"})] * notes
    for number, (kind, payload) in enumerate(payloads, 1):
        record = record_of(
            number=number,
            kind=kind,
            payload=payload,
            recorded_at=AT + timedelta(minutes=number),
            previous_hash=previous,
        )
        found.append(record)
        previous = record.hash
    return found


def rows(found: list[Record], *, bom: bool = False) -> list[dict[str, str]]:
    text = "".join(csv_rows(found, bom=bom)).removeprefix(BOM)
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_a_closed_job_fills_its_columns_in_plain_figures() -> None:
    """Hours with two decimals, both clocks, the distance from due with its sign as a number."""
    row = rows(records(CLOSED))[0]
    assert row["record no."] == "1"
    assert row["due (running h)"] == "1500.00"
    assert row["running hours"] == "1480.50"
    assert row["hours from due"] == "-19.50"
    assert row["verdict"] == "in window"
    assert row["done (UTC)"] == "2026-11-25T07:00:00Z"
    assert row["done (ship time)"] == "2026-11-25T03:30:00-03:30"
    assert row["least margin while open (swept m3/h, calculated)"] == "-2.5"
    assert row["findings"] == 'worn, "blunt"\nno play'
    assert row["checked by"] == ""
    assert row["other particulars"] == ""


def test_another_kind_of_record_loses_nothing() -> None:
    """What has no column of its own stands under other particulars; number, kind and hashes as ever."""
    row = rows(records(notes=1))[0]
    assert row["record kind"] == "interval change"
    assert row["other particulars"] == "from: 1500; to: 1400; why: sand"
    assert len(row["hash"]) == 64


@pytest.mark.parametrize("start", ["=1+1", "+cmd", "-cmd", "@sum", "\tx", "\rx", "-1+2", "+1"])
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(start: str) -> None:
    """In every text column, other particulars as well."""
    row = rows(records(replace(CLOSED, findings=start, done_by=start)))[0]
    assert row["findings"] == f"'{start}"
    assert row["done by"] == f"'{start}"


def test_a_byte_order_mark_only_when_asked_for() -> None:
    """Once, in front; the rest is the same."""
    found = records(CLOSED)
    assert "".join(csv_rows(found, bom=True)) == BOM + "".join(csv_rows(found))
    assert not "".join(csv_rows(found)).startswith(BOM)


def test_headings_are_plain_words_and_unique() -> None:
    """No member names of ours."""
    headings = [heading for heading, _ in COLUMNS]
    assert len(set(headings)) == len(headings)
    assert all("_" not in heading for heading in headings)
    assert next(csv_rows([])).rstrip("\r\n").split(",")[:3] == ["record no.", "record kind", "vessel"]


def test_the_first_line_states_vessel_period_count_head_and_completeness() -> None:
    """And each further line is one record as it was hashed."""
    found = records(CLOSED, notes=2)
    frame = replace(FRAME, from_at=AT - timedelta(days=30), to_at=AT + timedelta(days=1))
    lines = list(jsonl(found, frame))
    header = json.loads(lines[0])
    assert (header["vessel"], header["records"], header["head"]) == ("Demo Plover", 3, found[-1].hash)
    assert (header["from"], header["to"], header["filter"]) == ("2026-10-26T07:00:00Z", "2026-11-26T07:00:00Z", None)
    assert header["completeness"].startswith("3 records, 1 to 3, none missing;")
    for line, record in zip(lines[1:], found, strict=True):
        held = json.loads(line)
        assert (held["number"], held["text"], held["hash"]) == (record.number, record.text, record.hash)
    assert isinstance(verify_lines(lines), Verified)


def test_same_records_same_bytes() -> None:
    """Nothing of the moment gets in that was not handed in."""
    assert list(jsonl(records(CLOSED, notes=3), FRAME)) == list(jsonl(records(CLOSED, notes=3), FRAME))
    assert list(csv_rows(records(CLOSED, notes=3))) == list(csv_rows(records(CLOSED, notes=3)))


def test_an_export_with_a_gap_must_state_a_filter() -> None:
    """Otherwise it would pass for the whole."""
    found = records(CLOSED, notes=3)
    del found[1:3]
    with pytest.raises(Refused, match="2 to 3"):
        list(jsonl(found, FRAME))
    header = json.loads(next(jsonl(found, replace(FRAME, filter="kind: closed job"))))
    assert "missing: 2 to 3" in header["completeness"]


def test_the_summary_counts_verdicts_and_a_corrected_record_once() -> None:
    """Every verdict is named, also with nought; the correction counts and what it corrects does not."""
    late = replace(CLOSED, running_seconds=1600 * 3600, hours_source=HoursSource.ESTIMATED)
    found = export_summary(
        records(late, CLOSED, replace(CLOSED, corrects=1), notes=1), also=["hours missing: VP3 2 days"]
    )
    none = dict.fromkeys(("early", "past due within limit", "postponed", "late", "breakdown", "not judged"), 0)
    assert found.by_verdict == {**none, "in window": 2}
    assert found.by_kind == {"closed job": 3, "interval change": 1}
    assert found.completeness == (
        "4 records, 1 to 4, none missing; corrections: 3; running hours estimated: 1; hours missing: VP3 2 days."
    )
    assert export_summary([]).completeness.startswith("0 records; corrections: none")
