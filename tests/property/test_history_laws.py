"""Laws of the chained history: whatever is done to an export, the check says so and names the place."""

import json
from datetime import UTC, datetime, timedelta

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from api.exports import ExportFrame, jsonl
from scheduler.domain.base.canonical import canonical
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.chain import chain_hash as stamp
from scheduler.domain.record.verify import Broken, Verified, hash_of, verify_lines
from scheduler.errors import Refused

AT = datetime(2026, 11, 25, 7, tzinfo=UTC)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
keys = st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=8)
numbers = st.integers() | st.floats(allow_nan=False, allow_infinity=False)
values = st.recursive(
    words | numbers | st.booleans() | st.none(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=8,
)
payloads = st.dictionaries(keys.filter(lambda k: k not in {"number", "kind", "recorded_at"}), values, max_size=5)


@st.composite
def chains(draw: st.DrawFn, least: int = 1) -> list[Record]:
    first = draw(st.integers(1, 5000))
    previous = GENESIS if first == 1 else "ab" * 32
    records = []
    for place, payload in enumerate(draw(st.lists(payloads, min_size=least, max_size=6))):
        record = record_of(
            number=first + place,
            kind="note",
            payload=payload,
            recorded_at=AT + timedelta(seconds=place),
            previous_hash=previous,
        )
        records.append(record)
        previous = record.hash
    return records


def exported(records: list[Record]) -> list[str]:
    return list(jsonl(records, ExportFrame(vessel="Demo Plover", made_by="office", as_of=AT, version="1")))


@given(chains(least=0))
def test_an_untouched_export_is_verified(records: list[Record]) -> None:
    """Text or bytes, with the head known or not."""
    lines = exported(records)
    assert isinstance(verify_lines(lines), Verified)
    head = records[-1].hash if records else GENESIS
    assert isinstance(verify_lines([line.encode() for line in lines], expected_head=head), Verified)


@given(chains(), st.data())
def test_one_changed_byte_anywhere_is_noticed_and_its_record_named(records: list[Record], data: st.DataObject) -> None:
    """Also in the first line, whose number is none; a line feed that is lost may be blamed on either neighbour."""
    body = bytearray("".join(exported(records)).encode())
    place = data.draw(st.integers(0, len(body) - 1))
    line_no = body[:place].count(b"\n")
    was_line_end = body[place] == 10
    body[place] ^= data.draw(st.integers(1, 255))
    found = verify_lines(_lines(bytes(body)))
    assert isinstance(found, Broken)
    number = records[0].number + line_no - 1
    expected = {None} if line_no == 0 else {number}
    if was_line_end:
        expected |= {number, number + 1}
    assert found.number in expected


def _lines(body: bytes) -> list[bytes]:
    """As a binary file gives its lines: split at line feeds only."""
    parts = body.split(b"\n")
    return [part + b"\n" for part in parts[:-1]] + ([parts[-1]] if parts[-1] else [])


@given(chains(), st.data())
def test_a_dropped_record_is_named(records: list[Record], data: st.DataObject) -> None:
    """Any of them, the last as well."""
    lines = exported(records)
    place = data.draw(st.integers(1, len(records)))
    found = verify_lines(lines[:place] + lines[place + 1 :])
    assert isinstance(found, Broken)
    assert found.number == records[place - 1].number


@given(chains(least=2), st.data())
def test_two_swapped_records_are_named_by_the_first_place(records: list[Record], data: st.DataObject) -> None:
    """The earlier of the two numbers is the one out of order."""
    lines = exported(records)
    one = data.draw(st.integers(1, len(records) - 1))
    other = data.draw(st.integers(one + 1, len(records)))
    lines[one], lines[other] = lines[other], lines[one]
    found = verify_lines(lines)
    assert isinstance(found, Broken)
    assert found.number == records[one - 1].number


@given(chains(), payloads, st.data())
def test_a_rewritten_tail_never_ends_in_the_old_head(
    records: list[Record], payload: dict[str, object], data: st.DataObject
) -> None:
    """The file agrees with itself; the head kept elsewhere does not agree with it."""
    place = data.draw(st.integers(0, len(records) - 1))
    forged = list(records[:place])
    previous = records[place].previous_hash
    for record in records[place:]:
        new = record_of(
            number=record.number,
            kind="forged",
            payload=payload,
            recorded_at=record.recorded_at,
            previous_hash=previous,
        )
        forged.append(new)
        previous = new.hash
    lines = exported(forged)
    assert isinstance(verify_lines(lines), Verified)
    assert isinstance(verify_lines(lines, expected_head=records[-1].hash), Broken)


@given(payloads)
def test_the_verifier_and_the_history_hash_alike(payload: dict[str, object]) -> None:
    """Two implementations, one of them without anything of this project."""
    text = canonical(payload)
    assert hash_of(text, GENESIS) == stamp(text, GENESIS)


@given(payloads)
def test_the_text_is_what_rfc_8785_gives_for_the_same_value(payload: dict[str, object]) -> None:
    """RFC 8785 by another library: equal in value always, letter for letter in printable ASCII (DEL is escaped here)."""
    text = canonical(payload)
    strings = json.loads(text)
    oracle = rfc8785.dumps(strings).decode()
    assert json.loads(oracle) == strings
    if oracle.isascii() and "\x7f" not in oracle:
        assert oracle == text


@given(payloads, st.randoms(use_true_random=False))
def test_the_order_of_members_does_not_matter(payload: dict[str, object], random: object) -> None:
    """Same members, same text."""
    items = list(payload.items())
    random.shuffle(items)  # type: ignore[attr-defined]
    assert canonical(dict(items)) == canonical(payload)


@given(st.sampled_from([float("nan"), float("inf"), -float("inf"), b"x", {1}, object]), keys)
def test_what_has_no_spelling_is_refused(value: object, key: str) -> None:
    """Never written as something else."""
    with pytest.raises(Refused):
        canonical({key: value})
