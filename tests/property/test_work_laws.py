"""Work on a pump: whatever is told in whatever order, a pump with a tag on it or a test missing never counts in full."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import Test
from scheduler.domain.work.acts import (
    AnyStep,
    MadeReady,
    Opened,
    PeopleClear,
    PeopleWarned,
    PermitClosed,
    PermitIssued,
    Returned,
    StartedLocally,
    Struck,
    TagPlaced,
    TagRemoved,
    Tested,
)
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.rules import objections
from scheduler.domain.work.state import Counts, after, replay

BEGUN = datetime(2026, 11, 3, 8, tzinfo=UTC)
POINTS = st.sampled_from(["supply breaker", "suction valve"])
PEOPLE = st.sampled_from(["A. Second", "B. Fitter"])


@st.composite
def steps(draw: st.DrawFn) -> list[AnyStep]:
    """Any steps in any order, some at one instant, facts and follies alike."""
    told: list[AnyStep] = []
    for _ in range(draw(st.integers(0, 14))):
        at = BEGUN + timedelta(minutes=draw(st.integers(0, 40)))
        by = draw(PEOPLE)
        kind = draw(st.integers(0, 11))
        told.append(
            [
                lambda at=at, by=by: TagPlaced(at=at, by=by, point=draw(POINTS)),
                lambda at=at, by=by: TagRemoved(at=at, by=by, point=draw(POINTS)),
                lambda at=at, by=by: Opened(at=at, by=by),
                lambda at=at, by=by: PeopleClear(at=at, by=by),
                lambda at=at, by=by: PeopleWarned(at=at, by=by, names="all"),
                lambda at=at, by=by: Returned(at=at, by=by),
                lambda at=at, by=by: Tested(at=at, by=by, result=draw(st.sampled_from([Test.PASSED, Test.FAILED]))),
                lambda at=at, by=by: PermitIssued(at=at, by=by, number="CW-1"),
                lambda at=at, by=by: PermitClosed(at=at, by=by, number="CW-1"),
                lambda at=at, by=by: MadeReady(at=at, by=by, standby_seen=True, told="all"),
                lambda at=at, by=by: StartedLocally(at=at, by=by),
                lambda at=at, by=by: Struck(at=at, by=by, number=draw(st.integers(1, 14))),
            ][kind]()
        )
    return told


@given(steps())
def test_a_tag_on_or_a_test_missing_never_counts_in_full(told: list[AnyStep]) -> None:
    """Recounted by hand: hanging tags, and whether a passed test follows the last taking-out with a return between."""
    work = replay(told)
    struck = {one.number for one in told if isinstance(one, Struck)}
    idle = [one for n, one in enumerate(told, 1) if n not in struck and not isinstance(one, Struck)]
    ordered = sorted(idle, key=lambda one: one.at)
    if work.hanging or work.not_known:
        assert work.counts is Counts.NOTHING
    out = [i for i, one in enumerate(ordered) if isinstance(one, TagPlaced | Opened)]
    if out:
        later = ordered[out[-1] + 1 :]
        returned = next((i for i, one in enumerate(later) if isinstance(one, Returned)), None)
        tested = returned is not None and any(
            isinstance(one, Tested) and one.result is Test.PASSED for one in later[returned + 1 :]
        )
        if not tested:
            assert work.counts is not Counts.FULL
        if returned is None:
            assert work.counts is Counts.NOTHING


@given(steps(), st.randoms(use_true_random=False))
def test_when_a_step_is_told_does_not_matter(told: list[AnyStep], random: object) -> None:
    """Steps entered late from paper give the same state, as long as their instants differ."""
    told = list({one.at: one for one in told if not isinstance(one, Struck)}.values())  # a strike names a number
    shuffled = told[:]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert replay(shuffled) == replay(told)


@given(steps())
def test_asked_first_no_rule_is_ever_broken(told: list[AnyStep]) -> None:
    """A history in which only unobjectionable steps are taken never has a foreign hand on a tag, nor a run or a closed
    permit under a tag."""
    work = replay([])
    for step in sorted(told, key=lambda one: one.at):
        if isinstance(step, Struck) or objections(work, step, Procedure()):
            continue
        if isinstance(step, Returned | StartedLocally):
            assert not work.hanging
        assert not isinstance(step, Opened)  # never, on so few acts
        work = after(work, step)
    assert all(tag.removed_by in ("", tag.placed_by) for tag in work.tags)
