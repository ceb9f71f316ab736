"""People by page and API: a colleague signed in by a code, passphrase and PIN, who may do what to whom, and no foreign form."""

import re
from collections.abc import Iterator
from secrets import token_hex
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.pages.people.wrong_pins import MOST, WrongPins
from api.server.access import BY_PIN, DOORS
from api.server.deps import COMPUTER, COOKIE, DEVICE
from api.server.try_limiter import TryLimiter
from scheduler.actions.people import people, sessions
from scheduler.domain.base.enums import Role
from scheduler.storage.record import record_rows
from tests.api.stage import AT, Stage, stamp

PAGE = {"Accept": "text/html"}
WORDS, PIN = "anchor tide brass nine", "2468"
SHIP = "demo-plover"


@pytest.fixture
def ship(fresh: Stage) -> Iterator[Stage]:
    """The stage with tries of its own."""
    fresh.client.app.state.try_limiter = TryLimiter()  # type: ignore[attr-defined]
    return fresh


def _browser(ship: Stage) -> TestClient:
    return TestClient(ship.client.app, raise_server_exceptions=False, follow_redirects=False, headers=PAGE)


def _entered(ship: Stage, person: str) -> TestClient:
    browser = _browser(ship)
    assert browser.post(f"/enter/{people.make_link(ship.context, person)}").status_code == 303
    return browser


def _send(ship: Stage, browser: TestClient, path: str, **form: str) -> Any:
    found = sessions.at_browser(ship.context, browser.cookies[COOKIE])
    assert found is not None
    return browser.post(path, data={"csrf": found.csrf, "idempotency_key": token_hex(8), **form})


def _kinds(ship: Stage) -> list[str]:
    with ship.context.db.read() as session:
        return [one.kind for one in record_rows(session, SHIP)]


def _choose_passphrase(ship: Stage, browser: TestClient) -> None:
    assert _send(ship, browser, "/you", do="passphrase", passphrase=WORDS, again=WORDS).status_code == 303


def test_a_chief_adds_a_colleague_and_shows_the_code(ship: Stage) -> None:
    """The answer to the form has the code, once; the colleague's own page names who made it; nobody was at the server's shell."""
    chief = _entered(ship, "chief-plover")
    added = _send(
        ship,
        chief,
        "/people",
        do="add",
        who="",
        vessel=SHIP,
        name="Demo third",
        rank="third engineer",
        role="engineer",
        id="",
    )
    assert added.status_code == 201
    assert "Demo third: point the phone" in added.text
    assert '<svg class="qr"' in added.text
    (link,) = set(re.findall(r"http://testserver(/enter/[\w-]{43})", added.text))
    assert link not in chief.get("/people").text
    phone = _browser(ship)
    assert phone.post(link).status_code == 303
    own = phone.get("/you").text
    assert "You came by a link of Demo chief" in own
    assert "not the second signer of what Demo chief signed" in own
    _choose_passphrase(ship, phone)
    assert "second signer" not in phone.get("/you").text
    assert _kinds(ship)[-4:] == ["person added", "sign-in link made", "signed in", "passphrase set"]


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"name": ""}, "1 to 200"),
        ({"name": "Demo", "rank": ""}, "1 to 100"),
        ({"name": "Demo", "rank": "x", "id": "A B"}, "small letters"),
        ({"name": "Demo", "rank": "x", "id": "engineer-plover"}, "already"),
        ({"name": "Demo", "rank": "x", "role": "office"}, "leave the vessel out"),
        ({"name": "Demo", "rank": "x", "vessel": "demo-avocet"}, "no person here"),
    ],
)
def test_a_person_who_cannot_be_added_is_named_and_what_was_typed_is_kept(
    ship: Stage, form: dict[str, str], says: str
) -> None:
    """Beside the form, with its fields as typed."""
    chief = _entered(ship, "chief-plover")
    sent = {"vessel": SHIP, "name": "", "rank": "", "role": "engineer", "id": ""} | form
    refused = _send(ship, chief, "/people", do="add", who="", **sent)
    assert refused.status_code in (404, 409, 422, 403)
    assert says in refused.text
    if sent["name"]:
        assert f'value="{sent["name"]}"' in refused.text


