"""Two people are two people through every door: each door at which it takes two is walked with every way of being one."""

import hashlib
import itertools
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from sqlalchemy import select

from api.server.deps import COOKIE
from scheduler.actions.base.actor import Actor
from scheduler.actions.hours.ledger import derive_all
from scheduler.actions.people import people, sessions
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.domain.people.persons import Person
from scheduler.storage.database import INSTALLATION
from scheduler.storage.people import ApiKeyRow, key_row_by_prefix, person_row
from scheduler.storage.tables import METADATA
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, SHIPBOARD, Stage, staged, stamp
from tests.api.test_first_dates import forget
from tests.cli.calling import leadline
from tests.storage.stores import kinds, ready_url

pytestmark = pytest.mark.long
API, SHIP, PLANT = "/api/v1", "/api/v1/vessels/demo-plover", "/api/v1/plants/plover-plant"
SET_UP = Actor("set up", "set up", Role.ADMIN)
NUMBERS = itertools.count(1)
UNHEEDED = {"api_key": ("last_used_s",), "session": ("seen_s",)}
"""What is noted of who knocks, whatever comes of it."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way of coming to a door: as which person, and what is sent along."""

    name: str
    person: str
    role: Role
    headers: dict[str, str]


@dataclass(frozen=True, slots=True)
class Door:
    """A door at which it takes two. first: does the first half, and gives what does the second. both: a person whose role fits either
    half; second: another one whose role fits the second."""

    name: str
    first: Callable[[Stage, Way], Response]
    second: Callable[[Stage, Way, Response], Response]
    both: tuple[str, Role]
    other: tuple[str, Role]


@pytest.fixture(scope="module", params=kinds())
def aboard(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Stage, str]]:
    """The smaller ship on either database, with non-conformities to close, overhauls whose last time is not known, and the
    database's address."""
    folder: Path = tmp_path_factory.mktemp("two")
    with ready_url(request.param, folder) as url, staged(folder, (PLOVER,), url=url) as stage:
        stage.clock.at = AT + timedelta(days=60)
        open_where_due(stage.context)
        stage.clock.at = AT
        for kind in ("overhaul", "seal_inspection"):
            forget(stage, kind, critical=True)
        for person, name, role in (("mate", "Demo mate", Role.MASTER), ("desk", "Demo desk", Role.OFFICE)):
            _person(stage, person, name, role)
        yield stage, url


def _person(stage: Stage, person: str, name: str, role: Role) -> str:
    vessel = PLOVER.vessel if role in SHIPBOARD else None
    people.add_person(stage.context, SET_UP, person_id=person, name=name, rank="x", role=role, vessel_id=vessel)
    return person


def _where(role: Role) -> str:
    return PLOVER.vessel if role in SHIPBOARD else INSTALLATION


def by_key(stage: Stage, person: str, role: Role, row_has: dict[str, Any] | None = None) -> Way:
    """A new key of that person. row_has: members of its row, as no door of today would store them."""
    vessel = PLOVER.vessel if role in SHIPBOARD else None
    key = people.add_key(stage.context, SET_UP, role=role, label="k", vessel_id=vessel, person_id=person)
    if row_has:
        with stage.context.db.write(INSTALLATION) as session:
            row = key_row_by_prefix(session, key.split("_")[1])
            assert row is not None
            for name, value in row_has.items():
                setattr(row, name, value)
            session.add(row)
    return Way(f"key of {person} {row_has}", person, role, {"Authorization": f"Bearer {key}"})


def nobodys_key(stage: Stage, role: Role) -> Way:
    """A key made before keys belonged to people."""
    prefix, key = people.new_key()
    vessel = PLOVER.vessel if role in SHIPBOARD else None
    row = ApiKeyRow(prefix=prefix, sha256=sessions.hashed(key), vessel_id=vessel, role=role, label="old", created_at=AT)
    with stage.context.db.write(INSTALLATION) as session:
        session.add(row)
    return Way("nobody's key", "", role, {"Authorization": f"Bearer {key}"})


def by_session(
    stage: Stage, person: str, role: Role, proof: Proof = Proof.LINK, maker: tuple[str, Role] | None = None
) -> Way:
    """A new session of that person, at a browser of its own. maker: who made the link."""
    with stage.context.db.write(INSTALLATION) as session:
        row = person_row(session, _where(role), person)
        assert row is not None
        made = None if maker is None else person_row(session, _where(maker[1]), maker[0])
        by = None if made is None else Person(made.id, sessions.shown_name(made))
        secret = sessions.open_session(session, stage.context, row, proof, sessions.NO_BROWSER, by)
    signed = sessions.at_browser(stage.context, secret)
    assert signed is not None
    headers = {"Cookie": f"{COOKIE}={secret}", "X-CSRF-Token": signed.csrf}
    return Way(f"session of {person}, {proof.value}, link by {maker}", person, role, headers)


