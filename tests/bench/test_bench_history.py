"""The history: verifying, and each form of export, as ratios to a bare pass over the same records; memory of the long ones.

Run: pytest -m bench -s tests/bench/test_bench_history.py
"""

import hashlib
import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta

import pytest

from api.exports import csv_rows, jsonl, pdf, xlsx
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.domain.record.verify import Verified, verify_lines
from tests.bench.load import LEEWAY, SHORT, peak_mb
from tests.papers_story import story
from tests.unit.api.test_exports import AT, CLOSED, FRAME

pytestmark = pytest.mark.bench
MOST_MB = 150
MANY = 5_000 if SHORT else 50_000


def _records(count: int) -> Iterator[Record]:
    """Closed jobs, chained, made one by one."""
    previous = GENESIS
    for number in range(1, count + 1):
        job = replace(
            CLOSED, job_no=f"knife_inspection:plover-pump-{number % 8}:{number}", findings="worn at the tips, " * 3
        )
        made = record_of(
            number=number,
            kind=ClosedJob.KIND,
            payload=job.payload(),
            recorded_at=AT + timedelta(minutes=number),
            previous_hash=previous,
        )
        previous = made.hash
        yield made


def _seconds(act: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(3):
        start = time.process_time()
        act()
        best = min(best, time.process_time() - start)
    return best


def test_five_thousand_records_are_verified_within_a_second() -> None:
    """CPU against parsing and hashing the same lines alone."""
    lines = [line.encode() for line in jsonl(list(_records(5000)), FRAME)]
    bare = _seconds(lambda: [hashlib.sha256(json.loads(line)["text"].encode()) for line in lines[1:]])
    found = _seconds(lambda: verify_lines(lines))
    assert isinstance(verify_lines(lines), Verified)
    print(f"\nverify, 5000 records: {found:.2f} s CPU, {found / bare:.1f} x parsing and hashing alone")
    assert found < LEEWAY


@pytest.mark.parametrize(("jobs", "seconds", "mb"), [(None, 1.0, 450), (2640, 6.0, 450)])
def test_paper_and_workbook(jobs: int | None, seconds: float, mb: float) -> None:
    """Two years of a ship and 2,000 jobs with curves (2,640 asked for leave so many, since one takes others with it): CPU of both
    processes, the memory of the one that sets it, and what the asking one takes for it."""
    papers, records = story(jobs=jobs)
    assert jobs is None or len(papers.facts.closed) >= 2000
    began, before = _cpu(), peak_mb()
    made = b"".join(pdf(papers))
    took = _cpu() - began
    there = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    began = time.process_time()
    book = b"".join(xlsx(records, papers))
    print(
        f"\n{len(papers.facts.closed)} closed jobs: PDF {took:.2f} s CPU, {len(made) / 1e6:.1f} MB, {there:.0f} MB where it is set, "
        f"{peak_mb() - before:.0f} MB more here; XLSX {time.process_time() - began:.2f} s CPU, {len(book) / 1e6:.1f} MB"
    )
    assert took < seconds * LEEWAY
    assert there < mb


def _cpu() -> float:
    own, child = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + child.ru_utime + child.ru_stime


class _Again:
    """Records made anew each time they are gone through, as the store reads them."""

    def __iter__(self) -> Iterator[Record]:
        return _records(MANY)


def _export(form: str) -> None:
    pieces = csv_rows(_Again()) if form == "csv" else jsonl(_Again(), FRAME)
    size = sum(len(piece) for piece in pieces)
    print(json.dumps({"mb": peak_mb(), "size": size}))


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_fifty_thousand_records_are_streamed(form: str) -> None:
    """In a process of its own, so that its peak memory is that of the export."""
    start = time.perf_counter()
    code = f"from tests.bench.test_bench_history import _export; _export({form!r})"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=600)
    found = json.loads(told.stdout)
    print(
        f"\n{form}, {MANY} records made and written: {time.perf_counter() - start:.0f} s, {found['size'] / 1e6:.0f} MB out, "
        f"{found['mb']:.0f} MB at most"
    )
    assert found["mb"] < MOST_MB
