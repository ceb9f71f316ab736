"""Registers to counts. Pure.

A running-hour counter stands in one 16-bit register or in two. In which order a maker sends the two words, and the two
bytes of a word, is not settled by the protocol, so it is a setting, proved at commissioning.
Source: MODBUS Application Protocol Specification V1.1b3, 4.2 (each register is sent high byte first; says nothing of
values that span two registers).
"""

import struct
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple


class RegisterKind(StrEnum):
    """How a count is written in its registers. Signed kinds are not needed: a running-hour counter is never below 0."""

    U16 = "u16"
    U32 = "u32"
    BCD16 = "bcd16"
    BCD32 = "bcd32"
    FLOAT32 = "float32"

    @property
    def words(self) -> int:
        """Registers it takes: 1 or 2."""
        return 1 if self in (RegisterKind.U16, RegisterKind.BCD16) else 2


class WordOrder(StrEnum):
    """Which of the two words comes first."""

    HIGH_FIRST = "high first"
    LOW_FIRST = "low first"


class Layout(NamedTuple):
    """Kind and order of one counter's registers. swapped_bytes: the two bytes of each word are exchanged."""

    kind: RegisterKind
    order: WordOrder = WordOrder.HIGH_FIRST
    swapped_bytes: bool = False

    def says(self) -> str:
        """In words, such as `u32, low first`."""
        order = f", {self.order}" if self.kind.words == 2 else ""
        return f"{self.kind}{order}{', bytes swapped' if self.swapped_bytes else ''}"


def layouts(words: int) -> list[Layout]:
    """Every layout of that many registers (1 or 2)."""
    orders = list(WordOrder) if words == 2 else [WordOrder.HIGH_FIRST]
    return [
        Layout(kind, order, swapped)
        for kind in RegisterKind
        if kind.words == words
        for order in orders
        for swapped in (False, True)
    ]


def decode(layout: Layout, words: Sequence[int]) -> int | float | None:
    """The counts these registers show in a layout; none where they show no count (a BCD digit over 9, no number).

    Args:
        words: as many as the layout takes, each 0 to 65535, in the order in which they were read.

    >>> decode(Layout(Kind.U32), [1, 4464]), decode(Layout(Kind.U32, WordOrder.LOW_FIRST), [1, 4464])
    (70000, 292552705)
    """
    raw = _bytes(layout, words)
    if layout.kind is RegisterKind.FLOAT32:
        (value,) = struct.unpack(">f", raw)
        return abs(float(value)) if 0 <= value < float("inf") else None
    if layout.kind in (RegisterKind.BCD16, RegisterKind.BCD32):
        digits = raw.hex()
        return int(digits) if digits.isdecimal() else None
    return int.from_bytes(raw, "big")


def _bytes(layout: Layout, words: Sequence[int]) -> bytes:
    if len(words) != layout.kind.words:
        raise ValueError(f"{layout.kind} takes {layout.kind.words} registers, not {len(words)}")
    ordered = words if layout.order is WordOrder.HIGH_FIRST else words[::-1]
    return b"".join(word.to_bytes(2, "little" if layout.swapped_bytes else "big") for word in ordered)
