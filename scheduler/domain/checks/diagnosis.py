"""What is wrong or odd, in lines a person can act on: what, which, since when, what to do. Pure: facts in, lines out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from scheduler.domain.checks.crew import Block, hidden
from scheduler.domain.hours.ledger_says import minute_text
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.hours.questions import Asks, Question
from scheduler.domain.vessel.document import CrewBlock, MinimumBlock, Plant, QuietHours

PLAN_OLD_S = 36 * 3600
"""A plan is made each night; older than this, a night was missed."""
CALENDAR_OLD_S = 3600
"""Calendars are written at least every quarter of an hour while a server runs."""
BEHIND_S = 120
"""The ledger follows a reading within seconds while a server runs."""
LOW_SPACE_BYTES = 1024**3
FAULTY_SQLITE = ((3, 7, 0), (3, 51, 2))
"""First and last version reported to lose committed pages in a rare case when the write-ahead log starts again."""

ASKED = frozenset({"held reading", "missing hours"})
"""What `Look.about` says of a question: it stands on the counters page itself."""

_DO = {
    Code.SILENT: "Check the gateway and its network, or enter the counter by hand.",
    Code.STANDING: "See whether the pump runs in automatic; if it does, the counter needs attention.",
    Code.SOURCES: "Read both counters; if the one that counts is wrong, make the other one count.",
    Code.CLOCK: "Set the clock of the gateway to UTC.",
    Code.FUTURE: "Set the clock of the sender to UTC.",
}
"""What to do about a flag that nobody has to decide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """One thing to look at. about: a word for sorting and machines; which: counter, plant, file or setting.

    since_at: none when not known. note: worth knowing, but nothing is wrong.
    """

    about: str
    which: str
    says: str
    do: str
    since_at: datetime | None = None
    note: bool = False


def of_flag(counter: str, flag: Flag) -> Diagnosis | None:
    """A flag as a line; none for one that asks a question, or tells of something that is over."""
    code = Code(flag.code)
    if code not in _DO:
        return None
    return Diagnosis(about=code.value, which=counter, says=flag.says, do=_DO[code], since_at=_at(flag.at_s))


def of_question(counter: str, asked: Question) -> Diagnosis:
    """A question that waits for an answer."""
    held = asked.asks is Asks.HELD
    do = "Answer it on the counters page."
    if held and asked.earlier is not None:
        do = "Answer it on the counters page: all fit if the reading before it was misread."
    elif held:
        do = "Answer it on the counters page: replaced, misread, or preset."
    about = "held reading" if held else "missing hours"
    return Diagnosis(about=about, which=counter, says=asked.says, do=do, since_at=_at(asked.at_s))


def of_unread(counter: str) -> Diagnosis:
    """A counter that has never posted."""
    return Diagnosis(
        about="never read",
        which=counter,
        says=f"{counter} has never been read: the hours of its position are not known.",
        do="Check that the gateway sends it under this id, or enter it by hand.",
    )


def of_not_known(job: str, name: str) -> Diagnosis:
    """A job that nobody knows when it was last done."""
    return Diagnosis(
        about="last time not known",
        which=job,
        says=f"Nobody has said when {name} was last done. It is planned as due now.",
        do="Give the date from its papers in the vessel's document, or let the chief engineer set a first date on its page.",
    )


def of_backlog(counter: str, newest_received_s: int | None, now_s: int) -> Diagnosis | None:
    """A ledger that has not followed its readings or events; none within two minutes."""
    if newest_received_s is not None and now_s - newest_received_s < BEHIND_S:
        return None
    return Diagnosis(
        about="ledger behind",
        which=counter,
        says=f"The ledger of {counter} does not yet take in what was stored.",
        do="It follows within seconds while a server runs: see that one does, and look at its log.",
        since_at=None if newest_received_s is None else _at(newest_received_s),
    )


def of_intake(vessel: str, found: Sequence[tuple[str, str, int, int]], days: int) -> list[Diagnosis]:
    """Items that were not stored in the last days: (status, counter as named, how many, newest received)."""
    said = {
        "conflict": ("came with another value than the one stored for its instant", "See whether two senders post it."),
        "refused": ("was refused", "Put the sender right."),
    }
    return [
        Diagnosis(
            about=f"{status} readings",
            which=f"{vessel}: {counter[:80]}",
            says=f"{count} in {days} days, the newest {minute_text(newest_s)}: a reading {said[status][0]}.",
            do=f"The intake log shows each as it came and why: leadline intake {vessel}. {said[status][1]}",
        )
        for status, counter, count, newest_s in found
    ]


