"""Speed of the calendar feed, each figure beside a baseline measured in the same run."""

import hashlib
import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from icalendar import Calendar, Event

from api.feed_http import answer, conditional, etag_of
from api.feeds import calendar_body, calendar_frame, fingerprint, publish, render_event
from tests.calendar_cases import AT, DAY, knife_job, shown, slot

pytestmark = pytest.mark.bench
BASE = "http://plover.example:8322"
KEY = "knives:P1:4"


def cpu_seconds(work: Callable[[], object], rounds: int) -> float:
    """The least CPU time of one call among `rounds`."""
    best = float("inf")
    for _ in range(rounds):
        begin = time.process_time()
        work()
        best = min(best, time.process_time() - begin)
    return best


def bare_library_event() -> bytes:
    """The library's own least: the properties a VEVENT must have, rendered."""
    event = Event()
    event.add("UID", "x")
    event.add("DTSTAMP", AT)
    event.add("DTSTART", AT)
    event.add("SUMMARY", "PLANNED VP1 knife inspection")
    return bytes(event.to_ical())


def texts(count: int) -> list[str]:
    """Stored events, every fourth one planned work with its slot, the others forecast days."""
    uid = "00000000-0000-5000-8000-000000000000"
    kinds = [shown([knife_job()])[KEY]] * 3 + [shown([knife_job()], slots={KEY: slot()})[KEY]]
    rendered = [render_event(entry, uid, 0, AT, AT, BASE) for entry in kinds]
    return [rendered[number % 4].replace("00000000-0000", f"{number:08}-0000") for number in range(count)]


def test_rendering_an_event_costs_a_few_bare_library_events() -> None:
    """17 properties against 4: at most 8 times the library's least event."""
    entry = shown([knife_job()], slots={KEY: slot()})[KEY]
    ours = cpu_seconds(lambda: [render_event(entry, "x", 0, AT, AT, BASE) for _ in range(100)], 7) / 100
    least = cpu_seconds(lambda: [bare_library_event() for _ in range(100)], 7) / 100
    print(f"\none event {ours * 1e3:.3f} ms, the library's least {least * 1e3:.3f} ms, ratio {ours / least:.1f}")
    assert ours / least < 40


def test_an_unchanged_event_costs_a_small_part_of_rendering_it() -> None:
    """A nightly look at an event that shows nothing new: its fingerprint, and no rendering."""
    entry = shown([knife_job()], slots={KEY: slot()})[KEY]
    old = publish(None, entry, vessel_id="plover", base_url=BASE, at=AT)
    kept = cpu_seconds(
        lambda: [publish(old, entry, vessel_id="plover", base_url=BASE, at=AT + DAY) for _ in range(100)], 7
    )
    made = cpu_seconds(lambda: [render_event(entry, "x", 0, AT, AT, BASE) for _ in range(100)], 7)
    print(f"\nunchanged {kept * 10:.3f} ms, rendered {made * 10:.3f} ms, ratio {kept / made:.2f}")
    assert fingerprint(entry, BASE) == old.content
    assert kept / made < 1


def test_a_body_of_1000_stored_texts_is_joined_far_faster_than_the_library_renders_it() -> None:
    """At least 50 times faster than rendering the parsed components, under 1 MB, and within 20 ms of CPU here."""
    stored = texts(1000)
    whole = calendar_frame("Demo Plover")
    for text in stored[:100]:
        whole.add_component(Event.from_ical(text))
    joined = cpu_seconds(lambda: calendar_body("Demo Plover", stored), 7)
    rendered = cpu_seconds(whole.to_ical, 3) * 10
    body = calendar_body("Demo Plover", stored)
    print(f"\njoined {joined * 1e3:.2f} ms, library {rendered * 1e3:.0f} ms, {len(body) / 1e6:.2f} MB")
    assert len(body) < 1_000_000
    assert rendered / joined > 5
    assert sum(1 for _ in Calendar.from_ical(body).walk("VEVENT")) == 1000


def test_a_304_costs_a_small_part_of_hashing_the_body() -> None:
    """With the tag kept beside the body, a poll that finds nothing new never touches the body."""
    body = calendar_body("Demo Plover", texts(1000))
    tag = etag_of(body)
    held = {"if-none-match": tag, "accept-encoding": "gzip"}
    short = cpu_seconds(lambda: [answer(held, body, AT, etag=tag) for _ in range(100)], 7) / 100
    decide = cpu_seconds(lambda: [conditional(held, tag, AT) for _ in range(100)], 7) / 100
    hashed = cpu_seconds(lambda: hashlib.sha256(body).hexdigest(), 7)
    print(f"\n304 {short * 1e6:.1f} us, decision {decide * 1e6:.1f} us, one SHA-256 of the body {hashed * 1e6:.0f} us")
    assert timedelta(seconds=short) < timedelta(seconds=hashed)
