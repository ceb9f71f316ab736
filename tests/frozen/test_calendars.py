"""The calendars: a program that has them in its store finds the same entries again."""

import pytest

from tests.frozen.conftest import Told
from tests.frozen.kept import differences, load
from tests.frozen.test_answers import named

pytestmark = pytest.mark.long


def test_every_address_serves_the_same_entries(told: Told) -> None:
    """UIDs, begin, end, due, status, sequence, categories, reminders, of events and tasks; words are not looked at."""
    kept, now = load("calendars.json.gz"), told.said["calendars"]
    assert now.keys() == kept.keys()
    found = [one for name in kept for one in differences(kept[name], now[name], name)]
    assert not found, named(found)


@pytest.mark.parametrize("name", ["plover", "avocet"])
def test_no_uid_stands_for_two_entries_and_none_for_an_event_and_a_task(told: Told, name: str) -> None:
    """As RFC 5545 wants it (3.8.4.7), over what the frozen calendars hold and what they hold today."""
    for kept in (load("calendars.json.gz"), told.said["calendars"]):
        uids = [entry["UID"] for form in ("plan", "tasks") for entry in kept[f"{name} {form}"]]
        assert len(uids) == len(set(uids))
