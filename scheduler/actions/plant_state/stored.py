"""What is stored of a plant, as the domain's values: plans, outages, concessions, done jobs, first dates, capacities, pins."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from scheduler.actions.base.context import instant, utc_text
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, pump_capacity
from scheduler.domain.due.docking import Dock
from scheduler.domain.due.last_done import Done, FirstDate, JobId
from scheduler.domain.due.subjects import Key
from scheduler.domain.vessel.document import Plant
from scheduler.planning.judge.cover import slots_uncovered
from scheduler.planning.problem.codec import plan_from_text, problem_from_text
from scheduler.planning.problem.frame import slot_times
from scheduler.planning.problem.values import Plan, Problem
from scheduler.storage.capacity import ConcessionRow, OutageRow
from scheduler.storage.due import DockRow, FirstDateRow
from scheduler.storage.plan import MoveRow, PlanRow
from scheduler.storage.work import DoneRow


@dataclass(frozen=True)  # no slots: what is parsed is kept with it
class StoredPlan:
    """A stored plan: its row's facts, its problem and the plan itself, both parsed when they are first asked for."""

    id: str
    digest: str
    made_at: datetime
    taken_at: datetime | None
    lawful: bool
    least_margin_litres_per_h: int | None
    least_at: datetime | None
    version: int
    starts_at: datetime
    problem_text: str
    plan_text: str
    of_day: str = ""

    @cached_property
    def problem(self) -> Problem:
        """The problem that was planned."""
        return problem_from_text(self.problem_text)

    @cached_property
    def plan(self) -> Plan:
        """The plan."""
        return plan_from_text(self.plan_text)

    @cached_property
    def uncovered(self) -> frozenset[str]:
        """Keys of the slots during which the minimum would not hold if the largest pump left were lost too."""
        return slots_uncovered(self.problem, self.plan)

    def times(self) -> Mapping[str, tuple[datetime, datetime]]:
        """Start and end of each slot, by occurrence key."""
        return {slot.key: slot_times(self.starts_at, slot) for slot in self.plan.slots}

    def slots_in_order(self) -> list[dict[str, str | None]]:
        """The slots by time, as an answer gives them."""
        by_time = sorted(self.times().items(), key=lambda one: one[1])
        return [{"job": key, "starts_at": utc_text(start), "ends_at": utc_text(end)} for key, (start, end) in by_time]

    def shared(self) -> Mapping[str, str]:
        """By occurrence key of a slot, the job whose isolation it goes on with."""
        return {slot.key: slot.isolation_of for slot in self.plan.slots if slot.isolation_of is not None}


@dataclass(frozen=True, slots=True)
class Pin:
    """Where a person set the start of a job's slot: number of the move, by whom, when."""

    move: int
    start_at: datetime
    by: str
    at: datetime


def concessions_of(rows: Iterable[ConcessionRow]) -> tuple[Concession, ...]:
    """Those of a plant's concessions that nobody withdrew, signed or not."""
    return tuple(
        Concession(
            from_at=row.from_at,
            to_at=row.to_at,
            minimum=Swept(row.minimum_litres_per_h / 1000),
            chief=row.chief_by or "",
            hotel=row.hotel_by or "",
        )
        for row in rows
        if row.withdrawn_at is None
    )


def pins_of(rows: Iterable[MoveRow], open_keys: Collection[str]) -> dict[str, Pin]:
    """By key of an open job, where the newest of the moves that nobody undid put its slot."""
    return {
        slot["job"]: Pin(row.number, instant(slot["to_s"]), row.by, row.at)
        for row in rows
        for slot in row.slots
        if slot["job"] in open_keys
    }


def first_dates_of(rows: Iterable[FirstDateRow]) -> dict[Key, FirstDate]:
    """First dates set where the last time was not known; they count for nothing where it came to be known."""
    return {
        (row.kind, row.subject_id): FirstDate(due_at=row.due_at, set_at=row.set_at, running_seconds=row.running_seconds)
        for row in rows
    }


def done_of(rows: Iterable[DoneRow]) -> dict[Key, Done]:
    """The newest done turn of each kind and subject that this tool kept."""
    return {
        (row.kind, row.subject_id): Done(
            job_id=JobId(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
            done_at=row.at,
            running_seconds=row.running_seconds,
            estimated=row.estimated,
        )
        for row in rows
    }


def capacities_of(plant: Plant, tested: Mapping[str, int]) -> dict[str, Swept]:
    """Capacity of each pump when it is well: the newest passed test that measured it, else as the document has it."""
    return {
        pump.id: Swept(tested[pump.id] / 1000) if pump.id in tested else pump_capacity(pump) for pump in plant.pumps
    }


def docks_of(rows: Iterable[DockRow]) -> tuple[Dock, ...]:
    """Stays in dock that nobody withdrew, with the jobs chosen for them."""
    return tuple(
        Dock(from_at=row.from_at, to_at=row.to_at, keys=tuple(row.jobs)) for row in rows if row.withdrawn_at is None
    )


def stored_plan(row: PlanRow | None) -> StoredPlan | None:
    """The stored plan of a row, or none."""
    if row is None:
        return None
    return StoredPlan(
        id=row.id,
        digest=row.digest,
        made_at=row.made_at,
        taken_at=row.taken_at,
        lawful=row.lawful,
        least_margin_litres_per_h=row.least_margin_litres_per_h,
        least_at=row.least_at,
        version=row.version,
        starts_at=row.starts_at,
        problem_text=row.problem,
        plan_text=row.plan,
        of_day=row.of_day,
    )


def outage_of(row: OutageRow) -> Outage:
    """The outage of a row."""
    return Outage(
        pump=row.pump_id,
        from_at=row.from_at,
        to_at=row.to_at,
        counts_for=Swept(row.counts_for_litres_per_h / 1000),
        reason=row.reason,
        expected_at=row.expected_at,
    )
