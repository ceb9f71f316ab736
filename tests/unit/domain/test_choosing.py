"""Which records an export takes: periods from their first instant to just before their last."""

import json
from datetime import timedelta

import pytest

from scheduler.domain.record.chain import Record
from scheduler.domain.record.choice import Choice, not_done_then
from scheduler.domain.record.closed_job import ClosedJob
from tests.unit.domain.plants import AT

S, DAY = timedelta(seconds=1), timedelta(days=1)
END = AT + 10 * DAY


def _closed(due_at=AT, done_at=AT) -> Record:
    members = {"job_no": "overhaul:u1:1", "job_kind": "Overhaul", "due_at": due_at, "done_at": done_at}
    text = json.dumps({name: at if isinstance(at, str) else at.isoformat() for name, at in members.items()})
    return Record(number=1, kind=ClosedJob.KIND, recorded_at=AT, text=text, previous_hash="", hash="")


BOUNDS = [(-S, False), (0 * S, True), (10 * DAY - S, True), (10 * DAY, False)]


@pytest.mark.parametrize(("later", "taken"), BOUNDS)
def test_a_period_of_recording_begins_with_its_first_instant_and_ends_before_its_last(later, taken):
    """The period is moved about the record."""
    assert Choice(from_at=AT - later, to_at=END - later).takes(_closed()) is taken


@pytest.mark.parametrize("name", ["due", "done"])
@pytest.mark.parametrize(("later", "taken"), BOUNDS)
def test_so_do_the_periods_of_due_and_done_dates_also_when_open_at_one_end(name, later, taken):
    """Each end narrows by itself."""
    record = _closed(**{f"{name}_at": AT + later})
    both = {f"{name}_from_at": AT, f"{name}_to_at": END}
    assert Choice(**both).takes(record) is taken
    assert Choice(**{f"{name}_from_at": AT}).takes(record) is (later >= 0 * S)
    assert Choice(**{f"{name}_to_at": END}).takes(record) is (later < 10 * DAY)


@pytest.mark.parametrize(
    ("choice", "due_at", "now_at", "within"),
    [
        (Choice(to_at=END), END - S, END + DAY, True),
        (Choice(to_at=END), END, END + DAY, False),
        (Choice(to_at=END), AT + DAY, AT + DAY, False),
        (Choice(to_at=END), AT + DAY - S, AT + DAY, True),
        (Choice(from_at=AT), AT, END, True),
        (Choice(from_at=AT), AT - S, END, False),
        (Choice(due_from_at=AT, from_at=END), AT, END, True),
        (Choice(due_to_at=END, to_at=AT), END - S, END + DAY, True),
    ],
)
def test_what_was_due_is_in_the_period_it_is_about_and_past(choice, due_at, now_at, within):
    """Due dates if one end of them is given, else recording; what is due now, or later, is not missed yet."""
    assert choice.due_within(due_at, now_at) is within


@pytest.mark.parametrize(("later", "missed"), [(-S, False), (0 * S, True), (S, True)])
def test_a_job_done_as_the_period_ends_was_not_done_in_it(later, missed):
    """A second before it was."""
    found = not_done_then(_closed(done_at=END + later), Choice(due_to_at=END))
    assert (found is not None) is missed


def test_the_period_of_due_dates_counts_before_that_of_recording():
    """Where both are given, the job was to be done by the end of the due dates."""
    choice = Choice(due_to_at=AT + DAY, to_at=END)
    assert not_done_then(_closed(done_at=AT + 2 * DAY), choice) is not None
