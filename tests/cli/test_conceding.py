"""A lower minimum and the date of a job's parts, told by command."""

import json
from datetime import UTC, datetime, timedelta

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


def test_a_lower_minimum_is_asked_signed_by_two_listed_and_withdrawn(ship: Ship) -> None:
    """Each with the own key: the chief does not sign as hotel; each step says what it takes next."""
    second = ("--key-file", ship.own_key("second", "B. Second", "engineer"))
    chief = ("--key-file", ship.own_key("chief", "A. Chief", "chief"))
    hotel = ("--key-file", ship.own_key("hotel", "B. Hotel", "hotel"))
    at = datetime.now(UTC)
    times = ("--from", at.isoformat(), "--to", (at + timedelta(days=1)).isoformat())
    asked = good(
        *ship.words(*second, "concession", "ask", "plover-plant", *times, "--minimum", "40", "--reason", "few aboard")
    )
    assert asked == "concession 1 asked: It counts once signed as chief and as hotel.\n"
    sign = ("concession", "sign", "plover-plant", "1")
    assert "as hotel." in good(*ship.words(*chief, *sign, "--as", "chief"))
    assert "whose role is hotel" in leadline(*ship.words(*chief, *sign, "--as", "hotel")).stderr
    assert "chief or hotel" in leadline(*ship.words(*hotel, *sign, "--as", "cook")).stderr
    assert "Both have signed" in good(*ship.words(*hotel, *sign, "--as", "hotel"))
    assert "40 m3/h  chief A. Chief, chief, hotel B. Hotel, hotel: few aboard" in good(
        *ship.words("concession", "list", "plover-plant")
    )
    good(*ship.words("concession", "withdraw", "plover-plant", "1"))
    told = json.loads(good(*ship.words("concession", "list", "plover-plant", "--json")))
    assert [one["state"] for one in told["concessions"]] == ["withdrawn"]


def test_parts_come_on_a_date_or_on_none(ship: Ship) -> None:
    """A date is kept, none takes it back, and what is no date is named."""
    key = json.loads(good(*ship.words("due", "plover-plant", "--json")))["jobs"][0]["job"]
    assert "parts aboard from 2099-12-12" in good(*ship.words("job", "parts-from", key, "2099-12-12"))
    assert "no date for its parts" in good(*ship.words("job", "parts-from", key, "none"))
    assert "'soon': a date is expected" in leadline(*ship.words("job", "parts-from", key, "soon")).stderr
