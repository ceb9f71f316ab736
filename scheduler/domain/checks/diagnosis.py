"""What is wrong or odd, as facts: what, which, since when; `wording.care` says them, and what to do. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any

from scheduler.domain.checks.crew import Block, hidden
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.hours.questions import Asks, Question
from scheduler.domain.hours.sign_facts import PlantSigns
from scheduler.domain.vessel.document import Plant

PLAN_OLD_S = 36 * 3600
"""A plan is made each night; older than this, a night was missed."""
CALENDAR_OLD_S = 7 * 3600
"""An hour longer than a calendar is left alone where nothing changes."""
"""Calendars are written at least every quarter of an hour while a server runs."""
BEHIND_S = 120
"""The ledger follows a reading within seconds while a server runs."""
BACKUP_OLD_S = 3 * 86_400
"""A backup is made each night while a server runs."""
LOW_SPACE_BYTES = 1024**3
FAULTY_SQLITE = ((3, 7, 0), (3, 51, 2))
"""First and last version reported to lose committed pages in a rare case when the write-ahead log starts again."""


class About(StrEnum):
    """What a diagnosis is about: a word for sorting and machines."""

    SILENT = "silent"
    STANDING = "standing"
    SOURCES = "sources differ"
    CLOCK = "clock"
    FUTURE = "future"
    HELD = "held reading"
    MISSING = "missing hours"
    UNREAD = "never read"
    NOT_KNOWN = "last time not known"
    BEHIND = "ledger behind"
    CONFLICTS = "conflict readings"
    REFUSALS = "refused readings"
    NO_PLAN = "no plan"
    OLD_PLAN = "old plan"
    PLAN_FAILED = "plan failed"
    NOT_TAKEN = "plan not taken"
    BLOCK = "block that never counts"
    OLD_CALENDAR = "old calendar"
    CALENDAR_FAILED = "calendar failed"
    SPACE = "little space"
    JOURNAL = "journal"
    SQLITE = "sqlite version"
    SETTING = "setting"
    DATABASE = "database"
    TABLES = "tables"
    BACKUP = "backup"
    BACKUP_DISK = "backup on the same disk"
    RECORD = "record"
    TIMER = "timer"
    NO_TIMERS = "no timers"
    PENDING = "pending task"
    NO_WORKER = "no worker"
    QUEUE = "waiting queue"
    SIGN = "sign in the hours"
    OFFICE = "office"
    SHIP_NOT_TAKEN = "ship not taken"
    SHIP_CLOCK = "ship's clock"
    SHIP_SILENT = "ship not heard"
    SHIP_REQUESTS = "requests not fetched"


ASKED = frozenset({About.HELD, About.MISSING})
"""Questions: they stand on the counters page itself."""
_OF_FLAG = {
    Code.SILENT: About.SILENT,
    Code.STANDING: About.STANDING,
    Code.SOURCES: About.SOURCES,
    Code.CLOCK: About.CLOCK,
    Code.FUTURE: About.FUTURE,
}
"""Flags that nobody has to decide, and that are not over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """One thing to look at.

    which: id of the counter, plant, job, file or setting; name: what people call it. facts: what its sentence needs.
    since_at: none when not known. note: worth knowing, but nothing is wrong. offset_minutes: the ship's clock, none for what
    is of the installation and not of a ship.
    """

    about: About
    which: str
    name: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    since_at: datetime | None = None
    note: bool = False
    offset_minutes: int | None = None


def of_flag(counter: str, position: str, flag: Flag) -> Diagnosis | None:
    """A flag to look at; none for one that asks a question, or tells of something that is over."""
    about = _OF_FLAG.get(flag.code)
    if about is None:
        return None
    return Diagnosis(about=about, which=counter, name=position, facts={"flag": flag}, since_at=_at(flag.at_s))


def of_question(counter: str, position: str, asked: Question) -> Diagnosis:
    """A question that waits for an answer."""
    about = About.HELD if asked.asks is Asks.HELD else About.MISSING
    facts = {"flag": asked.flag, "earlier": asked.earlier is not None}
    return Diagnosis(about=about, which=counter, name=position, facts=facts, since_at=_at(asked.at_s))


def of_backlog(counter: str, position: str, newest_received_s: int | None, now_s: int) -> Diagnosis | None:
    """A ledger that has not followed its readings or events; none within two minutes."""
    if newest_received_s is not None and now_s - newest_received_s < BEHIND_S:
        return None
    since_at = None if newest_received_s is None else _at(newest_received_s)
    return Diagnosis(about=About.BEHIND, which=counter, name=position, since_at=since_at)


