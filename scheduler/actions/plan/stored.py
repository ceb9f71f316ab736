"""Plans as rows: the proposed one stored, the one aboard replaced by it."""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta

from scheduler.actions.plant_state.stored import StoredPlan, stored_plan
from scheduler.planning.judge.check import Judgement
from scheduler.planning.problem.codec import plan_to_text, problem_to_text
from scheduler.planning.problem.digest import text_digest
from scheduler.planning.problem.values import Plan, Problem
from scheduler.storage.database import Session
from scheduler.storage.plan import (
    PlanRow,
    PlanStatus,
    SlotRow,
    drop_plan,
    plan_row,
    superseded_before,
    untaken_superseded,
)

SUPERSEDED_DAYS = 730
PLANS_AT_ONCE = 100
"""Of a vessel a night: what a first night finds of many years takes some more."""


def put_away(session: Session, vessel_id: str, plant_id: str, status: PlanStatus) -> PlanRow | None:
    """Supersede the plan of that status, if there is one, and return it."""
    old = plan_row(session, vessel_id, plant_id, status)
    if old is not None:
        old.status = PlanStatus.SUPERSEDED
        old.version += 1
        session.add(old)
        session.flush()
    return old


def keep_plan(
    session: Session,
    vessel_id: str,
    plant_id: str,
    problem: Problem,
    plan: Plan,
    verdict: Judgement,
    now: datetime,
    of_day: str = "",
) -> PlanRow:
    """Store a plan as the proposed one; the one proposed before, which nobody took and no record names, is not kept.

    of_day: digest of the problem as it is all day; without one the plan answers its own problem alone.
    """
    put_away(session, vessel_id, plant_id, PlanStatus.PROPOSED)
    for old in untaken_superseded(session, vessel_id, plant_id):
        session.delete(old)
    session.flush()
    least_at = None if verdict.least_at_step is None else problem.starts_at + timedelta(hours=verdict.least_at_step)
    problem_text, plan_text = problem_to_text(problem), plan_to_text(plan)
    row = PlanRow(
        id=secrets.token_hex(8),
        vessel_id=vessel_id,
        plant_id=plant_id,
        digest=text_digest(plan_text),
        problem_digest=text_digest(problem_text),
        status=PlanStatus.PROPOSED,
        made_at=now,
        starts_at=problem.starts_at,
        problem=problem_text,
        plan=plan_text,
        of_day=of_day,
        lawful=verdict.lawful,
        least_margin_litres_per_h=verdict.least_margin_litres_per_h,
        least_at=least_at,
    )
    session.add(row)
    session.flush()
    return row


def forget_plans(session: Session, vessel_id: str, now: datetime) -> int:
    """Take away a vessel's plans that were superseded and made over `SUPERSEDED_DAYS` ago; how many. Who took them, and their digests,
    stay on record."""
    gone = superseded_before(session, vessel_id, now - timedelta(days=SUPERSEDED_DAYS), PLANS_AT_ONCE)
    for row in gone:
        drop_plan(session, row)
    return len(gone)


def take_up(
    session: Session, vessel_id: str, proposed: PlanRow, now: datetime, pinned_by_hand: Collection[str] = ()
) -> StoredPlan:
    """Make the proposed plan the one aboard, with its slots; the version of the plan aboard only ever grows."""
    before = put_away(session, vessel_id, proposed.plant_id, PlanStatus.TAKEN)
    proposed.status, proposed.taken_at = PlanStatus.TAKEN, now
    proposed.version = max(proposed.version + 1, 0 if before is None else before.version)
    session.add(proposed)
    held = stored_plan(proposed)
    assert held is not None
    _keep_slots(session, vessel_id, held, pinned_by_hand)
    return held


def _keep_slots(session: Session, vessel_id: str, held: StoredPlan, pinned_by_hand: Collection[str]) -> None:
    pinned = {*pinned_by_hand, *(job.key for job in held.problem.jobs if job.fixed_start is not None)}
    times = held.times()
    for slot in held.plan.slots:
        start_at, end_at = times[slot.key]
        session.add(
            SlotRow(
                id=secrets.token_hex(8),
                vessel_id=vessel_id,
                plan_id=held.id,
                job_key=slot.key,
                pump_id=slot.pump,
                start_at=start_at,
                end_at=end_at,
                least_margin_litres_per_h=slot.least_margin_litres_per_h,
                pinned=slot.key in pinned,
            )
        )
