"""Speed of the calendar feed, each figure beside a baseline measured in the same run."""

import hashlib
import time
import tracemalloc
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from icalendar import Calendar, Event

from api.ics.http import calendar_answer, conditional, etag_of
from api.ics.text import calendar_body, calendar_frame, fingerprint, published_event, render_event
from api.ics.writer import calendar_writer
from api.server.calendar_cache import CalendarCache
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.feed.calendars import _fleet_body, last_good, write_fleet
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL as DOCUMENT
from scheduler.domain.base.enums import Role
from scheduler.domain.feed.scope import MOST_OCTETS, OPEN_RANK, Scope
from scheduler.settings import Settings
from scheduler.storage.feed import STATUS_RANK, FeedEventRow, feed_event_rows
from scheduler.storage.vessel import VesselRow, vessel_names, vessel_row
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET
from tests.bench.load import LEEWAY
from tests.calendar_cases import AT, DAY, knife_job, shown, slot
from tests.storage.stores import store

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
    old = published_event(None, entry, vessel_id="plover", base_url=BASE, at=AT)
    kept = cpu_seconds(
        lambda: [published_event(old, entry, vessel_id="plover", base_url=BASE, at=AT + DAY) for _ in range(100)], 7
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
    assert rendered / joined > 5 / LEEWAY
    assert sum(1 for _ in Calendar.from_ical(body).walk("VEVENT")) == 1000


def test_a_304_costs_a_small_part_of_hashing_the_body() -> None:
    """With the tag kept beside the body, a poll that finds nothing new never touches the body."""
    body = calendar_body("Demo Plover", texts(1000))
    tag = etag_of(body)
    held = {"if-none-match": tag, "accept-encoding": "gzip"}
    short = cpu_seconds(lambda: [calendar_answer(held, body, AT, etag=tag) for _ in range(100)], 7) / 100
    decide = cpu_seconds(lambda: [conditional(held, tag, AT) for _ in range(100)], 7) / 100
    hashed = cpu_seconds(lambda: hashlib.sha256(body).hexdigest(), 7)
    print(f"\n304 {short * 1e6:.1f} us, decision {decide * 1e6:.1f} us, one SHA-256 of the body {hashed * 1e6:.0f} us")
    assert timedelta(seconds=short) < timedelta(seconds=hashed)


def fleet_of(context: Context, vessels: int, events: int) -> None:
    """So many vessels with so many stored events each, every one another's copy under its own id."""
    me = Actor("bench", "bench", Role.ADMIN)
    document = DOCUMENT.validate_python(vessel_document(Run(AVOCET, 1, AT, 0.05)))
    changes.put_vessel(context, me, document, if_new=True)
    people.add_person(context, me, person_id="office", name="O", rank="o", role=Role.OFFICE, vessel_id=None)
    stored = texts(events)
    with context.db.write("") as session:
        first = vessel_row(session, document.id)
        assert first is not None
        ids = [document.id, *(f"vessel{number}" for number in range(1, vessels))]
        session.add_all([VesselRow(**{**first.model_dump(), "id": one}) for one in ids[1:]])
        session.flush()
        for vessel, one in enumerate(ids):
            for number, text in enumerate(stored):
                key = "plan-status" if number == 0 else f"knives:P{number}:1"
                row = FeedEventRow(
                    vessel_id=one,
                    uid=f"{vessel}-{number}",
                    plant_id="p",
                    occurrence_key=key,
                    text=text.replace("00000000-0000", f"{vessel:08}-{number:04}"),
                    task="",
                    fingerprint="{}",
                    sequence=0,
                    changed_at=AT,
                    created_at=AT,
                    starts_s=1_800_000_000 + number,
                    ends_s=1_800_000_001 + number,
                    state="" if number == 0 else "ahead",
                    rank=STATUS_RANK if number == 0 else OPEN_RANK,
                    rank_s=1_800_000_000 + number,
                )
                session.add(row)


def test_a_fleet_of_more_than_1000_events_is_joined_from_stored_texts(tmp_path: Path) -> None:
    """From the database to the kept body; under 1 MB, the cut told; a small part of rendering the same with the library.

    The memory that a thousand held addresses of it take is printed too.
    """
    with store("sqlite", tmp_path) as database:
        context = Context(database, lambda: AT, Settings())
        fleet_of(context, 15, 90)
        me = Actor("bench", "bench", Role.ADMIN)
        secrets = [addresses.make_address(context, me, person_id="office", vessel_id=None).secret for _ in range(3)]
        pen = calendar_writer(BASE)
        write_fleet(context, pen)
        kept = last_good(context, Scope(vessel_id=None))
        assert kept is not None
        shown_events = kept.body.count(b"BEGIN:VEVENT")
        assert len(kept.body) < MOST_OCTETS
        assert b"jobs did not fit" in kept.body.replace(b"\r\n ", b"")
        with database.read() as session:
            rows = feed_event_rows(session, None)
        whole = calendar_frame("Fleet")
        for row in rows[:50]:
            whole.add_component(Event.from_ical(row.text))
        took = cpu_seconds(lambda: write_fleet(context, pen), 9)
        with database.read() as session:
            names = vessel_names(session)
            joined = cpu_seconds(lambda: _fleet_body(session, pen, Scope(vessel_id=None), names, AT), 9)
        rendered = cpu_seconds(whole.to_ical, 3) * shown_events / 50
        tracemalloc.start()
        write_fleet(context, pen)
        peak = tracemalloc.get_traced_memory()[1]
        shelf = CalendarCache(context)
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        for number in range(1000):
            shelf._held[number.to_bytes(4), False] = (
                0,
                0,
                shelf.fetch(secrets[number % 3], "", tasks=False, pack=True),
            )
        in_memory = tracemalloc.get_traced_memory()[0] - before
        tracemalloc.stop()
        assert last_good(context, Scope(vessel_id=None)) == kept
    print(
        f"\nfleet of {len(rows)} events, {shown_events} shown, {len(kept.body) / 1e6:.2f} MB: {joined * 1e3:.1f} ms CPU "
        f"from stored texts, {took * 1e3:.1f} ms from the database to both kept bodies, "
        f"library {rendered * 1e3:.0f} ms; peak {peak / 1e6:.1f} MB; 1000 held addresses {in_memory / 1e6:.1f} MB"
    )
    assert joined < rendered / 10 * LEEWAY
