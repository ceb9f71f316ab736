"""Every fact that the planner can give goes through its sentence, which has no id, no key and no instant in UTC."""

import re
from collections.abc import Callable
from datetime import timedelta
from enum import StrEnum
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.explain.dates import FactKind, PlanFact
from scheduler.planning.explain.figures import PlanFigures
from scheduler.planning.explain.reasons import PlaceReason, ReasonCode
from scheduler.planning.explain.reliefs import ReliefChoice, ReliefKind
from scheduler.planning.judge.check import Fault, Rule
from scheduler.planning.judge.cover import Cover
from scheduler.planning.move.objections import MoveCode, MoveFact
from scheduler.planning.problem.facts import Bar, BarCode, Because, Blocker
from scheduler.planning.problem.values import Remark, RemarkCode, ShortCode, Shortfall
from scheduler.shiptime import ShipOffset
from scheduler.wording.moves import move_fact_words
from scheduler.wording.plan import PlanWords, bar_words, fault_words, remark_words, shortfall_words
from scheduler.wording.reasons import cover_words, fact_words, left_words, reason_words, relief_words
from tests.unit.planning.cases import STARTS_AT

UNSAID = re.compile(r"plover-|_|[a-z]:\w|\d{4}-\d\d|\dT\d|\dZ|\bUTC\b|\bNone\b|\bsteps? -?\d|  |\.\.|,,|\( ?\)")
"""Ids, keys, instants in UTC, and what a figure left out would leave behind."""

PUMPS = ("plover-pump-a", "plover-pump-b", "plover-pump-c")
KEYS = (
    "knife_inspection:plover-pump-a-knives:1",
    "overhaul:plover-pump-b:2",
    "seal_inspection:plover-pump-c-seal:1",
    "alarm_test:plover-plant:2",
)
LABELS = st.sampled_from(["", "minimum", "normal", "full ship", "port arrival"])
STEPS = st.integers(-40, 9000)
COUNTS = st.integers(0, 3)
LITRES = st.integers(0, 250_000)


WORDS = PlanWords(
    starts_at=STARTS_AT,
    clock=ShipOffset(60, [(STARTS_AT + timedelta(days=5), -300)]),
    year=2026,
    job=dict(
        zip(KEYS, ("VP1 knife inspection", "VP2 overhaul", "VP3 seal inspection", "Alarm test"), strict=True)
    ).__getitem__,
    pump=dict(zip(PUMPS, ("VP1", "VP2", "VP3"), strict=True)).__getitem__,
)
"""A demo ship, whose clock is changed on the way: what is neither a key nor a pump of hers is not called anything."""

keys, pumps = st.sampled_from(KEYS), st.sampled_from(PUMPS)
pump_lists = st.lists(pumps, max_size=3, unique=True).map(tuple)
key_lists = st.lists(keys, max_size=3, unique=True).map(tuple)


@st.composite
def bars(draw: st.DrawFn, code: BarCode | None = None) -> Bar:
    """Any bar, with as many jobs as pumps."""
    count = draw(st.integers(1, 3))
    return Bar(
        code=code or draw(st.sampled_from(BarCode)),
        keys=KEYS[:count],
        pumps=PUMPS[:count],
        label=draw(LABELS if code is not BarCode.NEED else st.just("port")),
        needed=draw(COUNTS),
        there=draw(COUNTS),
    )


@st.composite
def blockers(draw: st.DrawFn) -> Blocker:
    """Any blocker."""
    first = draw(STEPS)
    length, lacking = draw(st.integers(1, 500)), draw(LITRES)
    return Blocker(from_step=first, to_step=first + length, starts=1, bar=draw(bars()), lacking_litres_per_h=lacking)


def _bar(code: BarCode) -> st.SearchStrategy[str]:
    return bars(code).map(lambda bar: bar_words(bar, WORDS))


def _shortfall(code: ShortCode) -> st.SearchStrategy[str]:
    made = st.builds(
        Shortfall,
        key=st.none() if code is ShortCode.BELOW else keys,
        pump=pumps,
        steps=st.just(((5, 9), (30, 70))),
        lacking_litres_per_h=LITRES,
        code=st.just(code),
        causes=pump_lists,
        minimum_litres_per_h=LITRES,
        label=LABELS,
        work_steps=st.integers(1, 60),
        hands=COUNTS,
        most_hands=st.none() | COUNTS,
        blockers=st.lists(blockers(), max_size=3).map(tuple),
        more=COUNTS,
        start=STEPS if code is ShortCode.SLOT_PASSED else st.none() | STEPS,
        pinned_by=st.sampled_from(["", "Demo engineer"]),
        move=st.integers(1, 9),
        text=st.just("VP1 knife inspection has no place."),
    )
    return made.map(lambda short: shortfall_words(short, WORDS))


def _remark(code: RemarkCode) -> st.SearchStrategy[str]:
    made = st.builds(
        Remark,
        code=st.just(code),
        tier=st.integers(1, 20),
        name=st.just("days late"),
        value=COUNTS,
        bound=st.just(float("-inf")) | st.floats(0, 1e6),
        ended=st.just("failed"),
        number=COUNTS,
        key=keys,
        step=STEPS,
        text=st.just("Demo engineer"),
    )
    return made.map(lambda remark: remark_words(remark, WORDS))


