"""The truth there is, made into changes piece by piece when a vessel joins an office; what changes meanwhile comes after it."""

import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import delete, select, text, tuple_
from sqlalchemy import types as columns
from sqlmodel import Session, col

from scheduler.storage.database import INSTALLATION
from scheduler.storage.shore.capture import Place, append, counter_ids, line_head, put_text, rows_as_they_are
from scheduler.storage.shore.lines import OutboxChangeRow, OutboxPackRow, OutboxTouchedRow, ShoreLineRow
from scheduler.storage.shore.truth import TRUTH, Truth

_ROWS = {"reading": 5000, "document_version": 20, "plan": 20}
_ROWS_ELSE = 500
_TOUCHED = 1000
IN_ORDER = ("record", "intake_log")
"""Tables that only grow: their rows go in the order of their numbers, each once."""


def start_line(session: Session, line: ShoreLineRow) -> None:
    """A line from nothing; what an earlier try left is dropped."""
    for table in (OutboxChangeRow, OutboxPackRow, OutboxTouchedRow, ShoreLineRow):
        session.connection().execute(delete(table).where(col(table.vessel_id) == line.vessel_id))
    session.add(line)
    session.flush()


def add_piece(session: Session, vessel_id: str, truth: Truth, after: Place | None, at_s: int) -> Place | None:
    """Makes the next rows of a table into changes; where they end, none when there are no more."""
    plain, connection = truth.plain, session.connection()
    whose = [vessel_id, INSTALLATION] if truth.name == "person" else [vessel_id]
    keys = [plain.c[name] for name in truth.keys]
    if truth.name == "person":
        keys.append(truth.vessel)
    query = select(*plain.c).where(truth.vessel.in_(whose)).order_by(*keys).limit(_ROWS.get(truth.name, _ROWS_ELSE))
    if truth.once is not None:
        query = query.where(plain.c[truth.once].is_not(None))
    if after is not None:
        query = query.where(tuple_(*keys) > tuple_(*after))
    rows = [dict(row) for row in connection.execute(query).mappings()]
    if not rows:
        return None
    names = counter_ids(connection, vessel_id)
    texts = [put_text(truth, row, names) for row in rows]
    append(connection, vessel_id, line_head(connection, vessel_id), texts, at_s, urgent=True)
    return tuple(rows[-1][column.name] for column in keys)


def add_touched(session: Session, vessel_id: str, at_s: int) -> bool:
    """Makes rows that changed meanwhile into changes, as they now are; whether there may be more."""
    connection = session.connection()
    query = select(col(OutboxTouchedRow.name), col(OutboxTouchedRow.place)).where(
        col(OutboxTouchedRow.vessel_id) == vessel_id
    )
    found = connection.execute(
        query.order_by(col(OutboxTouchedRow.name), col(OutboxTouchedRow.place)).limit(_TOUCHED)
    ).all()
    touched: dict[str, set[tuple[str, Place]]] = {}
    for name, place in found:
        if name not in IN_ORDER:
            touched.setdefault(name, set()).add(_place(TRUTH[name], json.loads(place)))
    texts, _ = rows_as_they_are(connection, vessel_id, touched)
    append(connection, vessel_id, line_head(connection, vessel_id), texts, at_s, urgent=True)
    mine = text("DELETE FROM outbox_touched WHERE vessel_id = :vessel_id AND name = :name AND place = :place")
    if found:
        connection.execute(mine, [{"vessel_id": vessel_id, "name": name, "place": place} for name, place in found])
    return len(found) == _TOUCHED


def _place(truth: Truth, told: list[Any]) -> tuple[str, Place]:
    kinds: Mapping[str, Any] = {name: truth.plain.c[name].type for name in truth.keys}
    values = (
        date.fromisoformat(value) if isinstance(kinds[name], columns.Date) else value
        for name, value in zip(truth.keys, told[1:], strict=True)
    )
    return told[0], tuple(values)
