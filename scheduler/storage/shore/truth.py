"""Which tables are truth, that is not worked out from others, and how their rows travel.

A row travels with its columns' names. `vessel_id` stays behind (who takes it in sets it), but for people; `counter_no` carries
the id of the counter; what is packed goes as its text, JSON as it is stored, instants as whole seconds, dates as ISO 8601.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import Enum
from functools import cache
from typing import Any

from sqlalchemy import ColumnClause, TableClause, TypeDecorator, column, table
from sqlalchemy import types as columns
from sqlalchemy.types import TypeEngine

from scheduler.storage.types import METADATA, Packed

VESSEL_ID, COUNTER = "vessel_id", "counter_no"


@dataclass(frozen=True, slots=True)
class Truth:
    """A table whose rows travel.

    Args:
        keys: columns that name a row within its vessel.
        stays: columns that stay behind: caches, secrets, numbers of this database.
        once: a column; a row travels from when that is set.
        quiet: changes of it alone wait for their hour; all others go at once.
    """

    name: str
    keys: tuple[str, ...]
    stays: frozenset[str] = frozenset()
    once: str | None = None
    quiet: bool = False

    @property
    def plain(self) -> TableClause:
        """The table with the types in which values are stored, so that they are read and written as they are."""
        return _plain(self.name)

    @property
    def vessel(self) -> ColumnClause[Any]:
        """The column that says whose a row is."""
        return self.plain.c["id" if self.name == "vessel" else VESSEL_ID]

    @property
    def travels(self) -> tuple[str, ...]:
        """Names of the columns that travel."""
        return _travels(self)


def _truth(name: str, *keys: str, stays: Iterable[str] = (), once: str | None = None, quiet: bool = False) -> Truth:
    return Truth(name, keys, frozenset(stays), once, quiet)


TRUTH: Mapping[str, Truth] = {
    one.name: one
    for one in (
        _truth("vessel", "id"),
        _truth("document_version", "version"),
        _truth("kind_since", "plant_id", "kind"),
        _truth("ship_offset", "from_s"),
        _truth("person", "id", stays=("passphrase", "passphrase_s", "pin", "language")),
        _truth("counter", "id", stays=("no", "newest_s", "dirty_from_s", "skew_most_s")),
        _truth("counter_event", "id"),
        _truth("sign", "number"),
        _truth("plan", "id", once="taken_s"),
        _truth("reading", COUNTER, "at_s", quiet=True),
        _truth("hand_reading", COUNTER, "at_s", quiet=True),
        _truth("intake_log", "id", stays=("id",), quiet=True),
        _truth("voyage_version", "version"),
        _truth("voyage_stretch", "since_version", "from_on"),
        _truth("sign_answer", "sign", "number"),
        _truth("slot", "id"),
        _truth("move", "number"),
        _truth("published", "job_key", quiet=True),
        _truth("moved", "number", quiet=True),
        _truth("postponement", "number"),
        _truth("dock", "number"),
        _truth("part_date", "job_key"),
        _truth("first_date", "kind", "subject_id"),
        _truth("outage", "id"),
        _truth("pump_test", "id"),
        _truth("concession", "number"),
        _truth("work_step", "job_key", "number"),
        _truth("not_fitted", "number"),
        _truth("job", "key"),
        _truth("done", "kind", "subject_id", "sequence"),
        _truth("non_conformity", "number"),
        _truth("part_count", "plant_id", "name"),
        _truth("handover", "number"),
        _truth("office_request", "number"),
        _truth("record", "number"),
    )
}
"""Every table whose rows travel, those that others refer to first."""

STAYS_ABOARD = frozenset(
    {
        "api_key",
        "sign_in_link",
        "shared_computer",
        "session",
        "vouched",
        "address",
        "idempotency",
        "remembered",
        "task_run",
        "pending_task",
        "photo_file",
        "revision",
        "asset",
        "flag",
        "ledger_entry",
        "ledger_checkpoint",
        "day_ends",
        "sign_track",
        "chain_head",
        "feed_event",
        "feed_body",
        "plant_summary",
        "ship_request",
        "ship_line",
        "ship_batch",
        "ship_person",
        "shore_line",
        "outbox_change",
        "outbox_pack",
        "outbox_touched",
    }
)
"""Every other table: secrets and what concerns this server alone, and what is worked out anew from truth."""


def to_travel(stored: Mapping[str, Any]) -> dict[str, Any]:
    """A row's columns, as read through `plain`, as they travel; `counter_no` is the counter's id already."""
    return {name: _neutral(value) for name, value in stored.items()}


def from_travel(truth: Truth, values: Mapping[str, Any]) -> dict[str, Any]:
    """Values that travelled, to be written through `plain`; `counter_no` is the id still.

    Raises:
        ValueError: a date that is none. KeyError: a column that the table does not have.
    """
    dates = _dates(truth.name)
    return {
        name: date.fromisoformat(value) if name in dates and value is not None else value
        for name, value in values.items()
    }


def _neutral(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    return value.isoformat() if isinstance(value, date) else value


@cache
def _travels(truth: Truth) -> tuple[str, ...]:
    stays = truth.stays if truth.name == "person" else {*truth.stays, VESSEL_ID}
    return tuple(one.name for one in truth.plain.c if one.name not in stays)


@cache
def _dates(name: str) -> frozenset[str]:
    return frozenset(one.name for one in _plain(name).c if isinstance(one.type, columns.Date))


@cache
def _plain(name: str) -> TableClause:
    return table(name, *(column(one.name, _stored_type(one.type)) for one in METADATA.tables[name].c))


def _stored_type(kind: TypeEngine[Any]) -> TypeEngine[Any]:
    """The type without what turns values into ours; packed text stays packed by its type."""
    if isinstance(kind, Packed):
        return kind
    if isinstance(kind, columns.Enum):
        return columns.String()
    return kind.impl_instance if isinstance(kind, TypeDecorator) else kind
