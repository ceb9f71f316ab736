"""Gathers all that the world says into one JSON value: what the tests compare, and what `make.py` keeps."""

import base64
import csv
import io
import json
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.frozen.asked import asked
from tests.frozen.kept import masked
from tests.frozen.world import SHIPS, Answer, World, made, stamp


def told(answer: Answer, door: str) -> dict[str, Any]:
    """An answer as it is kept: JSON masked, a picture as its SHA-256, a table as the names of its columns."""
    body = answer.body
    if isinstance(body, bytes):
        digest = sha256(body).hexdigest()
        shapes = {"image/png": digest, "image/jpeg": digest}
        if answer.kind == "text/csv":
            shapes["text/csv"] = columns(body.decode("utf-8-sig"))
        body = shapes.get(answer.kind)
    return {"door": door, "status": answer.status, "content_type": answer.kind, "body": masked(body)}


def columns(table: str) -> dict[str, str]:
    """The widest row among the first of a CSV file: the names of its columns."""
    return dict.fromkeys(max(list(csv.reader(io.StringIO(table)))[:40], key=len), "a column")


def gathered(folder: Path) -> dict[str, Any]:
    """The world made in that folder, as `world.db` and `photos`, and all that it says."""
    with made(folder) as w:
        return {
            "known": {"at": stamp(w.clock.at), "keys": w.keys, "feeds": w.feeds},
            "acts": {name: told(answer, "") for name, answer in w.acts.items()},
            "answers": answers(w),
            "records": {vessel: export(w, vessel) for vessel in SHIPS},
            "calendars": calendars(w),
            "photos": {
                str(path.relative_to(folder / "photos")): base64.b64encode(path.read_bytes()).decode()
                for path in sorted((folder / "photos").rglob("*.*"))
                if path.is_file()
            },
        }


def answers(w: World) -> dict[str, Any]:
    """What every GET door says."""
    return {
        f"{path} as {role} of {vessel}": told(w.ask("GET", path, role, vessel), door)
        for door, path, role, vessel in asked(w)
    }


def export(w: World, vessel: str) -> str:
    """The record of a ship, as JSON Lines."""
    answer = w.ask("GET", f"/api/v1/history?vessel={vessel}", "office")
    assert answer.status == 200
    return str(answer.body.decode())


def calendars(w: World) -> dict[str, list[dict[str, Any]]]:
    """The entries of every calendar address, events and tasks, in the order of their UIDs."""
    return {
        f"{name} {form}": entries(w.client.get(f"/cal/{secret}/{form}.ics").text)
        for name, secret in sorted(w.feeds.items())
        for form in ("plan", "tasks")
    }


_OF_AN_ENTRY = ("UID", "DTSTART", "DTEND", "DUE", "DURATION", "STATUS", "SEQUENCE", "CATEGORIES", "TRANSP", "PRIORITY",
                "COMPLETED", "PERCENT-COMPLETE", "RELATED-TO", "RECURRENCE-ID")  # fmt: skip


def entries(text: str) -> list[dict[str, Any]]:
    """Of each entry its kind, what programs go by, and when its reminders ring; no words that a person reads."""
    found: list[dict[str, Any]] = []
    inside: list[str] = []
    for line in text.replace("\r\n ", "").replace("\r\n\t", "").split("\r\n"):
        name, _, value = line.partition(":")
        if name == "BEGIN":
            inside.append(value)
            if value in ("VEVENT", "VTODO"):
                found.append({"kind": value, "reminders": []})
        elif name == "END":
            inside.pop()
        elif inside[-1:] == ["VALARM"] and name.startswith("TRIGGER"):
            found[-1]["reminders"].append(line)
        elif inside and inside[-1] in ("VEVENT", "VTODO") and name.partition(";")[0] in _OF_AN_ENTRY:
            found[-1][name] = value
    return sorted(found, key=lambda one: json.dumps(one, sort_keys=True))
