"""What the judge reads off a problem, hour by hour. It shares nothing with the builder."""

from bisect import bisect

from scheduler.planning.problem.values import PlanJob, Problem


def hours_worked(
    problem: Problem, job: PlanJob, start: int, hands: list[int], spared: int = 0
) -> list[tuple[int, int]]:
    """(hour, hands) in which the job is worked on; empty when it cannot be finished.

    spared: hours of set-up that it need not do, one hour of work at least being left.
    """
    length = max(job.work_steps, 1)
    takes = list(job.hands_by_step) or [job.hands] * length
    takes = takes[min(spared, length - 1) :]
    worked: list[tuple[int, int]] = []
    hour = max(start, 0)
    while len(worked) < len(takes) and hour < len(hands):
        day = ships_day(problem, hour)
        today = sum(1 for h, _ in worked[-problem.person_hours :] if ships_day(problem, h) == day)
        if hands[hour] >= takes[len(worked)] and today < problem.person_hours:
            worked.append((hour, takes[len(worked)]))
        hour += 1
    return worked if len(worked) == len(takes) else []


def ships_day(problem: Problem, hour: int) -> int:
    """Number of the ship's day in which an hour lies: where the clock changes meanwhile, by the days as they begin."""
    if problem.day_starts:
        return bisect(problem.day_starts, hour)
    return (hour - problem.first_midnight) // 24


def pumps_by_hour(problem: Problem) -> list[int]:
    """How many pumps must be there, the most where stretches overlap."""
    must = [0] * max(0, problem.steps)
    for stretch in problem.minimum:
        for hour in range(max(stretch.from_step, 0), min(stretch.to_step, problem.steps)) if stretch.pumps else ():
            must[hour] = max(must[hour], stretch.pumps)
    return must


def capacity_by_hour(problem: Problem) -> dict[str, list[int]]:
    """What each pump counts for, litres/h, the least where stretches overlap."""
    have = {}
    for pump in problem.pumps:
        row = [pump.litres_per_h] * max(0, problem.steps)
        for less in pump.derated:
            for hour in range(max(less.from_step, 0), min(less.to_step, problem.steps)):
                row[hour] = min(row[hour], less.litres_per_h)
        have[pump.pump] = row
    return have


def minimum_by_hour(problem: Problem) -> list[int]:
    """The minimum, litres/h, the highest where stretches overlap, 0 outside all of them."""
    need: list[int | None] = [None] * max(0, problem.steps)
    for stretch in problem.minimum:
        for hour in range(max(stretch.from_step, 0), min(stretch.to_step, problem.steps)):
            before = need[hour]
            need[hour] = stretch.litres_per_h if before is None else max(before, stretch.litres_per_h)
    return [0 if n is None else n for n in need]


def hands_by_hour(problem: Problem) -> list[int]:
    """The hands at work, the fewest where stretches overlap, 0 outside all of them."""
    hands: list[int | None] = [None] * max(0, problem.steps)
    for stretch in problem.crew:
        for hour in range(max(stretch.from_step, 0), min(stretch.to_step, problem.steps)):
            before = hands[hour]
            hands[hour] = stretch.hands if before is None else min(before, stretch.hands)
    return [0 if h is None else h for h in hands]
