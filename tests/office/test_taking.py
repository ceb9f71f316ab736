"""The office's door: what a ship wrote is taken once, whole and in order, or refused in words with nothing stored."""

import gzip
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest

from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.domain.record.chain import chain_hash
from scheduler.domain.shore.frame import PACKED_BYTES, ChangeBatch, pack
from scheduler.domain.shore.taking import raised_rows
from scheduler.storage.shore.ships import batch_rows, ship_line
from tests.api.stage import AT, Stage, stamp
from tests.office.ship import NOTE, SET_UP, Line, Office, Ship, aboard


def _held(office: Office, vessel_id: str) -> tuple[int, int]:
    """(number held, batches kept)."""
    with office.context.db.read() as session:
        line = ship_line(session, vessel_id)
        return (line.number if line else 0), len(batch_rows(session, vessel_id))


def test_all_her_truth_arrives(office: Office, ship: Ship, stage: Stage) -> None:
    """Every row of every table of truth stands at the office as it stands aboard, and sent again it is stored once."""
    office.send_all(ship)
    assert office.rows() == aboard(stage)[1]
    held = _held(office, ship.vessel_id)
    office.send_all(ship)
    assert _held(office, ship.vessel_id) == held
    assert held[0] == len(ship.changes)


def test_eight_at_once_store_it_once(office: Office, ship: Ship) -> None:
    """Eight threads posting the same batch are all answered with the same number, and it stands once."""
    batch = ship.batch()
    office.key(ship.vessel_id)
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: office.send(batch), range(8)))
    assert {answer.status_code for answer in answers} <= {200, 503}
    assert {answer.json()["number"] for answer in answers if answer.status_code == 200} == {len(ship.changes)}
    assert _held(office, ship.vessel_id) == (len(ship.changes), 1)


def _refused(office: Office, ship: Ship, batch: ChangeBatch | bytes, status: int, code: str, **more: Any) -> str:
    """The answer's words, once it is seen that nothing was stored."""
    before = office.rows()
    answer = office.send(batch, to=ship.vessel_id)
    assert (answer.status_code, answer.json().get("code")) == (status, code), answer.text
    assert {name: answer.json().get(name) for name in more} == more
    assert office.rows() == before
    return str(answer.json()["detail"])


def _change(ship: Ship, *rows: Line) -> ChangeBatch:
    """The one change more, sent alone."""
    ship.change(*rows)
    return ship.batch(len(ship.changes))


