"""A plan as the pages show it: lawful, proven, taken, and what taking it would change."""

import secrets
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.plan import planning
from scheduler.actions.plan.explaining import words_of
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.language import gettext as _
from scheduler.wording.figures import moment
from scheduler.wording.names import job_words
from scheduler.wording.plan import remark_words, shortfall_words


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """A stored plan; the judge found it lawful, else it would not be stored. taken_at none: proposed only.

    shortfalls: in sentences. unplaced: jobs without a place. changes: one sentence for each moved, new or dropped
    slot against the plan taken before. take_action: where the form that takes it posts; empty when this person may not.
    """

    digest: str
    made_at: datetime
    starts_at: datetime
    proven: bool
    shortfalls: tuple[str, ...] = ()
    unplaced: int = 0
    remarks: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    taken_at: datetime | None = None
    take_action: str = ""
    idempotency_key: str = ""


def newer_plan(now: PlantState) -> StoredPlan | None:
    """The proposed plan when taking it would change something, or none."""
    return now.proposed if now.proposed and (not now.taken or planning.slot_differences(now)) else None


def plan_line(now: PlantState, stored: StoredPlan | None, *, taken: bool, take: str) -> PlanLine | None:
    """A plan as the pages show it; of one not taken yet, what taking it changes. take: where its form posts, or empty."""
    if stored is None:
        return None
    words = words_of(now, stored.problem)
    changes = []
    if not taken and now.taken is not None:
        for moved in planning.slot_differences(now):
            name = job_words(now.plant, now.at, moved.key)
            old, new = (None if at is None else moment(at, now.offset_minutes) for at in (moved.from_at, moved.to_at))
            if new is None:
                changes.append(_("{name} of {old} leaves the plan.", name=name, old=old))
            else:
                changes.append(
                    _("{name} moves from {old} to {new}.", name=name, old=old, new=new)
                    if old
                    else _("{name} comes in on {new}.", name=name, new=new)
                )
    return PlanLine(
        digest=stored.digest,
        made_at=stored.made_at,
        starts_at=stored.problem.starts_at,
        proven=stored.plan.proven,
        shortfalls=tuple(shortfall_words(short, words) for short in stored.plan.shortfalls),
        unplaced=sum(short.key is not None for short in stored.plan.shortfalls),
        remarks=(
            *(says for _, says in planning.dates_given(now, stored)),
            *(remark_words(one, words) for one in stored.plan.remarks),
        ),
        changes=tuple(changes),
        taken_at=stored.taken_at,
        take_action=take,
        idempotency_key=secrets.token_hex(16),
    )


def plan_words(plan: PlanLine, offset_minutes: int) -> str:
    """One sentence on a plan: proven or not, when made and taken."""
    best = _("No better one exists") if plan.proven else _("A better one may exist")
    made = _("{best}; made {moment}", best=best, moment=moment(plan.made_at, offset_minutes))
    if plan.taken_at is None:
        return _("{made}. Not taken yet.", made=made)
    return _("{made}, taken {moment}.", made=made, moment=moment(plan.taken_at, offset_minutes))
