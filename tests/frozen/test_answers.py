"""The doors of the API answer the same world with the same members, kinds and values."""

import pytest

from tests.frozen import doors
from tests.frozen.asked import NOT_ASKED
from tests.frozen.conftest import Told
from tests.frozen.kept import differences, load
from tests.frozen.make import tree

pytestmark = pytest.mark.long

MOST = 40
"""So many differences are named; the rest are counted."""


def named(found: list[str]) -> str:
    """The differences, for a person."""
    return "\n".join(found[:MOST] + [f"... {len(found)} in all"][: len(found) > MOST])


def test_every_get_door_of_the_api_is_asked_or_named_with_a_reason(told: Told) -> None:
    """A new door is asked here too, or says in `NOT_ASKED` why not."""
    there = {path for method, path in doors.doors_of_the_app() if method == "GET" and path.startswith("/api/v1")}
    asked = {answer["door"] for answer in told.said["answers"].values()}
    assert asked | NOT_ASKED.keys() == there
    assert not asked & NOT_ASKED.keys()


def test_every_act_is_answered_as_it_was(told: Told) -> None:
    """POST, PUT, PATCH and DELETE, taken and refused: status, media type, members, values."""
    kept = load("answers.json.gz")["acts"]
    assert list(told.said["acts"]) == sorted(kept)
    found = [one for name in kept for one in differences(kept[name], told.said["acts"][name], name)]
    assert not found, named(found)


def test_every_door_answers_as_it_did(told: Told) -> None:
    """GET: status, media type, members, values; sentences as such."""
    kept = load("answers.json.gz")["answers"]
    assert kept.keys() <= told.said["answers"].keys()
    found = [one for name in kept for one in differences(kept[name], told.said["answers"][name], name)]
    assert not found, named(found)


def test_every_member_keeps_its_kind(told: Told) -> None:
    """Door by door; a member that may be null may be so still, and none that was none of it becomes another kind."""
    now, gone = tree(told.said), []
    for door, places in load("members.json").items():
        for place, kinds in places.items():
            found = now.get(door, {}).get(place)
            if found is None or not set(found.split(" | ")) <= set(kinds.split(" | ")):
                gone.append(f"{door}: {place or 'the whole'} is {found}, was {kinds}")
    assert not gone, named(gone)
