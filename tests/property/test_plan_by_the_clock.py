"""Plans of small invented documents, gone through quarter hour by quarter hour in ship time, with nothing of the grid in between.

Offsets that are no whole hours, clock changes ahead, outages, concessions and stretches without work that begin at any minute:
what the plan promises on whole UTC hours holds at every quarter hour of the ship's own clock.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.domain.capacity.minimum import Concession, Outage, Swept, hands_at, minimum_at
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, NoWork
from scheduler.domain.vessel.document import Plant
from scheduler.planning.judge.check import judge
from scheduler.planning.judge.check_hours import hands_by_hour, hours_worked
from scheduler.planning.problem.frame import Circumstances, frame, slot_times
from scheduler.planning.problem.values import Plan, Problem
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.test_frame import AT, DAY, due, plant

QUARTER = timedelta(minutes=15)
HOUR = timedelta(hours=1)
EXAMPLES = 100 if settings.get_current_profile_name() == "full" else 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Aboard:
    """A ship as it is, before anything is put on a grid."""

    plant: Plant
    jobs: tuple[DueJob, ...]
    capacities: dict[str, Swept]
    outages: tuple[Outage, ...]
    offset_minutes: int
    circumstances: Circumstances

    def wall(self, at: datetime) -> datetime:
        """Ship time without a zone."""
        minutes = self.offset_minutes
        for from_at, later in self.circumstances.clock_changes:
            minutes = later if at >= from_at else minutes
        return (at + timedelta(minutes=minutes)).replace(tzinfo=None)

    def gives(self, pump: str, at: datetime) -> float:
        """What a pump counts for at that instant, m3/h."""
        down = [
            o.counts_for.m3_per_h
            for o in self.outages
            if o.pump == pump and o.from_at <= at < (self.back(o) or at + DAY)
        ]
        return min([self.capacities[pump].m3_per_h, *down])

    def back(self, outage: Outage) -> datetime | None:
        """When a plan may have a pump back: as known, else fourteen days from a stop, else never."""
        if outage.to_at is not None or outage.counts_for.m3_per_h > 0:
            return outage.to_at
        return outage.from_at + 14 * DAY

    def is_down_in_the_hour(self, pump: str, at: datetime) -> bool:
        """Whether the pump counts for nothing at any time in the whole hour of that instant: then it is out already."""
        hour = at.replace(minute=0)
        return any(self.gives(pump, hour + timedelta(minutes=5 * n)) <= 0 for n in range(12))

    def need(self, at: datetime) -> float:
        """The minimum at that instant, m3/h, lower where both have signed."""
        agreed = [c.minimum.m3_per_h for c in self.circumstances.concessions if c.signed and c.from_at <= at < c.to_at]
        return min([minimum_at(self.plant, self.wall(at))[0].m3_per_h, *agreed])

    def hands(self, at: datetime) -> int:
        """Hands at work at that instant."""
        if any(n.from_at <= at < n.to_at for n in self.plant.crew.no_work):
            return 0
        return hands_at(self.plant.crew, self.wall(at))


def _odd(random: Random, days: int = 12) -> datetime:
    return AT + timedelta(minutes=5 * random.randint(-100, days * 288))


def aboard(random: Random) -> Aboard:
    """An invented ship with two or three pumps whose jobs fall due within a fortnight."""
    pumps = ("P1", "P2")
    begins = [_odd(random) for _ in range(6)]
    crew = Crew(
        hands=random.choice([1, 2]),
        start_hours=random.choice([(8,), (8, 13), (7, 13, 22)]),
        work_from_hour=random.choice([6, 7, 8]),
        no_work=tuple(
            NoWork(from_at=b, to_at=b + timedelta(minutes=5 * random.randint(1, 400)), label="arrival")
            for b in begins[:2]
        ),
        blocks=random.choice([(), (CrewBlock(hands=1, label="night", from_hour=22, to_hour=4),)]),
    )
    blocks = tuple(
        MinimumBlock(
            minimum_swept_m3_per_h=random.choice([0.0, 50.0, 57.0, 62.0, 90.0]),
            label="busy",
            from_hour=(hour := random.randint(0, 23)),
            to_hour=(hour + random.randint(1, 8)) % 24,
        )
        for _ in range(random.choice([0, 1, 2]))
    )
    outages = tuple(
        Outage(
            pump=random.choice(pumps),
            from_at=b,
            to_at=random.choice([None, b + timedelta(minutes=5 * random.randint(1, 900))]),
            counts_for=Swept(random.choice([0.0, 48.0])),
            reason="down",
        )
        for b in begins[2:4]
        if random.random() < 0.5
    )
    agreed = tuple(
        Concession(
            from_at=b, to_at=b + timedelta(minutes=5 * random.randint(1, 600)), minimum=Swept(random.choice([0.0, 45.0])),
            chief="A. Chief", hotel=random.choice(["B. Hotel", ""]),
        )
        for b in begins[4:]
    )  # fmt: skip
    change = (AT + timedelta(minutes=5 * random.randint(1, 3000)), random.choice([-60, 30, 60, 330]))
    return Aboard(
        plant=plant(crew=crew, minimum_blocks=blocks),
        jobs=tuple(_turns(random)),
        capacities={"P1": Swept(60.0), "P2": Swept(57.3)},
        outages=outages,
        offset_minutes=15 * random.randint(-48, 56),
        circumstances=Circumstances(concessions=agreed, clock_changes=random.choice([(), (change,)])),
    )


def _turns(random: Random) -> Iterator[DueJob]:
    """Knife and seal of both pumps, one or two turns each, some long past their date."""
    for pump in ("P1", "P2"):
        for kind in ("knife", "seal"):
            days = random.uniform(-20, 10)
            for turn in range(1, random.randint(1, 2) + 1):
                takes, hands = random.randint(1, 9), random.choice([1, 1, 2])
                yield due(turn, pump=pump, kind=kind, days=days, takes_hours=takes, hands=hands)
                days += random.uniform(1, 10)


def _quarters(from_at: datetime, to_at: datetime) -> Iterator[datetime]:
    while from_at < to_at:
        yield from_at
        from_at += QUARTER


def _keeps_the_minimum(ship: Aboard, problem: Problem, plan: Plan) -> None:
    times = {slot.key: slot_times(problem.starts_at, slot) for slot in plan.slots if slot.pump is not None}
    for slot in plan.slots:
        for at in _quarters(*slot_times(problem.starts_at, slot)) if slot.pump is not None else ():
            out = {
                other.pump
                for other in plan.slots
                if other.key in times and times[other.key][0] <= at < times[other.key][1]
            }
            if not ship.is_down_in_the_hour(str(slot.pump), at):
                left = sum(ship.gives(pump, at) for pump in ship.capacities if pump not in out)
                assert left >= ship.need(at) - 1e-9, (slot.key, at, left, ship.need(at))


def _keeps_the_hands(ship: Aboard, problem: Problem, plan: Plan) -> None:
    jobs = {job.key: job for job in problem.jobs}
    hands = hands_by_hour(problem)
    used: dict[datetime, int] = {}
    for slot in plan.slots:
        job = jobs[slot.key]
        spared = 0 if slot.isolation_of is None else min(job.setup_steps, jobs[slot.isolation_of].setup_steps)
        for step, takes in hours_worked(problem, job, slot.start, hands, spared):
            for at in _quarters(problem.starts_at + step * HOUR, problem.starts_at + (step + 1) * HOUR):
                used[at] = used.get(at, 0) + takes
    for at, takes in used.items():
        assert takes <= ship.hands(at), (at, ship.wall(at), takes)


@settings(max_examples=EXAMPLES)
@given(st.integers(0, 2**32).map(Random).map(aboard))
def test_a_plan_holds_at_every_quarter_hour_of_the_ships_clock(ship: Aboard) -> None:
    """Minimum, hands, stretches without work, start hours and windows, from the document and not from the problem."""
    problem = frame(
        plant=ship.plant, jobs=ship.jobs, capacities=ship.capacities, outages=ship.outages,
        offset_minutes=ship.offset_minutes, at=AT, horizon_days=14, circumstances=ship.circumstances,
    )  # fmt: skip
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert plan.proven, plan.remarks
    _keeps_the_minimum(ship, problem, plan)
    _keeps_the_hands(ship, problem, plan)
    opens = {job.job_id.key: job.window_opens_at for job in ship.jobs}
    for slot in plan.slots:
        begins, _ = slot_times(problem.starts_at, slot)
        assert begins >= max(opens[slot.key], AT)
        if slot.isolation_of is None:
            assert ship.wall(begins).hour in ship.plant.crew.start_hours


def test_the_auditor_itself_sees_a_plan_that_is_an_hour_off() -> None:
    """Moved into the busy hours of a ship half an hour off UTC, or out of working hours, a slot is told of."""
    busy = MinimumBlock(minimum_swept_m3_per_h=90.0, label="busy", from_hour=12, to_hour=20)
    ship = Aboard(
        plant=plant(crew=Crew(start_hours=(8,)), minimum_blocks=(busy,)),
        jobs=(due(days=4.0),),
        capacities={"P1": Swept(60.0), "P2": Swept(57.3)},
        outages=(),
        offset_minutes=330,
        circumstances=Circumstances(),
    )
    problem = frame(plant=ship.plant, jobs=ship.jobs, capacities=ship.capacities, outages=(), offset_minutes=330,
                    at=AT, horizon_days=14)  # fmt: skip
    plan = greedy_plan(problem)
    (slot,) = plan.slots
    begins, _ = slot_times(problem.starts_at, slot)
    assert ship.wall(begins) == datetime(2026, 12, begins.day, 8, 30)  # noqa: DTZ001
    _keeps_the_minimum(ship, problem, plan)
    late = replace(plan, slots=(replace(slot, start=slot.start + 1, end=slot.end + 1),))
    with pytest.raises(AssertionError):
        _keeps_the_minimum(ship, problem, late)
