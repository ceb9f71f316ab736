"""Each entry of the work in words: whatever it holds, on the sheet, in the course and where it is taken back."""

import re
from dataclasses import MISSING, fields, is_dataclass
from datetime import UTC, datetime
from enum import Enum
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.work.acts import AnyStep
from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.course import CourseAct, Stand, WorkAct
from scheduler.wording.course import act_words, done_words, lacks_words, undo_words
from scheduler.wording.steps import step_words

UNSAID = re.compile(r"[a-z]_[a-z]|\bNone\b|[{}<>]|  |, ,|\( ?\)|\d{4}-\d\d-\d\d|\bUTC\b|\bnan\b")
"""Names of members, what a value left out would leave behind, and instants as machines write them."""
STEPS = get_args(AnyStep)
BY_TYPE: dict[Any, st.SearchStrategy[Any]] = {
    str: st.sampled_from(("", "suction valve", "a longer text of somebody's")),
    int: st.integers(0, 999),
    float: st.floats(0, 500),
    bool: st.booleans(),
    datetime: st.just(datetime(2026, 11, 30, 5, 41, tzinfo=UTC)),
}


def of_type(asked: Any) -> st.SearchStrategy[Any]:
    """Any value of a type as the entries use them."""
    if get_origin(asked) in (Union, UnionType):
        return st.one_of(*map(of_type, get_args(asked)))
    if get_origin(asked) is tuple:
        return st.lists(of_type(get_args(asked)[0]).filter(bool), max_size=3).map(tuple)
    if get_origin(asked) is Literal:
        return st.sampled_from(get_args(asked))
    if asked is type(None):
        return st.none()
    if isinstance(asked, type) and issubclass(asked, Enum):
        return st.sampled_from(asked)
    return whole(asked) if is_dataclass(asked) else BY_TYPE[asked]


def whole(kind: Any) -> st.SearchStrategy[Any]:
    """Any entry of a kind; what it cannot be without is there."""
    hints, drawn = get_type_hints(kind), {}
    for one in fields(kind):
        must = one.default is MISSING and one.default_factory is MISSING
        drawn[one.name] = (
            of_type(hints[one.name]).filter(bool) if must and hints[one.name] is str else of_type(hints[one.name])
        )
    return st.builds(kind, **drawn)


@pytest.mark.parametrize("kind", STEPS, ids=lambda kind: kind.__name__)
@given(data=st.data())
def test_every_entry_is_said_on_the_sheet_and_when_it_is_taken_back(kind: Any, data: st.DataObject) -> None:
    """With nothing in it that only machines say, and with every text that somebody typed of its own accord."""
    step = data.draw(whole(kind))
    for words in (step_words(step), undo_words(step)):
        assert words.strip()
        assert not UNSAID.search(words), words
    if getattr(step, "text", ""):
        assert step.text in step_words(step)


@pytest.mark.parametrize("kind", STEPS, ids=lambda kind: kind.__name__)
@given(data=st.data())
def test_every_act_of_the_course_is_said_with_what_was_done(kind: Any, data: st.DataObject) -> None:
    """Any entry under any act; and where none is known."""
    which = data.draw(st.sampled_from(WorkAct))
    act = CourseAct(act=which, stand=Stand.DONE, name="Knives looked at" if which is WorkAct.STEP else "")
    for entry in (data.draw(whole(kind)), None):
        what, particulars = done_words(act, entry)
        assert what.strip()
        assert not UNSAID.search(what), what
        assert not UNSAID.search(particulars), particulars
    assert act_words(act).strip()


LACKS = (
    *(Against.NO_PERMIT, Against.NOT_RINSED, Against.START_NOT_TRIED, Against.VOLTAGE_NOT_READ, Against.VACUUM_NOT_OUT),
    *(Against.NO_GAS_CHECK, Against.NO_PERSONAL_LOCK, Against.NO_METER, Against.NO_BUMP_TEST),
)


@given(lacks=st.sets(st.sampled_from(LACKS)))
def test_what_opening_lacks_is_said_in_one_sentence(lacks: set[Against]) -> None:
    """Each once; nothing where nothing is lacking."""
    words = lacks_words([Objection(code) for code in sorted(lacks)], 0)
    assert (words == "") is (not lacks)
    assert words.count(", ") == max(0, len(lacks) - 1)
    assert not UNSAID.search(words)
