"""Check 6: what the office asks goes down with an answer to her server, is done aboard or refused there, and its words come back."""

import re
import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from html import unescape
from itertools import count
from typing import Any

import pytest
import uvicorn

from api.server.office_calls import OfficeClient
from scheduler.actions.people import people
from scheduler.actions.plan.fleet import Came, PlantPlan, plan_many, stored_plant_plan
from scheduler.actions.plan.planning import propose
from scheduler.actions.shore.applying import fetched_numbers, take_in
from scheduler.actions.shore.joining import join_office
from scheduler.actions.shore.sending import NotReached, OfficeCall, OfficeReply, Sending
from scheduler.domain.base.enums import Role
from scheduler.errors import Clash
from scheduler.storage.plan import PlanStatus, plan_row
from scheduler.storage.shore.lines import shore_line
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, staged, stamp
from tests.office.ship import SET_UP, Office, Ship, aboard, truth_rows

VESSEL, JOB = PLOVER.vessel, "knife_inspection:plover-pump-b-knives:1"
API = f"/api/v1/vessels/{VESSEL}"


@pytest.fixture
def own_stage(tmp_path: Any) -> Any:
    """A ship of this test's own, with a postponement that waits."""
    with staged(tmp_path, (PLOVER,)) as stage:
        body = {"to_at": stamp(stage.clock.at.replace(year=2028)), "reason": "no part", "risk": "wear"}
        assert stage.ask("POST", f"/api/v1/jobs/{JOB}/postponements", json=body).status_code == 201
        yield stage


def desk(office: Office) -> dict[str, str]:
    """Headers of a person of the office."""
    people.add_person(
        office.context, SET_UP, person_id="super", name="Demo Super", rank="x", role=Role.OFFICE, vessel_id=None
    )
    key = people.add_key(office.context, SET_UP, role=Role.OFFICE, label="k", person_id="super")
    return {"Authorization": f"Bearer {key}"}


def post(office: Office, headers: dict[str, str], body: dict[str, Any], once: str) -> Any:
    return office.client.post(f"{API}/requests", json=body, headers={**headers, "Idempotency-Key": once})


def stages(office: Office, headers: dict[str, str]) -> list[str]:
    """What the office says of each, oldest first."""
    asked = office.client.get(f"{API}/requests", headers=headers).json()["asked"]
    return [one["says"] for one in reversed(asked)]


def sail(office: Office, ship: Ship, stage: Stage, before: dict[str, list[dict[str, Any]]], **said: Any) -> Any:
    """What changed aboard since is sent, as her server would; the answer."""
    now = truth_rows(stage.context.db, VESSEL)
    rows = [
        (name, "put", row) for name, some in now.items() for row in some if name != "person" and row not in before[name]
    ]
    first = len(ship.changes) + 1
    ship.change(*rows)
    answer = office.send(ship.batch(first, **said))
    assert answer.status_code == 200, answer.text
    return answer.json()


@pytest.mark.long
def test_a_request_goes_down_and_what_came_of_it_comes_up(office: Office, own_stage: Stage) -> None:
    """Sent, fetched, done with the ship's record; a second decision comes back with the ship's own words; the mirror is her rows."""
    ship, before = aboard(own_stage)
    office.send_all(ship)
    who = desk(office)
    yes = {"what": "decide postponement", "postponement": 1, "granted": True, "note": "part comes"}
    assert [post(office, who, yes, str(n)).status_code for n in range(2)] == [201, 201]
    assert stages(office, who) == ["sent, not fetched yet"] * 2
    before = truth_rows(own_stage.context.db, VESSEL)
    body = {"name": "knife set", "aboard": 2}
    assert own_stage.ask("POST", "/api/v1/plants/plover-plant/parts", json=body).status_code == 200
    down = sail(office, ship, own_stage, before)["requests"]
    assert [one["number"] for one in down] == [1, 2]
    assert stages(office, who) == ["sent, not fetched yet"] * 2
    before = truth_rows(own_stage.context.db, VESSEL)
    take_in(own_stage.context, VESSEL, down)
    with own_stage.context.db.read() as session:
        answered = fetched_numbers(session, VESSEL)
    assert sail(office, ship, own_stage, before, answered=answered)["requests"] == []
    done, refused = stages(office, who)
    assert re.fullmatch(r"done, record \d+", done)
    assert refused == "refused: Postponement 1 was granted already, by Demo Super, x"
    own = aboard(own_stage)[1]
    assert office.rows() == own
    granted = own_stage.ask("GET", f"{API}/postponements").json()["postponements"][0]
    assert (granted["state"], granted["decided_by"]) == ("granted", "Demo Super, x")


