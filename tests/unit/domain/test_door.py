"""The door for one posted reading: what is taken exactly, and what is refused with which words."""

import json
import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.hours.accepting import (
    DELTA_KEYS,
    Accepted,
    Refusal,
    check,
    check_item,
    instant_s,
    skew_s,
    value_milli,
)
from scheduler.domain.hours.ledger import Setup

HOURS = Setup(3600, None, 1000, "vp1-hours")
TURNS = Setup(3600, 100_000, 1000, "vp2-hours")
AT = "2026-11-03T14:00:00Z"
AT_S = 1_793_714_400


@given(st.integers(0, 10**12 * 1000))
def test_a_value_is_exact_to_three_decimals(milli: int) -> None:
    """Whatever a counter shows in thousandths comes through JSON and a float unchanged."""
    text = f"{milli // 1000}.{milli % 1000:03d}"
    assert value_milli(HOURS, json.loads(text)) == milli


@given(st.integers(0, 10**12))
def test_a_whole_value_is_exact(counts: int) -> None:
    """An integer is taken as it stands."""
    assert value_milli(HOURS, counts) == counts * 1000


REFUSED: list[tuple[Any, str, str]] = [
    (math.nan, "not finite", "is not a figure"),
    (math.inf, "not finite", "is not a figure"),
    (-math.inf, "not finite", "is not a figure"),
    (-5, "negative", "below 0"),
    (-0.0004, "negative", "below 0"),
    (True, "not a number", "True is not a number"),
    ("12000", "not a number", "without quotation marks"),
    (None, "not a number", "no value"),
    ([12000], "not a number", "[12000] is not a number"),
    ({"counts": 1}, "not a number", "is not a number"),
    (10**12 + 1, "too large", "word order"),
    (1e300, "too large", "word order"),
    (10**400, "too large", "..."),
]


@pytest.mark.parametrize(("value", "code", "words"), REFUSED, ids=[repr(r[0])[:20] for r in REFUSED])
def test_what_is_no_value_is_refused(value: object, code: str, words: str) -> None:
    """R13: each with its stable code and a sentence that names the counter, short enough to read."""
    refusal = value_milli(HOURS, value)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code
    assert refusal.says.startswith("vp1-hours: ")
    assert words in refusal.says
    assert len(refusal.says) < 200


@pytest.mark.parametrize("value", [100_000, 292_552_705, 99_999.9996])
def test_a_value_past_the_modulus_is_refused(value: float) -> None:
    """R13: a counter that starts again after 99999 cannot show it; swapped words look like that."""
    refusal = value_milli(TURNS, value)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "over modulus"
    assert "99999" in refusal.says
    assert value_milli(TURNS, 99_999) == 99_999_000


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        (AT, AT_S),
        ("2026-11-03T14:00:00.999999Z", AT_S),
        ("2026-11-03T16:00:00+02:00", AT_S),
        ("2026-11-03T08:30:00-05:30", AT_S),
        ("2026-11-03 14:00:00+00:00", AT_S),
        ("2026-11-03t14:00:00z", AT_S),
        ("1969-12-31T23:59:59.5Z", -1),
        ("1985-04-12T23:20:50.52Z", 482_196_050),
        ("1990-12-31T23:59:60Z", 662_688_000),
        ("1990-12-31T15:59:60-08:00", 662_688_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_173),
    ],
)
def test_instants_are_floored_to_the_second(text: str, seconds: int) -> None:
    """Offsets, fractions, small letters and leap seconds.

    Source: the last four are the examples of RFC 3339 section 5.8; their epoch seconds are derived.
    """
    assert instant_s(text) == seconds


@pytest.mark.parametrize("text", ["2026-11-03T14:00:00", "2026-11-03 14:00", "2026-11-03", "2026-11-03T14:00:00.5"])
def test_a_local_time_is_refused(text: str) -> None:
    """R12: without an offset the instant is not known; the sentence shows what to send."""
    refusal = instant_s(text)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "no offset"
    assert "2026-11-03T14:00:00Z" in refusal.says


