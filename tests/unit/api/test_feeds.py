"""The calendar feed: one event as text, the whole calendar, and its HTTP answer."""

import gzip
import hashlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from uuid import UUID

import pytest
from icalendar import Calendar, Event

from api.ics.http import calendar_answer, conditional, etag_of
from api.ics.text import (
    calendar_body,
    calendar_frame,
    fingerprint,
    published_event,
    render_event,
    render_task,
    uid_for,
    with_alarm,
    withdrawn_body,
)
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.revision import CalendarEntry, StoredEvent
from scheduler.errors import Refused
from tests.calendar_cases import AT, DAY, alarm_job, done_job, knife_job, shown, slot, with_words, withdrawn_job

BASE = "http://plover.example:8322"
KEY = "knives:P1:4"
UID = uid_for("plover", KEY, "job")


def text_of(entry: CalendarEntry, sequence: int = 3) -> str:
    return render_event(entry, UID, sequence, AT, AT - DAY, BASE)


def lines_of(text: str) -> list[str]:
    return text.replace("\r\n ", "").split("\r\n")


def every_state() -> list[CalendarEntry]:
    jobs = [
        knife_job(n, state=state) for n, state in enumerate((JobState.AHEAD, JobState.PAST_DUE, JobState.POSTPONED), 4)
    ]
    found = shown(
        [*jobs, knife_job(1), alarm_job()], slots={KEY: slot()}, done=[done_job()], withdrawn=[withdrawn_job()]
    )
    return list(found.values())


def test_a_due_day_is_a_date_with_an_exclusive_end() -> None:
    """No zone, no hour; the calendar's own words for status, sequence and address."""
    lines = lines_of(text_of(shown([knife_job()])[KEY]))
    for line in (
        "DTSTART;VALUE=DATE:20270104",
        "DTEND;VALUE=DATE:20270105",
        "SEQUENCE:3",
        "STATUS:TENTATIVE",
        "TRANSP:TRANSPARENT",
        "DTSTAMP:20261125T060000Z",
        "LAST-MODIFIED:20261125T060000Z",
        "CREATED:20261124T060000Z",
        f"UID:{UID}",
        f"URL:{BASE}/vessels/plover/jobs/knives:P1:4",
        "COLOR:slategray",
        "LOCATION:Demo Plover\\, Vacuum plant 1",
    ):
        assert line in lines


def test_planned_work_is_in_utc_without_a_zone_name() -> None:
    """Also when the instants were given with an offset."""
    entry = shown([knife_job()], slots={KEY: slot()})[KEY]
    east = timezone(timedelta(hours=3))
    assert isinstance(entry.starts, datetime)
    assert isinstance(entry.ends, datetime)
    moved = replace(entry, starts=entry.starts.astimezone(east), ends=entry.ends.astimezone(east))
    text = text_of(moved)
    assert "DTSTART:20261225T060000Z\r\nDTEND:20261225T090000Z\r\n" in text
    assert "TZID" not in text
    assert "TRANSP:OPAQUE" in text
    assert text == text_of(entry)
    assert fingerprint(moved, BASE) == fingerprint(entry, BASE)


@pytest.mark.parametrize(
    "change",
    [
        {"ends": date(2027, 1, 4)},
        {"ends": AT},
        {"starts": datetime(2027, 1, 4, 8), "ends": datetime(2027, 1, 4, 9)},  # noqa: DTZ001
        {"status": "MAYBE"},
    ],
)
def test_an_event_that_clients_would_misread_is_refused(change: dict[str, object]) -> None:
    """A same-day end, a date with a time, a time without offset, an unknown status."""
    with pytest.raises(Refused):
        text_of(replace(shown([knife_job()])[KEY], **change))  # type: ignore[arg-type]


def test_the_joined_body_is_what_the_library_renders() -> None:
    """Byte for byte, for every state, with the library holding the same components."""
    found = every_state()
    whole = calendar_frame("Demo Plover", url=BASE)
    for entry in found:
        whole.add_component(Event.from_ical(text_of(entry)))
    assert calendar_body("Demo Plover", [text_of(e) for e in found], url=BASE) == whole.to_ical()


def test_the_frame_has_a_fixed_name_and_neither_method_nor_uid() -> None:
    """A random UID makes one sync program keep one event only; METHOD would make it an invitation."""
    body = calendar_body("Demo Plover", [text_of(shown([knife_job()])[KEY])]).decode()
    head = body[: body.index("BEGIN:VEVENT")]
    for line in ("REFRESH-INTERVAL;VALUE=DURATION:PT1H", "X-PUBLISHED-TTL:PT1H", "VERSION:2.0", "CALSCALE:GREGORIAN"):
        assert f"\r\n{line}\r\n" in head
    for name in ("METHOD", "UID", "SOURCE", "VTIMEZONE"):
        assert name not in head
    assert "PRODID:-//Leadline//" in head


