"""Two lives of one ship: nothing more is taken and nothing is lost until somebody of the office has answered with a reason."""

from typing import Any

import pytest

from scheduler.actions.base.context import Hand
from scheduler.actions.people import people
from scheduler.actions.people.people import who_holds
from scheduler.actions.shore.parted import LifeAnswer, answer_parted, build_anew, lost_records
from scheduler.domain.base.enums import Role
from scheduler.errors import Clash, NotAllowed, Refused
from scheduler.storage.database import INSTALLATION
from scheduler.storage.people import person_rows
from scheduler.storage.record import newest_records
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.ships import LineState, ship_line
from tests.office.ship import NOTE, SET_UP, Office, Ship

VESSEL = "demo-plover"


def _other_life(ship: Ship, number: int, life: str = "second life") -> Ship:
    """The ship as she was after a change, gone on in another way."""
    other = Ship(ship.vessel_id, life, ship.changes[:number])
    other.change(("handover", "put", {**NOTE, "text": "Written in the other life"}))
    return other


def _by_office(office: Office, once: str = "one") -> Hand:
    if not any(one.id == "office" for one in _everybody(office)):
        people.add_person(
            office.context,
            SET_UP,
            person_id="office",
            name="Demo office",
            rank="office",
            role=Role.OFFICE,
            vessel_id=None,
        )
    key = people.add_key(office.context, SET_UP, role=Role.OFFICE, label="test", person_id="office")
    return Hand(who_holds(office.context, key), once, {"once": once})


def _everybody(office: Office) -> list[Any]:

    with office.context.db.read() as session:
        return person_rows(session)


def _state(office: Office) -> LineState:
    with office.context.db.read() as session:
        line = ship_line(session, VESSEL)
        assert line is not None
        return line.state


@pytest.mark.long
def test_the_new_life_goes_on(office: Office, ship: Ship) -> None:
    """Put back to an earlier change and gone on: parted until answered; then the mirror is the new life's, and the old one's later
    changes are listed and given back."""
    ship.change(("handover", "put", NOTE))
    office.send_all(ship)
    number = len(ship.changes) - 1
    before, other = office.rows(), _other_life(ship, number)
    for _ in range(2):
        answer = office.send(other.batch(number, number + 1))
        assert (answer.status_code, answer.json()["code"], answer.json()["number"]) == (409, "parted", number)
    assert office.send(ship.batch(number)).json()["code"] == "parted"
    assert office.rows() == before
    with pytest.raises(Refused, match="why"):
        answer_parted(office.context, _by_office(office), VESSEL, LifeAnswer.GOES_ON, " ")
    answered = answer_parted(
        office.context, _by_office(office, "two"), VESSEL, LifeAnswer.GOES_ON, "Her disk was put back"
    )
    assert answered.body["number"] == number
    assert office.rows()["handover"] == []
    assert office.send(other.batch(number + 1)).status_code == 200
    assert [row["text"] for row in office.rows()["handover"]] == ["Written in the other life"]
    headers = {"Authorization": f"Bearer {office.key(VESSEL)}"}
    given = office.client.get(f"/api/v1/ships/{VESSEL}/changes?life=first%20life&after={number}", headers=headers)
    assert given.status_code == 200
    with office.context.db.read() as session:
        (record,) = newest_records(session, INSTALLATION, "ship's lives parted, answered")
    assert "Her disk was put back" in record.text
    with pytest.raises(Clash, match="not parted"):
        answer_parted(office.context, _by_office(office, "three"), VESSEL, LifeAnswer.STRAY, "again")


def test_records_of_the_life_that_ended_are_listed(sqlite_office: Office, ship: Ship) -> None:
    """A life put back to its first half: each record after that is listed, and the history here is as short as aboard."""
    office = sqlite_office
    office.send_all(ship)
    records = len(office.rows()["record"])
    number = next(change.number for change in ship.changes if b'"record","put"' in change.body)
    assert office.send(_other_life(ship, number).batch(number, number + 1)).json()["number"] == number
    answer_parted(office.context, _by_office(office), VESSEL, LifeAnswer.GOES_ON, "Put back")
    assert len(office.rows()["record"]) == 1
    assert len(lost_records(office.context, SET_UP, VESSEL)) == records - 1


def test_a_stray_copy_loses_its_key(sqlite_office: Office, ship: Ship) -> None:
    """The same life with another history is found by its hash; answered as a stray copy its key ends, and the ship's own goes on."""
    office = sqlite_office
    office.send_all(ship)
    stray = people.add_key(office.context, SET_UP, role=Role.SHIP, label="a copy", vessel_id=VESSEL)
    copy = _other_life(ship, len(ship.changes) - 1, ship.life)
    answer = office.send(copy.batch(len(ship.changes)), by=stray)
    assert (answer.status_code, answer.json()["code"]) == (409, "parted")
    answer_parted(office.context, _by_office(office), VESSEL, LifeAnswer.STRAY, "A copy in the workshop")
    assert office.send(copy.batch(len(ship.changes)), by=stray).status_code == 401
    ship.change(("handover", "put", NOTE))
    assert office.send(ship.batch(len(ship.changes))).status_code == 200
    assert _state(office) is LineState.OPEN


def test_nobody_aboard_answers(sqlite_office: Office, ship: Ship) -> None:
    """It takes somebody of the office, known as a person: neither an admin nor the server's own command line."""
    office = sqlite_office
    office.send_all(ship)
    office.send(_other_life(ship, 20).batch(20, 21))
    with pytest.raises(NotAllowed):
        answer_parted(office.context, Hand(SET_UP, "one", {}), VESSEL, LifeAnswer.STRAY, "x")


def test_a_life_with_nothing_in_common_waits_for_its_rejoin(sqlite_office: Office, ship: Ship) -> None:
    """Where they part is not known from changes that the office never saw; the ship's server says it, and then it may go on."""
    office = sqlite_office
    office.send_all(ship)
    number = len(ship.changes) - 3
    other = _other_life(ship, number)
    other.change(("handover", "put", {**NOTE, "number": 2}))
    for _ in range(2):
        assert office.send(other.batch(number + 2)).json()["number"] is None
    with pytest.raises(Refused, match="rejoin"):
        answer_parted(office.context, _by_office(office), VESSEL, LifeAnswer.GOES_ON, "Put back")
    headers = {"Authorization": f"Bearer {office.key(VESSEL)}"}
    said = {"life": "second life", "number": number, "hash": ship.changes[number - 1].hash}
    answer = office.client.post(f"/api/v1/ships/{VESSEL}/rejoin", headers=headers, json=said)
    assert (answer.status_code, answer.json()["number"]) == (409, number)
    answer_parted(office.context, _by_office(office, "two"), VESSEL, LifeAnswer.GOES_ON, "Put back")
    assert office.send(other.batch(number + 1)).status_code == 200


def test_what_she_sent_gives_the_mirror_again(office: Office, ship: Ship) -> None:
    """Emptied and built anew from the batches that are kept, every row of truth is the same, byte for byte."""
    office.send_all(ship)
    before = office.rows()
    with office.context.db.write(VESSEL, writing=Writing.TAKING) as session:
        line = ship_line(session, VESSEL)
        assert line is not None
        line.state = LineState.ANEW
        session.add(line)
        session.flush()
        build_anew(session, VESSEL)
        line = session.merge(line)
        line.state = LineState.OPEN
    assert office.rows() == before
