"""Each thing to look at is found when it is there, not found when all is well, and says what to do."""

from dataclasses import replace
from datetime import date

import pytest

from scheduler.domain.checks import diagnosis
from scheduler.domain.checks.diagnosis import Diagnosis
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, QuietHours
from scheduler.wording.care import diagnosis_words
from scheduler.wording.hours import flag_words
from tests.unit.domain.plants import plant

NOW = 1_790_000_000
HOUR = 3600


def line(found: Diagnosis | list[Diagnosis] | None) -> Diagnosis:
    """The one line found."""
    one = found[0] if isinstance(found, list) else found
    assert one is not None
    says, do = diagnosis_words(one)
    assert says
    assert do.strip()[-1] in ".w2", "it ends in what to do: a sentence, or a command"
    return one


@pytest.mark.parametrize("code", [Code.SILENT, Code.STANDING, Code.SOURCES, Code.CLOCK, Code.FUTURE])
def test_a_flag_that_nobody_decides_is_a_line(code: Code) -> None:
    """It carries the ledger's words and since when; flags that ask a question, or are over, are none."""
    flag = Flag(code, NOW, 0, {})
    one = line(diagnosis.of_flag("c1", "VP1", flag))
    assert (one.about.value, one.which, diagnosis_words(one)[0]) == (code.value, "c1", flag_words(flag, "VP1", 0))
    assert one.since_at is not None
    assert diagnosis.of_flag("c1", "VP1", flag._replace(code=Code.SPIKE)) is None
    assert diagnosis.of_flag("c1", "VP1", flag._replace(code=Code.HELD)) is None


def test_a_ledger_behind_its_readings_is_told_after_two_minutes() -> None:
    """While a server works through what came it is not; an event alone, with no reading, is told."""
    assert diagnosis.of_backlog("c1", "VP1", NOW - 10, NOW) is None
    assert "VP1" in diagnosis_words(line(diagnosis.of_backlog("c1", "VP1", NOW - 600, NOW)))[0]
    line(diagnosis.of_backlog("c1", "VP1", None, NOW))


@pytest.mark.parametrize(
    ("taken", "proposed", "about"),
    [
        (None, None, "no plan"),
        (None, NOW - HOUR, "plan not taken"),
        (NOW - 48 * HOUR, None, "old plan"),
        (NOW - 48 * HOUR, NOW - HOUR, ""),
        (NOW - HOUR, None, ""),
    ],
)
def test_a_plan_is_made_each_night_and_taken(taken: int | None, proposed: int | None, about: str) -> None:
    """None, none taken, or none for more than a night is told; a fresh proposal beside an older plan is as it should be."""
    found = diagnosis.of_plan(plant(), taken, proposed, NOW)
    assert ("" if found is None else line(found).about) == about


def test_a_calendar_is_told_when_it_is_older_than_it_is_left_alone() -> None:
    """One that nobody asked for is not, nor one of exactly so long ago."""
    assert diagnosis.of_calendar("ship", "Ship", None, NOW) is None
    assert diagnosis.of_calendar("ship", "Ship", NOW - 7 * HOUR, NOW) is None
    assert line(diagnosis.of_calendar("ship", "Ship", NOW - 7 * HOUR - 1, NOW)).which == "ship"


def test_space_is_told_before_it_is_gone() -> None:
    """Below 1 GiB, with the figure below which nothing is stored; a server's own disk is not ours to judge."""
    assert diagnosis.of_space("db", 2 * 2**30, 2**25) is None
    assert diagnosis.of_space("db", None, 2**25) is None
    assert "100 MiB are free; below 32 MiB" in diagnosis_words(line(diagnosis.of_space("db", 100 * 2**20, 2**25)))[0]


@pytest.mark.parametrize(
    ("version", "note"),
    [("SQLite 3.40.1", True), ("SQLite 3.51.2", True), ("SQLite 3.51.3", False), ("SQLite 3.53.4", False)],
)
def test_a_version_with_a_known_fault_is_a_note(version: str, note: bool) -> None:
    """It is worth knowing and changes no exit code; newer ones are not told."""
    found = diagnosis.of_engine("db", version, ("wal", 2))
    assert [one.note for one in found] == ([True] if note else [])


@pytest.mark.parametrize("journal", [("delete", 2), ("wal", 1)])
def test_a_log_that_can_lose_a_commit_is_wrong(journal: tuple[str, int]) -> None:
    """Another log than the write-ahead log, or less than full sureness; PostgreSQL has its own."""
    assert not line(diagnosis.of_engine("db", "SQLite 3.53.4", journal)).note
    assert diagnosis.of_engine("db", "PostgreSQL 16", None) == []


def test_what_was_not_stored_is_counted_by_counter() -> None:
    """One line for each counter and reason."""
    found = diagnosis.of_intake("ship", {"c1": "VP1"}, [("conflict", "c1", 3, NOW), ("refused", "x" * 300, 1, NOW)], 7)
    assert [one.about for one in found] == ["conflict readings", "refused readings"]
    assert "3 in 7 days, the newest Mon 21 Sep 14:13" in diagnosis_words(line(found))[0]
    assert [one.name for one in found] == ["VP1", "x" * 80]
    assert len(found[1].which) < 100


def test_a_block_that_a_later_one_covers_is_pointed_out() -> None:
    """Of minima, hands and quiet hours: covered in hours and dates, saying other, and not over; else nothing is said."""
    full = MinimumBlock(
        minimum_swept_m3_per_h=150.0, label="full ship", from_on=date(2027, 3, 5), to_on=date(2027, 3, 9)
    )
    few = replace(full, minimum_swept_m3_per_h=30.0, label="few aboard", to_on=date(2027, 3, 20))
    night = replace(few, from_hour=22, to_hour=6)
    on = date(2027, 3, 1)

    def said(*blocks: MinimumBlock, at: date = on) -> list[Diagnosis]:
        return diagnosis.of_blocks(plant(minimum_blocks=blocks), at)

    found = line(said(full, few))
    assert found.note
    assert (
        'of 150 m3/h "full ship" (0 to 24 o\'clock, Fri 5 Mar 2027 to Tue 9 Mar 2027) never counts'
        in diagnosis_words(found)[0]
    )
    assert said(few, full) == []
    assert said(full, night) == []
    assert len(said(night, few)) == 0
    assert len(said(replace(night, minimum_swept_m3_per_h=90.0), few)) == 1
    assert said(full, replace(few, minimum_swept_m3_per_h=150.0)) == []
    assert said(full, few, at=date(2027, 3, 10)) == []
    crew = Crew(blocks=(CrewBlock(hands=3, label="squad"), CrewBlock(hands=0, label="leave")))
    quiet = (QuietHours(most_stop_minutes=20, consent="hotel"), QuietHours(most_stop_minutes=5, consent="hotel"))
    told = diagnosis.of_blocks(plant(crew=crew, quiet_hours=quiet), on)
    assert [diagnosis_words(one)[0].partition(" never")[0] for one in told] == [
        'The crew block of 3 hands "squad" (0 to 24 o\'clock)',
        "The entry of quiet hours of 20 min (0 to 24 o'clock)",
    ]