def send(stage: Stage, way: Way, method: str, path: str, body: Any = None, **headers: str) -> Response:
    """What that door answers who comes that way."""
    stage.client.cookies.clear()
    told = {**way.headers, "Idempotency-Key": f"two {next(NUMBERS)}", **headers}
    return stage.client.request(method, path, json=body, headers=told)


def stored(stage: Stage) -> dict[str, str]:
    """A digest of the rows of every table, with what whoever looks next would derive of what was stored before."""
    derive_all(stage.context)
    found = {}
    with stage.context.db.read() as session:
        for table in METADATA.sorted_tables:
            columns = [one for one in table.columns if one.name not in UNHEEDED.get(table.name, ())]
            rows = sorted(repr(tuple(row)) for row in session.connection().execute(select(*columns)))
            found[table.name] = hashlib.sha256("\n".join(rows).encode()).hexdigest()
    return found


def ask_concession(stage: Stage, way: Way) -> Response:
    body = {
        "from_at": stamp(AT),
        "to_at": stamp(AT + timedelta(days=2)),
        "minimum_swept_m3_per_h": 40,
        "reason": "few aboard",
    }
    return send(stage, way, "POST", f"{PLANT}/concessions", body)


def sign_concession(stage: Stage, way: Way, asked: Response, as_: str = "chief") -> Response:
    return send(stage, way, "POST", f"{PLANT}/concessions/{asked.json()['concession']}/signature", {"as": as_})


def half_signed(stage: Stage, way: Way) -> Response:
    """Asked by the engineer and signed for the chief engineer, on a ship whose second signer is the master."""
    held, etag = stage.document()
    for second in ("master", "hotel"):
        held["plants"][0]["second_signer"] = second
        put = stage.ask("PUT", SHIP, role=Role.OFFICE, json=held, headers={"If-Match": etag})
        assert put.status_code == 200, put.text
        if second == "master":
            asked = ask_concession(stage, by_key(stage, "engineer-plover", Role.ENGINEER))
        etag = put.headers["etag"]
    signed = sign_concession(stage, way, asked)
    return asked if signed.status_code == 200 else signed


def ask_postponement(stage: Stage, way: Way) -> Response:
    body = {"to_at": stamp(AT + timedelta(days=500)), "reason": "no part", "risk": "wear"}
    job = f"{API}/jobs/knife_inspection:plover-pump-b-knives:1"
    return send(stage, way, "POST", f"{job}/postponements", body)


def decide(stage: Stage, way: Way, asked: Response) -> Response:
    body = {"granted": False, "note": "do it"}
    return send(stage, way, "POST", f"{SHIP}/postponements/{asked.json()['postponement']}/decision", body)


def hand_over(stage: Stage, way: Way) -> Response:
    return send(stage, way, "POST", f"{SHIP}/handovers", {"text": "VP2 drips."})


def take_over(stage: Stage, way: Way, written: Response) -> Response:
    return send(stage, way, "POST", f"{SHIP}/handovers/{written.json()['handover']}/signature", {})


COUNTER = f"{API}/counters/plover-vp1-hours/events"


def take_hours(stage: Stage, way: Way) -> Response:
    body = {"kind": "adjustment", "at": stamp(AT - timedelta(hours=1)), "reason": "typed twice", "hours": -1}
    return send(stage, way, "POST", COUNTER, body)


def undo_hours(stage: Stage, way: Way) -> Response:
    """Hours that somebody else gave are to be taken back."""
    body = {"kind": "adjustment", "at": stamp(AT - timedelta(hours=1)), "reason": "log", "hours": 2}
    given = send(stage, by_key(stage, "engineer-plover", Role.ENGINEER), "POST", COUNTER, body)
    return send(stage, way, "POST", f"{COUNTER}/{given.json()['id']}/undo", {"reason": "not so"})


def confirm(stage: Stage, way: Way, asked: Response) -> Response:
    return send(stage, way, "POST", f"{COUNTER}/{asked.json()['id']}/confirm", {"reason": "seen"})


