"""Every refusal of a reading and of a counter event says what, of which counter, what was expected and what to do."""

from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

COUNTER = PLOVER.counter(0)
EVENTS = f"/api/v1/counters/{COUNTER}/events"
NOW = stamp(AT)
EXPECTED = (
    "expected", "add", "in a few words", "such as", "send", "give", "as the register shows it", "0 or more", "is needed",
    "check",
)  # fmt: skip
DO = (
    "send",
    "give",
    "check",
    "set",
    "leave",
    "put it right",
    "say why",
    "see whether",
    "read",
    "record",
    "choose",
    "add",
)


def speaks(says: str, *, names: str = COUNTER) -> None:
    """The four parts of a refusal are in its words."""
    low = says.lower()
    assert names in says, f"which counter: {says}"
    assert any(word in low for word in EXPECTED), f"what was expected: {says}"
    assert any(word in low for word in DO), f"what to do: {says}"
    assert len(says) > 40


READINGS: dict[str, dict[str, Any]] = {
    "no value": {"observed_at": NOW},
    "null": {"observed_at": NOW, "value": None},
    "text": {"observed_at": NOW, "value": "12006"},
    "yes": {"observed_at": NOW, "value": True},
    "list": {"observed_at": NOW, "value": [1]},
    "below 0": {"observed_at": NOW, "value": -5},
    "too large": {"observed_at": NOW, "value": 10**15},
    "hours since": {"observed_at": NOW, "delta": 4},
    "no instant": {"value": 1},
    "no offset": {"observed_at": "2026-10-20T07:00:00", "value": 1},
    "no date": {"observed_at": "yesterday", "value": 1},
    "a date alone": {"observed_at": "2026-10-20", "value": 1},
    "a number for an instant": {"observed_at": 1760943600, "value": 1},
    "a clock never set": {"observed_at": "1970-01-01T00:00:00Z", "value": 1},
    "the end of the calendar": {"observed_at": "9999-12-31T00:00:00Z", "value": 1},
}


@pytest.mark.parametrize("name", READINGS)
def test_a_refused_reading_says_all_four(stage: Stage, name: str) -> None:
    """And stands in the intake log with the same words."""
    (item,) = stage.post({"counter": COUNTER, **READINGS[name]}).json()["items"]
    assert item["status"] == "refused"
    speaks(item["why"])
    kept = stage.ask("GET", f"/api/v1/vessels/{PLOVER.vessel}/intake?limit=1").json()["items"][0]
    assert (kept["status"], kept["counter"], kept["why"]) == ("refused", COUNTER, item["why"])


def test_an_unknown_counter_is_named(stage: Stage) -> None:
    """And so is an item that names none, by its place in the batch."""
    told = stage.post({"counter": "vp9", "observed_at": NOW, "value": 1}, {"observed_at": NOW, "value": 1}).json()[
        "items"
    ]
    speaks(f"{told[0]['why']} expected", names="vp9")
    assert "Item 1 names no counter. Send" in told[1]["why"]


def test_a_conflict_says_which_counter_stands_and_what_to_do(fresh: Stage) -> None:
    """The first value stays; the other is in the intake log with the value it met."""
    told = fresh.post({"counter": COUNTER, "observed_at": NOW, "value": 7}).json()["items"][0]
    assert told["status"] == "conflict"
    assert told["why"].startswith(f"{COUNTER}: another value is stored for this instant and stays")
    assert "mark it as a bad reading" in told["why"]
    kept = fresh.ask("GET", f"/api/v1/vessels/{PLOVER.vessel}/intake").json()["items"][0]
    assert (kept["status"], kept["counter"]) == ("conflict", COUNTER)
    assert "the first one stays" in kept["why"]


EVENT = {"at": NOW, "reason": "walked"}
BODIES: dict[str, tuple[dict[str, Any], str]] = {
    "no kind": ({**EVENT}, "kind"),
    "another kind": ({**EVENT, "kind": "repair"}, "kind"),
    "no hours": ({**EVENT, "kind": "adjustment"}, "/hours"),
    "nought": ({**EVENT, "kind": "adjustment", "hours": 0}, "/hours"),
    "too many": ({**EVENT, "kind": "adjustment", "hours": 900_000}, "/hours"),
    "opening below 0": ({**EVENT, "kind": "opening balance", "hours": -1}, "/hours"),
    "a step below 0": ({**EVENT, "kind": "step decision", "hours": -1}, "/hours"),
    "no reason": ({"at": NOW, "kind": "bad reading", "reason": " "}, "/reason"),
    "no instant": ({"kind": "bad reading", "reason": "walked"}, "/at"),
    "no offset": ({**EVENT, "kind": "bad reading", "at": "2026-10-20T07:00:00"}, "/at"),
    "to come": ({**EVENT, "kind": "bad reading", "at": "2026-12-24T18:00:00Z"}, "/at"),
    "new first below 0": ({**EVENT, "kind": "replacement", "new_first": -1}, "/new_first"),
    "old final below 0": ({**EVENT, "kind": "replacement", "new_first": 0, "old_final": -1}, "/old_final"),
    "no new first": ({**EVENT, "kind": "replacement"}, "/new_first"),
    "an unknown member": ({**EVENT, "kind": "replacement", "new_first": 0, "old_last": 5}, "/old_last"),
    "a scale of 0": ({**EVENT, "kind": "rescale", "seconds_per_count": 0, "new_first": 1}, "/seconds_per_count"),
    "the same scale": ({**EVENT, "kind": "rescale", "seconds_per_count": 3600, "new_first": 1}, ""),
    "the only counter": ({**EVENT, "kind": "primary"}, ""),
}


@pytest.mark.parametrize("name", BODIES)
def test_a_refused_counter_event_says_all_four(stage: Stage, name: str) -> None:
    """The counter stands in the words or in `instance`, the member at fault as a pointer; nothing is recorded."""
    body, pointer = BODIES[name]
    before = stage.ask("GET", f"/api/v1/counters/{COUNTER}").json()
    told = stage.ask("POST", EVENTS, json=body)
    problem = told.json()
    assert told.status_code == 422, problem
    assert problem["instance"] == EVENTS
    speaks(f"{problem['instance']} {problem['detail']}")
    if pointer:
        assert any(pointer in f"{one['pointer']} {one['detail']}" for one in problem["errors"]), problem["errors"]
    assert stage.ask("GET", f"/api/v1/counters/{COUNTER}").json()["entries"] == before["entries"]


def test_events_that_are_not_there_are_named(stage: Stage) -> None:
    """Undo and confirm of nothing, and a counter that is not there, say which and where to look."""
    for what, role in (("undo", Role.ENGINEER), ("confirm", Role.CHIEF)):
        told = stage.ask("POST", f"{EVENTS}/0000/{what}", role=role, json={"reason": "walked"})
        assert told.status_code == 404
        assert "The counter of VP1" in told.json()["detail"]
        assert "0000" in told.json()["detail"]
    told = stage.ask("POST", "/api/v1/counters/vp9/events", json={**EVENT, "kind": "bad reading"})
    assert (told.status_code, "vp9" in told.json()["detail"]) == (404, True)
