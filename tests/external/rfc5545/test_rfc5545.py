"""RFC 5545 (iCalendar) with RFC 7986 and RFC 5546, clause by clause, read without the library that wrote it."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.ics.text import calendar_body, render_event, render_task, uid_for, with_alarm
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.entries import status_entry
from scheduler.domain.feed.revision import CalendarEntry
from tests.calendar_cases import AT, DAY, VESSEL, alarm_job, done_job, knife_job, shown, slot, with_words, withdrawn_job
from tests.external.rfc5545.lines import Part, parse, physical, text_value, unfolded

BASE = "http://plover.example:8322"
UTC_TIME = re.compile(r"\d{8}T\d{6}Z")
DATE = re.compile(r"\d{8}")
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=200) | st.text(
    st.sampled_from(list('\\;,:"\r\n\t\x00\x07é船🚢 n')), max_size=200
)


def whole() -> list[CalendarEntry]:
    """An entry of every state, timed and all-day, and the plan status."""
    jobs = [
        knife_job(n, state=state) for n, state in enumerate((JobState.AHEAD, JobState.PAST_DUE, JobState.PAST_LIMIT), 4)
    ]
    found = shown(
        [*jobs, knife_job(1), alarm_job()],
        slots={"knives:P1:4": slot()},
        done=[done_job()],
        withdrawn=[withdrawn_job()],
    )
    status = status_entry(vessel=VESSEL, jobs=jobs, plan_at=AT, hours_as_of=AT, offset_minutes=60, at=AT)
    return [status, *found.values()]


def body_of(entries: list[CalendarEntry], *, alarms: bool = False) -> bytes:
    texts = [render_event(e, uid_for("plover", e.key, e.role), 2, AT, AT - DAY, BASE) for e in entries]
    return calendar_body(
        "Demo Plover", [with_alarm(one, AT) for one in texts] if alarms else texts, url=f"{BASE}/vessels/plover/plan"
    )


def events() -> list[Part]:
    return [part for part in parse(body_of(whole())).parts if part.name == "VEVENT"]


@given(words)
def test_3_1_lines_end_in_cr_lf_and_are_at_most_75_octets(text: str) -> None:
    """RFC 5545 3.1: content lines are delimited by CRLF and SHOULD NOT be longer than 75 octets without the break."""
    for line in physical(body_of([with_words(whole()[0], text)])):
        assert len(line) <= 75


@given(words)
def test_3_1_4_each_physical_line_is_valid_utf_8_without_control_characters(text: str) -> None:
    """RFC 5545 3.1 (CONTROL excluded from values), 3.1.4 (UTF-8): folding never splits a letter; no byte order mark."""
    for line in physical(body_of([with_words(whole()[0], text)])):
        letters = line.decode("utf-8", "strict")
        assert not any((ord(letter) < 32 and letter != "\t") or letter in "\x7f\ufeff" for letter in letters)


@given(words)
def test_3_3_11_text_comes_back_as_it_was(text: str) -> None:
    """RFC 5545 3.3.11: backslash, semicolon, comma and line end are escaped, and nothing else is."""
    event = parse(body_of([with_words(whole()[0], text)])).parts[0]
    back = text_value(event.one("DESCRIPTION"))
    unwanted = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")
    assert back == unwanted.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))
    assert text_value(event.one("SUMMARY")) == back


def test_3_6_the_calendar_has_at_least_one_component() -> None:
    """RFC 5545 3.6: an iCalendar object MUST include at least one calendar component."""
    assert parse(body_of(whole()[:1])).parts


def test_3_6_1_each_event_has_one_uid_dtstamp_dtstart_and_unique_uids() -> None:
    """RFC 5545 3.6.1 and 3.8.4.7: REQUIRED and not more than once; the UID is unique in the whole calendar."""
    found = events()
    for event in found:
        for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "SEQUENCE", "STATUS", "TRANSP"):
            event.one(name)
        assert not event.all("DURATION")
    assert len({event.one("UID") for event in found}) == len(found) == 8


def test_3_7_the_frame_has_version_and_prodid_once_and_no_method() -> None:
    """RFC 5545 3.6, 3.7.2-3.7.4: PRODID and VERSION REQUIRED once; no METHOD, so DTSTAMP is the last revision."""
    frame = parse(body_of(whole()))
    assert frame.one("VERSION") == "2.0"
    assert frame.one("PRODID")
    assert frame.one("CALSCALE") == "GREGORIAN"
    for name in ("METHOD", "UID", "SOURCE"):
        assert not frame.all(name)


def test_3_8_2_2_the_end_is_of_the_starts_type_and_later() -> None:
    """RFC 5545 3.8.2.2 and 3.6.1: a DATE start has a DATE end, later than it (the end is not part of the event)."""
    for event in events():
        starts, ends = event.one("DTSTART"), event.one("DTEND")
        shape = DATE if event.parameters("DTSTART").get("VALUE") == "DATE" else UTC_TIME
        assert event.parameters("DTSTART") == event.parameters("DTEND")
        assert shape.fullmatch(starts)
        assert shape.fullmatch(ends)
        assert starts < ends


def test_3_3_5_times_are_utc_and_never_float_nor_name_a_zone() -> None:
    """RFC 5545 3.3.5: form 2 only; 3.2.19: no TZID, hence no VTIMEZONE to be missing."""
    body = body_of(whole())
    assert b"TZID" not in body
    for event in events():
        for name in ("DTSTAMP", "CREATED", "LAST-MODIFIED"):
            assert UTC_TIME.fullmatch(event.one(name))


def test_3_8_7_2_dtstamp_is_last_modified_without_a_method() -> None:
    """RFC 5545 3.8.7.2: without METHOD, DTSTAMP is the date and time the information was last revised."""
    for event in events():
        assert event.one("DTSTAMP") == event.one("LAST-MODIFIED")
        assert event.one("CREATED") <= event.one("LAST-MODIFIED")


def test_3_8_1_11_status_and_3_8_2_7_transparency_are_words_of_an_event() -> None:
    """RFC 5545 3.8.1.11: TENTATIVE, CONFIRMED or CANCELLED; 3.8.2.7: only timed work is OPAQUE."""
    for event in events():
        assert event.one("STATUS") in {"TENTATIVE", "CONFIRMED", "CANCELLED"}
        timed = "VALUE" not in event.parameters("DTSTART")
        assert event.one("TRANSP") == ("OPAQUE" if timed else "TRANSPARENT")
        assert event.one("SEQUENCE").isdigit()


def test_3_8_1_2_categories_are_a_list_of_escaped_texts() -> None:
    """RFC 5545 3.8.1.2: values parted by bare commas; a comma inside one is escaped."""
    entry = with_words(whole()[0], "a,b;c")
    raw = parse(body_of([entry])).parts[0].one("CATEGORIES")
    assert [text_value(item) for item in re.split(r"(?<!\\),", raw)] == ["a,b;c", "maintenance"]


def test_rfc7986_5_7_the_refresh_interval_says_its_type() -> None:
    """RFC 7986 5.7: REFRESH-INTERVAL has no default value type, VALUE=DURATION MUST be given; 5.9 COLOR is a CSS name."""
    frame = parse(body_of(whole()))
    assert frame.parameters("REFRESH-INTERVAL") == {"VALUE": "DURATION"}
    assert frame.one("REFRESH-INTERVAL") == frame.one("X-PUBLISHED-TTL") == "PT1H"
    assert frame.one("NAME") == frame.one("X-WR-CALNAME")
    for part in (frame, *events()):
        assert part.one("COLOR").isalpha()
        assert part.one("COLOR").islower()


def test_3_6_6_a_display_alarm_has_action_trigger_and_description() -> None:
    """RFC 5545 3.6.6: all three REQUIRED, once; 3.8.6.3: a trigger that is an instant is in UTC and says VALUE=DATE-TIME."""
    alarms = [part for event in parse(body_of(whole(), alarms=True)).parts for part in event.parts]
    assert alarms
    for alarm in alarms:
        assert alarm.one("ACTION") == "DISPLAY"
        assert alarm.one("DESCRIPTION")
        (trigger,) = [one for one in alarm.properties if one[0] == "TRIGGER"]
        assert trigger[1] == {"VALUE": "DATE-TIME"}
        assert re.fullmatch(r"\d{8}T\d{6}Z", trigger[2])


def test_3_6_2_a_task_has_uid_dtstamp_and_a_status_of_its_own() -> None:
    """RFC 5545 3.6.2 and 3.8.1.11: NEEDS-ACTION, COMPLETED, IN-PROCESS or CANCELLED; DUE without DURATION."""
    texts = [render_task(e, uid_for("plover", e.key, "task"), 0, AT, AT, BASE) for e in whole()[1:]]
    for task in parse(calendar_body("Demo Plover", texts)).parts:
        assert task.name == "VTODO"
        assert task.one("STATUS") in {"NEEDS-ACTION", "COMPLETED", "IN-PROCESS", "CANCELLED"}
        assert task.one("UID")
        assert task.one("DUE")
        assert not task.all("DURATION")


@pytest.mark.long
@pytest.mark.parametrize("reader", ["vobject", "ics", "ical"])
@given(words.filter(lambda text: text.strip() != ""))
def test_three_other_readers_take_it_and_see_the_same(reader: str, text: str) -> None:
    """vobject 0.9 (with its validation), ics 0.7 and ical see the events that were written, by UID, text and start.

    ics 0.7 reads an escaped backslash before an n as a line end, so it gets no backslashes.
    """
    if reader == "ics":
        text = text.replace("\\", "/")
    entries = [with_words(entry, f"x{text}y") for entry in whole()[:4]]
    body = body_of(entries)
    wanted = {uid_for("plover", e.key, e.role): e.starts for e in entries}
    seen = {"vobject": _vobject, "ics": _ics, "ical": _ical}[reader](body.decode())
    assert {uid: starts for uid, (_, starts) in seen.items()} == wanted
    summary = text_value(parse(body).parts[0].one("SUMMARY"))
    assert {said for said, _ in seen.values()} == {summary}


def _vobject(text: str) -> dict[str, Any]:
    import vobject

    calendar = vobject.readOne(text)
    calendar.validate(raiseException=True)
    return {event.uid.value: (event.summary.value, event.dtstart.value) for event in calendar.vevent_list}


def _ics(text: str) -> dict[str, Any]:
    from ics import Calendar

    return {
        event.uid: (event.name, event.begin.date() if event.all_day else event.begin.datetime)
        for event in Calendar(text).events
    }


def _ical(text: str) -> dict[str, Any]:
    from ical.calendar_stream import IcsCalendarStream

    calendar = IcsCalendarStream.calendar_from_ics(text)
    return {event.uid: (event.summary, event.dtstart) for event in calendar.events}


def test_the_reader_itself_refuses_what_the_clauses_forbid() -> None:
    """Bare line feeds, lost line ends, open components, wrong escapes: the checks above can fail."""
    good = body_of(whole()[:1])
    for bad in (good.replace(b"\r\n", b"\n"), good[:-2], good.replace(b"END:VEVENT\r\n", b"")):
        with pytest.raises(AssertionError):
            parse(bad)
    for raw in ("a,b", "a;b", "a\\x", "a\\"):
        with pytest.raises(AssertionError):
            text_value(raw)
    assert unfolded(b"A:b\r\n c\r\n") == ["A:bc"]