POINTS = f"{API}/pumps/plover-pump-b/points"


def say_point(stage: Stage, way: Way) -> Response:
    for one in stage.ask("GET", POINTS).json()["not_fitted"]:
        if one["state"] != "withdrawn":
            stage.ask("POST", f"{POINTS}/{one['not_fitted']}/withdrawal")
    return send(stage, way, "POST", POINTS, {"point": "suction valve", "reason": "not there"})


def sign_point(stage: Stage, way: Way, said: Response) -> Response:
    body = {"as": "master" if way.role is Role.MASTER else "office"}
    return send(stage, way, "POST", f"{POINTS}/{said.json()['not_fitted']}/signature", body)


def close(stage: Stage, way: Way) -> Response:
    stage.clock.at += timedelta(minutes=1)
    key = next(job["job"] for job in stage.due().values() if job["kind"] == "alarm_test")
    told = {"done_at": stamp(stage.clock.at), "done_by": "Demo Hand", "test": "passed"}
    answer = send(stage, way, "POST", f"{API}/jobs/{key}/close", told)
    stage.clock.at += timedelta(hours=1)
    return answer


def check(stage: Stage, way: Way, closed: Response) -> Response:
    return send(stage, way, "POST", f"{API}/jobs/{closed.json()['job']}/check")


def answer_nonconformity(stage: Stage, way: Way) -> Response:
    listed = stage.ask("GET", f"{SHIP}/non-conformities").json()["non_conformities"]
    number = next(one["non_conformity"] for one in listed if one["state"] != "closed")
    body = {"cause": "no hands", "corrective_action": "one more"}
    return send(stage, way, "POST", f"{SHIP}/non-conformities/{number}/answer", body)


def close_nonconformity(stage: Stage, way: Way, answered: Response) -> Response:
    return send(stage, way, "POST", f"{SHIP}/non-conformities/{answered.json()['non_conformity']}/close")


def _not_known(stage: Stage) -> str:
    return next(job["job"] for job in stage.due().values() if job["state"] == "last time not known")


def set_first_date(stage: Stage, way: Way) -> Response:
    body = {"on": f"{AT + timedelta(days=30):%Y-%m-%d}", "reason": "opened in dock"}
    return send(stage, way, "PUT", f"{API}/jobs/{_not_known(stage)}/first-date", body)


def agree_first_date(stage: Stage, way: Way, asked: Response) -> Response:
    return send(stage, way, "POST", f"{API}/jobs/{asked.json()['job']}/first-date/agreement")


def change_interval(stage: Stage, way: Way) -> Response:
    held, etag = stage.document()
    kind = next(one for one in held["plants"][0]["job_kinds"] if one["code"] == "overhaul")
    kind["interval_running_hours"] += 1
    path = f"{SHIP}?reason=tried&class_agreed=tried"
    return send(stage, way, "PUT", path, held, **{"If-Match": etag})


def approve(stage: Stage, way: Way, put: Response) -> Response:
    return send(stage, way, "POST", f"{SHIP}/versions/{put.json()['version']}/approval")


CHIEF, OFFICE, ENGINEER = ("chief-plover", Role.CHIEF), ("office", Role.OFFICE), ("engineer-plover", Role.ENGINEER)
DESK, MASTER, MATE = ("desk", Role.OFFICE), ("master-plover", Role.MASTER), ("mate", Role.MASTER)
DOORS = (
    Door("lower minimum, who asked", ask_concession, sign_concession, CHIEF, OFFICE),
    Door("lower minimum, other side", half_signed, lambda s, w, r: sign_concession(s, w, r, "master"), MASTER, MATE),
    Door("postponement", ask_postponement, decide, CHIEF, OFFICE),
    Door("handover", hand_over, take_over, CHIEF, ENGINEER),
    Door("hours taken away", take_hours, confirm, CHIEF, OFFICE),
    Door("hours given undone", undo_hours, confirm, CHIEF, OFFICE),
    Door("point not fitted", say_point, sign_point, OFFICE, MASTER),
    Door("job checked", close, check, CHIEF, ENGINEER),
    Door("non-conformity", answer_nonconformity, close_nonconformity, CHIEF, OFFICE),
    Door("first date, critical", set_first_date, agree_first_date, OFFICE, CHIEF),
    Door("change of the document", change_interval, approve, OFFICE, DESK),
)
NOBODY_RECORDS = {"job checked", "change of the document", "lower minimum, other side"}
"""Doors whose first half is a fact, which is taken from whoever records it; or is done by somebody else in the walk."""
IDS = [door.name for door in DOORS]