def test_an_engineer_sees_people_and_changes_nobody(ship: Stage) -> None:
    """The page offers no form for others, and what is sent anyway is refused."""
    engineer = _entered(ship, "engineer-plover")
    shown = engineer.get("/people").text
    assert "Demo chief" in shown
    assert "Show the code" not in shown
    for form in (
        {"do": "link", "who": f"{SHIP}/chief-plover"},
        {"do": "withdraw", "who": f"{SHIP}/chief-plover"},
        {"do": "change", "who": f"{SHIP}/chief-plover", "name": "x", "rank": "x", "role": "engineer"},
        {"do": "share", "who": "", "label": "x"},
        {"do": "add", "who": "", "vessel": SHIP, "name": "X", "rank": "x", "role": "engineer"},
    ):
        assert _send(ship, engineer, "/people", **form).status_code in (403, 404), form


def test_signing_in_by_passphrase_ends_the_session_before_and_wrong_ones_wait(ship: Stage) -> None:
    """Who was signed in on that browser is signed out, on record; the passphrase is never drawn again; the sixth guess waits."""
    engineer = _entered(ship, "engineer-plover")
    _choose_passphrase(ship, engineer)
    before = engineer.cookies[COOKIE]
    right = engineer.post("/sign-in", data={"name": "demo ENGINEER@demo-plover", "passphrase": WORDS})
    assert right.status_code == 303
    assert sessions.at_browser(ship.context, before) is None
    assert _kinds(ship)[-2:] == ["signed in", "signed out"]
    stranger = _browser(ship)
    statuses = []
    for _ in range(6):
        answer = stranger.post("/sign-in", data={"name": "engineer-plover", "passphrase": "guess guess guess"})
        statuses.append(answer.status_code)
        assert "guess guess guess" not in answer.text
        assert 'value="engineer-plover"' in answer.text
        assert COOKIE not in answer.cookies
    assert statuses == [401] * 5 + [429]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 303),
        ({"Origin": "http://testserver"}, 303),
        ({"Sec-Fetch-Site": "same-origin"}, 303),
        ({"Sec-Fetch-Site": "none"}, 303),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "http://testserver.elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
    ],
)
def test_a_form_of_another_site_signs_nobody_in(ship: Stage, headers: dict[str, str], status: int) -> None:
    """Link, passphrase and PIN alike; the link stays good. Source: RFC 6454 section 7, Fetch Metadata (W3C)."""
    link = f"/enter/{people.make_link(ship.context, 'engineer-plover')}"
    assert _browser(ship).post(link, headers=headers).status_code == status
    for path in ("/sign-in", "/sign-in/pin"):
        assert _browser(ship).post(path, data={"name": "x"}, headers=headers).status_code == (
            401 if status == 303 else 403
        )
    if status == 403:
        assert _browser(ship).post(link).status_code == 303


@pytest.mark.parametrize(
    ("base_url", "insecure", "secure"),
    [("http://leadline.lan", True, False), ("https://leadline.lan", True, True), ("http://leadline.lan", False, True)],
)
def test_the_cookie_is_secure_by_itself_under_https(ship: Stage, base_url: str, insecure: bool, secure: bool) -> None:
    """Whatever the setting says; over plain http as the setting says."""
    settings = ship.context.settings
    for name, value in (("base_url", base_url), ("insecure_cookie", insecure)):
        object.__setattr__(settings, name, value)
    answer = _browser(ship).post(f"/enter/{people.make_link(ship.context, 'engineer-plover')}")
    cookies = [one for one in answer.headers.get_list("set-cookie") if one.startswith((f"{COOKIE}=", f"{DEVICE}="))]
    assert len(cookies) == 2
    assert all(("secure" in one.lower()) is secure and "httponly" in one.lower() for one in cookies)


def _shared(ship: Stage) -> tuple[TestClient, TestClient]:
    """The chief's browser, made a shared computer and left; and the chief's own, with a passphrase and a PIN."""
    own = _entered(ship, "chief-plover")
    _choose_passphrase(ship, own)
    assert _send(ship, own, "/you", do="pin", pin=PIN).status_code == 303
    computer = _entered(ship, "chief-plover")
    assert _send(ship, computer, "/people", do="share", who="", label="control room").status_code == 303
    assert _send(ship, computer, "/sign-out").status_code == 303
    return computer, own


@pytest.mark.long
def test_a_shared_computer_shows_the_ship_and_takes_nothing(ship: Stage) -> None:
    """Nobody signed in: pages open, forms do not; withdrawn, it is a browser like any other."""
    computer, own = _shared(ship)
    looked = computer.get("/plants/plover-plant")
    assert looked.status_code == 200
    assert "control room, looking only" in looked.text
    for path in ("/pumps/plover-pump-a/out", "/people", f"/vessels/{SHIP}/hours"):
        assert computer.post(path, data={}).status_code == 401
    assert computer.get("/vessels/demo-avocet/counters").status_code == 404
    shown = re.findall(r'name="who" value="(\w{8})"><input[^>]+unshare', own.get("/people").text)
    assert _send(ship, own, "/people", do="unshare", who=shown[0]).status_code == 303
    assert computer.get("/plants/plover-plant").status_code == 401


