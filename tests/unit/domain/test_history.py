"""The record: its canonical text, its chain, the verdict on a done job, and the offline check."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from api.exports import ExportFrame, jsonl
from scheduler.domain.base.canonical import canonical
from scheduler.domain.base.enums import Subject, Test, Trigger
from scheduler.domain.record.chain import GENESIS, Record, chain_hash, record_of
from scheduler.domain.record.closed_job import ClosedJob, DuePoint, HoursSource, Verdict, due_point_of, verdict_of
from scheduler.domain.record.verify import Broken, Verified, header_line, spelled, verify_lines
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused

AT = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
FRAME = ExportFrame(vessel="Demo Plover", made_by="office", as_of=AT, version="0.1.0")


def chain(count: int, *, first: int = 1, previous: str = GENESIS) -> list[Record]:
    """That many records, chained."""
    records: list[Record] = []
    for number in range(first, first + count):
        record = record_of(
            number=number,
            kind="note",
            payload={"vessel": "Demo Plover", "what": f"é {number}", "hours": number / 8},
            recorded_at=AT + timedelta(minutes=number),
            previous_hash=previous,
        )
        records.append(record)
        previous = record.hash
    return records


def exported(records: Sequence[Record]) -> list[str]:
    return list(jsonl(records, FRAME))


def broken(lines: Sequence[str | bytes], **known: object) -> Broken:
    found = verify_lines(lines, **known)  # type: ignore[arg-type]
    assert isinstance(found, Broken), found
    return found


def test_every_kind_of_value_has_one_spelling() -> None:
    """Numbers are strings, instants end in Z whatever their offset was, letters are escapes, keys are sorted."""
    east = timezone(timedelta(hours=3))
    payload = {
        "z": 7,
        "half": 0.5,
        "exact": Decimal("1.50"),
        "at": datetime(2026, 11, 25, 10, 0, tzinfo=east),
        "fine": datetime(2026, 11, 25, 7, 0, 0, 250000, tzinfo=UTC),
        "on": date(2026, 11, 25),
        "yes": True,
        "none": None,
        "test": Test.PASSED,
        "inner": {"b": (1, "é"), "a": []},
    }
    assert canonical(payload) == (
        '{"at":"2026-11-25T07:00:00Z","exact":"1.50","fine":"2026-11-25T07:00:00.250000Z","half":"0.5",'
        '"inner":{"a":[],"b":["1","\\u00e9"]},"none":null,"on":"2026-11-25","test":"passed","yes":true,"z":"7"}'
    )


@pytest.mark.parametrize(
    ("payload", "place"),
    [
        ({"a": float("nan")}, "/a"),
        ({"a": {"b": float("inf")}}, "/a/b"),
        ({"a": [1, Decimal("sNaN")]}, "/a/1"),
        ({"a": datetime(2026, 1, 1)}, "/a"),  # noqa: DTZ001
        ({"a": object()}, "/a"),
        ({"a": b"bytes"}, "/a"),
        ({"a": {1, 2}}, "/a"),
        ({"ä": 1}, "ä"),
        ({"a": {2: "two"}}, "/a"),
        ({"a": "\ud800"}, "/a"),
    ],
)
def test_what_a_record_cannot_hold_is_refused_with_its_place(payload: dict[str, object], place: str) -> None:
    """NaN, infinity, a time without offset, a foreign type, a key outside ASCII, half a surrogate pair: all refused."""
    with pytest.raises(Refused) as caught:
        canonical(payload)
    assert place in caught.value.says


def test_the_stamp_is_sha256_over_previous_hash_line_feed_and_text() -> None:
    """A hand-made SHA-256 over the documented bytes gives the same chain hash."""
    by_hand = hashlib.sha256(b"0" * 64 + b"\n" + b'{"a":"1"}').hexdigest()
    assert chain_hash('{"a":"1"}', GENESIS) == by_hand


def test_number_kind_and_time_are_inside_the_hashed_text() -> None:
    """They cannot be changed without changing the text, and a payload may not contradict them."""
    record = chain(1)[0]
    held = json.loads(record.text)
    assert (held["number"], held["kind"], held["recorded_at"]) == ("1", "note", "2026-11-25T07:01:00Z")
    with pytest.raises(Refused, match="number"):
        record_of(number=2, kind="note", payload={"number": 3}, recorded_at=AT, previous_hash=GENESIS)


HOURS = DuePoint(
    trigger=Trigger.RUNNING_HOURS,
    window_opens_running_seconds=1400 * 3600,
    due_running_seconds=1500 * 3600,
    limit_running_seconds=1550 * 3600,
)
DATES = DuePoint(
    trigger=Trigger.CALENDAR,
    calendar_window_opens_at=AT - timedelta(days=10),
    calendar_due_at=AT,
    calendar_limit_at=AT + timedelta(days=5),
)


@pytest.mark.parametrize(
    ("hours", "verdict"),
    [
        (1399, Verdict.EARLY),
        (1400, Verdict.IN_WINDOW),
        (1500, Verdict.IN_WINDOW),
        (1501, Verdict.WITHIN_LIMIT),
        (1550, Verdict.WITHIN_LIMIT),
        (1551, Verdict.LATE),
    ],
)
def test_the_verdict_by_running_hours_changes_only_at_the_marks(hours: int, verdict: Verdict) -> None:
    """Window, due point and limit are each reached inclusively."""
    assert verdict_of(HOURS, done_at=AT, running_seconds=hours * 3600) is verdict


@pytest.mark.parametrize(
    ("days", "verdict"),
    [
        (-11, Verdict.EARLY),
        (-10, Verdict.IN_WINDOW),
        (0, Verdict.IN_WINDOW),
        (1, Verdict.WITHIN_LIMIT),
        (5, Verdict.WITHIN_LIMIT),
        (6, Verdict.LATE),
    ],
)
@pytest.mark.parametrize("hour", [0, 12, 23])
def test_the_verdict_by_calendar_counts_whole_ship_days(days: int, verdict: Verdict, hour: int) -> None:
    """The hour of the due day does not matter."""
    done_at = (AT + timedelta(days=days)).replace(hour=hour)
    assert verdict_of(DATES, done_at=done_at, running_seconds=None) is verdict


def test_the_ship_day_decides_not_the_utc_day() -> None:
    """23:30 UTC on the due day is the next day aboard at +1 h, and late with no tolerance left."""
    strict = replace(DATES, calendar_limit_at=AT)
    done_at = AT.replace(hour=23, minute=30)
    assert verdict_of(strict, done_at=done_at, running_seconds=None) is Verdict.IN_WINDOW
    assert verdict_of(strict, done_at=done_at, running_seconds=None, utc_offset_minutes=60) is Verdict.LATE


def test_a_postponement_excuses_but_the_original_point_still_judges() -> None:
    """Past the original limit it is postponed up to the new limit and late after it; within the old one, as ever."""
    postponed = replace(HOURS, postponed_to_running_seconds=1700 * 3600, postponed_to_at=AT + timedelta(days=20))
    assert verdict_of(postponed, done_at=AT, running_seconds=1550 * 3600) is Verdict.WITHIN_LIMIT
    assert verdict_of(postponed, done_at=AT, running_seconds=1600 * 3600) is Verdict.POSTPONED
    assert verdict_of(postponed, done_at=AT, running_seconds=1701 * 3600) is Verdict.LATE
    late = AT + timedelta(days=21)
    assert verdict_of(postponed, done_at=late, running_seconds=1600 * 3600) is Verdict.LATE


def test_the_first_trigger_to_be_passed_judges() -> None:
    """Hours in the window do not excuse a date that is past its limit."""
    both = replace(HOURS, calendar_due_at=AT, calendar_limit_at=AT)
    assert verdict_of(both, done_at=AT + timedelta(days=1), running_seconds=1450 * 3600) is Verdict.LATE


def test_nothing_to_judge_by_is_refused() -> None:
    """A due point of hours needs the hours at which it was done."""
    with pytest.raises(Refused, match="running hours"):
        verdict_of(HOURS, done_at=AT, running_seconds=None)


def test_a_closed_job_carries_its_particulars_and_verdict() -> None:
    """The window and tolerance come from the job kind, the distances from the original due point."""
    kind = JobKind(
        code="knives",
        name="knife inspection",
        subject=Subject.PUMP,
        takes_hours=3,
        window_running_hours=100,
        tolerance_running_hours=50,
    )
    job = ClosedJob(
        vessel="Demo Plover",
        position="VP1",
        pump_serial="DP-001",
        job_kind=kind.name,
        job_no="knives:P1:4",
        due=due_point_of(kind, trigger=Trigger.RUNNING_HOURS, due_running_seconds=1500 * 3600, calendar_due_at=None),
        done_at=AT,
        utc_offset_minutes=60,
        running_seconds=1520 * 3600,
        hours_source=HoursSource.COUNTER,
        done_by="A. Example, 2/E",
        checked_by="B. Sample, C/E",
        recorded_by="A. Example",
        test=Test.PASSED,
        least_margin_swept_m3_per_h=12.4,
    )
    payload = job.payload()
    assert payload["verdict"] is Verdict.WITHIN_LIMIT
    assert payload["seconds_from_due"] == 20 * 3600
    assert payload["days_from_due"] is None
    assert payload["limit_running_seconds"] == 1550 * 3600
    assert json.loads(canonical(payload))["least_margin_swept_m3_per_h"] == "12.4"


def test_a_whole_export_is_verified_and_so_is_an_empty_one_and_a_later_period() -> None:
    """Numbers need not start at 1; the head is the last hash."""
    records = chain(9)
    found = verify_lines(exported(records))
    assert found == Verified(vessel="Demo Plover", records=9, first_number=1, last_number=9, head=records[-1].hash)
    assert isinstance(verify_lines([line.encode() for line in exported(records[4:])]), Verified)
    empty = verify_lines(exported([]))
    assert isinstance(empty, Verified)
    assert (empty.records, empty.head) == (0, GENESIS)


def test_a_changed_record_is_named() -> None:
    """One figure changed in the text of record 4, spelled as the export spells it."""
    lines = exported(chain(9))
    members = json.loads(lines[4])
    members["text"] = members["text"].replace('"hours":"0.5"', '"hours":"0.6"')
    lines[4] = spelled(members) + "\n"
    found = broken(lines)
    assert found.number == 4
    assert "changed" in found.says


def test_a_dropped_record_is_named_wherever_it_stood() -> None:
    """First, middle and last: the first line states what should be there."""
    lines = exported(chain(9))
    for number in (1, 5, 9):
        found = broken(lines[:number] + lines[number + 1 :])
        assert found.number == number
        assert "missing" in found.says


def test_swapped_and_repeated_records_are_named() -> None:
    """The first place where the order fails is reported as out of order."""
    lines = exported(chain(9))
    swapped = [*lines]
    swapped[3], swapped[6] = swapped[6], swapped[3]
    assert broken(swapped).number == 3
    assert "order" in broken(swapped).says
    assert broken([*lines, lines[-1]]).number == 9


def test_a_record_hashed_anew_breaks_the_link_of_the_next() -> None:
    """Record 4 exchanged with a sound hash of its own: record 5 does not follow it."""
    records = chain(9)
    other = record_of(number=4, kind="note", payload={}, recorded_at=AT, previous_hash=records[2].hash)
    found = broken(exported([*records[:3], other, *records[4:]]))
    assert found.number == 5
    assert "does not follow" in found.says


def test_a_chain_forged_to_its_end_shows_only_against_a_head_kept_elsewhere() -> None:
    """With all later hashes redone the file agrees with itself; the stamp on paper does not."""
    true = chain(9)
    forged = [*true[:3], *chain(6, first=4, previous=chain_hash("{}", true[2].hash))]
    forged[3] = record_of(number=4, kind="note", payload={"x": 1}, recorded_at=AT, previous_hash=true[2].hash)
    previous = forged[3].hash
    for place in range(4, 9):
        forged[place] = record_of(number=place + 1, kind="note", payload={}, recorded_at=AT, previous_hash=previous)
        previous = forged[place].hash
    lines = exported(forged)
    assert isinstance(verify_lines(lines), Verified)
    assert broken(lines, expected_head=true[-1].hash).number == 9
    assert broken(lines, expected_head=true[5].hash, expected_number=6).number == 6
    assert isinstance(verify_lines(lines, expected_head=true[1].hash, expected_number=2), Verified)


def test_the_last_row_dropped_with_its_header_rewritten_shows_against_the_number_kept() -> None:
    """A shorter history that agrees with itself fails when record 9 was expected in it."""
    lines = exported(chain(9)[:8])
    assert isinstance(verify_lines(lines), Verified)
    assert broken(lines, expected_number=9).number == 9
    assert broken(lines, expected_head="ab" * 32, expected_number=9).number == 9


def test_records_numbered_anew_are_found_by_the_number_in_their_text() -> None:
    """Lines and first line agree on 6 to 10, the hashed texts say 5 to 9."""
    moved = [replace(record, number=record.number + 1) for record in chain(9)[4:]]
    found = broken(exported(moved))
    assert found.number == 6
    assert "changed" in found.says


def test_a_filtered_export_a_foreign_file_and_an_empty_file_are_answered_in_words() -> None:
    """The number is none, since no record is to blame."""
    filtered = list(jsonl(chain(3), replace(FRAME, filter="kind: note")))
    assert "filtered" in broken(filtered).says
    assert broken(["hello\n"]).number is None
    assert broken([]).number is None
    assert "count" in broken([header_line({**_header(), "records": 5}) + "\n"]).says


def _header() -> dict[str, object]:
    return {
        "vessel": "x",
        "filter": None,
        "records": 0,
        "first_number": 1,
        "last_number": 0,
        "previous_hash": GENESIS,
        "head": GENESIS,
    }
