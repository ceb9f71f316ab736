"""Changes laid in columns: like rows together, their numbers as differences. What is laid is raised again to the byte.

The text is JSON: `[count, instants, numbers of rows, form of each row, [[table, act, names, columns] of each form]]`. A column is
`{"all": value}` (the same in every row), `{"first": n, "steps": [...]}` (differences), `{"first": n, "step": n, "turns": [...]}`
(differences of the differences: of hourly readings they are noughts), `{"values": [...]}`.
"""

import json
from collections.abc import Iterable, Iterator
from itertools import accumulate, chain, pairwise, repeat
from typing import Any

ACTS = ("put", "gone")
"""A row as it now is, inserted or updated; the key of one that is no more."""


class NotLaid(Exception):
    """The text is not what `laid_text` makes; what was raised before it counts for nothing."""


class TooMuchLaid(Exception):
    """More would be raised than was allowed."""


def one_text(value: object) -> bytes:
    """The one text of a JSON value: sorted keys, no spaces, UTF-8. Raises ValueError for NaN, infinity, half a surrogate pair."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def laid_text(bodies: list[bytes]) -> bytes:
    """The text of changes numbered one after the other; each body is its own canonical text."""
    values = [json.loads(body) for body in bodies]
    forms: dict[tuple[str, str, tuple[str, ...]], int] = {}
    order: list[int] = []
    rows: list[list[list[Any]]] = []
    for table, act, row in chain.from_iterable(value["rows"] for value in values):
        names = tuple(sorted(row))
        number = forms.setdefault((table, act, names), len(forms))
        if number == len(rows):
            rows.append([])
        rows[number].append([row[name] for name in names])
        order.append(number)
    return one_text(
        [
            len(values),
            _laid([value["at"] for value in values]),
            _laid([len(value["rows"]) for value in values]),
            _laid(order),
            [
                [table, act, names, [_laid(list(column)) for column in zip(*rows[number], strict=True)]]
                for (table, act, names), number in forms.items()
            ],
        ]
    )


def raised(text: bytes, begins: int, limit_bytes: int) -> Iterator[bytes]:
    """The bodies of the changes, one by one, numbered from `begins`.

    Raises:
        NotLaid: the text is not what `laid_text` makes. TooMuchLaid: the bodies are more than `limit_bytes` together.
    """
    try:
        count, instants, sizes, order, forms = json.loads(text)
        at, size, form = _values(instants), _values(sizes), _values(order)
        rows = [_rows(*one) for one in forms]
        for number in range(begins, begins + _whole(count)):
            texts, taken = [], 0
            body = b'{"at":%d,"number":%d,"rows":[' % (_whole(next(at)), number)
            for _ in range(_whole(next(size))):
                texts.append(next(rows[_whole(next(form))]))
                taken += len(texts[-1])
                if taken > limit_bytes:
                    raise TooMuchLaid
            body += b",".join(texts) + b"]}"
            limit_bytes -= len(body)
            if limit_bytes < 0:
                raise TooMuchLaid
            yield body
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, StopIteration, RecursionError) as error:
        raise NotLaid from error


def _laid(values: list[Any]) -> dict[str, Any]:
    """The shortest of the forms of a column."""
    if values and all(type(value) is type(values[0]) and value == values[0] for value in values):
        return {"all": values[0]}
    plain = {"values": values}
    if len(values) < 2 or not all(type(value) is int for value in values):
        return plain
    steps = [after - before for before, after in pairwise(values)]
    turns = [after - before for before, after in pairwise(steps)]
    ways = [plain, {"first": values[0], "steps": steps}, {"first": values[0], "step": steps[0], "turns": turns}]
    return min(ways, key=lambda way: len(one_text(way)))


def _values(column: dict[str, Any]) -> Iterator[Any]:
    """The values of a column, in order; without end where all are the same."""
    if "all" in column:
        return repeat(column["all"])
    if "values" in column:
        return iter(_list(column["values"]))
    if "steps" in column:
        return _added(column["first"], _list(column["steps"]))
    return _added(column["first"], _added(column["step"], _list(column["turns"])))


def _added(first: Any, steps: Iterable[Any]) -> Iterator[int]:
    """`first`, and what it becomes step by step; NotLaid where one is no whole number."""
    return accumulate(map(_int, steps), initial=_int(first))


def _rows(table: Any, act: Any, names: Any, laid: Any) -> Iterator[bytes]:
    """The canonical texts of the rows of one form."""
    if type(table) is not str or act not in ACTS or not names or not all(type(name) is str for name in _list(names)):
        raise NotLaid
    columns = [_values(column) for column in _list(laid)]
    if len(columns) != len(names):
        raise NotLaid
    return (one_text([table, act, dict(zip(names, row, strict=True))]) for row in zip(*columns, strict=False))


def _int(value: Any) -> int:
    if type(value) is int:
        return value
    raise NotLaid


def _whole(value: Any) -> int:
    if type(value) is int and 0 <= value < 2**63:
        return value
    raise NotLaid


def _list(value: Any) -> list[Any]:
    if type(value) is list:
        return value
    raise NotLaid
