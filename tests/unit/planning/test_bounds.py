"""The ground of a plan, its board, its offers and its tiers, each at its bounds."""

from dataclasses import replace

import pytest

from scheduler.planning.problem.values import (
    CrewStretch,
    Derated,
    MinimumStretch,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
)
from scheduler.planning.search.board import Because, Board
from scheduler.planning.search.ground import (
    Ground,
    Start,
    candidate_at,
    fact_against,
    legal_candidates,
    own_dates,
    survey,
    window_starts,
)
from scheduler.planning.search.offers import field_of
from scheduler.planning.search.tiers import (
    FREE_DAYS,
    GROUP_PAST_DAYS,
    GROUP_WITHIN_DAYS,
    TIERS,
    chain_days,
    chain_limit,
    days_off,
    days_past,
    limit_after,
    may_share,
    most_in_a_week,
    set_up_saved,
)
from tests.unit.planning.cases import STARTS_AT

DAY = 24


def _job(key: str = "a", pump: str | None = "P1", **changed: object) -> PlanJob:
    job = PlanJob(key=key, pump=pump, work_steps=2, hands=1, earliest=0, ideal=8, due=900, limit=900)
    return replace(job, **changed)  # type: ignore[arg-type]


def _ground(*jobs: PlanJob, days: int = 2, need: int = 0, pumps: int = 0, **changed: object) -> Ground:
    """Three pumps of 60, four hands at any hour, every hour a start."""
    steps = days * DAY
    problem = Problem(
        starts_at=STARTS_AT,
        steps=steps,
        pumps=tuple(PumpCapacity(pump=f"P{n}", litres_per_h=60) for n in range(1, 4)),
        minimum=(MinimumStretch(from_step=0, to_step=steps, litres_per_h=need, pumps=pumps),),
        crew=(CrewStretch(from_step=0, to_step=steps, hands=4),),
        start_steps=tuple(range(steps)),
        jobs=jobs,
    )
    return survey(replace(problem, **changed))  # type: ignore[arg-type]


def _at(ground: Ground, job: PlanJob, start: int) -> Start:
    found = candidate_at(ground, job, start)
    assert found is not None
    return found


def test_a_job_may_start_as_its_window_opens():
    """The first of its starts is its earliest step."""
    job = _job(earliest=9)
    ground = _ground(job)
    assert window_starts(ground, job)[0] == 9
    assert legal_candidates(ground, job)[0].start == 9


@pytest.mark.parametrize(("shown", "own"), [(5, ()), (6, (6,)), (29, (29,)), (30, ())])
def test_a_date_shown_before_is_kept_up_to_a_day_before_the_window(shown, own):
    """The window opens at 30."""
    job = _job(earliest=30, published_start=shown)
    assert own_dates(_ground(job), job) == own


@pytest.mark.parametrize(("hands", "own"), [(4, (20,)), (5, ())])
def test_a_date_shown_before_needs_as_many_hands_as_the_job(hands, own):
    """Four are there."""
    job = _job(earliest=30, published_start=20, hands=hands)
    assert own_dates(_ground(job), job) == own


@pytest.mark.parametrize(("start", "allowed"), [(8, False), (9, True)])
def test_a_job_may_start_as_its_parts_come(start, allowed):
    """They come at 9."""
    job = _job(parts_from=9)
    ground = _ground(job)
    assert (fact_against(ground, job, _at(ground, job, start)) is None) is allowed


@pytest.mark.parametrize(("start", "minutes", "allowed"), [(7, 20, True), (8, 20, False), (7, 19, False)])
def test_a_test_lies_in_quiet_hours_from_start_to_end_and_may_take_all_minutes(start, minutes, allowed):
    """Quiet from 7 to 9; two hours from 8 on reach out of it."""
    job = _job(pump=None, stop_minutes=20)
    quiet = QuietStretch(from_step=7, to_step=9, most_minutes=minutes, consent="hotel")
    ground = _ground(job, quiet=(quiet,))
    assert (fact_against(ground, job, _at(ground, job, start)) is None) is allowed


@pytest.mark.parametrize(("need", "pumps", "barred"), [(120, 0, 0), (121, 0, 48), (0, 2, 0), (0, 3, 48)])
def test_a_pump_that_is_just_to_spare_may_be_opened(need, pumps, barred):
    """Of three of 60: with 120, or 2 pumps, left; a litre or a pump more and no hour is free."""
    assert _ground(need=need, pumps=pumps).barred["P1"][-1] == barred