@pytest.mark.long
def test_by_pin_one_records_and_neither_decides_nor_signs(ship: Stage) -> None:
    """The chief by PIN: a breakdown is taken; a first date, a person, a plan, a calendar are not."""
    computer, _ = _shared(ship)
    page = computer.get("/sign-in").text
    assert "Control room: tap your name" in page
    assert 'value="chief-plover"' in page
    assert 'value="engineer-plover"' not in page
    assert computer.post("/sign-in/pin", data={"person": "chief-plover", "pin": PIN}).status_code == 303
    token = sessions.at_browser(ship.context, computer.cookies[COOKIE])
    assert token is not None
    headers = {"X-CSRF-Token": token.csrf, "Idempotency-Key": "by pin", "Accept": "application/json"}
    stop = {"at": stamp(AT), "reason": "seal leaks"}
    assert computer.post("/api/v1/pumps/plover-pump-a/breakdowns", json=stop, headers=headers).status_code in (200, 201)
    for method, path in (
        ("POST", f"/api/v1/vessels/{SHIP}/reviews"),
        ("PUT", "/api/v1/jobs/alarm_test:plover-plant:1/first-date"),
        ("POST", "/api/v1/people"),
        ("POST", "/api/v1/keys"),
        ("POST", "/api/v1/plants/plover-plant/plan"),
        ("POST", f"/api/v1/vessels/{SHIP}/handovers/1/signature"),
    ):
        refused = computer.request(method, path, json={}, headers=headers)
        assert refused.status_code == 403
        assert "passphrase" in refused.json()["detail"]
    assert computer.get("/api/v1/history", params={"vessel": SHIP}).status_code == 403
    for path in ("/people", "/you", f"/vessels/{SHIP}/non-conformities/1"):
        assert _send(ship, computer, path, do="x").status_code == 403


@pytest.mark.long
def test_ten_wrong_pins_in_a_row_withdraw_it(ship: Stage) -> None:
    """However slowly they come; a right one in between begins anew."""
    computer, _ = _shared(ship)

    def tried(pin: str) -> int:
        ship.client.app.state.try_limiter = TryLimiter()  # type: ignore[attr-defined]
        return computer.post("/sign-in/pin", data={"person": "chief-plover", "pin": pin}).status_code

    assert [tried("1357") for _ in range(MOST - 1)] == [401] * (MOST - 1)
    assert tried(PIN) == 303
    assert [tried("1357") for _ in range(MOST)] == [401] * MOST
    assert tried(PIN) == 401
    assert _kinds(ship)[-1] == "PIN withdrawn after wrong tries"


def test_wrong_pins_are_counted_for_few_names() -> None:
    """Made-up names fill no memory."""
    wrong = WrongPins()
    for number in range(3000):
        assert not wrong.one_more(str(number))
    assert len(wrong._counts) <= 1000


def test_no_door_that_decides_or_manages_is_open_to_a_pin() -> None:
    """What is open to it is there, changes something, and none of it signs, decides, plans or manages."""
    assert set(DOORS) >= BY_PIN
    assert {method for method, _ in BY_PIN} <= {"POST", "PUT"}
    beyond = {"signature", "decision", "check", "plan", "moves", "people", "keys", "feeds", "reviews", "calendar"}
    beyond |= {"confirm", "minimum", "concessions", "postponements", "handovers", "first-date", "points", "notes"}
    for _, path in BY_PIN:
        assert not beyond & set(path.split("/")), path


