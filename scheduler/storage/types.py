"""What all tables share: column types, one set of names for constraints, table names from class names, enums stored by value.

Conventions: instants that are computed on are whole epoch seconds (UTC) in a column ending in `_s`; capacities are
whole litres an hour; JSON is text. Class `ShipOffsetRow` is table `ship_offset`.
"""

import re
import zlib
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import BigInteger, Enum, Integer, LargeBinary, MetaData
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


class Row(SQLModel):
    """Base of all tables. Rows are not validated when built: build them from validated values."""

    metadata: ClassVar[MetaData] = METADATA

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
