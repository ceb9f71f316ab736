"""What is added in one place stands in the lists beside it: events of a counter, members of a job kind."""

import json
import re
from dataclasses import fields
from pathlib import Path
from typing import get_args

import pytest

from api.exports.pump_pages import COUNTER_WORDS
from api.pages.shared.codes import WORDS
from api.routes.bodies.hours import EventBody
from scheduler.actions.hours.counter_events import ASKED, EXPECTED
from scheduler.actions.hours.ledger import events_of
from scheduler.actions.work.closing import CLOSE_FLAGGED
from scheduler.actions.work.nonconformities import PAST_LIMIT
from scheduler.actions.work.steps import WORK_FLAGGED
from scheduler.domain.base.enums import Role, Test, Trigger
from scheduler.domain.checks.kinds_table import COLUMNS
from scheduler.domain.people.authentication import Proof
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.storage.hours.counters import CounterEventRow
from tests.browser.fullest_sheet import FULLEST, LEAST

ROOT = Path(__file__).parents[2]
LOOKS_AT_KINDS = (
    "api/pages",
    "scheduler/wording",
    "scheduler/domain/due",
    "scheduler/domain/work",
    "scheduler/planning",
)
EVENTS = [word for body in get_args(get_args(EventBody)[0]) for word in get_args(body.model_fields["kind"].annotation)]
DETAIL = dict.fromkeys(
    ("old_final_milli", "new_first_milli", "seconds_per_count", "modulus", "resolution_milli", "seconds"), 1
)
NO_COLUMN = {
    "measures": "figures with their limits, which one cell cannot hold",
    "parts": "names with counts, which one cell cannot hold",
    "pumps_closed": "of two kinds alone, by the vessel document",
}


@pytest.mark.parametrize("kind", EVENTS)
def test_an_event_of_a_counter_stands_in_every_list(kind: str) -> None:
    """In what is expected where none such is told, in the ledger's reading of stored events, in the words of the pump's record."""
    assert kind in EXPECTED
    assert kind in COUNTER_WORDS
    row = CounterEventRow(
        id="e",
        counter_no=1,
        vessel_id="v",
        kind=kind,
        at_s=0,
        detail=json.dumps(DETAIL),
        reason="",
        actor="",
        recorded_s=0,
    )
    events_of([row])


def test_every_code_that_a_page_shows_has_its_words_and_no_other() -> None:
    """Members of enums, kinds of counter events and of what was asked for of them, and states of decisions: the list is theirs."""
    enums = {one.value for enum in (Verdict, Test, Trigger, Role, Proof) for one in enum}
    events = {*EVENTS, *ASKED, *ASKED.values()}
    states = {"asked", "granted", "refused", "open", "answered", "closed"}
    assert sorted(WORDS) == sorted({*enums, *events, *states, PAST_LIMIT, WORK_FLAGGED, CLOSE_FLAGGED})


def test_a_member_of_a_job_kind_is_read_from_a_sheet_and_looked_at() -> None:
    """A column of the spreadsheet of kinds, or above with why it is none; and pages, sentences or the plan look at it."""
    members = {one.name for one in fields(JobKind)}
    assert members - NO_COLUMN.keys() == set(COLUMNS)
    texts = [path.read_text(encoding="utf-8") for folder in LOOKS_AT_KINDS for path in (ROOT / folder).rglob("*.py")]
    assert members <= {name for text in texts for name in re.findall(r"\.(\w+)", text)}


def test_the_fullest_sheet_that_is_printed_has_every_member_of_a_job_kind() -> None:
    """Each is other than by default, or is named with why; so a new one is tried on paper."""
    assert {one.name for one in fields(JobKind) if getattr(FULLEST, one.name) == one.default} == set(LEAST)
