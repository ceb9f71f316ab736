"""Invented problems shared by the planner's tests and bench."""

from datetime import UTC, datetime

from scheduler.planning.problem.values import CrewStretch, MinimumStretch, Plan, PlanJob, Problem, PumpCapacity
from scheduler.wording.plan import PlanWords, shortfall_words

STARTS_AT = datetime(2026, 11, 30, tzinfo=UTC)

KINDS = (
    # name, every days, first due at day, window days, tolerance days, hours of work, hands
    ("knife", 30, 11, 6, 3, 3, 1),
    ("seal", 90, 40, 14, 7, 6, 2),
    ("overhaul", 180, 75, 25, 14, 20, 2),
)


def crew_by_day(days: int, hands: int = 2, first: int = 8, last: int = 17) -> tuple[CrewStretch, ...]:
    """Hands at work from hour `first` to hour `last` of each day."""
    return tuple(CrewStretch(from_step=24 * d + first, to_step=24 * d + last, hands=hands) for d in range(days))


def starts_by_day(days: int, hours: tuple[int, ...] = (8, 13)) -> tuple[int, ...]:
    """Allowed starts at those hours of each day."""
    return tuple(24 * d + h for d in range(days) for h in hours)


SPARSE_KINDS = (("knife", 40, 11, 8, 4, 3, 1), *KINDS[1:])


def ship(
    pumps: int,
    days: int = 180,
    litres_per_h: int = 60_000,
    spare_pumps: float = 1.2,
    *,
    sparse: bool = False,
    hours: tuple[int, ...] = (8, 13),
) -> Problem:
    """A ship whose pumps need knives, seals and overhauls, with a weekly and a monthly test of the plant.

    sparse: knives less often, and no tests of the plant. hours: at which a job may start.
    The minimum leaves `spare_pumps` pumps spare by day and one more by night; each pump's dates lie four days apart.
    """
    steps = days * 24
    need = round((pumps - spare_pumps) * litres_per_h)
    minimum = []
    for d in range(days):
        minimum.append(MinimumStretch(from_step=24 * d, to_step=24 * d + 6, litres_per_h=need // 2, label="night"))
        minimum.append(MinimumStretch(from_step=24 * d + 6, to_step=24 * d + 24, litres_per_h=need, label="full ship"))
    jobs = []
    for number in range(1, pumps + 1):
        for name, every, first, window, tolerance, takes, hands in SPARSE_KINDS if sparse else KINDS:
            before = None
            for turn, day in enumerate(range(first + 4 * number, days - 1, every), start=1):
                key = f"{name}:P{number}:{turn}"
                due = 24 * day + 10
                jobs.append(
                    PlanJob(
                        key=key,
                        pump=f"P{number}",
                        work_steps=takes,
                        hands=hands,
                        earliest=max(0, due - 24 * window),
                        ideal=due - round(24 * every * 0.06),
                        due=due,
                        limit=due + 24 * tolerance,
                        after=before,
                        interval_steps=24 * every if before else None,
                    )
                )
                before = key
    for name, every, window, takes in () if sparse else (("weekly", 7, 1, 1), ("monthly", 30, 4, 2)):
        before = None
        for turn, day in enumerate(range(every, days - 1, every), start=1):
            key, due = f"{name}:plant:{turn}", 24 * day + 9
            jobs.append(
                PlanJob(
                    key=key,
                    pump=None,
                    work_steps=takes,
                    hands=1,
                    earliest=due - 24 * window,
                    ideal=due - round(24 * every * 0.06),
                    due=due,
                    limit=due + 24,
                    after=before,
                    interval_steps=24 * every if before else None,
                )
            )
            before = key
    return Problem(
        starts_at=STARTS_AT,
        steps=steps,
        pumps=tuple(PumpCapacity(pump=f"P{n}", litres_per_h=litres_per_h) for n in range(1, pumps + 1)),
        minimum=tuple(minimum),
        crew=crew_by_day(days),
        start_steps=starts_by_day(days, hours),
        jobs=tuple(jobs),
    )


def words_for(problem: Problem, clock: int = 0) -> PlanWords:
    """Sentences of a plan of this problem: pump P1 is called VP1, a job by kind and pump, the year goes without saying."""
    return PlanWords(
        starts_at=problem.starts_at,
        clock=clock,
        year=problem.starts_at.year,
        job=lambda key: f"V{key.split(':')[1]} {key.split(':')[0]}" if ":P" in key else key.split(":")[0],
        pump=lambda pump: f"V{pump}",
    )


def shortfalls_said(problem: Problem, plan: Plan) -> list[str]:
    """What falls short, in sentences."""
    return [shortfall_words(short, words_for(problem)) for short in plan.shortfalls]
