"""A first date: to come, no further off than an interval, only brought forward; to the day."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduler.domain.due.first_date import MOST_DAYS, first_date_faults, latest_on
from tests.unit.domain.plants import ALARM, OVERHAUL, VALVE

TODAY = date(2027, 1, 31)
DAY = timedelta(days=1)


def _pointers(on: date, kind=ALARM, before: date | None = None, class_agreed: str = "") -> list[str]:
    found = first_date_faults(kind, on, today=TODAY, before=before, reason="new seals", class_agreed=class_agreed)
    return [pointer for pointer, _ in found]


@pytest.mark.parametrize(
    ("on", "faults"),
    [
        (TODAY - DAY, ["/on"]),
        (TODAY, ["/on"]),
        (TODAY + DAY, []),
        (date(2027, 2, 28), []),
        (date(2027, 3, 1), ["/on"]),
    ],
)
def test_it_lies_from_tomorrow_to_a_whole_interval_from_today(on, faults):
    """A month from 31 January is 28 February."""
    assert _pointers(on) == faults


def test_by_hours_alone_it_lies_no_further_than_some_years():
    """The hours bring it forward."""
    assert latest_on(VALVE, TODAY) == TODAY + timedelta(days=MOST_DAYS)
    assert _pointers(TODAY + timedelta(days=MOST_DAYS), VALVE) == []
    assert _pointers(TODAY + timedelta(days=MOST_DAYS + 1), VALVE) == ["/on"]


@pytest.mark.parametrize(("later", "faults"), [(-DAY, []), (0 * DAY, ["/on"]), (DAY, ["/on"])])
def test_once_set_it_is_only_brought_forward(later, faults):
    """To the same day is not forward."""
    set_for = TODAY + 9 * DAY
    assert _pointers(set_for + later, before=set_for) == faults


@pytest.mark.parametrize(
    ("class_item", "agreed", "faults"),
    [(True, " ", ["/class_agreed"]), (True, "letter 12", []), (False, "", []), (False, "letter 12", [])],
)
def test_a_class_item_alone_asks_for_the_class(class_item, agreed, faults):
    """Its agreement is written down."""
    assert _pointers(TODAY + DAY, replace(OVERHAUL, class_item=class_item), class_agreed=agreed) == faults


def test_a_reason_is_given():
    """Spaces are none."""
    found = first_date_faults(ALARM, TODAY + DAY, today=TODAY, before=None, reason=" ", class_agreed="")
    assert [pointer for pointer, _ in found] == ["/reason"]