def test_a_calendar_without_an_event_is_never_made() -> None:
    """It would empty some subscribers' calendars."""
    with pytest.raises(Refused, match="plan-status"):
        calendar_body("Demo Plover", [])


def test_the_uid_belongs_to_vessel_occurrence_and_role() -> None:
    """Same everywhere for the same three, different as soon as one differs; RFC 9562 5.5 worked out by hand."""
    vessel = _version_5(UUID("6ba7b811-9dad-11d1-80b4-00c04fd430c8"), "leadline:vessel:plover")
    assert uid_for("plover", KEY, "job") == UID == str(_version_5(vessel, f"job\n{KEY}"))
    others = {uid_for("avocet", KEY, "job"), uid_for("plover", "knives:P1:5", "job"), uid_for("plover", KEY, "task")}
    assert len(others | {UID}) == 4


def _version_5(namespace: UUID, name: str) -> UUID:
    """SHA-1 over namespace and name, cut to 16 octets, version and variant set."""
    octets = bytearray(hashlib.sha1(namespace.bytes + name.encode()).digest()[:16])
    octets[6] = octets[6] & 0x0F | 0x50
    octets[8] = octets[8] & 0x3F | 0x80
    return UUID(bytes=bytes(octets))


def test_publishing_twice_keeps_the_object_and_a_replan_changes_one_event() -> None:
    """Same UID, sequence + 1, no byte of the other event."""
    jobs = [knife_job(1), knife_job(2)]
    first = _publish({}, shown(jobs), AT)
    again = _publish(first, shown(jobs), AT + DAY)
    assert all(again[key] is first[key] for key in first)
    planned = _publish(first, shown(jobs, slots={KEY: slot()}), AT + DAY)
    assert planned["knives:P2:4"] is first["knives:P2:4"]
    assert planned[KEY].sequence == 1
    assert f"UID:{UID}\r\n" in planned[KEY].text
    assert "SEQUENCE:1\r\n" in planned[KEY].text
    assert "LAST-MODIFIED:20261126T060000Z" in planned[KEY].text


def _publish(old: dict[str, StoredEvent], found: dict[str, CalendarEntry], at: datetime) -> dict[str, StoredEvent]:
    return {
        key: published_event(old.get(key), entry, vessel_id="plover", base_url=BASE, at=at)
        for key, entry in found.items()
    }


def test_a_task_is_due_when_its_event_ends() -> None:
    """A date is due on the day itself; done and withdrawn have their own status."""
    texts = {e.key: render_task(e, UID, 0, AT, AT, BASE) for e in every_state()}
    assert "DUE:20261225T090000Z" in texts[KEY]
    assert "STATUS:NEEDS-ACTION" in texts[KEY]
    assert "DUE;VALUE=DATE:20261207" in texts["alarm:vac1:9"]
    assert "STATUS:COMPLETED" in texts["knives:P2:3"]
    assert "STATUS:CANCELLED" in texts["knives:P3:3"]


def test_an_alarm_stands_only_in_events_somebody_can_act_on() -> None:
    """At an instant, on display, saying the title; none for what is withdrawn or only forecast."""
    texts = {e.key: text_of(e) for e in every_state()}
    alarmed = with_alarm(texts[KEY], AT)
    event = Event.from_ical(alarmed)
    assert [str(part["ACTION"]) for part in event.walk("VALARM")] == ["DISPLAY"]
    assert [str(part["DESCRIPTION"]) for part in event.walk("VALARM")] == [str(event["SUMMARY"])]
    assert f"TRIGGER;VALUE=DATE-TIME:{AT:%Y%m%dT%H%M%SZ}\r\n" in alarmed
    for key in ("knives:P3:3", "knives:P4:4"):
        assert with_alarm(texts[key], AT) == texts[key]


def test_a_reminder_says_a_title_that_is_folded() -> None:
    """Every letter of it, with what is escaped."""
    long = replace(every_state()[0], summary="Ü; VP1, " * 14, status="CONFIRMED")
    event = Event.from_ical(with_alarm(text_of(long), AT))
    assert [str(part["DESCRIPTION"]) for part in event.walk("VALARM")] == [str(event["SUMMARY"])]


def test_a_withdrawn_address_serves_one_event_that_says_so() -> None:
    """It parses, and its bytes do not change from one poll to the next."""
    body = withdrawn_body("Demo Plover", date(2026, 11, 25), AT, "plover")
    assert body == withdrawn_body("Demo Plover", date(2026, 11, 25), AT, "plover")
    assert [str(e["SUMMARY"]) for e in Calendar.from_ical(body).walk("VEVENT")] == [
        "This calendar address was withdrawn"
    ]


