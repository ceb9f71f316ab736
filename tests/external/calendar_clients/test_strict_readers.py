"""Strict readers on every calendar that the tests make, and calcurse on each kind of calendar in two time zones.

vobject 0.9 validating, ics 0.7, ical 13+ (PyPI), ical.js 2 in strict mode (npm), calcurse 4 (Debian).
"""

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from api.ics.text import calendar_body, published_event, with_alarm, with_vessel, withdrawn_body
from scheduler.domain.feed.entries import fleet_entry
from scheduler.domain.feed.words import short
from tests.calendar_cases import AT, with_words
from tests.clients import accepted, calcurse_import, read_by_ical_js
from tests.external.rfc5545.lines import parse, text_value
from tests.external.rfc5545.test_rfc5545 import whole

pytestmark = pytest.mark.clients
WORDS = (
    "船の真空ポンプ 🚢 👨‍👩‍👧",
    "مضخة التفريغ ‏٢",
    "back\\slash; semi, comma: colon \"quoted\" 'single'\nnew line\r\nand another\ttab",
    "\x00nul \x07bell \ud800lone \udfffsurrogates \u2028line \ufeffmark",
    "BEGIN:VEVENT\r\nEND:VCALENDAR\r\n \\n \\N \\\\n",
    "ß" * 5000,
    "🚢" * 5000,
)


def calendars() -> dict[str, bytes]:
    """Every kind of calendar an address can serve, with jobs in every state."""
    kept = [published_event(None, entry, vessel_id="plover", base_url="http://x", at=AT) for entry in whole()]
    states = [entry.state for entry in whole()]
    fleet = published_event(
        None,
        fleet_entry(on=date(2026, 11, 25), vessels=2, states={"past due": 4}, left_out=3),
        vessel_id="",
        base_url="http://x",
        at=AT,
    )
    wild = [
        published_event(
            None,
            replace(with_words(whole()[number % 4], words), summary=short(words)),
            vessel_id=f"v{number}",
            base_url="http://x",
            at=AT,
        )
        for number, words in enumerate(WORDS)
    ]
    jobs = [one for one, state in zip(kept, states, strict=True) if state is not None]
    return {
        "events": calendar_body("Demo Plover", [one.text for one in kept], url="http://x/vessels/plover/plan"),
        "tasks": calendar_body("Demo Plover", [one.task for one in kept]),
        "events with alarms": calendar_body("Demo Plover", [with_alarm(one.text, one.changed_at) for one in jobs]),
        "tasks with alarms": calendar_body("Demo Plover", [with_alarm(one.task, one.changed_at) for one in jobs]),
        "fleet": calendar_body("Fleet", [fleet.text, *(with_vessel(one.text, "Demo, Plover; ß" * 9) for one in kept)]),
        "fleet tasks": calendar_body("Fleet", [fleet.task, *(with_vessel(one.task, "Demo Plover") for one in kept)]),
        "withdrawn": withdrawn_body("Demo Plover", date(2026, 11, 25), AT, "plover"),
        "withdrawn tasks": withdrawn_body("Demo Plover", date(2026, 11, 25), AT, "plover", tasks=True),
        "wild words": calendar_body(WORDS[2], [one.text for one in wild]),
        "wild words as tasks": calendar_body(WORDS[0], [one.task for one in wild]),
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The calendars above, and those that other tests made when FEEDS_FOLDER was set, as files."""
    here = tmp_path_factory.mktemp("feeds")
    for name, body in calendars().items():
        (here / f"{name}.ics").write_bytes(body)
    made = os.environ.get("FEEDS_FOLDER")
    if made:
        for one in Path(made).glob("*.ics"):
            (here / one.name).write_bytes(one.read_bytes())
    return here


def test_three_readers_in_python_take_every_calendar(folder: Path) -> None:
    """With all its events and tasks."""
    files = sorted(folder.glob("*.ics"))
    print(f"\n{len(files)} calendars")
    for one in files:
        try:
            accepted(one.read_bytes())
        except Exception as error:
            raise AssertionError(f"{one.name}: {error!r}\n{one.read_text()[:3000]}") from error


def test_ical_js_takes_every_calendar_and_reads_the_very_words(folder: Path) -> None:
    """Uid, summary and description of every part, as the grammar of RFC 5545 has them."""
    for name, parts in read_by_ical_js(folder).items():
        found = parse((folder / name).read_bytes()).parts
        wanted = {
            (part.one("UID"), text_value(part.one("SUMMARY")), text_value(part.one("DESCRIPTION"))) for part in found
        }
        # an empty text is none there
        assert {(uid, summary or "", words or "") for uid, summary, words in parts} == wanted, name


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "America/St_Johns"])
def test_calcurse_imports_every_kind_of_calendar_and_skips_nothing(zone: str, tmp_path: Path) -> None:
    """All-day, timed, done, withdrawn, tasks: each is an event, an appointment or a task there; zones at +14 and -3:30."""
    for number, (name, body) in enumerate(calendars().items()):
        told = calcurse_import(tmp_path / str(number), body, zone)
        text = body.decode()
        assert told.get("skipped", -1) == 0, (name, told)
        assert told["app"] + told["event"] == text.count("BEGIN:VEVENT\r\n"), (name, told)
        assert told["todo"] == text.count("BEGIN:VTODO\r\n"), (name, told)
