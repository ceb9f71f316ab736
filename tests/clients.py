"""Real calendar programs run against a feed: vdirsyncer fetches it over HTTP into files, khal lists them; calcurse imports
it; ical.js reads it in its strict mode.

Everything happens below one folder: home, configuration, state and calendars are thrown away with it.
CALENDAR_CLIENTS=required makes a program that is missing a failure; ICAL_JS_FOLDER names where ical.js was unpacked.
"""

import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

_MARK = "\x1f"


@dataclass(frozen=True, slots=True, order=True)
class Seen:
    """An event as the client lists it. uid: the name vdirsyncer gives it, a hash of its content and not the feed's UID."""

    uid: str
    title: str
    status: str
    starts: str


@dataclass(frozen=True, slots=True)
class CalendarClient:
    """A subscriber of its own in a folder of its own."""

    home: Path

    def sync(self, url: str) -> list[Seen]:
        """Fetch the feed and list every event of 2000 to 2099 once, by UID.

        Raises:
            AssertionError: a program ended with an error; its output is the message.
        """
        config = self.home / "vdirsyncer.conf"
        config.write_text(
            f"""[general]
status_path = "{self.home}/status/"
[pair feed]
a = "remote"
b = "files"
collections = null
conflict_resolution = "a wins"
[storage remote]
type = "http"
url = "{url}"
[storage files]
type = "filesystem"
path = "{self.home}/calendar/"
fileext = ".ics"
"""
        )
        (self.home / "calendar").mkdir(exist_ok=True)
        self._run("vdirsyncer", "-c", str(config), "discover", "feed")
        self._run("vdirsyncer", "-c", str(config), "sync", "feed")
        return self.listed()

    def files(self) -> int:
        """How many events lie in the client's folder."""
        return len(list((self.home / "calendar").glob("*.ics")))

    def listed(self) -> list[Seen]:
        """What khal lists of the files as they are."""
        config = self.home / "khal.conf"
        config.write_text(
            f"""[calendars]
[[feed]]
path = {self.home}/calendar/
type = calendar
readonly = True
[sqlite]
path = {self.home}/khal.db
[locale]
local_timezone = UTC
default_timezone = UTC
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
"""
        )
        form = _MARK.join(("{uid}", "{title}", "{status}", "{start-long-full}")) + "\x1e"
        span = ("2000-01-01", "2099-12-31")
        out = self._run(
            "khal", "-c", str(config), "list", "--once", "--notstarted", "--day-format", "", "--format", form, *span
        )
        items = (item.strip("\n") for item in out.split("\x1e"))
        return sorted(Seen(*(part.strip() for part in item.split(_MARK))) for item in items if _MARK in item)

    def _run(self, program: str, *arguments: str) -> str:
        environment = {
            "PATH": os.environ.get("PATH", ""),
            "HOME": str(self.home),
            "LANG": "C.UTF-8",
            "TZ": "UTC",
            "NO_COLOR": "1",
        } | {f"XDG_{name}_HOME": str(self.home / name.lower()) for name in ("CONFIG", "DATA", "CACHE", "STATE")}
        path = Path(sys.executable).parent / program
        done = subprocess.run(
            [str(path), *arguments], env=environment, capture_output=True, text=True, timeout=60, check=False
        )
        assert done.returncode == 0, f"{program} {arguments}: {done.stdout}\n{done.stderr}"
        return done.stdout


def calendar_client(folder: Path) -> CalendarClient:
    """A client that lives below `folder` (a test's tmp_path)."""
    home = folder / "client"
    home.mkdir()
    return CalendarClient(home)


def _missing(what: str) -> None:
    if os.environ.get("CALENDAR_CLIENTS") == "required":
        pytest.fail(f"{what} is required here and is missing")
    pytest.skip(f"{what} is not here")


def calcurse_import(home: Path, body: bytes, zone: str) -> dict[str, int]:
    """What calcurse says it took of the calendar in a time zone: of event, app (timed), todo and skipped."""
    if shutil.which("calcurse") is None:
        _missing("calcurse")
    home.mkdir()
    (home / "feed.ics").write_bytes(body)
    done = subprocess.run(
        ["calcurse", "-C", str(home), "-D", str(home), "-i", str(home / "feed.ics")],
        env={"HOME": str(home), "TZ": zone, "LANG": "C.UTF-8", "PATH": os.environ.get("PATH", "")},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    said = done.stdout + done.stderr
    return {name: int(count) for count, name in re.findall(r"(\d+) (app|event|todo|skipped)", said)}


def read_by_ical_js(folder: Path) -> dict[str, list[tuple[str, str, str]]]:
    """(uid, summary, description) of each part of each calendar in a folder, as ical.js understands it.

    Raises:
        AssertionError: a calendar was not taken.
    """
    packed = next(Path(os.environ.get("ICAL_JS_FOLDER", "/nowhere")).glob("ical.js*/package.json"), None)
    if packed is None or shutil.which("node") is None:
        _missing("ical.js with node (ICAL_JS_FOLDER)")
    assert packed is not None
    script = Path(__file__).parent / "external" / "calendar_clients" / "accept.mjs"
    words = ["node", str(script), str(packed.parent), str(folder)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=600, check=True)
    told: list[dict[str, Any]] = [json.loads(line) for line in done.stdout.splitlines()]
    assert [(one["file"], one["error"]) for one in told if "error" in one] == []
    return {one["file"]: [(part[0], part[1], part[2]) for part in one["parts"]] for one in told}


def accepted(body: bytes) -> None:
    """Raises AssertionError unless vobject (validating), ics and ical take the calendar with all its parts."""
    import vobject
    from ical.calendar_stream import IcsCalendarStream
    from ics import Calendar

    text = body.decode()
    events, tasks = text.count("BEGIN:VEVENT\r\n"), text.count("BEGIN:VTODO\r\n")
    calendar = vobject.readOne(text)
    calendar.validate(raiseException=True)
    assert len(calendar.contents.get("vevent", ())) == events
    assert len(calendar.contents.get("vtodo", ())) == tasks
    found = Calendar(text)
    assert (len(found.events), len(found.todos)) == (events, tasks)
    stream = IcsCalendarStream.calendar_from_ics(text)
    assert (len(stream.events), len(stream.todos)) == (events, tasks)
