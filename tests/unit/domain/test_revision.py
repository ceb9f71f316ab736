"""Revisions of calendar entries: what moves the sequence, and that every change is later than the one before."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from scheduler.domain.feed.revision import CalendarEntry, Feed, republish, revise

AT = datetime(2027, 3, 1, 8, tzinfo=UTC)
S = timedelta(seconds=1)
ENTRY = CalendarEntry(
    key="overhaul:u1:1",
    role="job",
    summary="VP1: overhaul",
    description="",
    starts=date(2027, 4, 1),
    ends=date(2027, 4, 2),
    state=None,
    status="TENTATIVE",
    opaque=False,
    categories=(),
    path="/jobs/1",
    location="",
)
OLD = revise(None, ENTRY, "shows this", AT)


@pytest.mark.parametrize(
    ("change", "sequence"),
    [
        ({}, 0),
        ({"starts": date(2027, 3, 31)}, 1),
        ({"ends": date(2027, 4, 3)}, 1),
        ({"status": "CONFIRMED"}, 1),
        ({"summary": "VP1: overhaul, planned"}, 0),
    ],
)
def test_date_time_and_status_alone_move_the_sequence(change, sequence):
    """Each by itself by one. Source: RFC 5546 2.1.4."""
    new = revise(OLD, replace(ENTRY, **change), "shows another", AT + 9 * S)
    assert (OLD.sequence, new.sequence) == (0, sequence)
    assert new.changed_at == AT + 9 * S


@pytest.mark.parametrize(("on", "changed"), [(-60, 1), (0, 1), (1, 1), (2, 2)])
def test_a_change_is_always_later_than_the_one_before(on, changed):
    """Whatever the clock did. Source: RFC 5545 3.8.7.3."""
    assert revise(OLD, ENTRY, "shows another", AT + on * S).changed_at == AT + changed * S
    feed = republish(republish(None, b"one", AT), b"another", AT + on * S)
    assert feed == Feed(body=b"another", changed_at=AT + changed * S)


def test_what_shows_the_same_is_the_same():
    """The event and the calendar themselves, with the old instant."""
    assert revise(OLD, replace(ENTRY, status="CONFIRMED"), "shows this", AT + 9 * S) is OLD
    feed = republish(None, b"one", AT)
    assert republish(feed, b"one", AT + 9 * S) is feed
