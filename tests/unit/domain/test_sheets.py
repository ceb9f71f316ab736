"""Job sheets as data: what is refused in words, the examples, the pick list, and what else falls due beside a job."""

from dataclasses import replace
from datetime import timedelta

import pytest
from pydantic import TypeAdapter

from scheduler.domain.base.enums import JobState
from scheduler.domain.checks.job_sheets import MOST_STEPS, finding_faults, sheet_faults
from scheduler.domain.vessel.isolation import POINTS, PointRole, off_order
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.vessel.sheets import (
    FINDINGS,
    FindingKind,
    MeasureAsked,
    PartNeeded,
    Phase,
    SheetStep,
    finding_kind,
)
from scheduler.domain.work.same_isolation import due_on_same_isolation
from seed_fleet.documents import JOB_KINDS
from seed_fleet.sheets import SHEETS
from tests.unit.domain.plants import AT, KNIVES, due_jobs, plant, steady_days, steady_hours

EXAMPLES = TypeAdapter(tuple[JobKind, ...]).validate_python([{**kind, **SHEETS[kind["code"]]} for kind in JOB_KINDS])


@pytest.mark.parametrize("kind", EXAMPLES, ids=lambda kind: kind.code)
def test_every_example_sheet_is_taken_and_drains_nothing_to_the_bilge(kind: JobKind) -> None:
    """Each has steps; where the pump is opened they stand in the order of the work, and what proves is told by its act."""
    assert not list(sheet_faults("", kind))
    assert kind.steps
    assert "example" in kind.note
    said = " ".join(step.text for step in kind.sheet).casefold()
    assert "bilge" not in said
    if kind.takes_pump_out:
        _in_order(kind)


def test_the_repair_without_a_plan_has_the_same_order() -> None:
    """It is an example as the others are."""
    assert not list(sheet_faults("", BREAKDOWN))
    _in_order(BREAKDOWN)


def _in_order(kind: JobKind) -> None:
    places = [list(Phase).index(step.when) for step in kind.sheet if step.when is not None]
    assert places == sorted(places)
    assert len(places) == len(kind.sheet)
    acts = [step.act for step in kind.sheet if step.act]
    assert acts[:5] == ["made ready", "rinsed", "start tried", "no voltage", "vacuum let out"]
    assert acts[5:] == ["people clear", "started locally", "tested"]


@pytest.mark.parametrize(
    ("changes", "where", "words"),
    [
        ({"steps": ("Drain the casing to the bilge well.",)}, "/steps/0", "never to the bilge"),
        ({"steps": ("Look at it.", "Look at it.")}, "/steps/1", "twice"),
        ({"steps": tuple(f"Step {n}" for n in range(MOST_STEPS + 1))}, "/steps", "at most"),
        ({"steps": ("",)}, "/steps/0", "empty"),
        ({"measures": (MeasureAsked(name="gap", low=2.0, high=1.0),)}, "/measures/0/high", "the lower first"),
        ({"measures": (MeasureAsked(name="gap", high=float("nan")),)}, "/measures/0/high", "a number"),
        ({"parts": (PartNeeded(name="knife set", quantity=0),)}, "/parts/0/quantity", "1 to"),
        ({"tools": ("x" * 99,)}, "/tools/0", "Shorten"),
        ({"steps": (SheetStep(text="Look.", act="levitated"),)}, "/steps/0/act", "was expected"),
    ],
)
def test_a_sheet_that_makes_no_sense_is_told_where_and_why(changes: dict[str, object], where: str, words: str) -> None:
    """One fault, at the place, in words."""
    (fault,) = sheet_faults("", replace(KNIVES, **changes))  # type: ignore[arg-type]
    assert fault[0] == where
    assert words in fault[1]


def test_the_pick_list_is_data_with_a_list_of_our_own_behind_it() -> None:
    """What is seen leads to mode, mechanism and cause, whatever its letters' case; an empty or doubled list is refused."""
    kind = finding_kind(FINDINGS, " Knife edges DULL ")
    assert kind is not None
    assert (kind.mode, kind.mechanism, kind.cause) == ("low output", "wear", "running hours")
    assert finding_kind(FINDINGS, "a ghost") is None
    assert not list(finding_faults("", plant()))
    assert "1 to" in next(finding_faults("", plant(findings=())))[1]
    doubled = (FindingKind(seen="worn"), FindingKind(seen="Worn"))
    assert "twice" in next(finding_faults("", plant(findings=doubled)))[1]


def test_what_else_falls_due_is_on_the_same_pump_and_soon() -> None:
    """Other open jobs of that pump with their window open or due within the days given; never another pump's."""
    at_plant = plant()
    jobs = due_jobs(
        plant=at_plant,
        done={},
        hours=steady_hours(3600 * 1490),
        daily=steady_days(),
        at=AT,
        horizon_days=400,
    )
    job = next(j for j in jobs if j.first and j.pump == "u1" and j.job_id.kind == KNIVES.code)
    near = due_on_same_isolation(jobs, job, AT, within_days=30)
    far = due_on_same_isolation(jobs, job, AT, within_days=400)
    assert {j.job_id.key for j in near} <= {j.job_id.key for j in far}
    assert far
    for other in far:
        assert other.pump == "u1"
        assert other.first
        assert other.job_id != job.job_id
    for other in near:
        assert other.state is not JobState.AHEAD or other.due_at <= AT + timedelta(days=30)
    assert due_on_same_isolation(jobs, replace(job, pump=None), AT) == []


def test_a_non_return_valve_is_no_isolation_point() -> None:
    """It shuts when it likes. Common practice, no source."""
    assert not any("non-return" in point.name or "drain" in point.name for point in POINTS)


def test_the_suction_comes_off_last_whatever_its_number() -> None:
    """In the sheet's order, the suction after all. Common practice, no source."""
    first = tuple(replace(point, off=-1) if point.role is PointRole.SUCTION else point for point in POINTS)
    assert off_order(first)[-1] == off_order(POINTS)[-1] == "suction valve"
    assert set(off_order(POINTS)) == {point.name for point in POINTS}


def test_a_plain_text_in_a_sheet_is_work_on_the_open_pump() -> None:
    """A sheet written before steps had places is held to the strictest of them."""
    assert [step.when for step in replace(KNIVES, steps=("Look at it.",)).sheet] == [Phase.OPEN]
