"""A chain walked aboard: each record against the one before it, against its own columns, and the newest against the head."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from scheduler.domain.base.canonical import instant_text
from scheduler.domain.record.chain import GENESIS, Record, chain_hash


class ChainFault(StrEnum):
    """What is wrong with a record as it stands in the database."""

    CHANGED = "changed"
    """The text does not give the stamp."""
    EXCHANGED = "exchanged"
    """It does not follow the record before it."""
    MISSING = "missing"
    """One or more records are gone, in between or at the end."""
    COLUMNS = "columns"
    """The columns say another number, kind or time than the text."""
    HEAD = "head"
    """The head of the chain is not the newest record."""
    REWRITTEN = "rewritten"
    """A record that an earlier walk found good has another stamp now."""
    UNGUARDED = "unguarded"
    """What refuses changes of records is gone from the database."""


@dataclass(frozen=True, slots=True)
class FoundFault:
    """The first thing that is wrong. number: of the record; 0 where it is none."""

    fault: ChainFault
    number: int = 0


@dataclass(slots=True)
class ChainWalk:
    """Takes records by number, from `number` and `stamp` of a record known to be good (none: the beginning) on."""

    number: int = 0
    stamp: str = GENESIS
    fault: FoundFault | None = field(default=None)

    def take(self, records: Iterable[Record]) -> "ChainWalk":
        """Walk on over these, up to the first that is wrong."""
        for record in records:
            self.fault = self._wrong(record)
            if self.fault is not None:
                break
            self.number, self.stamp = record.number, record.hash
        return self

    def end(self, head: tuple[int, str]) -> "ChainWalk":
        """Compare with the head of the chain: number and stamp of its newest record."""
        if self.fault is None and head != (self.number, self.stamp):
            gone = head[0] > self.number
            self.fault = FoundFault(
                ChainFault.MISSING if gone else ChainFault.HEAD, self.number + 1 if gone else head[0]
            )
        return self

    def _wrong(self, record: Record) -> FoundFault | None:
        if record.number != self.number + 1:
            return FoundFault(ChainFault.MISSING, self.number + 1)
        if record.previous_hash != self.stamp:
            return FoundFault(ChainFault.EXCHANGED, record.number)
        try:
            if chain_hash(record.text, self.stamp) != record.hash:
                return FoundFault(ChainFault.CHANGED, record.number)
            members = json.loads(record.text)
            said = tuple(members.get(name) for name in ("number", "kind", "recorded_at"))
        except (ValueError, AttributeError):  # UnicodeEncodeError of the hash is a ValueError
            return FoundFault(ChainFault.CHANGED, record.number)
        if said != (str(record.number), record.kind, instant_text(record.recorded_at)):
            return FoundFault(ChainFault.COLUMNS, record.number)
        return None
