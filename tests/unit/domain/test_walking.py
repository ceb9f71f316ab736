"""A chain walked record by record: whatever one changes is named with the first record that is wrong."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.record.chain import GENESIS, Record, chain_hash, record_of
from scheduler.domain.record.walking import ChainFault, ChainWalk, FoundFault

AT = datetime(2026, 10, 20, 7, tzinfo=UTC)


def _chain(many: int) -> list[Record]:
    made: list[Record] = []
    for number in range(1, many + 1):
        before = made[-1].hash if made else GENESIS
        payload = {"by": "Demo engineer"}
        made.append(record_of(number=number, kind="noted", payload=payload, recorded_at=AT, previous_hash=before))
    return made


CHAIN = _chain(5)
HEAD = (5, CHAIN[-1].hash)
OTHER = record_of(number=3, kind="noted", payload={"by": "x"}, recorded_at=AT, previous_hash=CHAIN[1].hash)


def test_a_whole_chain_ends_at_its_head() -> None:
    """From the beginning, and from any record known to be good; an empty one too."""
    for known in range(6):
        walk = ChainWalk(known, CHAIN[known - 1].hash) if known else ChainWalk()
        walk.take(CHAIN[known:]).end(HEAD)
        assert (walk.fault, walk.number, walk.stamp) == (None, *HEAD)
    assert ChainWalk().take([]).end((0, GENESIS)).fault is None


@pytest.mark.parametrize(
    ("records", "fault", "number"),
    [
        ([replace(CHAIN[0], text=CHAIN[0].text.replace("Demo", "Dema")), *CHAIN[1:]], ChainFault.CHANGED, 1),
        ([*CHAIN[:2], replace(CHAIN[2], text="\u00e9"), *CHAIN[3:]], ChainFault.CHANGED, 3),
        ([*CHAIN[:2], OTHER, *CHAIN[3:]], ChainFault.EXCHANGED, 4),
        ([*CHAIN[:2], *CHAIN[3:]], ChainFault.MISSING, 3),
        (CHAIN[1:], ChainFault.MISSING, 1),
        (CHAIN[:-1], ChainFault.MISSING, 5),
        ([], ChainFault.MISSING, 1),
        ([*CHAIN[:3], replace(CHAIN[3], kind="other"), CHAIN[4]], ChainFault.COLUMNS, 4),
        ([*CHAIN[:3], replace(CHAIN[3], recorded_at=AT + timedelta(seconds=1)), CHAIN[4]], ChainFault.COLUMNS, 4),
        (_chain(6), ChainFault.HEAD, 5),
    ],
)
def test_the_first_record_that_is_wrong_is_named(records: list[Record], fault: ChainFault, number: int) -> None:
    """Changed, exchanged with its stamp made anew, taken out anywhere, filed under other columns, or beyond the head."""
    assert ChainWalk().take(records).end(HEAD).fault == FoundFault(fault, number)


def test_a_text_that_is_no_record_but_has_its_stamp_is_named() -> None:
    """JSON of another kind, or none, hashed as it should be."""
    for text in ("[]", "{", "1"):
        odd = replace(CHAIN[0], text=text, hash=chain_hash(text, GENESIS))
        assert ChainWalk().take([odd]).fault == FoundFault(ChainFault.CHANGED, 1)


def test_another_stamp_under_the_newest_number_is_named() -> None:
    """The head says it, so the head or the record is not what it was."""
    assert ChainWalk().take(CHAIN).end((5, OTHER.hash)).fault == FoundFault(ChainFault.HEAD, 5)
