"""A ship that writes aboard is read only at the office: through no door and by no timer anything is added to what she wrote."""

import re
from datetime import timedelta
from typing import Any

import pytest

from api.ics.writer import calendar_writer
from api.server.access import DOORS, NoRole
from scheduler.actions.base.actor import Actor
from scheduler.actions.care.rounds import nightly, plan_asked, watch_counters, write_behind
from scheduler.actions.feed.refresh import renew
from scheduler.actions.people import people
from scheduler.actions.record.chains import daily_walk
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from scheduler.errors import Clash
from scheduler.storage.database import INSTALLATION
from scheduler.storage.hours.counters import flag_rows
from scheduler.storage.record import append_record, chain_head
from scheduler.storage.shore.home import Writing
from scheduler.storage.summary import summary_lines
from scheduler.storage.work import HandoverRow
from tests.api.stage import AT
from tests.api.test_doors import BROWSER, WALKS
from tests.office.ship import SET_UP, Office, Ship

VESSEL = "demo-plover"


def _write(office: Office) -> None:
    writer = calendar_writer("http://testserver")
    write_behind(office.context, lambda vessel_id: renew(office.context, writer, vessel_id))


def _timers(office: Office) -> None:
    """Each tick, once."""
    _write(office)
    plan_asked(office.context)
    open_where_due(office.context)
    nightly(office.context)
    daily_walk(office.context)
    watch_counters(office.context, lambda _: None)
    _write(office)


def _people(office: Office) -> dict[Role, str]:
    """A key of somebody of each role of the installation."""
    keys = {}
    for role in (Role.OFFICE, Role.ADMIN):
        name = role.value
        people.add_person(
            office.context, SET_UP, person_id=name, name=f"Demo {name}", rank=name, role=role, vessel_id=None
        )
        keys[role] = people.add_key(office.context, SET_UP, role=role, label="test", person_id=role.value)
    return keys


@pytest.mark.long
def test_no_timer_adds_to_what_a_ship_wrote(office: Office, ship: Ship) -> None:
    """A month after she was last heard, with every tick run: her truth is the same rows, and her plants have summaries."""
    office.send_all(ship)
    before = office.rows()
    for days in (0, 1, 30, 400):
        office.clock.at = AT + timedelta(days=days)
        _timers(office)
    assert office.rows() == before
    with office.context.db.read() as session:
        assert [line.row.plant_id for line in summary_lines(session, VESSEL, skip=0, most=9) if line.row.text] == [
            "plover-plant"
        ]


@pytest.mark.long
def test_a_silent_link_makes_no_counter_silent(sqlite_office: Office, ship: Ship) -> None:
    """Her counters are judged as of when she was last heard, a month later too."""
    office = sqlite_office
    office.send_all(ship)
    _timers(office)
    with office.context.db.read() as session:
        before = [(row.counter_no, row.code, row.at_s) for row in flag_rows(session, VESSEL)]
    office.clock.at = AT + timedelta(days=30)
    _timers(office)
    with office.context.db.read() as session:
        assert [(row.counter_no, row.code, row.at_s) for row in flag_rows(session, VESSEL)] == before


@pytest.mark.long
def test_no_door_adds_to_what_a_ship_wrote(sqlite_office: Office, ship: Ship) -> None:
    """Every door of the walk, by everybody of the installation and by her own counter key: her truth stays the same rows."""
    office = sqlite_office
    office.send_all(ship)
    _timers(office)
    before, head = office.rows(), _head(office)
    keys = _people(office)
    keys[Role.COUNTER] = people.add_key(office.context, SET_UP, role=Role.COUNTER, label="test", vessel_id=VESSEL)
    read_only = 0
    for (method, path), walk in sorted(WALKS.items()):
        if isinstance(DOORS[method, path], NoRole) or "/ships/" in path:
            continue
        for role, key in keys.items():
            if role not in DOORS[method, path]:  # type: ignore[operator]
                continue
            headers = {"Authorization": f"Bearer {key}", "Idempotency-Key": f"{role} {path}", "If-Match": '"1"'}
            headers |= walk.headers
            answer = office.client.request(method, walk.path, headers=headers, json=walk.body and dict(walk.body))
            assert answer.status_code < 500 or answer.status_code == 503, (method, path, answer.text)
            read_only += "read only here" in answer.text
    assert read_only > 20
    assert (office.rows(), _head(office)) == (before, head)


def _head(office: Office) -> Any:
    with office.context.db.read() as session:
        return chain_head(session, VESSEL)


@pytest.mark.long
def test_her_pages_offer_no_form(sqlite_office: Office, ship: Ship) -> None:
    """Each page of hers says that it is read only and since when; its forms are about who looks, or ask of her."""
    office = sqlite_office
    office.send_all(ship)
    _timers(office)
    office.clock.at = AT + timedelta(days=5)
    _people(office)
    token = people.make_link(office.context, "office")
    assert office.client.post(f"/enter/{token}", follow_redirects=False).status_code == 303
    seen = 0
    for (method, path), walk in sorted(WALKS.items()):
        if method != "GET" or path.startswith("/api/") or not re.search("{(vessel|plant|pump)_id}", path):
            continue
        answer = office.client.get(walk.path, headers=BROWSER)
        if answer.status_code != 200 or "text/html" not in answer.headers["content-type"]:
            continue
        seen += 1
        assert "Not heard from since Tue 20 Oct" in answer.text.replace("\xa0", " "), path
        forms = re.findall(r'<form\b[^>]*method="post"[^>]*>', answer.text)
        assert all(re.search('action="/(sign-out|light)"|data-asks', form) for form in forms), (path, forms)
    assert seen > 12


@pytest.mark.long
def test_what_is_worked_out_writes_no_truth(sqlite_office: Office, ship: Ship) -> None:
    """The one place refuses: a writer of truth at once, a writer of what is worked out where it comes to it, a record always."""
    office = sqlite_office
    office.send_all(ship)
    db = office.context.db
    with pytest.raises(Clash, match="read only here"), db.write(VESSEL):
        pass
    note = HandoverRow(vessel_id=VESSEL, number=1, text="x", written_by_id="a", written_by="A", written_at=AT)
    with pytest.raises(Clash, match="read only here"), db.write(VESSEL, writing=Writing.WORKED_OUT) as session:
        session.add(note)
    with pytest.raises(Clash, match="read only here"), db.write(INSTALLATION) as session:
        append_record(session, VESSEL, "x", AT, {})


def test_what_happens_here_about_her_stands_on_the_offices_record(sqlite_office: Office, ship: Ship) -> None:
    """A key of a person of hers, made here, is on the installation's history; hers stays as she wrote it."""
    office = sqlite_office
    office.send_all(ship)
    head = _head(office)
    by = Actor("set up", "set up", Role.ADMIN)
    people.add_key(office.context, by, role=Role.COUNTER, label="test", vessel_id=VESSEL)
    assert _head(office) == head
