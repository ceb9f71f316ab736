"""What all tables share: one set of names for constraints, table names from class names, enums stored by value.

Conventions: instants that are computed on are whole epoch seconds (UTC) in a column ending in `_s`; capacities are
whole litres an hour; JSON is text. Class `ShipOffsetRow` is table `ship_offset`.
"""

import re
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import BigInteger, Enum, Integer, MetaData
from sqlalchemy.orm import declared_attr
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
