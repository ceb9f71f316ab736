"""What differs between two versions of a document, member by member, for the record: nothing that was there goes unseen."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

_NAMES = ("id", "code")
"""Members that name a thing of a list; things without one are compared as wholes."""


def document_differences(was: Any, now: Any) -> list[dict[str, Any]]:
    """Each member that differs, as {"at", "was", "now"}, by place; a member that is not there is none.

    "at" is a path whose steps are member names and, in lists, the ids or codes of things:
    "plants/aft/job_kinds/overhaul/interval_days". Of a list of things without names what left it and what came to it stand
    at the list.

    >>> differences({"a": 1, "b": [{"id": "x", "c": 2}]}, {"a": 1, "b": [{"id": "x", "c": 3}]})
    [{'at': 'b/x/c', 'was': 2, 'now': 3}]
    """
    return [{"at": "/".join(at), "was": before, "now": after} for at, before, after in _walk((), was, now)]


def _walk(at: tuple[str, ...], was: Any, now: Any) -> Iterator[tuple[tuple[str, ...], Any, Any]]:
    if _text(was) == _text(now):
        return
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for name in sorted({*was, *now}):
            yield from _walk((*at, name), was.get(name), now.get(name))
    elif isinstance(was, list) and isinstance(now, list):
        name = next((n for n in _NAMES if _named(was, n) and _named(now, n)), None)
        if name is not None:
            before, after = {str(one[name]): one for one in was}, {str(one[name]): one for one in now}
            for key in (*before, *(key for key in after if key not in before)):
                yield from _walk((*at, key), before.get(key), after.get(key))
            if [*before] != [*after] and {*before} == {*after}:
                yield at, [*before], [*after]
        else:
            yield from _unnamed(at, was, now)
    else:
        yield at, was, now


def _text(told: Any) -> str:
    """Equal for what is the same JSON: unlike in Python, true is not 1 there."""
    return json.dumps(told, sort_keys=True, ensure_ascii=False)


def _named(things: list[Any], name: str) -> bool:
    names = [one.get(name) for one in things if isinstance(one, Mapping)]
    return len(names) == len(things) and None not in names and len(set(map(str, names))) == len(names)


def _unnamed(at: tuple[str, ...], was: list[Any], now: list[Any]) -> Iterator[tuple[tuple[str, ...], Any, Any]]:
    left, come = list(was), []
    for one in now:
        if one in left:
            left.remove(one)
        else:
            come.append(one)
    yield from ((at, one, None) for one in left)
    yield from ((at, None, one) for one in come)
    if not left and not come:
        yield at, was, now