def test_fetched_is_said_before_the_outcome_is_heard(sqlite_office: Office, own_stage: Stage) -> None:
    """The numbers that her server says it has are not handed down again."""
    office = sqlite_office
    ship = aboard(own_stage)[0]
    office.send_all(ship)
    who = desk(office)
    ask = {"what": "set part date", "job": JOB, "from_on": "2026-12-12", "version": 0}
    assert post(office, who, ask, "one").status_code == 201
    last = len(ship.changes)
    again = office.send(ship.batch(last, last)).json()["requests"]
    assert [one["number"] for one in again] == [1]
    assert office.send(ship.batch(last, last, answered=(1,))).json()["requests"] == []
    assert stages(office, who) == ["fetched"]


@pytest.mark.long
def test_her_page_at_the_office_asks(sqlite_office: Office, own_stage: Stage) -> None:
    """On the page of a postponement the office decides, and it is sent to her; nothing is decided here. Another figure as well."""
    office = sqlite_office
    office.send_all(aboard(own_stage)[0])
    desk(office)
    token = people.make_link(office.context, "super")
    assert office.client.post(f"/enter/{token}", follow_redirects=False).status_code == 303
    for page, typed in (
        (f"/vessels/{VESSEL}/decide/1", {"granted": "yes"}),
        (
            f"/vessels/{VESSEL}/requests",
            {"do": "figure", "path": "plover-plant//minimum_swept_m3_per_h", "value": "41", "reason": "few aboard"},
        ),
    ):
        text = office.client.get(page).text
        forms = [one for one in re.findall(r"<form\b.*?</form>", text, re.DOTALL) if "data-asks" in one]
        assert forms, page
        hidden = dict(
            re.findall(r'<input type="hidden" name="(csrf|idempotency_key|version)" value="([^"]*)"', forms[-1])
        )
        sent = office.client.post(page, data={**hidden, **typed}, follow_redirects=False)
        assert sent.headers["location"] == f"/vessels/{VESSEL}/requests?done=sent", unescape(sent.text)[:500]
    seen = unescape(office.client.get(f"/vessels/{VESSEL}/requests").text)
    assert "Postponement 1: yes" in seen
    assert seen.count("sent, not fetched yet") == 2
    assert [row["granted"] for row in truth_rows(office.context.db, VESSEL)["postponement"]] == [None]


@pytest.mark.long
def test_hours_and_part_dates_are_asked_from_her_pages(sqlite_office: Office, own_stage: Stage) -> None:
    """Hours that wait for another person, and the date of a job's parts: a form on her page sends a request, nothing is done here; a
    form that comes back keeps what was typed and offers nothing that would be written here."""
    body = {"kind": "adjustment", "at": stamp(own_stage.clock.at), "reason": "typed twice", "hours": -1}
    event = own_stage.ask("POST", "/api/v1/counters/plover-vp1-hours/events", json=body).json()["id"]
    office = sqlite_office
    office.send_all(aboard(own_stage)[0])
    before = office.rows()
    desk(office)
    token = people.make_link(office.context, "super")
    assert office.client.post(f"/enter/{token}", follow_redirects=False).status_code == 303
    job = f"/vessels/{VESSEL}/jobs/{JOB}"
    for page, action, typed in (
        (
            f"/vessels/{VESSEL}/counters",
            "/counters/plover-vp1-hours/answers",
            {"what": "confirm", "event": event, "reason": "seen"},
        ),
        (job, f"{job}/part-date", {"do": "set", "from_on": "2026-12-12", "note": "by the agent"}),
    ):
        text = office.client.get(page).text
        forms = re.findall(r'<form\b[^>]*method="post"[^>]*>.*?</form>', text, re.DOTALL)
        (form,) = (one for one in forms if f'action="{action}' in one)
        assert "data-asks" in form
        hidden = dict(re.findall(r'name="(csrf|idempotency_key|version)" value="([^"]*)"', form))
        sent = office.client.post(action, data={**hidden, **typed}, follow_redirects=False)
        assert sent.headers["location"] == f"/vessels/{VESSEL}/requests?done=sent", unescape(sent.text)[:500]
    wrong = office.client.post(
        f"{job}/part-date", data={**hidden, "do": "set", "from_on": "2026-13-40", "note": "kept"}
    )
    assert (wrong.status_code, 'value="kept"' in wrong.text) == (422, True)
    posts = re.findall(r'<form\b[^>]*method="post"[^>]*>', wrong.text)
    assert all(re.search('action="/(sign-out|light)"|data-asks', one) for one in posts)
    seen = unescape(office.client.get(f"/vessels/{VESSEL}/requests").text)
    assert seen.count("sent, not fetched yet") == 2
    assert "Hours taken away: confirmed" in seen
    assert office.rows() == before


