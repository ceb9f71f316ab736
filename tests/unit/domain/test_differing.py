"""What differs between two documents, member by member."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.vessel.differing import document_differences


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        ({"a": 1}, {"a": 1}, []),
        ({"a": 1}, {"a": True}, [("a", 1, True)]),
        ({"a": 1}, {}, [("a", 1, None)]),
        ({}, {"a": {"b": 1}}, [("a", None, {"b": 1})]),
        ({"a": [{"id": "x", "n": 1}]}, {"a": [{"id": "x", "n": 2}]}, [("a/x/n", 1, 2)]),
        ({"a": [{"id": "x"}]}, {"a": [{"id": "y"}]}, [("a/x", {"id": "x"}, None), ("a/y", None, {"id": "y"})]),
        ({"a": [{"code": "x"}, {"code": "y"}]}, {"a": [{"code": "y"}, {"code": "x"}]}, [("a", ["x", "y"], ["y", "x"])]),
        ({"a": [{"k": 1}, {"k": 2}]}, {"a": [{"k": 2}, {"k": 3}]}, [("a", {"k": 1}, None), ("a", None, {"k": 3})]),
        ({"a": [1, 1]}, {"a": [1]}, [("a", 1, None)]),
        ({"a": [1, 2]}, {"a": [2, 1]}, [("a", [1, 2], [2, 1])]),
        ({"a": [{"id": "x"}, {"id": "x"}]}, {"a": []}, [("a", {"id": "x"}, None), ("a", {"id": "x"}, None)]),
    ],
)
def test_each_member_that_differs_is_told_once(was: Any, now: Any, told: list[tuple[str, Any, Any]]) -> None:
    """Things by id or code, others as wholes; order counts; true is not 1."""
    assert [(one["at"], one["was"], one["now"]) for one in document_differences(was, now)] == told


THINGS = st.lists(
    st.fixed_dictionaries({"id": st.sampled_from("abcd"), "n": st.integers(0, 2)}),
    max_size=4,
    unique_by=lambda one: one["id"],
)
DOCUMENTS = st.fixed_dictionaries(
    {"things": THINGS, "plain": st.lists(st.integers(0, 2), max_size=3), "x": st.none() | st.booleans()}
)


@given(was=DOCUMENTS, now=DOCUMENTS)
def test_nothing_is_told_when_and_only_when_nothing_differs(was: Any, now: Any) -> None:
    """Of any two documents."""
    assert (document_differences(was, now) == []) is (was == now)
