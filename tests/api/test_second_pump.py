"""A second pump is locked only where the minimum holds with the first one out, whatever put that out."""

from datetime import timedelta
from typing import Any

from httpx2 import Response

from tests.acts import isolated
from tests.api.stage import AT, Stage, stamp


def _act(stage: Stage, pump: str, minutes: int, kind: str, told: dict[str, Any]) -> Response:
    at = AT + timedelta(minutes=minutes)
    stage.clock.at = max(stage.clock.at, at)
    job = f"knife_inspection:plover-pump-{pump}-knives:1"
    step = {"kind": kind, "at": stamp(at), "by": "A. Second", **told}
    return stage.ask("POST", f"/api/v1/jobs/{job}/steps", json={"step": step})


def _locked(stage: Stage, pump: str, at: int) -> tuple[Response, Response]:
    """The answers to the first and the second lock on that pump, after all that comes before them."""
    acts = isolated(f"CW-{pump}", at=at)
    for minutes, kind, told in acts[:4]:
        assert _act(stage, pump, minutes, kind, told).status_code == 201
    first = _act(stage, pump, *acts[4])
    return first, _act(stage, pump, *acts[6])


def _codes(answer: Response) -> set[str]:
    return {one["code"] for one in answer.json()["objections"]}


def test_with_one_pump_under_locks_the_next_is_asked_of_the_minimum_at_its_first_lock(fresh: Stage) -> None:
    """Two of three are needed: the first pump is locked, the second is refused, with any of its locks as the first."""
    first, second = _locked(fresh, "a", 0)
    assert (first.status_code, second.status_code) == (201, 201), (first.text, second.text)
    for refused in _locked(fresh, "b", 20):
        assert refused.status_code == 409, refused.text
        assert _codes(refused) == {"below minimum"}