def of_plan(plant: str, taken_made_s: int | None, proposed_made_s: int | None, now_s: int) -> Diagnosis | None:
    """A plant without a plan, with one that nobody took, or with none made for a night."""
    made = [at_s for at_s in (taken_made_s, proposed_made_s) if at_s is not None]
    if not made:
        return Diagnosis(
            about="no plan", which=plant, says=f"{plant} has no plan.", do=f"Make one: leadline plan {plant} --new"
        )
    if now_s - max(made) > PLAN_OLD_S:
        return Diagnosis(
            about="old plan",
            which=plant,
            says=f"No plan of {plant} was made for more than a night.",
            do="A server plans each night: see that one runs, and look at its log.",
            since_at=_at(max(made)),
        )
    if taken_made_s is None:
        return Diagnosis(
            about="plan not taken",
            which=plant,
            says=f"A plan of {plant} is proposed and none was ever taken: the calendar shows no slots.",
            do="Look at it on the plant page and take it.",
            since_at=_at(max(made)),
        )
    return None


def of_blocks(plant: Plant, on: date) -> list[Diagnosis]:
    """Minima, hands and quiet hours of the document that never count because a later entry covers them and says other."""
    lists: tuple[tuple[str, Sequence[Block]], ...] = (
        ("minimum", plant.minimum_blocks), ("crew block", plant.crew.blocks), ("entry of quiet hours", plant.quiet_hours)
    )  # fmt: skip
    return [
        Diagnosis(
            about="block that never counts",
            which=plant.id,
            says=f"The {what} {_block(block)} never counts: the later {_block(over)} covers its hours and dates, and of "
            "entries that match the last one counts.",
            do="Take one of the two out of the document, or put the one that shall count last.",
            note=True,
        )
        for what, blocks in lists
        for block, over in hidden(blocks, on)
    ]


def _block(block: Block) -> str:
    figure = (
        f"{block.minimum_swept_m3_per_h:g} m3/h"
        if isinstance(block, MinimumBlock)
        else f"{block.hands} hands"
        if isinstance(block, CrewBlock)
        else f"{block.most_stop_minutes} min"
    )
    name = f' "{block.label}"' if not isinstance(block, QuietHours) else ""
    dates = (
        "" if block.from_on is None and block.to_on is None else f", {block.from_on or '...'} to {block.to_on or '...'}"
    )
    return f"of {figure}{name} ({block.from_hour} to {block.to_hour} o'clock{dates})"


def of_calendar(vessel: str, made_s: int | None, now_s: int) -> Diagnosis | None:
    """A calendar that is not written any more; none when it is, or when none was asked for."""
    if made_s is None or now_s - made_s <= CALENDAR_OLD_S:
        return None
    return Diagnosis(
        about="old calendar",
        which=vessel,
        says=f"The calendar of {vessel} was last written more than an hour ago.",
        do="A server writes it every quarter of an hour: see that one runs, and look at its log.",
        since_at=_at(made_s),
    )


def of_space(place: str, free_bytes: int | None, floor_bytes: int) -> Diagnosis | None:
    """A disk that is getting full."""
    if free_bytes is None or free_bytes >= LOW_SPACE_BYTES:
        return None
    return Diagnosis(
        about="little space",
        which=place,
        says=f"{free_bytes // 2**20} MiB are free; below {floor_bytes // 2**20} MiB nothing is stored any more.",
        do="Make room on that disk, or move the database.",
    )


def of_engine(place: str, version: str, journal: tuple[str, int] | None) -> list[Diagnosis]:
    """How the database keeps what it was told: SQLite's log, its sureness, its version."""
    if journal is None:
        return []
    mode, sure = journal
    found = []
    if mode != "wal" or sure < 2:
        found.append(
            Diagnosis(
                about="journal",
                which=place,
                says=f"SQLite's log is {mode}, synchronous {sure}; expected wal and 2: a power cut can lose what was stored.",
                do="Keep the file on a local disk, not on a network share.",
            )
        )
    numbers = tuple(int(part) for part in version.rpartition(" ")[2].split(".") if part.isdigit())
    if FAULTY_SQLITE[0] <= numbers <= FAULTY_SQLITE[1]:
        found.append(
            Diagnosis(
                about="sqlite version",
                which=place,
                says=f"{version}: versions up to 3.51.2 are reported to have a rare fault when the log starts again.",
                do="Where you can, install a newer one beside it: pip install pysqlite3",
                note=True,
            )
        )
    return found


def _at(at_s: int) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)