@pytest.mark.parametrize(("need", "pumps", "uncovered"), [(60, 0, 0), (61, 0, 48), (0, 1, 0), (0, 2, 48)])
def test_cover_is_to_have_just_one_more_to_lose(need, pumps, uncovered):
    """Of three of 60 one is out and one more fails."""
    assert _ground(need=need, pumps=pumps).uncovered["P1"][-1] == uncovered


def test_where_stretches_overlap_the_stricter_counts_whatever_their_order():
    """Highest minimum, most pumps, fewest hands, fewest minutes, least capacity."""

    def both(*two: object) -> tuple[tuple[object, ...], tuple[object, ...]]:
        return two, two[::-1]

    for minimum in both(
        MinimumStretch(from_step=0, to_step=9, litres_per_h=50, pumps=2, label="high"),
        MinimumStretch(from_step=0, to_step=9, litres_per_h=40, pumps=1, label="low"),
    ):
        ground = _ground(minimum=minimum)
        assert (ground.minimum[0], ground.label[0], ground.spare[0]) == (50, "high", 1)
    for crew in both(CrewStretch(from_step=0, to_step=9, hands=3), CrewStretch(from_step=0, to_step=9, hands=1)):
        assert _ground(crew=crew).hands[0] == 1
    for quiet in both(
        QuietStretch(from_step=0, to_step=9, most_minutes=30, consent="hotel"),
        QuietStretch(from_step=0, to_step=9, most_minutes=10, consent="hotel"),
    ):
        assert _ground(quiet=quiet).quiet[0] == 10
    for derated in both(
        Derated(from_step=0, to_step=9, litres_per_h=30), Derated(from_step=0, to_step=9, litres_per_h=10)
    ):
        pump = PumpCapacity(pump="P1", litres_per_h=60, derated=derated)  # type: ignore[arg-type]
        assert survey(replace(_ground().problem, pumps=(pump,))).capacity["P1"][0] == 10


@pytest.mark.parametrize(("need", "lacks"), [(60, {}), (61, {8: 1, 9: 1})])
def test_a_second_pump_is_opened_down_to_just_the_minimum(need, lacks):
    """With the first of three out; a litre more lacks in each of its hours."""
    first, second = _job("a"), _job("b", "P2")
    ground = _ground(first, second, need=need)
    board = Board(ground)
    board.place(first, _at(ground, first, 8))
    assert board.lacking(second, _at(ground, second, 8)) == lacks
    bar = board.bar(second, _at(ground, second, 8))
    assert (bar is None) is (not lacks)
    assert board.bar(second, _at(ground, second, 10)) is None


@pytest.mark.parametrize(("pumps", "free"), [(1, True), (2, False)])
def test_a_second_pump_is_opened_down_to_the_number_that_must_be_there(pumps, free):
    """Of three one is out already."""
    first, second = _job("a"), _job("b", "P2")
    ground = _ground(first, second, pumps=pumps)
    board = Board(ground)
    board.place(first, _at(ground, first, 8))
    bar = board.bar(second, _at(ground, second, 8))
    assert (bar is None) is free
    assert bar is None or bar.because is Because.CAPACITY


@pytest.mark.parametrize(("start", "free"), [(7, False), (6, True), (9, False), (10, True)])
def test_turns_may_follow_each_other_without_an_hour_between(start, free):
    """The first is placed from 8 to 10, its next turn tried, and the other way round."""
    first, second = _job("a"), _job("b", "P2", after="a")
    ground = _ground(first, second)
    board = Board(ground)
    if start < 8:
        board.place(second, _at(ground, second, 8))
        bar = board.bar(first, _at(ground, first, start))
    else:
        board.place(first, _at(ground, first, 8))
        bar = board.bar(second, _at(ground, second, start))
    assert (bar is None) is free
    assert bar is None or bar.because is Because.ORDER


@pytest.mark.parametrize(("hands", "free"), [(3, True), (4, False)])
def test_all_hands_that_are_there_may_work(hands, free):
    """One of four is at another job."""
    first, second = _job("a"), _job("b", "P2", hands=hands)
    ground = _ground(first, second)
    board = Board(ground)
    board.place(first, _at(ground, first, 8))
    assert (board.bar(second, _at(ground, second, 8)) is None) is free