def test_what_is_left_out_or_changed_on_the_way_is_refused(office: Office, ship: Ship) -> None:
    """A change left out, a byte flipped, half a frame: nothing is stored, and the batch as it was goes in after that."""
    whole = ship.batch()
    fewer = replace(whole, changes=whole.changes[:5] + whole.changes[6:], ends=whole.ends - 1)
    assert "chain does not hold" in _refused(office, ship, fewer, 422, "broken")
    frame = pack(whole)
    _refused(office, ship, frame[: len(frame) // 2], 422, "broken")
    for place in (3, 30, len(frame) // 2, len(frame) - 3):
        flipped = frame[:place] + bytes([frame[place] ^ 0x10]) + frame[place + 1 :]
        answer = office.send(flipped)
        assert answer.status_code in (413, 422), answer.text
        assert _held(office, ship.vessel_id) == (0, 0)
    assert office.send(whole).status_code == 200


@pytest.mark.long
def test_a_bomb_is_refused_by_its_size(sqlite_office: Office, ship: Ship) -> None:
    """A frame too large as it is, and one that would become too large, are both 413 with nothing stored."""
    assert "larger than" in _refused(sqlite_office, ship, bytes(PACKED_BYTES + 1), 413, "broken")
    packed = gzip.compress(bytes(40_000_000), 9)
    assert len(packed) <= PACKED_BYTES
    _refused(sqlite_office, ship, packed, 413, "broken")


def test_a_gap_names_where_to_go_on(office: Office, ship: Ship) -> None:
    """What begins after what is held is answered with number and hash of what is held; just after it is taken."""
    office.send(ship.batch(1, 10))
    held = {"number": 10, "hash": ship.changes[9].hash}
    _refused(office, ship, ship.batch(12, 15), 409, "gap", **held)
    assert office.send(ship.batch(11, 15)).json() == {"number": 15, "hash": ship.changes[14].hash, "requests": []}
    assert office.send(ship.batch(8, 20)).json()["number"] == 20
    assert office.send(ship.batch(3, 9)).json()["number"] == 20


def test_a_record_out_of_the_chain_is_refused(office: Office, ship: Ship) -> None:
    """A record with another hash, another number or another one before it: refused with the change's number, nothing stored."""
    office.send_all(ship)
    last = office.rows()["record"][-1]
    text = json.dumps({"kind": "walked", "number": last["number"] + 1})
    good = {**last, "number": last["number"] + 1, "previous_hash": last["hash"], "text": text}
    good["hash"] = chain_hash(text, last["hash"])
    for wrong in ({"hash": "0" * 64}, {"number": last["number"] + 2}, {"previous_hash": "0" * 64}, {"text": "{}"}):
        other = Ship(ship.vessel_id, ship.life, list(ship.changes))
        batch = _change(other, ("record", "put", {**good, **wrong}))
        _refused(office, other, batch, 422, "record chain", number=len(other.changes))
    assert office.send(_change(ship, ("record", "put", good))).status_code == 200


def test_ids_are_one_ships(office: Office, ship: Ship, stage: Stage) -> None:
    """A document with an id of another vessel, and another ship's counter: 409 names both ships, nothing is stored."""
    office.send_all(ship)
    avocet, rows = aboard(stage, "demo-avocet")
    document = rows["vessel"][0]["document"].replace("avocet-pump-a", "plover-pump-a")
    thief = Ship("demo-avocet")
    thief.change(("vessel", "put", {**rows["vessel"][0], "document": document}))
    before = office.rows(), office.rows("demo-avocet")
    for _ in range(2):
        answer = office.send(thief.batch(), to="demo-avocet")
        assert (answer.status_code, answer.json()["code"]) == (409, "foreign")
        assert all(name in answer.json()["detail"] for name in ("demo-avocet", "Demo Plover"))
    counter = {**rows["counter"][0], "id": "plover-vp1-hours"}
    thief = Ship("demo-avocet")
    thief.change(("vessel", "put", rows["vessel"][0]), ("counter", "put", counter))
    assert office.send(thief.batch(), to="demo-avocet").json()["code"] == "foreign"
    assert (office.rows(), office.rows("demo-avocet")) == before
    office.send_all(avocet)


def test_a_key_is_good_for_its_own_ship(office: Office, ship: Ship) -> None:
    """Another ship's key finds no such ship, and her own key brings nothing that says it is another's."""
    other = office.key("demo-avocet")
    assert office.send(ship.batch(), by=other).status_code == 404
    _refused(office, ship, replace(ship.batch(), vessel_id="demo-avocet"), 422, "other ship")
    stranger = Ship(ship.vessel_id)
    stranger.change(("vessel", "put", {**json.loads(ship.changes[0].body)["rows"][0][2], "id": "demo-avocet"}))
    _refused(office, stranger, stranger.batch(), 422, "other ship")
    forged = Ship(ship.vessel_id, ship.life, list(ship.changes))
    office.send_all(ship)
    note = {"vessel_id": "demo-avocet", **NOTE}
    _refused(office, forged, _change(forged, ("handover", "put", note)), 422, "row")


def test_an_older_ship_passes_and_a_newer_one_is_refused(office: Office, ship: Ship) -> None:
    """A step of an older program is known here; one that is not known is newer: the office is upgraded first."""
    assert "upgraded first" in _refused(office, ship, replace(ship.batch(), schema="v9999"), 409, "newer")
    assert office.send(replace(ship.batch(), schema="v0034")).status_code == 200


def test_rows_of_an_older_step_are_raised() -> None:
    """Each step that changes what travels has a raiser: rows written before it go through it, those written at it or after do not."""

    def renamed(table: str, act: str, values: dict[str, Any]) -> list[Line]:
        return [(table, act, {("says" if name == "text" else name): value for name, value in values.items()})]

    def doubled(table: str, act: str, values: dict[str, Any]) -> list[Line]:
        return [(table, act, values), ("copy", act, values)]

    raisers = {"v0041": doubled, "v0040": renamed}
    old: list[Line] = [("note", "put", {"number": 1, "text": "x"})]
    assert raised_rows(old, "v0039", raisers) == [
        (table, "put", {"number": 1, "says": "x"}) for table in ("note", "copy")
    ]
    assert raised_rows(old, "v0040", raisers) == [
        (table, "put", {"number": 1, "text": "x"}) for table in ("note", "copy")
    ]
    assert raised_rows(old, "v0041", raisers) == old


def test_a_vessel_written_at_the_office_takes_nothing(office: Office, ship: Ship, stage: Stage) -> None:
    """A vessel that was set up here has one place to be written in."""
    document, _ = stage.document()
    keys = {}
    for role in (Role.OFFICE,):
        people.add_person(
            office.context, SET_UP, person_id="office", name="Demo office", rank="office", role=role, vessel_id=None
        )
        keys[role] = people.add_key(office.context, SET_UP, role=role, label="test", person_id="office")
    headers = {"Authorization": f"Bearer {keys[Role.OFFICE]}", "If-None-Match": "*"}
    assert office.client.put(f"/api/v1/vessels/{ship.vessel_id}", headers=headers, json=document).status_code == 201
    _refused(office, ship, ship.batch(), 409, "home")


@pytest.mark.parametrize(
    "values",
    [
        {"number": 2**63},
        {"number": 1e308},
        {"text": "a\0b"},
        {"text": {"a": 1}},
        {"text": None},
        {"written_s": "yesterday"},
        {"unknown": 1},
    ],
    ids=str,
)
def test_no_value_makes_the_door_fail(office: Office, ship: Ship, values: dict[str, Any]) -> None:
    """A row that fits no table is refused with the number of its change; after it the ship goes on."""
    office.send(ship.batch(1, 3))
    bad = Ship(ship.vessel_id, ship.life, ship.changes[:3])
    answer = office.send(_change(bad, ("handover", "put", {**NOTE, **values})))
    if answer.status_code != 200:  # SQLite takes some of them as they are
        assert (answer.status_code, answer.json()["code"], answer.json()["number"]) == (422, "row", 4), answer.text
        assert office.send(ship.batch(4)).status_code == 200


def test_the_head_says_how_far_and_when(sqlite_office: Office, ship: Ship) -> None:
    """Before anything was taken: nothing, never heard; then the number, the hash and when."""
    headers = {"Authorization": f"Bearer {sqlite_office.key(ship.vessel_id)}"}
    path = f"/api/v1/ships/{ship.vessel_id}/head"
    before = sqlite_office.client.get(path, headers=headers).json()
    assert (before["number"], before["heard_at"]) == (0, None)
    sqlite_office.send_all(ship)
    after = sqlite_office.client.get(path, headers=headers)
    assert after.status_code == 200
    assert after.json() | {"hash": ""} == {
        "vessel": ship.vessel_id,
        "life": ship.life,
        "number": len(ship.changes),
        "hash": "",
        "state": "open",
        "heard_at": stamp(AT),
    }