def _reason(code: ReasonCode) -> st.SearchStrategy[str]:
    made = st.builds(
        PlaceReason,
        code=st.just(code),
        step=st.none() | STEPS if code is ReasonCode.BEST_DAY else STEPS,
        limit=st.none() | STEPS if code is ReasonCode.BEST_DAY else STEPS,
        chained=st.just(False) if code is ReasonCode.BEST_DAY else st.booleans(),
        days=st.integers(-9, 9),
        key=keys,
        saves_setup=st.booleans(),
        blocker=blockers(),
        by=st.just("Demo engineer"),
        move=st.integers(0, 3),
    )
    return st.builds(lambda reason, many: reason_words(reason, WORDS, many=many), made, st.booleans())


def _relief(kind: ReliefKind) -> st.SearchStrategy[str]:
    made = st.builds(
        ReliefChoice,
        kind=st.just(kind),
        from_step=STEPS,
        to_step=STEPS,
        key=keys,
        pump=pumps,
        label=st.just("full ship"),
        hands=COUNTS,
        litres_per_h=LITRES,
        hours=COUNTS,
        less_litres_per_h=LITRES,
        days=COUNTS,
    )
    return made.map(lambda choice: "; ".join(relief_words(choice, WORDS)))


def _date(code: FactKind) -> st.SearchStrategy[str]:
    made = st.builds(
        PlanFact,
        code=st.just(code),
        key=keys,
        pump=pumps,
        from_step=STEPS,
        to_step=STEPS if code is FactKind.RESTS_ON_RETURN else st.none() | STEPS,
        because=st.none() | st.sampled_from(Because),
        hours=COUNTS,
        keys=st.lists(keys, max_size=7).map(tuple),
        assumed=st.booleans(),
    )
    return made.map(lambda fact: fact_words(fact, WORDS))


def _move(code: MoveCode) -> st.SearchStrategy[str]:
    made = st.builds(
        MoveFact,
        code=st.just(code),
        key=st.none() | keys,
        others=st.lists(keys, min_size=0 if code is MoveCode.HANDS else 1, max_size=3, unique=True).map(tuple),
        step=STEPS,
        pumps=st.lists(pumps, min_size=1, max_size=2, unique=True).map(tuple),
        other_pumps=st.lists(pumps, min_size=2, max_size=3, unique=True).map(tuple)
        if code is MoveCode.BRANCH
        else pump_lists,
        down=pump_lists,
        label=LABELS if code is not MoveCode.NEED else st.just("port"),
        hours=st.integers(1, 90),
        needed=COUNTS,
        there=COUNTS,
        left_litres_per_h=LITRES,
        lacking_litres_per_h=LITRES,
        rule=st.sampled_from(Rule),
    )
    return made.map(lambda fact: move_fact_words(fact, WORDS))


def _fault(rule: Rule) -> st.SearchStrategy[str]:
    made = st.builds(
        Fault,
        rule=st.just(rule),
        key=st.none() | keys,
        step=st.none() | STEPS,
        keys=key_lists,
        pumps=pump_lists,
        found=st.none() | COUNTS,
        expected=st.none() | COUNTS,
    )
    return made.map(lambda fault: fault_words(fault, WORDS))


SAYERS: dict[type[StrEnum], Callable[[Any], st.SearchStrategy[str]]] = {
    BarCode: _bar,
    ShortCode: _shortfall,
    RemarkCode: _remark,
    ReasonCode: _reason,
    ReliefKind: _relief,
    FactKind: _date,
    MoveCode: _move,
    Rule: _fault,
}
CODES = [(sayer, code) for codes, sayer in SAYERS.items() for code in codes]


@pytest.mark.parametrize(("sayer", "code"), CODES, ids=[f"{type(code).__name__}.{code.name}" for _, code in CODES])
@settings(max_examples=8)
@given(data=st.data())
def test_every_fact_has_its_sentence_without_id_key_or_utc(
    sayer: Callable[[Any], st.SearchStrategy[str]], code: StrEnum, data: st.DataObject
) -> None:
    """Whatever its figures; a code that the wording does not know has none, and fails here."""
    said = data.draw(sayer(code))
    assert said
    assert not UNSAID.search(said), said


@given(st.lists(st.tuples(STEPS, st.integers(1, 90)), max_size=8), st.integers(0, 9), st.integers(0, 9))
def test_what_a_plan_leaves_is_said_without_utc(runs: list[tuple[int, int]], without: int, late: int) -> None:
    """The hours without cover and when, and in a few words what is not good."""
    steps = tuple((first, first + length) for first, length in runs)
    cover = Cover(hours=9000, at_n=8000, at_n_less_1=7000, uncovered_by_plan=steps, uncovered_anyway=steps)
    said = cover_words(cover, WORDS)
    assert len(said) == (3 if steps else 2)
    left = left_words(PlanFigures(slots=3, without_place=without, past_limit=late, hours_below_minimum=4))
    assert len(left) == 1 + bool(without) + bool(late)
    assert not [one for one in (*said, *left) if UNSAID.search(one)]