def of_intake(
    vessel: str, positions: Mapping[str, str], found: Sequence[tuple[str, str, int, int]], days: int
) -> list[Diagnosis]:
    """Items that were not stored in the last days: (status, counter as posted, how many, newest received).

    Args:
        positions: what people call the position of each counter there is; others are named as they were posted.
    """
    return [
        Diagnosis(
            about=About(f"{status} readings"),
            which=f"{vessel}: {counter[:80]}",
            name=positions.get(counter, counter[:80]),
            facts={"count": count, "days": days, "newest_at": _at(newest_s)},
        )
        for status, counter, count, newest_s in found
    ]


def of_signs(plant: Plant, found: PlantSigns) -> list[Diagnosis]:
    """What the hours say of a plant now: worth a look, and no fault."""
    names = {position.id: position.name for position in plant.positions}
    facts = {"names": names, "pumps_speak": found.pumps_quiet is None}
    return [
        Diagnosis(about=About.SIGN, which=plant.id, name=plant.name, facts={"sign": one, **facts}, note=True)
        for one in found.open
    ]


def of_plan(plant: Plant, taken_made_s: int | None, proposed_made_s: int | None, now_s: int) -> Diagnosis | None:
    """A plant without a plan, with one that nobody took, or with none made for a night."""
    made = [at_s for at_s in (taken_made_s, proposed_made_s) if at_s is not None]
    if not made:
        return Diagnosis(about=About.NO_PLAN, which=plant.id, name=plant.name)
    old = now_s - max(made) > PLAN_OLD_S
    if not old and taken_made_s is not None:
        return None
    about = About.OLD_PLAN if old else About.NOT_TAKEN
    return Diagnosis(about=about, which=plant.id, name=plant.name, since_at=_at(max(made)))


def of_blocks(plant: Plant, on: date) -> list[Diagnosis]:
    """Minima, hands and quiet hours of the document that never count because a later entry covers them and says other."""
    lists: tuple[Sequence[Block], ...] = (plant.minimum_blocks, plant.crew.blocks, plant.quiet_hours)
    return [
        Diagnosis(about=About.BLOCK, which=plant.id, name=plant.name, facts={"block": block, "over": over}, note=True)
        for blocks in lists
        for block, over in hidden(blocks, on)
    ]


def of_calendar(vessel: str, name: str, made_s: int | None, now_s: int) -> Diagnosis | None:
    """A calendar that is not written any more; none when it is, or when none was asked for."""
    if made_s is None or now_s - made_s <= CALENDAR_OLD_S:
        return None
    return Diagnosis(about=About.OLD_CALENDAR, which=vessel, name=name, since_at=_at(made_s))


def of_space(place: str, free_bytes: int | None, floor_bytes: int) -> Diagnosis | None:
    """A disk that is getting full."""
    if free_bytes is None or free_bytes >= LOW_SPACE_BYTES:
        return None
    facts = {"free_bytes": free_bytes, "floor_bytes": floor_bytes}
    return Diagnosis(about=About.SPACE, which=place, name=place, facts=facts)


def of_backup(place: str, made_s: int | None, serving_since_s: int | None, now_s: int) -> Diagnosis | None:
    """No backup for three days; a note where none was made and no server has run here for as long.

    Args:
        place: of the backups, empty where none is set. made_s: the newest one. serving_since_s: the first night of a server.
    """
    since_s = made_s if made_s is not None else serving_since_s
    if made_s is not None and now_s - made_s <= BACKUP_OLD_S:
        return None
    note = made_s is None and (since_s is None or now_s - since_s <= BACKUP_OLD_S)
    facts = {"ever": made_s is not None, "set": bool(place)}
    since_at = None if made_s is None else _at(made_s)
    return Diagnosis(about=About.BACKUP, which=place, name=place, facts=facts, since_at=since_at, note=note)


def of_engine(place: str, version: str, journal: tuple[str, int] | None) -> list[Diagnosis]:
    """How the database keeps what it was told: SQLite's log, its sureness, its version."""
    if journal is None:
        return []
    found = []
    if journal[0] != "wal" or journal[1] < 2:
        facts: dict[str, Any] = {"mode": journal[0], "synchronous": journal[1]}
        found.append(Diagnosis(about=About.JOURNAL, which=place, name=place, facts=facts))
    numbers = tuple(int(part) for part in version.rpartition(" ")[2].split(".") if part.isdigit())
    if FAULTY_SQLITE[0] <= numbers <= FAULTY_SQLITE[1]:
        facts = {"version": version}
        found.append(Diagnosis(about=About.SQLITE, which=place, name=place, facts=facts, note=True))
    return found


def _at(at_s: int) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)