@pytest.mark.long
def test_no_plan_of_hers_is_made_here(sqlite_office: Office, own_stage: Stage) -> None:
    """Asked by page, by API and by the command of the whole fleet: refused or left out in words, and no plan is stored."""
    office = sqlite_office
    office.send_all(aboard(own_stage)[0])
    who = desk(office)
    plant = "plover-plant"
    refused = office.client.post(f"/api/v1/plants/{plant}/plan/previews", headers={**who, "Idempotency-Key": "p"})
    assert (refused.status_code, "read only here" in refused.json()["detail"]) == (409, True)
    with pytest.raises(Clash, match="read only here"):
        propose(office.context, VESSEL, plant)
    told: list[PlantPlan] = []
    plan_many(office.context, [(VESSEL, plant)], 1, told.append)
    assert [one.came for one in (*told, stored_plant_plan(office.context, VESSEL, plant))] == [Came.ABOARD] * 2
    with office.context.db.read() as session:
        assert plan_row(session, VESSEL, plant, PlanStatus.PROPOSED) is None


@pytest.mark.long
def test_over_http_through_cuts(office: Office, own_stage: Stage, tmp_path: Any) -> None:
    """Her sender and the office's server on a socket: joined, a request down, its outcome up, with every other answer lost."""
    who = desk(office)
    key_file = tmp_path / "office.key"
    key_file.write_text(office.key(VESSEL))
    ship = own_stage.context
    with serving(office.client.app) as url, closing(OfficeClient(own_stage.clock)) as client:
        calls = count()

        def cut(call: OfficeCall) -> OfficeReply:
            reply = client(call)
            if next(calls) % 2:
                raise NotReached("cut off")
            return reply

        sending = Sending(ship, cut, chance=lambda: 0.0)

        def until_heard() -> None:
            for _ in range(200):
                own_stage.clock.at += timedelta(hours=7)
                office.clock.at = own_stage.clock.at
                sending.turn()
                with ship.db.read() as session:
                    line = shore_line(session, VESSEL)
                if line is not None and line.acknowledged == line.number:
                    return
            raise AssertionError("the line is not through")

        join_office(ship, VESSEL, url, key_file)
        until_heard()
        yes = {"what": "decide postponement", "postponement": 1, "granted": True, "note": "part comes"}
        assert [post(office, who, yes, str(n)).status_code for n in range(2)] == [201, 201]
        for _ in range(4):
            until_heard()
        done, refused = stages(office, who)
        assert re.fullmatch(r"done, record \d+", done)
        assert refused.startswith("refused: Postponement 1 was granted already")
        assert office.rows() == aboard(own_stage)[1]


@contextmanager
def serving(application: Any) -> Iterator[str]:
    """Its address, served on loopback."""
    sock = socket.socket()
    sock.bind(("127.0.0.1", 0))
    sock.listen()
    server = uvicorn.Server(uvicorn.Config(application, log_config=None, access_log=False, lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
    thread.start()
    started = threading.Event()
    while not server.started:
        started.wait(0.02)
    try:
        yield f"http://127.0.0.1:{sock.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        sock.close()
