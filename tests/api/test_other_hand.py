"""A lock off by another hand is approved by a person, as themselves, who is not the one that takes it off."""

from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from tests.acts import back, opened
from tests.api.stage import Stage
from tests.api.test_work_steps import _all, _step

EXCEPTION: dict[str, Any] = {"reason": "A. Second signed off", "absence_checked": True, "contact_tried": True}
OFF = "flushing or seal water"


def _off(stage: Stage, role: Role, *, by: str = "B. Fitter", fact: bool = False, **changed: Any) -> Any:
    told = {**EXCEPTION, **changed}
    return _step(stage, 60, "tag removed", point=OFF, by=by, other_hand=told, role=role, fact=fact)


@pytest.fixture
def locked(fresh: Stage) -> Stage:
    """A pump that was opened and is clear, every lock still on."""
    _all(fresh, [*opened("CW-8"), *back()[:2]])
    return fresh


@pytest.mark.long
def test_the_approver_records_it_and_is_named_by_the_sign_in(locked: Stage) -> None:
    """The engineer may not, nor may anybody name an approver; the chief's own key approves, and stands on record by name."""
    assert _off(locked, Role.ENGINEER).status_code == 403
    for role in (Role.ENGINEER, Role.CHIEF):
        typed = _off(locked, role, approved_by="Demo chief")
        assert typed.status_code == 422
        assert typed.json()["errors"][0]["pointer"] == "/step/other_hand/approved_by"
        assert _off(locked, role, approved_by="Demo chief", fact=True).status_code == 422
    done = _off(locked, Role.CHIEF)
    assert done.status_code == 201, done.text
    assert done.json()["flags"] == []
    history = locked.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert '\\"approved_by\\":\\"Demo chief' in history


@pytest.mark.long
def test_nobody_approves_their_own_hand(locked: Stage) -> None:
    """Whoever takes it off is another person than the approver, with a rank behind the name or without."""
    for by in ("Demo chief", "Demo chief, chief engineer", "demo  CHIEF"):
        refused = _off(locked, Role.CHIEF, by=by)
        assert refused.status_code == 403, by
        assert "another person approves" in refused.json()["detail"]


@pytest.mark.long
def test_what_has_happened_without_approval_is_kept_and_flagged(locked: Stage) -> None:
    """Recorded as a fact by somebody who may not approve: it lacks the approval, and says so; every other part is asked for too."""
    kept = _off(locked, Role.ENGINEER, fact=True)
    assert kept.status_code == 201, kept.text
    assert "its approval" in kept.json()["flags"][0]
    lacking = _step(
        locked,
        61,
        "tag removed",
        point="discharge valve",
        by="B. Fitter",
        other_hand={"reason": "gone"},
        role=Role.CHIEF,
    )
    assert lacking.status_code == 409
    assert "that contact was tried" in lacking.json()["detail"]
    assert "its approval" not in lacking.json()["detail"]