BODY = calendar_body("Demo Plover", [text_of(entry) for entry in every_state()])
TAG = etag_of(BODY)
SAME = "Wed, 25 Nov 2026 06:00:00 GMT"
OLDER = "Wed, 25 Nov 2026 05:59:59 GMT"


@pytest.mark.parametrize(
    ("headers", "held"),
    [
        ({}, False),
        ({"if-none-match": TAG}, True),
        ({"if-none-match": TAG.removeprefix("W/")}, True),
        ({"if-none-match": f'"other", {TAG}'}, True),
        ({"if-none-match": "*"}, True),
        ({"if-none-match": '"other"'}, False),
        ({"if-modified-since": SAME}, True),
        ({"if-modified-since": OLDER}, False),
        ({"if-modified-since": "yesterday"}, False),
        ({"if-modified-since": "Wed, 99 Nov 2026 06:00:00 GMT"}, False),
        ({"if-none-match": '"other"', "if-modified-since": SAME}, False),
        ({"if-none-match": TAG, "if-modified-since": OLDER}, True),
    ],
)
def test_a_304_is_due_exactly_to_who_holds_this_version(headers: dict[str, str], held: bool) -> None:
    """RFC 9110 13.1.2, 13.1.3 and 13.2.2: the tag outranks the date, a bad date is ignored."""
    assert conditional(headers, TAG, AT) is held
    assert calendar_answer(headers, BODY, AT).status == (304 if held else 200)


def test_a_full_answer_carries_every_header() -> None:
    """Private, revalidated each time, no referrer, no index, no guessing of its type."""
    full = calendar_answer({}, BODY, AT)
    assert full.headers == {
        "ETag": TAG,
        "Last-Modified": SAME,
        "Cache-Control": "private, no-cache",
        "Vary": "Accept-Encoding",
        "Referrer-Policy": "no-referrer",
        "X-Robots-Tag": "noindex",
        "X-Content-Type-Options": "nosniff",
        "Content-Type": "text/calendar; charset=utf-8",
        "Content-Length": str(len(BODY)),
    }
    assert full.content == BODY
    assert TAG.startswith('W/"')


def test_a_304_repeats_what_caches_need_and_nothing_of_a_body() -> None:
    """RFC 9110 15.4.5."""
    short = calendar_answer({"if-none-match": TAG}, BODY, AT)
    for name in ("ETag", "Last-Modified", "Cache-Control", "Vary"):
        assert name in short.headers
    assert "Content-Type" not in short.headers
    assert short.content == b""


@pytest.mark.parametrize(
    ("accepts", "zipped"),
    [("gzip", True), ("br, GZIP;q=0.5", True), ("gzip;q=0", False), ("identity", False), ("*", False), ("", False)],
)
def test_gzip_only_for_those_who_ask_and_equal_after_decoding(accepts: str, zipped: bool) -> None:
    """Same bytes each time, and never when switched off."""
    full = calendar_answer({"accept-encoding": accepts}, BODY, AT)
    assert ("Content-Encoding" in full.headers) is zipped
    assert (gzip.decompress(full.content) if zipped else full.content) == BODY
    assert full == calendar_answer({"accept-encoding": accepts}, BODY, AT)
    assert calendar_answer({"accept-encoding": accepts}, BODY, AT, compress=False).content == BODY


def test_a_download_has_a_file_name_that_cannot_break_the_header() -> None:
    """Only plain letters stay."""
    full = calendar_answer({}, BODY, AT, download_name='plan "1"\r\n.ics')
    assert full.headers["Content-Disposition"] == 'attachment; filename="plan-1-.ics"'


def test_words_that_hurt_are_stripped_and_stay_out_of_the_fingerprint() -> None:
    """Control characters, halves of pairs and byte order marks change neither text nor fingerprint."""
    entry = shown([knife_job()])[KEY]
    plain, dirty = (
        with_words(entry, "a;b\\c,\nd\U0001f6a2"),
        with_words(entry, "a;b\\c,\r\nd\x00\x07\ud800\ufeff\U0001f6a2"),
    )
    assert text_of(dirty) == text_of(plain)
    assert fingerprint(dirty, BASE) == fingerprint(plain, BASE)
    assert str(Event.from_ical(text_of(dirty))["DESCRIPTION"]) == "a;b\\c,\nd\U0001f6a2"


def test_a_new_address_of_the_server_renders_anew() -> None:
    """Links inside the events change, so their fingerprints do."""
    entry = shown([knife_job()])[KEY]
    assert fingerprint(entry, BASE) != fingerprint(entry, "https://other.example")
    assert AT.tzinfo is UTC
