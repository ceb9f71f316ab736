"""JSON merge patches: what shall be another value in a JSON document, member by member; a list is replaced whole."""

import json
from collections.abc import Mapping
from typing import Any


def apply_merge_patch(target: Any, patch: Any) -> Any:
    """The JSON value that a merge patch makes of another; neither is changed.

    Source: RFC 7396, section 2 (the function MergePatch).

    >>> apply_merge_patch({"a": "b", "c": {"d": 1, "e": 2}}, {"a": "z", "c": {"e": None}})
    {'a': 'z', 'c': {'d': 1}}
    """
    if not isinstance(patch, Mapping):
        return patch
    merged = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            merged.pop(name, None)
        else:
            merged[name] = apply_merge_patch(merged.get(name), value)
    return merged


def merge_patch_between(was: Any, now: Any) -> Any:
    """The merge patch that makes `now` of `was`, two JSON values; {} where they are the same.

    A member that is null in `now` and something else in `was` goes, for a merge patch cannot say null: who reads a document takes
    what is not there for what it is by default. Where that default is another, the patch does not lead there; apply it and compare.

    >>> merge_patch_between({"a": 1, "b": {"c": 2}, "d": 3}, {"a": 1, "b": {"c": 4}})
    {'b': {'c': 4}, 'd': None}
    """
    if not (isinstance(was, Mapping) and isinstance(now, Mapping)):
        return now
    patch: dict[str, Any] = {name: None for name in was if name not in now}
    for name, value in now.items():
        if name not in was or not _same(was[name], value):
            patch[name] = merge_patch_between(was.get(name), value)
    return {name: patch[name] for name in sorted(patch)}


def _same(one: Any, other: Any) -> bool:
    """The same JSON value: unlike in Python, true is not 1 there."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def json_depth(value: Any, most: int) -> int:
    """How many objects and lists stand in one another, counted no further than `most` + 1."""
    level, depth = [value], 0
    while depth <= most:
        level = [
            inner
            for one in level
            for inner in (one.values() if isinstance(one, Mapping) else one if isinstance(one, list) else ())
        ]
        if not level:
            return depth
        depth += 1
    return depth
