"""The office sees how each ship's line stands, and answers by page, API and command where two lives parted."""

import re
from datetime import timedelta

import pytest

from scheduler.actions.people import people
from scheduler.actions.shore.ships_seen import ships_seen
from scheduler.domain.base.enums import Role
from tests.api.stage import AT
from tests.office.ship import NOTE, SET_UP, Office, Ship


def _at_browser(office: Office, role: Role = Role.OFFICE) -> None:
    name = role.value
    people.add_person(office.context, SET_UP, person_id=name, name=f"Demo {name}", rank=name, role=role, vessel_id=None)
    token = people.make_link(office.context, name)
    assert office.client.post(f"/enter/{token}", follow_redirects=False).status_code == 303


def _page(office: Office) -> str:
    answer = office.client.get("/ships", headers={"Accept": "text/html"})
    assert answer.status_code == 200
    return answer.text.replace("\xa0", " ")


def test_when_each_was_last_heard(sqlite_office: Office, ship: Ship) -> None:
    """Just under 26 hours she was heard, from then on she is not heard from since; in her own time."""
    office = sqlite_office
    office.send_all(ship)
    office.clock.at = AT + timedelta(hours=26) - timedelta(seconds=1)
    _at_browser(office)
    assert "Last heard Tue 20 Oct" in _page(office)
    office.clock.at = AT + timedelta(hours=26)
    page = _page(office)
    assert "Not heard from since Tue 20 Oct" in page
    assert "One ship; 1 not heard from for more than a day." in page


@pytest.mark.parametrize(("seconds", "said"), [(300, None), (301, 301), (-300, None), (-301, -301)])
def test_a_clock_is_off_from_five_minutes_on(sqlite_office: Office, ship: Ship, seconds: int, said: int | None) -> None:
    """Her clock is measured at each post, and said where it is more than five minutes off."""
    office = sqlite_office
    office.send(ship.batch(sent_at=int(AT.timestamp()) + seconds))
    (seen,) = ships_seen(office.context, SET_UP)
    assert seen.skew_s == said


def test_what_was_refused_is_said_until_it_is_well(sqlite_office: Office, ship: Ship) -> None:
    """A broken batch stands on the page in words; the next good one takes it away."""
    office = sqlite_office
    office.send(ship.batch(1, 5))
    office.send(b"no batch")
    _at_browser(office)
    assert "not packed as a batch is" in _page(office)
    office.send(ship.batch(6))
    assert "not packed" not in _page(office)


def test_parted_lives_are_answered_on_the_page(sqlite_office: Office, ship: Ship) -> None:
    """Without a reason the form is drawn again; with one it is answered, and the ended life's records are listed."""
    office = sqlite_office
    office.send_all(ship)
    number = next(change.number for change in ship.changes if b'"record","put"' in change.body)
    other = Ship(ship.vessel_id, "second life", ship.changes[:number])
    other.change(("handover", "put", NOTE))
    office.send(other.batch(number))
    _at_browser(office)
    page = _page(office)
    assert f"after change {number}" in page
    form = dict(re.findall(r'name="(csrf|idempotency_key)" value="([^"]*)"', page[page.index("/life") :]))
    sent = {**form, "answer": "goes on", "reason": ""}
    refused = office.client.post(f"/ships/{ship.vessel_id}/life", data=sent, follow_redirects=False)
    assert refused.status_code == 422
    assert "Say why" in refused.text
    done = office.client.post(
        f"/ships/{ship.vessel_id}/life", data={**sent, "reason": "Put back"}, follow_redirects=False
    )
    assert done.status_code == 303
    page = _page(office)
    assert "of a life that ended" in page
    assert "/life" not in page


def test_an_admin_sees_and_does_not_answer(sqlite_office: Office, ship: Ship) -> None:
    """Who keeps the installation reads the page and is offered no form."""
    office = sqlite_office
    office.send_all(ship)
    other = Ship(ship.vessel_id, "second life", ship.changes[:4])
    other.change(("handover", "put", NOTE))
    office.send(other.batch(4))
    _at_browser(office, Role.ADMIN)
    page = _page(office)
    assert "goes its own way after change 4" in page
    assert "/life" not in page
