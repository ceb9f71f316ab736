"""What follows from an action is asked for in the action's own transaction, and done by the ticks: no action fails by it."""

from datetime import timedelta

import pytest

from scheduler.actions.base import context as acting
from scheduler.actions.base.pending import plan_asked_at
from scheduler.actions.feed import refresh
from scheduler.actions.hours import ledger
from scheduler.actions.plan import planning
from tests.api.stage import AT, Stage, stamp

PLANT, VESSEL = "plover-plant", "demo-plover"


def stop(stage: Stage, once: str) -> int:
    """The status with which a pump is told to be out."""
    told = {"at": stamp(AT - timedelta(minutes=5)), "reason": "will not start"}
    answer = stage.ask("POST", "/api/v1/pumps/plover-pump-a/down", once=once, json=told)
    return answer.status_code


def plan_is_asked_for(stage: Stage) -> bool:
    with stage.context.db.read() as session:
        return plan_asked_at(session, VESSEL, PLANT) is not None


def broken(*_: object, **__: object) -> None:
    raise AssertionError("an action waited for what follows from it")


def test_an_action_stands_though_nothing_that_follows_from_it_can_be_made(
    fresh: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Calendars, ledger and plan fail: the pump is out all the same, and its plan is asked for."""
    for where, name in ((refresh, "renew"), (ledger, "derive_vessel"), (planning, "bring_up")):
        monkeypatch.setattr(where, name, broken)
    assert not plan_is_asked_for(fresh)
    assert stop(fresh, "one") == 200
    assert fresh.pump("plover-pump-a")["state"] == "down"
    assert plan_is_asked_for(fresh)


def test_an_action_that_is_not_stored_asks_for_nothing(fresh: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """It breaks after all its work is done, before it is committed."""
    with monkeypatch.context() as patched:
        patched.setattr(acting, "bump_revision", broken)
        assert stop(fresh, "one") == 500
    assert not plan_is_asked_for(fresh)
    assert fresh.pump("plover-pump-a")["state"] != "down"
    assert stop(fresh, "one") == 200
    assert plan_is_asked_for(fresh)