def _refused(stage: Stage, way: Way, act: Callable[[], Response]) -> None:
    before = stored(stage)
    answer = act()
    assert answer.status_code in (401, 403), (way.name, answer.status_code, answer.text)
    said = answer.json()["detail"]
    assert len(said) > 40, said
    assert stored(stage) == before, way.name


@pytest.mark.parametrize("door", DOORS, ids=IDS)
def test_no_way_of_one_person_is_two_people(aboard: tuple[Stage, str], door: Door) -> None:
    """Through two keys, two sessions, a key and a session; through a second account of the same name; by a link or key that the other
    side made, whichever comes first; by a PIN; by a key that is nobody's or says more than its person is."""
    stage, _ = aboard
    (both, role), (other, other_role) = door.both, door.other
    first = by_key(stage, both, role)
    done = door.first(stage, first)
    assert done.status_code < 300, done.text
    name = f"Demo {role.value}"
    twin = _person(stage, f"twin-{next(NUMBERS)}", name, other_role)
    made = {"made_by_id": both, "made_by": f"{name}, x"}
    ways = [
        first,
        by_key(stage, both, role),
        by_session(stage, both, role),
        by_session(stage, both, role, Proof.PASSPHRASE),
        by_key(stage, twin, other_role),
        by_session(stage, twin, other_role),
        by_key(stage, other, other_role, made),
        by_session(stage, other, other_role, maker=door.both),
        by_session(stage, other, other_role, Proof.PIN),
        nobodys_key(stage, other_role),
    ]
    if other_role is not Role.ENGINEER:
        above = by_key(stage, *ENGINEER, {"role": other_role, "vessel_id": None})
        ways.append(replace(above, role=other_role))
    for way in ways:
        _refused(stage, way, lambda way=way: door.second(stage, way, done))  # type: ignore[misc]
    good = door.second(stage, by_session(stage, other, other_role), done)
    assert good.status_code < 300, good.text


@pytest.mark.parametrize("door", DOORS, ids=IDS)
def test_a_first_half_by_a_session_is_no_other_persons_either(aboard: tuple[Stage, str], door: Door) -> None:
    """Asked at a browser, given by the own key; and asked by a link or key that the second side made, but another may."""
    stage, _ = aboard
    (both, role), (other, other_role) = door.both, door.other
    made = {"made_by_id": other, "made_by": "somebody"}
    for first, second in (
        (by_session(stage, both, role), by_key(stage, both, role)),
        (by_session(stage, both, role, maker=door.other), by_key(stage, other, other_role)),
        (by_key(stage, both, role, made), by_session(stage, other, other_role)),
    ):
        done = door.first(stage, first)
        assert done.status_code < 300, (first.name, done.text)
        _refused(stage, second, lambda second=second, done=done: door.second(stage, second, done))  # type: ignore[misc]
        proved = by_session(stage, both, role, Proof.PASSPHRASE)
        if door.name in ("postponement", "first date, critical", "lower minimum, other side"):
            third = by_key(
                stage, _person(stage, f"third-{next(NUMBERS)}", f"Demo third {next(NUMBERS)}", other_role), other_role
            )
            assert door.second(stage, third, done).status_code < 300
        else:
            again = door.first(stage, proved)
            assert again.status_code < 300, again.text
            assert door.second(stage, by_key(stage, other, other_role), again).status_code < 300


@pytest.mark.parametrize("door", DOORS, ids=IDS)
def test_nobody_known_does_neither_half(aboard: tuple[Stage, str], door: Door) -> None:
    """A key that belongs to no person, however much it may, reads and records; it asks for nothing that takes two."""
    stage, _ = aboard
    key = nobodys_key(stage, door.both[1])
    stage.due()
    assert send(stage, key, "GET", SHIP).status_code == 200
    if door.name in NOBODY_RECORDS:
        return
    if door.first is undo_hours:
        answer = undo_hours(stage, key)
        assert answer.status_code == 403
        return
    if door.first is say_point:
        for one in stage.ask("GET", POINTS).json()["not_fitted"]:
            stage.ask("POST", f"{POINTS}/{one['not_fitted']}/withdrawal")
    _refused(stage, key, lambda: door.first(stage, key))
    by_pin = by_session(stage, *door.both, Proof.PIN)
    _refused(stage, by_pin, lambda: door.first(stage, by_pin))


