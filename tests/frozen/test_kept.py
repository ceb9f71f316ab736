"""The comparison itself: it sees what is gone, and only that."""

import pytest

from tests.frozen.kept import DIGEST, TEXT, differences, masked, members

KEPT = {
    "state": "due",
    "says": TEXT,
    "digest": DIGEST,
    "hours": 1.5,
    "slots": [{"at": "2026-10-20T07:00:00Z"}],
    "of": None,
}


def test_sentences_and_digests_may_change_and_members_may_come() -> None:
    """A figure is the same to nine digits."""
    found = {**KEPT, "says": "Other words.", "digest": "0" * 64, "hours": 1.5000000000001, "new": 1}
    assert list(differences(KEPT, masked(found))) == []


@pytest.mark.parametrize(
    "change",
    [
        {"state": "late"},
        {"says": None},
        {"digest": "x"},
        {"hours": 2.5},
        {"hours": 1},
        {"slots": []},
        {"slots": [{}]},
        {"of": "x"},
    ],
    ids=str,
)
def test_any_other_change_is_seen(change: dict[str, object]) -> None:
    """Another value or kind, a member or an item that is gone."""
    assert len(list(differences(KEPT, masked({**KEPT, **change})))) >= 1


def test_members_are_told_with_their_kinds() -> None:
    """Items of a list share their place."""
    assert dict(members(KEPT))["slots[].at"] == "string, instant"
    assert dict(members(KEPT))["hours"] == "number"
    assert dict(members({"on": "2026-10-20", "n": 1}))["on"] == "string, date"
