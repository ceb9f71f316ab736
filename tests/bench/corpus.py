"""Problems on which two states of the planner are compared: frozen, of benches, drawn, of an invented fleet first planned and planned
again, and slow ones. `python -m tests.bench.corpus FILE` writes them as JSON, name to text of the problem.
"""

import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plan.planning import bring_up
from scheduler.actions.plan.stored import take_up
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.planning.problem.codec import problem_to_text
from scheduler.planning.problem.values import Derated, PlanJob, Problem
from scheduler.settings import Settings
from scheduler.solving import Worker
from scheduler.storage.plan import PlanStatus, plan_row
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER
from tests.end_to_end.live import TurnedClock
from tests.frozen.kept import load
from tests.storage.stores import store
from tests.unit.planning.cases import ship

SHIPS = 24
DRAWN = 80


def aboard(problem: Problem) -> Problem:
    """As a ship has it: eight hours a person, an hour of set-up that jobs of one pump may share."""
    jobs = tuple(replace(job, setup_steps=1 if job.pump else 0) for job in problem.jobs)
    return replace(problem, jobs=jobs, person_hours=8)


def drawn(seed: int) -> Problem:
    """A ship of two to six pumps over one to three months whose dates, work, crew and pumps are as they came."""
    random = Random(seed)
    days, pumps = random.choice([30, 60, 60, 90]), random.randint(2, 6)
    problem = aboard(
        ship(
            pumps,
            days,
            spare_pumps=min(pumps, random.choice([1.0, 1.1, 1.2, 1.6, 2.2])),
            hours=random.choice([(8,), (8, 13), (8, 13), (0, 8, 20)]),
            sparse=random.random() < 0.3,
        )
    )
    jobs = [_as_it_came(random, problem, job) for job in problem.jobs if random.random() >= 0.1]
    keys = {job.key for job in jobs}
    first, *others = problem.pumps
    out = random.randint(0, problem.steps - 1)
    if random.random() < 0.4:
        down = Derated(from_step=out, to_step=out + random.randint(24, 24 * 20), litres_per_h=0)
        first = replace(first, derated=(down,))
    by_week = random.random() < 0.3
    return replace(
        problem,
        jobs=tuple(job if job.after in keys else replace(job, after=None, interval_steps=None) for job in jobs),
        pumps=(first, *others),
        crew=tuple(c for n, c in enumerate(problem.crew) if not by_week or n % 7 not in (5, 6)),
        person_hours=random.choice([24, 8, 8, 10]),
        avoid_nights=random.random() < 0.3,
    )


def _as_it_came(random: Random, problem: Problem, job: PlanJob) -> PlanJob:
    by, starts = random.randint(-72, 72), problem.start_steps
    work, hands = (
        max(1, round(job.work_steps * random.choice([1, 1, 1, 0.5, 2]))),
        random.choice([job.hands, job.hands, 1, 2]),
    )
    return replace(
        job,
        earliest=max(0, job.earliest + by),
        ideal=job.ideal + by,
        due=job.due + by,
        limit=job.limit + by - random.choice([0, 0, 0, 48, 96]),
        work_steps=work,
        hands=hands,
        published_start=random.choice(starts) if random.random() < 0.1 else None,
        kept_start=random.choice(starts) if random.random() < 0.04 else None,
        fixed_start=random.choice(starts) if random.random() < 0.03 else None,
        parts_from=random.randint(0, problem.steps) if random.random() < 0.05 else None,
    )  # fmt: skip


def of_benches() -> Iterator[tuple[str, Problem]]:
    """Half a year of two to eight pumps, two years of eight."""
    for pumps in (2, 3, 4, 5, 6, 8):
        yield f"bench {pumps} pumps 180 days", aboard(ship(pumps))
    yield "bench 4 pumps 180 days 9 starts", aboard(ship(4, hours=tuple(range(8, 17))))
    yield "bench 8 pumps 730 days sparse", aboard(ship(8, 730, sparse=True))
    yield "bench 8 pumps 730 days dense", aboard(ship(8, 730))


def slow() -> Iterator[tuple[str, Problem]]:
    """Plans that take long: many start hours, 240 jobs of six pumps, a pump that is out for a month."""
    yield "slow 3 start hours 90 days", aboard(ship(4, 90, hours=(0, 8, 20)))
    thick = aboard(ship(6, 180))
    more = [replace(job, key=f"{job.key}b", after=job.after and f"{job.after}b", ideal=job.ideal + 60, due=job.due + 60,
                    limit=job.limit + 60, earliest=job.earliest + 60) for job in thick.jobs]  # fmt: skip
    both = sorted((*thick.jobs, *more), key=lambda job: (job.due, job.key))[:240]
    keys = {job.key for job in both}
    jobs = tuple(j if j.after in keys else replace(j, after=None, interval_steps=None) for j in both)
    yield "slow 240 jobs 6 pumps 180 days", replace(thick, jobs=jobs)
    for number in range(5):
        problem = aboard(ship(3 + number % 3, 120, spare_pumps=1.2))
        first, *others = problem.pumps
        down = Derated(from_step=24 * number, to_step=24 * (number + 30), litres_per_h=0)
        yield f"slow pump out {number}", replace(problem, pumps=(replace(first, derated=(down,)), *others))


def of_a_fleet() -> Iterator[tuple[str, Problem]]:
    """Ships framed from their database: first planned; and an hour and a day after their plans were taken."""
    clock, pairs = TurnedClock(), []
    with (
        tempfile.TemporaryDirectory() as folder,
        store("sqlite", Path(folder)) as database,
        Worker(wall_seconds=300) as worker,
    ):
        context = Context(database, clock, Settings())
        for number in range(SHIPS):
            plan = (PLOVER, AVOCET)[number % 2]
            document = json.dumps(vessel_document(Run(plan, 1 + number, context.now(), (0.15, 0.05, 0.4)[number % 3])))
            vessel = VESSEL.validate_python(json.loads(document.replace(plan.key, f"{plan.key}{number}")))
            changes.put_vessel(context, Actor("bench", "bench", Role.ADMIN), vessel, if_new=True)
            pair = vessel.id, vessel.plants[0].id
            pairs.append(pair)
            yield f"fleet {number}", problem_of(plant_state(context, *pair), context)
            bring_up(context, *pair, worker.plan)
            with database.write(vessel.id) as session:
                proposed = plan_row(session, *pair, PlanStatus.PROPOSED)
                assert proposed is not None
                take_up(session, vessel.id, proposed, context.now())
        for name, hours in (("1 h", 1), ("26 h", 25)):
            clock.at += timedelta(hours=hours)
            for number, pair in enumerate(pairs):
                yield f"again {name} {number}", problem_of(plant_state(context, *pair), context)


def corpus() -> dict[str, str]:
    """Name to text of the problem."""
    found = {f"frozen {name}": text for name, text in load("problems.json.gz").items()}
    ours = (*of_benches(), *slow(), *((f"drawn {seed}", drawn(seed)) for seed in range(DRAWN)), *of_a_fleet())
    return found | {name: problem_to_text(problem) for name, problem in ours}


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(json.dumps(corpus()), encoding="utf-8")