def test_what_nobody_known_put_in_a_document_is_nobodys_to_approve(aboard: tuple[Stage, str]) -> None:
    """Who stored it cannot be told apart from who would approve."""
    stage, _ = aboard
    put = change_interval(stage, nobodys_key(stage, Role.OFFICE))
    assert put.status_code == 200
    key = by_key(stage, *OFFICE)
    before = stored(stage)
    answer = approve(stage, key, put)
    assert (answer.status_code, stored(stage)) == (403, before)
    assert "Nobody knows which person" in answer.json()["detail"]


SIGNED_AS: tuple[
    tuple[str, Callable[[Stage, Way, Response], Response], Callable[[Stage, Way], Response], set[Role]], ...
] = (
    ("chief", sign_concession, ask_concession, {Role.CHIEF, Role.OFFICE, Role.MASTER}),
    ("hotel", lambda s, w, r: sign_concession(s, w, r, "hotel"), ask_concession, {Role.HOTEL}),
    ("office", lambda s, w, r: sign_point(s, replace(w, role=Role.OFFICE), r), say_point, {Role.OFFICE}),
    ("master", lambda s, w, r: sign_point(s, replace(w, role=Role.MASTER), r), say_point, {Role.MASTER}),
    ("decides", decide, ask_postponement, {Role.CHIEF, Role.OFFICE, Role.MASTER}),
    ("confirms", confirm, take_hours, {Role.CHIEF, Role.OFFICE}),
    ("takes over", take_over, hand_over, {Role.ENGINEER, Role.CHIEF}),
    ("closes", close_nonconformity, answer_nonconformity, {Role.CHIEF, Role.OFFICE}),
    ("approves", approve, change_interval, {Role.OFFICE}),
)


@pytest.mark.parametrize(("as_", "sign", "ask", "fit"), SIGNED_AS, ids=[one[0] for one in SIGNED_AS])
def test_nobody_signs_as_what_they_are_not(
    aboard: tuple[Stage, str],
    as_: str,
    sign: Callable[[Stage, Way, Response], Response],
    ask: Callable[[Stage, Way], Response],
    fit: set[Role],
) -> None:
    """Not as hotel, chief, master or office, not by key and not in a session; who keeps the installation signs nothing."""
    stage, _ = aboard
    asker = _person(
        stage, f"asker-{next(NUMBERS)}", f"Demo asker {next(NUMBERS)}", Role.OFFICE if as_ == "approves" else Role.CHIEF
    )
    asked = ask(stage, by_key(stage, asker, Role.OFFICE if as_ == "approves" else Role.CHIEF))
    assert asked.status_code < 300, asked.text
    for role in (one for one in Role if one not in {Role.COUNTER, Role.SHIP, Role.CHIEF_OFFICER} | fit):
        person = role.value if role not in SHIPBOARD else f"{role.value}-plover"
        for way in (by_key(stage, person, role), by_session(stage, person, role)):
            _refused(stage, way, lambda way=way: sign(stage, way, asked))  # type: ignore[misc]
    role = sorted(fit)[0]
    person = _person(stage, f"fit-{next(NUMBERS)}", f"Demo fit {next(NUMBERS)}", role)
    assert sign(stage, by_key(stage, person, role), asked).status_code < 300


def test_a_name_typed_is_nobodys_signature(aboard: tuple[Stage, str]) -> None:
    """By API and page: refused at the field, in words, with nothing stored."""
    stage, _ = aboard
    asked = ask_concession(stage, by_key(stage, *ENGINEER)).json()["concession"]
    chief, office = by_session(stage, *CHIEF), by_session(stage, *OFFICE)
    for path, body in (
        (f"{PLANT}/concessions/{asked}/signature", {"as": "chief", "master": "D. Master"}),
        (f"{PLANT}/concessions/{asked}/signature", {"as": "hotel", "name": "B. Hotel"}),
        (f"{POINTS}/1/signature", {"as": "master", "name": "D. Master"}),
        (f"{SHIP}/postponements/1/decision", {"granted": True, "master": "D. Master"}),
    ):
        before = stored(stage)
        answer = send(stage, office if path.startswith(POINTS) else chief, "POST", path, body)
        assert (answer.status_code, stored(stage)) == (422, before)
        assert "nobody signs for another" in answer.json()["errors"][0]["detail"]
    held, etag = stage.document()
    named = send(stage, by_key(stage, *OFFICE), "PUT", f"{SHIP}?approved_by=N.+Ashore", held, **{"If-Match": etag})
    assert (named.status_code, named.json()["errors"][0]["pointer"]) == (422, "/approved_by")
    put_off = ask_postponement(stage, by_key(stage, *ENGINEER))
    number = str(put_off.json()["postponement"])
    form = {"csrf": chief.headers["X-CSRF-Token"], "idempotency_key": "x", "number": str(asked)}
    for page, told in (
        ("/plants/plover-plant/minimum", {"do": "chief", "master": "D. Master"}),
        ("/plants/plover-plant/minimum", {"do": "hotel", "name": "B. Hotel"}),
        (
            f"/vessels/demo-plover/decide/{number}",
            {"master": "D. Master", "granted": "yes"},
        ),
    ):
        before = stored(stage)
        answer = stage.client.post(page, data={**form, **told}, headers={"Cookie": chief.headers["Cookie"]})
        assert (answer.status_code, stored(stage)) == (422, before)
        assert "nobody signs for another" in answer.text
    assert decide(stage, chief, put_off).status_code == 200


