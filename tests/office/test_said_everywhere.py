"""What a ship sent and the office does not take: her server, the page, the API and the command say it in the same words; nothing of it
is stored."""

import gzip
from collections.abc import Callable
from dataclasses import replace
from html import unescape

import pytest

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.domain.shore.frame import ChangeBatch, pack
from tests.cli.calling import leadline
from tests.office.ship import NOTE, SET_UP, Office, Ship


def _flipped(ship: Ship) -> bytes:
    batch = ship.batch(6)
    return pack(replace(batch, head="0" * 64))


def _bomb(_: Ship) -> bytes:
    return gzip.compress(bytes(40_000_000), 9)


def _newer(ship: Ship) -> ChangeBatch:
    return replace(ship.batch(6), schema="v9999")


def _foreign(ship: Ship) -> ChangeBatch:
    ship.change(("handover", "put", NOTE))
    return replace(ship.batch(6), vessel_id="demo-avocet")


def _row(ship: Ship) -> ChangeBatch:
    ship.change(("handover", "put", {**NOTE, "no such column": 1}))
    return ship.batch(6)


@pytest.mark.long
@pytest.mark.parametrize(
    ("bad", "status", "says"),
    [
        (_flipped, 422, "its chain does not hold"),
        (_bomb, 413, "it is larger than a batch may be"),
        (_newer, 409, "The office is upgraded first."),
        (_foreign, 422, "sent what is demo-avocet's"),
        (_row, 422, "holds what the tables here do not take"),
    ],
    ids=["broken chain", "bomb", "newer tables", "another ship's", "no such row"],
)
def test_what_is_not_taken_is_said_everywhere(
    sqlite_office: Office, ship: Ship, bad: Callable[[Ship], ChangeBatch | bytes], status: int, says: str
) -> None:
    """As her server is answered, so it stands on the page, in the API's list, in the command's and with the doctor."""
    office = sqlite_office
    assert office.send(ship.batch(1, 5)).status_code == 200
    before = office.rows()
    answer = office.send(bad(ship))
    assert answer.status_code == status
    said = answer.json()["detail"]
    assert says in said
    assert office.rows() == before
    keeper = {"person_id": "keeper", "role": Role.ADMIN}
    people.add_person(office.context, SET_UP, name="Demo Keeper", rank="x", vessel_id=None, **keeper)
    key = {"Authorization": f"Bearer {people.add_key(office.context, SET_UP, label='k', **keeper)}"}
    (listed,) = office.client.get("/api/v1/ships", headers=key).json()["ships"]
    assert said in listed["says"]
    page = office.client.get("/ships", headers={**key, "Accept": "text/html"}).text
    assert said in unescape(page)
    database = ("--database", str(office.context.db.path))
    told = leadline(*database, "ships", "list")
    assert (told.returncode, said in told.stdout) == (1, True), told.stdout + told.stderr
    looked = leadline(*database, "doctor")
    assert (looked.returncode, said in looked.stdout) == (1, True), looked.stdout + looked.stderr


def test_another_ships_key_finds_nothing_and_leaves_nothing(sqlite_office: Office, ship: Ship) -> None:
    """The door is not hers: 404 in words, and no line of either ship speaks of it."""
    office = sqlite_office
    office.send(ship.batch(1, 5))
    before = office.rows()
    answer = office.send(ship.batch(6), by=office.key("demo-avocet"))
    assert (answer.status_code, "good for her own doors alone" in answer.json()["detail"]) == (404, True)
    assert office.rows() == before
    database = ("--database", str(office.context.db.path))
    told = leadline(*database, "ships", "list")
    assert "demo-avocet" not in told.stdout
    assert "Nothing" not in told.stdout