@pytest.mark.parametrize(
    "text",
    [
        *("", "now", "14:00:00Z", "2026-13-03T14:00:00Z", "2026-11-03T25:00:00Z", "9" * 99, 0, None),
        *("20261103T140000Z", "20261103T140000+0000", "2026-W45-2T14:00:00Z", "2026-11-03T140000+00:00"),
        *("2026-11-03x14:00:00Z", "2026-11-03T14+00:00", "2026-11-03T14Z"),
    ],
)
def test_what_is_no_instant_is_refused(text: object) -> None:
    """Anything else, other spellings of ISO 8601 too, with what is expected and not the whole of a long text."""
    refusal = instant_s(text)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "bad instant"
    assert len(refusal.says) < 160


offsets = st.integers(-1439, 1439).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@given(st.datetimes(timezones=offsets))
def test_an_instant_is_what_its_text_says(at: datetime) -> None:
    """Any instant at any offset of whole minutes, as ISO 8601 spells it."""
    assert instant_s(at.isoformat()) == (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)


def test_an_item_is_taken() -> None:
    """Value and instant, as the ledger takes them; other members are the batch's affair."""
    assert check_item(HOURS, {"counter": "vp1-hours", "observed_at": AT, "value": 12.5}) == Accepted(AT_S, 12_500)


def test_the_future_is_for_the_ledger() -> None:
    """R12: a stamp from a fast clock is stored and held, not refused."""
    assert check_item(HOURS, {"observed_at": "2999-01-01T00:00:00Z", "value": 1}) == Accepted(32_472_144_000, 1000)


def test_a_clock_that_was_never_set_is_refused() -> None:
    """1970 would be a baseline from which anything is possible."""
    refusal = check(HOURS, 12000, 0)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "clock not set"
    assert check_item(HOURS, {"observed_at": "2000-01-01T00:00:00Z", "value": 1}) == Accepted(946_684_800, 1000)


@pytest.mark.parametrize("key", sorted(DELTA_KEYS))
def test_hours_since_the_last_post_are_refused(key: str) -> None:
    """R22: the sentence says to send the counter's own cumulative value."""
    refusal = check_item(HOURS, {"observed_at": AT, key: 6})
    assert isinstance(refusal, Refusal)
    assert refusal.code == "delta"
    assert key in refusal.says
    assert "cumulative value" in refusal.says


@pytest.mark.parametrize(
    ("item", "code"),
    [
        ({"observed_at": AT}, "not a number"),
        ({"value": 12000}, "bad instant"),
        ({"observed_at": "2026-11-03T14:00:00", "value": 12000}, "no offset"),
        ({"observed_at": AT, "value": -1}, "negative"),
    ],
)
def test_an_item_that_lacks_something_is_refused(item: dict[str, object], code: str) -> None:
    """One refusal an item: the first thing wrong with it."""
    refusal = check_item(HOURS, item)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code


@given(
    st.dictionaries(
        st.sampled_from(["observed_at", "value", "delta"]),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
            lambda inner: st.lists(inner, max_size=3),
            max_leaves=3,
        ),
    )
)
def test_anything_at_all_is_taken_or_refused(item: dict[str, object]) -> None:
    """R13: whatever JSON can hold, the door answers and never raises."""
    taken = check_item(TURNS, item)
    if isinstance(taken, Accepted):
        assert 0 <= taken.value_milli < 100_000_000
    else:
        assert taken.says.endswith(".")


@pytest.mark.parametrize(("sent_s", "skew"), [(10_000, 0), (9_700, 0), (10_300, 0), (9_699, 301), (13_600, -3600)])
def test_a_small_difference_of_clocks_is_none(sent_s: int, skew: int) -> None:
    """R12: five minutes either way."""
    assert skew_s(sent_s, 10_000) == skew