def _pair_starts(first: PlanJob, second: PlanJob, days: int = 20) -> list[int]:
    """Where the second goes on from the first, in the order in which the first is the first."""
    ground = _ground(first, second, days=days)
    field = field_of(ground, {job.key: legal_candidates(ground, job) for job in ground.jobs})
    return [
        other.start
        for pairing in field.pairings
        if field.offers[pairing.first].job.key == first.key
        for _, other in pairing.places
    ]


def test_the_second_job_of_an_isolation_may_start_as_its_window_opens():
    """At 30, not before."""
    assert _pair_starts(_job("a"), _job("b", earliest=30), days=3)[0] == 30


@pytest.mark.parametrize("late", ["a", "b"])
def test_a_shared_isolation_is_looked_at_just_so_many_days_past_either_limit(late):
    """The last end is that many days past the limit of the one that is short of time."""
    limits = {"a": 900, "b": 900} | {late: 12}
    last = _pair_starts(_job("a", limit=limits["a"]), _job("b", limit=limits["b"]))[-1]
    ends = {"a": last, "b": last + 2}
    assert ends[late] == 12 + GROUP_PAST_DAYS * DAY


@pytest.mark.parametrize(("late", "days"), [(-1, 0), (0, 0), (1, 1), (24, 1), (25, 2)])
def test_an_hour_past_the_limit_is_a_day(late, days):
    """Whole days, rounded up."""
    assert days_past(100, 100 + late) == days


@pytest.mark.parametrize(("hours", "days"), [(0, 0), (1, 1), (24, 1), (25, 2)])
def test_an_hour_beyond_the_free_days_is_a_day_off(hours, days):
    """On either side."""
    for side in (-1, 1):
        assert days_off(1000, 1000 + side * (FREE_DAYS * DAY + hours)) == days


def test_the_turn_before_sets_an_earlier_limit_with_the_jobs_own_tolerance():
    """Never a later one; a limit before the due point gives no tolerance."""
    job = _job(due=100, limit=130, interval_steps=50)
    assert chain_limit(job, 40) == 40 + 50 + 30
    assert chain_limit(replace(job, limit=90), 40) == 90
    assert [limit_after(job, end) for end in (40, 50, 51, None)] == [120, 130, 130, 130]


@pytest.mark.parametrize(("further", "share"), [(0, True), (1, False)])
def test_ideal_dates_just_as_far_apart_as_an_isolation_is_worth_are_brought_together(further, share):
    """An hour further and they are not, either way round."""
    one, other = _job("a", ideal=0), _job("b", ideal=GROUP_WITHIN_DAYS * DAY + further)
    assert may_share(one, other) is may_share(other, one) is share


@pytest.mark.parametrize(("first", "second", "work", "saved"), [(2, 3, 9, 2), (3, 2, 9, 2), (5, 5, 3, 2), (0, 5, 9, 0)])
def test_the_second_job_on_an_isolation_keeps_an_hour_of_work(first, second, work, saved):
    """Else the smaller set-up is saved."""
    assert set_up_saved(_job("a", setup_steps=first), _job("b", setup_steps=second, work_steps=work)) == saved


@pytest.mark.parametrize(("start", "nights"), [(22, 0), (23, 1), (24, 0)])
def test_a_pump_closed_at_midnight_did_not_stand_open_overnight(start, nights):
    """Two hours of work."""
    job = _job()
    ground = _ground(job, avoid_nights=True)
    (tier,) = [one for one in TIERS if one.name == "nights a pump stands open"]
    assert tier.cost(ground, job, _at(ground, job, start)) == nights


@pytest.mark.parametrize(("day", "most"), [(6, 2), (7, 1)])
def test_the_crews_week_has_seven_days(day, most):
    """The eighth day is of another one."""
    first, second = _job("a"), _job("b", "P2")
    ground = _ground(first, second, days=9)
    placement = {"a": _at(ground, first, 8), "b": _at(ground, second, day * DAY + 8)}
    assert most_in_a_week(placement) == most


@pytest.mark.parametrize(("limit", "added"), [(900, 2), (40, 1), (12, 0)])
def test_what_a_job_is_late_by_its_own_limit_is_not_counted_again_for_the_chain(limit, added):
    """By the turn before it, which ended at 10, it was due by 15; it ends at 42, two days past that."""
    first = _job("a")
    second = _job("b", "P2", after="a", interval_steps=5, due=limit, limit=limit)
    ground = _ground(first, second)
    placement = {"a": _at(ground, first, 8), "b": _at(ground, second, 40)}
    assert chain_days(ground, second, placement) == added
