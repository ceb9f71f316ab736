"""Words of the record: what is put into the index, what a text shows, which pump a record is about."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.record.search import plain_words, pump_about, record_words, shows
from scheduler.wording.record import WIDTH, record_excerpt
from tests.unit.domain.plants import vessel

AT = datetime(2026, 11, 3, 7, tzinfo=UTC)


@given(st.text())
def test_words_are_small_and_without_accents_whatever_is_typed(text: str) -> None:
    """Looking for a text finds that text: its words are the same once they are plain."""
    words = plain_words(text)
    assert plain_words(" ".join(words)) == words
    assert all(not any(one in " \"*:'&|<>()!\0" for one in word) for word in words)


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ({"findings": "Cloth, two WIPES", "by": "A. Second"}, "cloth two wipes a second"),
        ({"plan": "2a53241fc1097770f17a0718", "recorded_at": "2026-10-20T07:00:00Z", "reason": "seal"}, "seal"),
        ({"against": [{"code": "gas too old"}], "proven": True, "step": {"box_no": "12345678"}}, "12345678"),
        ({"step": {"about": "step", "name": "Take out cloth", "text": "none there"}}, "step none there"),
        ({"step": {"about": "finding", "name": "Cloth"}}, "finding cloth"),
    ],
)  # fmt: skip
def test_all_that_somebody_may_look_for_is_in_the_index(payload: dict[str, Any], words: str) -> None:
    """Texts and figures at every depth; digests, instants, names of members and truths are not."""
    assert record_words(payload) == words


def test_a_text_shows_a_word_that_begins_so_and_no_other() -> None:
    """Small and large letters and accents are the same; the middle of a word is none of its beginnings."""
    text = "Größe: wipes, WIPE, swipe"
    assert [text[a:b] for a, b in shows(text, ["wipe"])] == ["wipes", "WIPE"]
    assert [text[a:b] for a, b in shows(text, plain_words("grö"))] == ["Größe"]


@pytest.mark.parametrize(
    ("members", "pump"),
    [
        ({"pump": "u2"}, "pump-b"),
        ({"pump_serial": "A-101"}, "pump-a"),
        ({"job_no": "knives:k1:3"}, "pump-a"),
        ({"job_no": "overhaul:u2:1"}, "pump-b"),
        ({"job_no": "overhaul:u2"}, None),
        ({"counter": "c2"}, "pump-b"),
        ({"reason": "u2"}, None),
        ({}, None),
    ],
)
def test_a_record_is_about_the_pump_it_names_in_any_way(members: dict[str, Any], pump: str | None) -> None:
    """By id, serial number, job of the pump or of a part in it, and the counter of the position it stood in."""
    found = pump_about(members, vessel(), AT)
    expected = {"pump-a": "u1", "pump-b": "u2"}
    assert found == (expected.get(pump) if pump else None)


def test_an_excerpt_shows_what_was_looked_for_and_no_id() -> None:
    """The text with most of the words, cut around the first of them; members that name things are left aside."""
    long = "x " * 200 + "two wipes round the rotor" + " y" * 200
    pieces = record_excerpt({"job_no": "wipes:wipes:1", "text": "wipe", "findings": long}, ["wipe", "rotor"])
    assert [piece for piece, marked in pieces if marked] == ["wipes", "rotor"]
    assert sum(len(piece) for piece, _ in pieces) <= WIDTH + 4
    assert record_excerpt({"job_no": "wipes:wipes:1"}, ["wipe"]) == ()


def test_a_record_before_the_stay_is_about_no_pump_by_its_counter() -> None:
    """Where nothing stood in the counter's position, its record is about none."""
    assert pump_about({"counter": "c2"}, vessel(), AT - timedelta(days=365 * 40)) is None
