"""A batch of changes as it travels: the same to the byte after it, proved, and bounded."""

import dataclasses
import gzip
import subprocess
import sys
import tracemalloc
import zlib

import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.shore import columns, frame
from scheduler.domain.shore.frame import (
    FIRST_HASH,
    BatchFault,
    BrokenBatch,
    ChangeBatch,
    canonical_body,
    chained,
    next_hash,
    pack,
    rows_of,
    unpack,
)

VALUES = (
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"]))
    | st.fixed_dictionaries({"b64": st.just("AAA=")})
)
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["reading", "record"]),
        st.sampled_from(["put", "gone"]),
        st.dictionaries(st.sampled_from(["a", "b", "zug é"]), VALUES, min_size=1),
    ),
    max_size=6,
)
COMMITS = st.lists(st.tuples(st.integers(0, 2**40), ROWS), max_size=6)


def batch_of(commits, begins: int = 1, prev: str = FIRST_HASH) -> ChangeBatch:
    bodies = [canonical_body(at, number, rows) for number, (at, rows) in enumerate(commits, begins)]
    changes = tuple(chained(prev, begins, bodies))
    return ChangeBatch(
        vessel_id="demo-plover",
        life="one",
        begins=begins,
        ends=begins + len(changes) - 1,
        prev=prev,
        head=changes[-1].hash if changes else prev,
        schema="v0028",
        sent_at=1_790_000_000,
        answered=(3, 4),
        changes=changes,
    )


def hourly(days: int) -> list:
    """Eight counters read each hour, a change an hour."""
    start = 1_790_000_000
    return [
        (
            start + 3600 * hour,
            [
                ["reading", "put", {"counter": f"c{n}", "at_s": start + 3600 * hour, "value": 37 * n * hour}]
                for n in range(8)
            ],
        )
        for hour in range(24 * days)
    ]


@given(COMMITS, st.integers(1, 2**40))
def test_a_batch_is_the_same_to_the_byte_after_it_has_travelled(commits, begins):
    batch = batch_of(commits, begins)
    assert unpack(pack(batch)) == batch


def test_it_travels_by_gzip_where_zstd_is_missing(monkeypatch):
    batch = batch_of(hourly(2))
    monkeypatch.setattr(frame, "zstandard", None)
    packed = pack(batch)
    assert packed[:2] == b"\x1f\x8b"
    assert unpack(packed) == batch
    monkeypatch.undo()
    assert unpack(packed) == batch


def test_the_hash_is_sha256_over_the_hash_before_a_line_feed_and_the_body():
    # computed by coreutils: printf '%064d\n{}' 0 | sha256sum
    assert next_hash(FIRST_HASH, b"{}") == "5649d09ed68c1715" + next_hash(FIRST_HASH, b"{}")[16:]


def test_a_day_of_hourly_readings_of_eight_counters_is_less_than_900_bytes():
    assert len(pack(batch_of(hourly(1)))) < 900


def test_rows_come_back_as_they_were_given():
    batch = batch_of([(5, [["record", "put", {"number": 1, "text": "é"}], ["record", "gone", {"number": 2}]])])
    assert rows_of(batch.changes[0]) == [
        ("record", "put", {"number": 1, "text": "é"}),
        ("record", "gone", {"number": 2}),
    ]


def refusal(packed: bytes, **how) -> tuple[BatchFault, int | None]:
    with pytest.raises(BrokenBatch) as caught:
        unpack(packed, **how)
    return caught.value.code, caught.value.number


@given(st.binary(max_size=60))
def test_what_is_no_frame_is_refused_as_such(junk):
    assert refusal(junk)[0] is BatchFault.NOT_PACKED
    assert refusal(zlib.compress(junk, 9, 31))[0] is BatchFault.NOT_A_BATCH


def test_each_flipped_byte_of_a_frame_is_noticed():
    whole = batch_of(hourly(1)[:2])
    packed = pack(whole)
    for place in range(len(packed)):
        flipped = bytearray(packed)
        flipped[place] ^= 1
        try:
            changed = unpack(bytes(flipped))
        except BrokenBatch:
            continue
        assert changed.changes == whole.changes


def test_a_frame_cut_short_or_with_more_behind_it_is_refused():
    for packed in (pack(batch_of(hourly(1))), gzip.compress(b"{}\n" * 50)):
        assert refusal(packed[:-1]) == (BatchFault.NOT_PACKED, None)
        assert refusal(packed + b"\0") == (BatchFault.NOT_PACKED, None)


@pytest.mark.parametrize("squeeze", [gzip.compress, zstandard.ZstdCompressor().compress])
def test_a_frame_that_would_become_too_much_is_left_at_the_limit(squeeze):
    bomb = squeeze(bytes(20_000_000))
    tracemalloc.start()
    try:
        assert refusal(bomb, limit_bytes=400_000) == (BatchFault.TOO_LARGE, None)
        assert tracemalloc.get_traced_memory()[1] < 4_000_000
    finally:
        tracemalloc.stop()


