"""The office sees how each ship's line stands, and answers by page, API and command where two lives parted."""

import re
from datetime import timedelta
from html import unescape

import pytest

from scheduler.actions.care import doctor
from scheduler.actions.care.ships_seen import ships_seen
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.domain.checks.diagnosis import About
from scheduler.storage.database import INSTALLATION
from scheduler.storage.shore.requests import ShipRequestRow
from scheduler.wording.care import diagnosis_words
from scheduler.wording.shore_taking import ship_clock_words
from tests.api.stage import AT
from tests.office.ship import NOTE, SET_UP, Office, Ship
from tests.office.test_mirror import _timers


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
    (seen,) = ships_seen(office.context)
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


SHIPS = {About.SHIP_NOT_TAKEN, About.SHIP_CLOCK, About.SHIP_SILENT, About.SHIP_REQUESTS}


def _looks(office: Office, vessel_id: str | None = None) -> list[tuple[str, bool]]:
    return [
        (one.about.value, one.note) for one in doctor.fleet_diagnosis(office.context, vessel_id) if one.about in SHIPS
    ]


@pytest.mark.long
def test_doctor_and_readiness_say_what_the_page_says(sqlite_office: Office, ship: Ship) -> None:
    """Nothing of a ship in order; what is refused and a ship that is silent: page, doctor and readiness from one reckoning, and
    readiness names her to who has a key and to nobody else."""
    office = sqlite_office
    keeper = {"person_id": "keeper", "role": Role.ADMIN}
    people.add_person(office.context, SET_UP, name="Demo Keeper", rank="x", vessel_id=None, **keeper)
    key = {"Authorization": f"Bearer {people.add_key(office.context, SET_UP, label='k', **keeper)}"}
    assert "ships" not in office.client.get("/readyz?verbose", headers=key).json()["checks"]
    office.send(ship.batch(sent_at=int(AT.timestamp())))
    assert _looks(office) == []
    assert office.client.get("/readyz?verbose", headers=key).json()["checks"]["ships"] == {"open": 1, "not heard": 0}
    office.send(b"no batch")
    office.clock.at = AT + timedelta(hours=26) - timedelta(seconds=1)
    assert _looks(office) == [("ship not taken", False)]
    office.clock.at = AT + timedelta(hours=26)
    assert _looks(office) == _looks(office, ship.vessel_id) == [("ship not taken", False), ("ship not heard", True)]
    _at_browser(office)
    page = unescape(_page(office))
    (why,) = (one for one in doctor.fleet_diagnosis(office.context) if one.about is About.SHIP_NOT_TAKEN)
    assert diagnosis_words(why)[0] in page
    ready = office.client.get("/readyz?verbose", headers=key).json()
    assert ready["checks"]["ships"] == {"refused": 1, "not heard": 1}
    assert " ".join(diagnosis_words(why)) in ready["remarks"]
    for_all = office.client.get("/readyz").json()["remarks"]
    assert "Of one ship that writes aboard nothing is taken." in for_all
    assert not any("Plover" in one for one in for_all)


def test_a_wrong_clock_and_requests_that_wait_are_looked_at(sqlite_office: Office, ship: Ship) -> None:
    """A clock more than five minutes off is wrong; a request that nobody fetched is a note, since the first was asked."""
    office = sqlite_office
    office.send(ship.batch(sent_at=int(AT.timestamp()) + 301))
    assert _looks(office) == [("ship's clock", False)]
    with office.context.db.write(INSTALLATION) as session:
        for number in (1, 2, 3):
            asked_at = AT - timedelta(days=4 - number)
            session.add(
                ShipRequestRow(
                    vessel_id=ship.vessel_id,
                    number=number,
                    what="change document",
                    arguments={},
                    seen={},
                    fingerprint="",
                    by_id="o",
                    by="Demo O",
                    role="office",
                    asked_at=asked_at,
                    until_at=AT + timedelta(days=9),
                    fetched_at=AT if number == 1 else None,
                )
            )
    (waits,) = (one for one in doctor.fleet_diagnosis(office.context) if one.about is About.SHIP_REQUESTS)
    assert (waits.note, waits.since_at, waits.facts["count"]) == (True, AT - timedelta(days=2), 2)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (301, "5 min ahead"),
        (119 * 60, "119 min ahead"),
        (120 * 60, "2 h ahead"),
        (-47 * 3600, "47 h behind"),
        (-48 * 3600, "2 days behind"),
    ],
)
def test_how_far_a_clock_is_off_is_said_in_fitting_units(seconds: int, said: str) -> None:
    """Minutes below two hours, hours below two days, then days."""
    assert f"clock is {said} " in ship_clock_words(seconds)


@pytest.mark.long
def test_a_silent_link_is_said_as_such_on_her_pages(sqlite_office: Office, ship: Ship) -> None:
    """Five days after she was last heard no page calls a counter silent: what is shown is as of when she was heard, and what to do
    about a plan is not said as if it were made here."""
    office = sqlite_office
    office.send_all(ship)
    office.clock.at = AT + timedelta(days=5)
    _timers(office)
    _at_browser(office)
    for path in ("/plants/plover-plant", f"/vessels/{ship.vessel_id}/counters", "/?all=1"):
        text = unescape(office.client.get(path, headers={"Accept": "text/html"}).text)
        assert "silent" not in text.partition("<main")[2], path
    text = unescape(office.client.get(f"/vessels/{ship.vessel_id}/counters").text)
    assert "Nothing is asked, as far as the ship was heard." in text
    assert "Demo Plover plans aboard" in text