def test_the_whole_life_of_a_person_by_api(ship: Stage) -> None:
    """Added, changed, signed in, seen, signed out, withdrawn, back: each by the chief's key, repeated as once."""

    def told(method: str, path: str, status: int, body: Any = None, role: Role = Role.CHIEF) -> Any:
        answer = ship.ask(method, f"/api/v1{path}", role=role, json=body, once=f"{method} {path}")
        assert answer.status_code == status, answer.text
        return answer.json()

    new = {"id": "third", "name": "Demo third", "rank": "third engineer", "role": "engineer", "vessel": SHIP}
    for _ in range(2):
        assert told("POST", "/people", 201, new)["person"] == "third"
    changed = {"name": "Demo third", "rank": "second engineer", "role": "engineer"}
    assert told("PUT", "/people/third", 200, changed)["rank"] == "second engineer"
    link = told("POST", "/people/third/link", 201, {})["link"]
    told("POST", "/people/third/link", 403, {}, Role.ENGINEER)
    browser = _browser(ship)
    assert browser.post(link.removeprefix("http://testserver")).status_code == 303
    (seen,) = [one for one in told("GET", "/people", 200)["people"] if one["id"] == "third"]
    assert [(one["proof"], one["link_by"]) for one in seen["sessions"]] == [("link", "set up")], (
        "who made the chief's key"
    )
    assert [
        one["sessions"] for one in told("GET", "/people", 200, None, Role.ENGINEER)["people"] if one["id"] == "third"
    ] == [[]]
    told("DELETE", f"/sessions/{seen['sessions'][0]['id']}", 200)
    told("DELETE", f"/sessions/{seen['sessions'][0]['id']}", 404)
    assert browser.get("/plants/plover-plant").status_code == 401
    told("POST", "/people/third/withdrawal", 200, {})
    assert "third" not in [one["id"] for one in told("GET", "/people", 200)["people"]]
    told("POST", "/people/third/return", 200, {})
    told("POST", "/people/third/withdrawal", 404, {"vessel": "demo-avocet"})


@pytest.mark.long
def test_the_whole_life_of_a_key_by_api(ship: Stage) -> None:
    """Made, listed with whose and until when, taken over, both used, withdrawn; an engineer makes keys for oneself alone."""
    made = ship.ask(
        "POST",
        "/api/v1/keys",
        role=Role.CHIEF,
        json={"role": "counter", "label": "gateway", "vessel": SHIP, "days": 30},
    )
    assert (made.status_code, made.headers["cache-control"]) == (201, "no-store")
    first = made.json()["key"].split("_")[1]
    second = ship.ask("POST", f"/api/v1/keys/{first}/rotate", role=Role.CHIEF, json={"both_days": 2}).json()["key"]
    listed = {one["key"]: one for one in ship.ask("GET", "/api/v1/keys", role=Role.CHIEF).json()["keys"]}
    assert (listed[first]["state"], listed[first]["expires_at"]) == ("good", "2026-10-22T07:00:00Z")
    assert listed[second.split("_")[1]]["follows"] == first
    for key in (made.json()["key"], second):
        sent = ship.ask(
            "POST", "/api/v1/readings", role=None, json={"readings": []}, headers={"Authorization": f"Bearer {key}"}
        )
        assert sent.status_code not in (401, 403)
    assert ship.ask("DELETE", f"/api/v1/keys/{first}", role=Role.ENGINEER).status_code == 404
    assert ship.ask("DELETE", f"/api/v1/keys/{first}", role=Role.CHIEF).json()["state"] == "withdrawn"
    own = {"role": "engineer", "label": "mine", "vessel": SHIP, "person": "engineer-plover"}
    assert ship.ask("POST", "/api/v1/keys", role=Role.ENGINEER, json=own).status_code == 201
    for other in ({"person": "chief-plover"}, {"role": "chief"}, {"role": "counter", "person": None}):
        assert ship.ask("POST", "/api/v1/keys", role=Role.ENGINEER, json=own | other).status_code in (403, 422)


def test_keys_on_the_page(ship: Stage) -> None:
    """A gateway's key made and replaced by the chief; each secret stands in one answer only."""
    chief = _entered(ship, "chief-plover")
    made = _send(ship, chief, "/people", do="key", who="", label="engine room gateway", whose="", days="30")
    assert made.status_code == 201
    (key,) = re.findall(r"ll_\w{8}_[\w-]{43}", made.text)
    replaced = _send(ship, chief, "/people", do="rotate", who=key.split("_")[1])
    assert "Both are good for 7 days" in replaced.text
    page = chief.get("/people").text
    assert key not in page
    assert "Takes over from" in page
    assert _send(ship, chief, "/people", do="revoke", who=key.split("_")[1]).status_code == 303
    bad = _send(ship, chief, "/people", do="key", who="", label="", whose="", days="x")
    assert bad.status_code == 422
    assert "A whole number is expected" in bad.text


def test_the_browser_is_known_again_by_its_own_cookie(ship: Stage) -> None:
    """So that a phone two people share is noticed; a shared computer's cookie is its own."""
    phone = _entered(ship, "engineer-plover")
    device = phone.cookies[DEVICE]
    assert phone.post(f"/enter/{people.make_link(ship.context, 'chief-plover')}").status_code == 303
    assert phone.cookies[DEVICE] == device
    found = sessions.at_browser(ship.context, phone.cookies[COOKIE])
    assert found is not None
    assert found.actor.authentication is not None
    assert [one.id for one in found.actor.authentication.device_users] == ["engineer-plover"]
    assert COMPUTER not in phone.cookies
