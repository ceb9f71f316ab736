"""Words of the record are found again, on both databases: by their beginnings, by phrases, of one vessel alone."""

from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.domain.record.search import plain_words
from scheduler.storage.database import Database
from scheduler.storage.record import append_record, records_numbered
from scheduler.storage.search import find_phrases, find_records

AT = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
SAID = (
    "Cloth and wipes round the rotor",
    "seal leaks, DP-1041",
    "wiped clean; plover-pump-b-knives",
    "größer als 1e308",
)


@pytest.fixture
def told(db: Database) -> Database:
    """Four records of one vessel and one of another."""
    with db.write("plover") as session:
        for text in SAID:
            append_record(session, "plover", "note", AT, {"findings": text, "by": "A. Second"})
        append_record(session, "avocet", "note", AT, {"findings": "wipes"})
    return db


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        ("wip", [3, 1]),
        ("rotor wip", [1]),
        ("dp 1041", [2]),
        ("DP-1041", [2]),
        ("ipes", []),
        ("GROSSER 1e308", [4]),
        ("second", [4, 3, 2, 1]),
        ("and or not", []),
        ("findings", []),
    ],
)
def test_the_newest_records_that_hold_every_word_are_found(told: Database, words: str, numbers: list[int]) -> None:
    """By the beginning of each word, whatever its letters; another vessel's are not; a member's name is no word."""
    with told.read() as session:
        assert find_records(session, "plover", plain_words(words), 10) == numbers
        assert [one.number for one in records_numbered(session, "plover", numbers)] == numbers


def test_no_more_than_asked_for_the_newest_first(told: Database) -> None:
    """The limit cuts the oldest."""
    with told.read() as session:
        assert find_records(session, "plover", ["second"], 3) == [4, 3, 2]


def test_a_phrase_is_found_word_for_word(told: Database) -> None:
    """An id of several words is not its beginning's neighbour; one of several phrases is enough."""
    with told.read() as session:
        assert find_phrases(session, "plover", [("plover", "pump", "b", "knives")], 10) == [3]
        assert find_phrases(session, "plover", [("plover", "pump", "c"), ("dp", "1041")], 10) == [2]
        assert find_phrases(session, "plover", [("pump", "plover")], 10) == []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(text=st.text(min_size=1, max_size=60))
def test_nothing_that_is_typed_makes_the_index_fail(told: Database, text: str) -> None:
    """Quotes, operators, stars, every letter there is."""
    words = plain_words(text)
    if words:
        with told.read() as session:
            assert find_records(session, "plover", words, 5) is not None
            assert find_phrases(session, "plover", [words], 5) is not None


def test_kinds_that_are_left_out_take_no_place_of_others(told: Database) -> None:
    """However many there are: the one asked for is found behind them."""
    with told.write("plover") as session:
        append_record(session, "plover", "closed job", AT, {"serial": "DP-7"})
        for _ in range(5):
            append_record(session, "plover", "work: noted", AT, {"serial": "DP-7"})
    with told.read() as session:
        assert find_phrases(session, "plover", [("dp", "7")], 2) == [10, 9]
        assert find_phrases(session, "plover", [("dp", "7")], 2, but="work: ") == [5]


def test_an_undone_record_is_not_found(told: Database) -> None:
    """The index is written in the transaction of the record."""

    def undone() -> None:
        with told.write("plover") as session:
            append_record(session, "plover", "note", AT, {"findings": "propeller"})
            raise RuntimeError("undone")

    with pytest.raises(RuntimeError, match="undone"):
        undone()
    with told.read() as session:
        assert find_records(session, "plover", ["propeller"], 5) == []
