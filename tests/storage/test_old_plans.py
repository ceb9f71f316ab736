"""Superseded plans stay two years with their slots, then go; what is aboard or proposed stays however old."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import select

from scheduler.actions.plan.stored import SUPERSEDED_DAYS, forget_plans
from scheduler.storage.plan import PlanRow, PlanStatus, SlotRow
from tests.storage.stores import add_vessel, kinds, store

NOW = datetime(2026, 11, 30, tzinfo=UTC)
AGE = timedelta(days=SUPERSEDED_DAYS)


def _plan(vessel: str, number: int, status: PlanStatus, made_at: datetime) -> list[PlanRow | SlotRow]:
    name = f"plan{number}"
    plan = PlanRow(
        vessel_id=vessel,
        id=name,
        plant_id=f"{vessel}-plant",
        digest=name,
        problem_digest=name,
        status=status,
        made_at=made_at,
        taken_at=None if status is PlanStatus.PROPOSED else made_at,
        starts_at=made_at,
        problem="{}",
        plan="{}",
        lawful=True,
    )
    slot = SlotRow(
        vessel_id=vessel,
        id=f"slot{number}",
        plan_id=name,
        job_key="k",
        start_at=made_at,
        end_at=made_at + timedelta(hours=1),
        least_margin_litres_per_h=0,
    )
    return [plan, slot]


@pytest.mark.parametrize("kind", kinds())
def test_what_was_superseded_goes_after_two_years_with_its_slots(kind: str, tmp_path: Path) -> None:
    """To the second; of another vessel nothing goes; the plan aboard and the one proposed stay."""
    with store(kind, tmp_path) as db:
        for vessel in ("avocet", "plover"):
            add_vessel(db, vessel)
        rows = [
            _plan("plover", 1, PlanStatus.SUPERSEDED, NOW - AGE - timedelta(seconds=1)),
            _plan("plover", 2, PlanStatus.SUPERSEDED, NOW - AGE),
            _plan("plover", 3, PlanStatus.TAKEN, NOW - 2 * AGE),
            _plan("plover", 4, PlanStatus.PROPOSED, NOW - 2 * AGE),
            _plan("avocet", 5, PlanStatus.SUPERSEDED, NOW - 2 * AGE),
        ]
        with db.write("") as session:
            for plan, slot in rows:
                session.add(plan)
                session.flush()
                session.add(slot)
        with db.write("plover") as session:
            assert forget_plans(session, "plover", NOW) == 1
        with db.read() as session:
            assert sorted(session.exec(select(PlanRow.id))) == ["plan2", "plan3", "plan4", "plan5"]
            assert sorted(session.exec(select(SlotRow.plan_id))) == ["plan2", "plan3", "plan4", "plan5"]
        with db.write("plover") as session:
            assert forget_plans(session, "plover", NOW + timedelta(seconds=1)) == 1
            assert forget_plans(session, "plover", NOW + timedelta(seconds=1)) == 0
