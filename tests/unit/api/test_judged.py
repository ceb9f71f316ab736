"""Done in window, counted by hand on a small history: the verdicts on the records are counted, nothing is judged again."""

import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import openpyxl
import pytest

from api.exports import ExportFrame, Papers, export_summary, jsonl, summary_json, xlsx
from api.exports.judged import ALL, judged
from scheduler.actions.record.history import ExportExtras
from scheduler.actions.record.period import VesselPeriod
from scheduler.domain.base.enums import Trigger
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.choice import NotDone
from scheduler.domain.record.closed_job import NO_DUE_POINT, ClosedJob, DuePoint
from scheduler.domain.record.period import period_facts
from scheduler.domain.record.verify import Verified, verify_lines
from scheduler.shiptime import ShipOffset
from tests.unit.api.test_exports import AT, CLOSED

FRAME = ExportFrame(vessel="Demo Plover", made_by="office", as_of=AT, version="0.1.0")
HOURS = {"early": 1300, "in window": 1450, "past due within limit": 1520, "late": 1600}


def _closed(kind: str, turn: int, verdict: str, **more: int) -> ClosedJob:
    return replace(
        CLOSED, job_kind=kind, job_no=f"{kind}:x:{turn}", running_seconds=HOURS[verdict] * 3600, corrects=more.get("of")
    )


JOBS = (
    _closed("knives", 1, "in window"),
    _closed("knives", 2, "late"),
    _closed("knives", 3, "early"),
    _closed("knives", 2, "in window", of=2),
    _closed("seal", 1, "past due within limit"),
    _closed("seal", 2, "in window"),
    _closed("seal", 3, "late"),
    replace(_closed("seal", 4, "late"), due=replace(CLOSED.due, postponed_to_running_seconds=1700 * 3600)),
    replace(_closed("repair", 1, "late"), due=NO_DUE_POINT),
    replace(
        CLOSED,
        job_kind="alarms",
        job_no="alarms:x:1",
        running_seconds=None,
        due=DuePoint(
            trigger=Trigger.CALENDAR,
            calendar_window_opens_at=AT - timedelta(days=3),
            calendar_due_at=AT + timedelta(days=1),
            calendar_limit_at=AT + timedelta(days=1),
        ),
    ),
)
"""By hand: knives 2 of 3 in window, 1 early (record 4 corrects 2); seal 1 of 4; alarms 1 of 1; the repair is not judged."""


def _records() -> Iterator[Record]:
    previous = GENESIS
    for number, job in enumerate(JOBS, 1):
        record = record_of(
            number=number, kind=ClosedJob.KIND, payload=job.payload(), recorded_at=AT, previous_hash=previous
        )
        previous = record.hash
        yield record


def _not_done(job: str, kind: str) -> NotDone:
    return NotDone(job=job, position="VP1", kind=kind, due_at=AT, limit_at=None, state="past due", done_at=None)


BESIDE = ExportExtras(
    not_done=(_not_done("knives:x:4", "knives"), _not_done("seal:x:3", "seal"), _not_done("valves:x:1", "valves")),
    postponements=(),
    non_conformities=(),
    changes=(),
)
"""Seal 3 was closed after the period, and its record is among the closed ones: it is not counted twice."""


def test_the_counts_are_those_made_by_hand() -> None:
    """By kind and together, a correction once, a breakdown never; a per cent of nothing is no figure."""
    told = {one.job_kind: one for one in judged(export_summary(_records()), BESIDE.not_done)}
    assert list(told) == [ALL, "alarms", "knives", "seal", "valves"]
    assert told["knives"].counts == {"in window": 2, "early": 1}
    assert told["seal"].counts == {"past due within limit": 1, "in window": 1, "late": 1, "postponed": 1}
    whole = told[ALL].given()
    assert whole == {
        "job_kind": ALL,
        "closed": 8,
        "early": 1,
        "in_window": 4,
        "past_due_within_limit": 1,
        "postponed": 1,
        "late": 1,
        "due_and_not_done": 2,
        "in_window_percent_of_closed": 50.0,
        "in_window_percent_with_not_done": 40.0,
    }
    assert told["knives"].given()["in_window_percent_of_closed"] == 66.7
    assert told["valves"].given()["in_window_percent_of_closed"] is None
    assert told["valves"].given()["in_window_percent_with_not_done"] == 0


def test_the_figures_are_those_on_the_records() -> None:
    """A verdict that is changed on a record changes the count: nothing is reckoned from hours or dates here."""
    (first, *_) = _records()
    other = replace(first, text=first.text.replace('"verdict":"in window"', '"verdict":"late"'))
    assert judged(export_summary([other]))[0].counts == {"late": 1}


def test_workbook_lines_and_summary_say_the_same() -> None:
    """The first page in words, a table with figures, the header of the JSON Lines, and the summary with its definitions."""
    found = list(_records())
    book = openpyxl.load_workbook(io.BytesIO(b"".join(xlsx(found, _papers(found)))))
    rows = list(book["Answer"].iter_rows(values_only=True))
    heads = next(row for row in rows if row[1] == "fell due")
    assert heads[1:8] == ("fell due", "in window", "early", "past due within limit", "postponed", "late", "not done")
    assert next(row for row in rows if row[0] == "All together")[1:9] == (10, 4, 1, 1, 1, 1, 2, 0.4)
    assert any(
        row[0] == "10 jobs fell due: 4 in window, 1 early, 1 past due within limit, 1 postponed, 1 late, 2 not done."
        for row in rows
    )
    lines = list(jsonl(found, FRAME))
    assert isinstance(verify_lines(lines), Verified)
    header = json.loads(lines[0])["judged"]
    assert (header["closed"], header["in_window"], header["in_window_percent_of_closed"]) == (8, 4, 50.0)
    told = json.loads("".join(summary_json(found, FRAME, BESIDE)))
    assert told["done_in_window"][0]["in_window_percent_with_not_done"] == 40.0
    assert told["by_verdict"]["breakdown"] == 1
    assert "in window, % of closed" in told["definitions"]


def _papers(found: list[Record]) -> Papers:
    period = VesselPeriod(
        vessel_name="Demo Plover",
        imo="",
        offset=ShipOffset(0),
        first_on=AT.date() - timedelta(days=30),
        last_on=AT.date(),
    )
    facts = period_facts(found)
    return Papers(frame=FRAME, found=export_summary(found), facts=facts, extras=BESIDE, period=period)


@pytest.mark.parametrize("kind", ["knives", "seal", "alarms"])
def test_kinds_add_up(kind: str) -> None:
    """What all kinds have together is the sum of each."""
    whole, *each = judged(export_summary(_records()))
    assert whole.closed == sum(one.closed for one in each)
    assert kind in {one.job_kind for one in each}
