"""What all tables share: column types, one set of names for constraints, table names from class names, enums stored by value.

Conventions: an instant is whole epoch seconds (UTC) in a column ending in `_s`; the attribute ends in `_at` where it is an
`Instant`, in `_s` where there are so many that they stay numbers (readings, ledger, counters). Capacities are whole litres an hour.
Class `ShipOffsetRow` is table `ship_offset`.
"""

import json
import re
import zlib
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import BigInteger, Enum, Integer, LargeBinary, MetaData, String
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import declared_attr
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
"""Every table of the project; the migrations must give the same (a test compares both)."""


WITHOUT_ROWID: dict[str, Any] = {"sqlite_with_rowid": False}
"""Table argument: SQLite keeps the rows in the primary key itself (one tree instead of two)."""


AUTO = BigInteger().with_variant(Integer, "sqlite")
"""A number the database gives; SQLite numbers only columns called INTEGER."""


class Packed(TypeDecorator[str]):
    """Text kept compressed (zlib): plans and their problems are long, and much alike from line to line."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> bytes | None:  # noqa: ARG002
        """Text to what is stored."""
        return None if value is None else zlib.compress(value.encode(), 6)

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """What is stored to text."""
        return None if value is None else zlib.decompress(value).decode()


def floor_second(at: datetime) -> datetime:
    """An aware instant in UTC, floored to the second as it is stored. Raises ValueError for one without a time zone."""
    if at.tzinfo is None:
        raise ValueError(f"{at} is of no time zone, so it is no instant")
    return at.astimezone(UTC).replace(microsecond=0)


class Instant(TypeDecorator[datetime]):
    """An aware instant, kept as whole epoch seconds: floored going in, in UTC coming out."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:  # noqa: ARG002
        """Instant to what is stored."""
        return None if value is None else int(floor_second(value).timestamp())

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """What is stored to instant."""
        return None if value is None else datetime.fromtimestamp(value, UTC)


class Json(TypeDecorator[Any]):
    """A JSON value kept as text. A row's value is replaced whole: a change inside it is not noticed."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Value to what is stored."""
        return None if value is None else json.dumps(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:  # noqa: ARG002
        """What is stored to value."""
        return None if value is None else json.loads(value)


class Row(SQLModel):
    """Base of all tables. Rows are not validated when built: build them from validated values; instants are floored to the second."""

    metadata: ClassVar[MetaData] = METADATA

    def __setattr__(self, name: str, value: Any) -> None:
        """A row not yet stored shows what will be."""
        super().__setattr__(name, floor_second(value) if isinstance(value, datetime) else value)

    @declared_attr  # type: ignore[arg-type]
    def __tablename__(cls) -> str:  # noqa: N805
        return re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__.removesuffix("Row")).lower()


def by_value(enum: type[StrEnum], name: str) -> Enum:
    """A text column that takes only the values of `enum`, held by the CHECK `ck_<table>_<name>`.

    The length is fixed so that a new word does not alter the column, only the CHECK.
    """
    return Enum(
        enum,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=32,
        values_callable=lambda members: [member.value for member in members],
    )