def test_at_the_command_line_nobody_is_known_but_by_the_own_key(aboard: tuple[Stage, str], tmp_path: Path) -> None:
    """No name, no side and no person's id stands for a key; with the own key it is the same person as on a page."""
    stage, url = aboard
    event = take_hours(stage, by_session(stage, *CHIEF)).json()["id"]
    job = _not_known(stage)
    base = ("--database", url)
    until = stamp(AT + timedelta(days=3000))
    old = tmp_path / "old.key"
    old.write_text(nobodys_key(stage, Role.CHIEF).headers["Authorization"].removeprefix("Bearer "))
    own = tmp_path / "own.key"
    own.write_text(by_key(stage, *CHIEF).headers["Authorization"].removeprefix("Bearer "))
    hand = tmp_path / "hand.key"
    hand.write_text(by_key(stage, *ENGINEER).headers["Authorization"].removeprefix("Bearer "))
    now = datetime.now(UTC)
    times = f"--from {now.isoformat()} --to {(now + timedelta(days=1)).isoformat()}"
    ask = f"concession ask plover-plant {times} --minimum 40 --reason x"
    asked = leadline(*base, "--key-file", str(hand), *ask.split(), "--json")
    written = json.loads(asked.stdout)["concession"]
    confirm_it = f"counter confirm plover-vp1-hours {event}"
    for words, code, says in (
        (f"{confirm_it} --as chief-plover", 2, "--as"),
        (confirm_it, 1, "takes a person"),
        (f"--key-file {old} {confirm_it}", 1, "belongs to no person"),
        (f"--key-file {own} {confirm_it}", 1, "cannot confirm it"),
        (f"--key-file {tmp_path / 'none'} {confirm_it}", 1, "cannot be read"),
        (f"concession sign plover-plant {written} --as hotel --by B", 2, "--by"),
        (f"concession sign plover-plant {written} --as hotel", 1, "takes a person"),
        (f"--key-file {own} concession sign plover-plant {written} --as hotel", 1, "whose role is hotel"),
        (ask, 1, "takes a person"),
        ("counter adjust plover-vp2-hours --hours -4 --reason log --at 2026-10-20T06:00:00Z", 1, "takes a person"),
        ("postpone decide demo-plover 1 --refuse --by A", 2, "--by"),
        ("postpone decide demo-plover 1 --refuse --note x", 1, "takes a person"),
        (f"postpone ask {job} --to {until} --reason x --risk y", 1, "takes a person"),
        ("nonconformity answer demo-plover 1 --cause a --action b", 1, "takes a person"),
        ("nonconformity close demo-plover 1", 1, "takes a person"),
        ("handover write demo-plover --text x", 1, "takes a person"),
        (f"job first-date {job} 2099-01-01 --reason x", 1, "takes a person"),
        (f"job first-date-agree {job}", 1, "takes a person"),
        ("vessel approve demo-plover 2", 1, "takes a person"),
    ):
        before = stored(stage)
        told = leadline(*base, *words.split())
        assert (told.returncode, stored(stage)) == (code, before), (words, told.stderr)
        assert says in told.stderr, (words, told.stderr)
    office = tmp_path / "office.key"
    office.write_text(by_key(stage, *OFFICE).headers["Authorization"].removeprefix("Bearer "))
    good = leadline(*base, *confirm_it.split(), LEADLINE_KEY_FILE=str(office))
    assert good.returncode == 0, good.stderr
