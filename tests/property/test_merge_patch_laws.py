"""Laws of merge patches: what differs goes down as a patch and arrives as it was meant."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.shore.merge_patch import apply_merge_patch, json_depth, merge_patch_between

LEAVES = st.booleans() | st.integers(-2, 2) | st.floats(allow_nan=False) | st.text(max_size=3)
NAMES = st.sampled_from("abc")


def _values(inner: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3)


VALUES = st.recursive(LEAVES, _values, max_leaves=12)
OBJECTS = st.dictionaries(NAMES, VALUES, max_size=3)


@given(OBJECTS, OBJECTS)
def test_the_patch_between_two_documents_makes_the_one_of_the_other(was: dict[str, Any], now: dict[str, Any]) -> None:
    """Without nulls, which a patch cannot say, it leads from one to the other; between equals it is empty; twice is once."""
    patch = merge_patch_between(was, now)
    made = apply_merge_patch(was, patch)
    assert repr(_sorted(made)) == repr(_sorted(now))
    assert merge_patch_between(now, now) == {}
    assert apply_merge_patch(made, patch) == made


def _sorted(value: Any) -> Any:
    """The value with members in order; repr tells true from 1."""
    if isinstance(value, dict):
        return {name: _sorted(value[name]) for name in sorted(value)}
    return [_sorted(one) for one in value] if isinstance(value, list) else value


@given(st.integers(0, 12), st.integers(0, 12))
def test_depth_is_counted_and_no_further_than_asked(depth: int, most: int) -> None:
    """Lists and objects in one another, at, under and over the most."""
    value: Any = 1
    for n in range(depth):
        value = [value] if n % 2 else {"a": value}
    assert json_depth(value, most) == min(max(depth, 0), most + 1)