BOMB = """
import resource, sys
from scheduler.domain.shore import frame
sys_bomb = sys.stdin.buffer.read()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    frame.unpack(sys_bomb)
except frame.BrokenBatch as error:
    print(error.code, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.long
@pytest.mark.parametrize("squeeze", [gzip.compress, zstandard.ZstdCompressor(level=19).compress])
def test_200_mb_in_a_small_frame_are_refused_within_20_mb_of_memory(squeeze):
    bomb = squeeze(bytes(200_000_000))
    assert len(bomb) < frame.PACKED_BYTES
    says = subprocess.run([sys.executable, "-c", BOMB], input=bomb, capture_output=True, check=True).stdout.split()
    assert says[0] == b"too_large"
    assert int(says[1]) < 20_000


def test_columns_that_would_become_too_much_are_refused_at_the_limit():
    head = pack(dataclasses.replace(batch_of([]), ends=10**9))
    line = zstandard.ZstdDecompressor().decompress(head).split(b"\n")[0]
    same = {"all": 0}
    for count, rows in ((10**9, 0), (1, 10**12)):
        laid = columns.one_text([count, same, {"all": rows}, same, [["reading", "put", ["a"], [{"all": "x"}]]]])
        assert refusal(gzip.compress(line + b"\n" + laid), limit_bytes=100_000)[0] is BatchFault.TOO_LARGE


@pytest.mark.parametrize("squeeze", [gzip.compress, zstandard.ZstdCompressor().compress])
def test_a_frame_may_become_as_much_as_the_limit_and_not_a_byte_more(squeeze):
    batch = batch_of([])
    text = zstandard.ZstdDecompressor().decompress(pack(batch))
    assert unpack(squeeze(text), limit_bytes=len(text)) == batch
    assert refusal(squeeze(text), limit_bytes=len(text) - 1) == (BatchFault.TOO_LARGE, None)


def test_nothing_stands_behind_a_frame_wherever_it_ends():
    for packed in (pack(batch_of(hourly(1)[:count])) for count in range(1, 6)):
        for more in (1, 63, 64, 65):
            assert refusal(packed + bytes(more)) == (BatchFault.NOT_PACKED, None)


def test_a_batch_is_taken_up_to_the_limit_and_not_a_byte_over():
    batch = batch_of([(5, [["record", "put", {"text": "x" * 5000}]])])
    size = len(batch.changes[0].body)
    assert unpack(pack(batch), limit_bytes=size + 500) == batch
    assert refusal(pack(batch), limit_bytes=size - 1) == (BatchFault.TOO_LARGE, None)
    many = batch_of([(5, [["record", "put", {"text": "y" * 500}]])] * 20)
    size = sum(len(change.body) for change in many.changes)
    assert unpack(pack(many), limit_bytes=size) == many
    assert refusal(pack(many), limit_bytes=size - 1) == (BatchFault.TOO_LARGE, 20)


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"begins": 0, "ends": 2}, BatchFault.NUMBER),
        ({"ends": 4}, BatchFault.NUMBER),
        ({"ends": 2}, BatchFault.NUMBER),
        ({"prev": "1" * 64}, BatchFault.CHAIN),
        ({"head": "1" * 64}, BatchFault.CHAIN),
        ({"head": "x"}, BatchFault.CHAIN),
        ({"sent_at": 2**63}, BatchFault.NOT_A_BATCH),
        ({"sent_at": -1}, BatchFault.NOT_A_BATCH),
        ({"sent_at": True}, BatchFault.NOT_A_BATCH),
        ({"answered": (2**63,)}, BatchFault.NOT_A_BATCH),
        ({"vessel_id": 7}, BatchFault.NOT_A_BATCH),
    ],
)
def test_a_head_that_does_not_fit_its_changes_is_refused(wrong, code):
    assert refusal(pack(dataclasses.replace(batch_of(hourly(1)[:3]), **wrong)))[0] is code


def test_without_a_change_the_chain_ends_as_it_began():
    assert refusal(pack(dataclasses.replace(batch_of([]), head="1" * 64)))[0] is BatchFault.CHAIN


@pytest.mark.parametrize(
    "laid",
    [
        b"",
        b"[]",
        b"[" * 100_000,
        b'[1,{"all":1},{"all":1},{"all":0},[]]',
        b'[1,{"all":true},{"all":0},{"all":0},[]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","make",["a"],[{"all":1}]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",[],[]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",["a"],[{"all":1e999}]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",["a"],[{"all":"\\ud800"}]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",["a","b"],[{"all":1}]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",["a"],[{"first":"x","steps":[1]}]]]]',
        b'[1,{"all":1},{"all":1},{"all":0},[["reading","put",["a"],[{"values":[]}]]]]',
    ],
)
def test_columns_that_nobody_lays_are_refused(laid):
    line = zstandard.ZstdDecompressor().decompress(pack(batch_of(hourly(1)[:1]))).split(b"\n")[0]
    good = columns.one_text([1, {"all": 1}, {"all": 1}, {"all": 0}, [["reading", "put", ["a"], [{"all": 1}]]]])
    assert list(columns.raised(good, 1, 1000)) == [b'{"at":1,"number":1,"rows":[["reading","put",{"a":1}]]}']
    assert refusal(gzip.compress(line + b"\n" + laid))[0] is BatchFault.NOT_A_BATCH
