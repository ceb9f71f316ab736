"""Any text a person or a spreadsheet can put into a name, a finding or a note goes through the calendar unharmed."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.ics.text import calendar_body, published_event, with_vessel
from scheduler.wording.invisible import visible_text
from tests.calendar_cases import AT, knife_job, shown, with_words
from tests.external.rfc5545.lines import parse, physical, text_value

KEY = "knives:P1:4"
REMOVED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")
SCRIPTS = (
    st.characters(exclude_categories=()),  # all of it, lone surrogates too
    st.sampled_from("\\;,:\"'\n\r\t\x00\x07 nN^=-"),
    st.sampled_from("船舶真空ポンプ밸브한글"),
    st.sampled_from("مضخةשואב\u200f\u202e٠١٢"),
    st.sampled_from(["🚢", "👨‍👩‍👧", "e\u0301", "ﬁ", "\u2028", "\ufeff", "\ud83d", "\udea2"]),
)
letters = [st.text(one, max_size=60) for one in SCRIPTS[:4]]
pieces = st.one_of(*letters, st.lists(SCRIPTS[4], max_size=20).map("".join))
words = st.lists(pieces, max_size=6).map("".join) | st.builds(
    lambda piece, before: before + (piece or "x") * (5000 // len(piece or "x")), pieces, pieces
)


def kept(text: str) -> str:
    """What of a text is to come back: CR LF and CR as line feeds, without what no calendar line may hold, all of it visible."""
    return visible_text(REMOVED.sub("", text.replace("\r\n", "\n").replace("\r", "\n")))


def bodies(text: str) -> tuple[bytes, bytes]:
    """The text everywhere, as an event and as a task, of a vessel of that name."""
    event = published_event(
        None, with_words(shown([knife_job()])[KEY], text), vessel_id="v", base_url="http://x", at=AT
    )
    return calendar_body(text, [event.text]), calendar_body(text, [event.task])


@given(words)
def test_no_line_is_over_75_octets_and_each_is_valid_utf_8(text: str) -> None:
    """Nor is there a control character or a byte order mark in any; RFC 5545 3.1, 3.1.4."""
    for body in bodies(text):
        for line in physical(body):
            assert len(line) <= 75
            assert not REMOVED.search(line.decode("utf-8", "strict"))


@given(words)
def test_the_text_comes_back_from_the_grammar_itself(text: str) -> None:
    """Summary, description and place; one calendar, one component, whatever the text pretends to be. No empty place stands there."""
    for body, name in zip(bodies(text), ("VEVENT", "VTODO"), strict=True):
        (part,) = parse(body).parts
        assert part.name == name
        for one in ("SUMMARY", "DESCRIPTION", *(("LOCATION",) if kept(text) else ())):
            assert text_value(part.one(one)) == kept(text)
        assert kept(text) or "LOCATION" not in {name for name, *_ in part.properties}


@given(words, words)
def test_a_vessels_name_goes_before_the_summary_whole(text: str, name: str) -> None:
    """On one line of its own, with no line over 75 octets."""
    event = published_event(
        None, with_words(shown([knife_job()])[KEY], text), vessel_id="v", base_url="http://x", at=AT
    )
    body = calendar_body("Fleet", [with_vessel(event.text, name)])
    assert all(len(line) <= 75 for line in physical(body))
    (part,) = parse(body).parts
    assert text_value(part.one("SUMMARY")) == f"{' '.join(kept(name).split())}: {kept(text)}"


@pytest.mark.parametrize("reader", ["vobject", "icalendar", "ical"])
@given(words)
def test_three_readers_give_the_text_back(reader: str, text: str) -> None:
    """vobject 0.9, icalendar 7 and ical 13+: what stands in the description is what was put there."""
    wanted = f"x{kept(text)}y"
    body, _ = bodies(f"x{text}y")
    assert {"vobject": _vobject, "icalendar": _icalendar, "ical": _ical}[reader](body) == wanted


def _vobject(body: bytes) -> Any:
    import vobject

    return vobject.readOne(body.decode()).vevent.description.value


def _icalendar(body: bytes) -> Any:
    from icalendar import Calendar

    return str(Calendar.from_ical(body).walk("VEVENT")[0]["DESCRIPTION"])


def _ical(body: bytes) -> Any:
    from ical.calendar_stream import IcsCalendarStream

    return IcsCalendarStream.calendar_from_ics(body.decode()).events[0].description
