"""A hand action sent again under its Idempotency-Key is answered the same, byte for byte."""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

API = "/api/v1"
ASKED: dict[str, tuple[str, dict[str, Any]]] = {
    "a figure that is an integer": (f"{API}/plants/plover-plant/parts", {"name": "knife set", "aboard": 2}),
    "figures and nulls": (
        f"{API}/plants/plover-plant/concessions",
        {
            "from_at": stamp(AT),
            "to_at": stamp(AT + timedelta(days=1)),
            "minimum_swept_m3_per_h": 50,
            "reason": "few aboard",
        },
    ),
    "lists in lists": (f"{API}/vessels/demo-plover/handovers", {"text": "All quiet."}),
    "an event, with a member that only some have": (
        f"{API}/counters/plover-vp1-hours/events",
        {"kind": "adjustment", "at": stamp(AT), "hours": -2, "reason": "counted twice"},
    ),
}


@pytest.mark.parametrize("what", ASKED)
def test_the_same_key_gets_the_same_bytes(stage: Stage, what: str) -> None:
    """Status, ETag and body; nothing is done twice."""
    path, body = ASKED[what]
    first, again = (stage.ask("POST", path, role=Role.CHIEF, once=f"again {what}", json=body) for _ in range(2))
    assert first.status_code in (200, 201, 202), first.text
    assert (again.status_code, again.headers.get("ETag")) == (first.status_code, first.headers.get("ETag"))
    assert again.content == first.content
