"""Two servers on one PostgreSQL behind Debian's nginx: what one did the other knows, and one killed leaves the address going."""

import http.client
import json
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from api.server.app import open_context
from api.server.deps import COOKIE
from scheduler.actions.base.actor import Actor
from scheduler.actions.feed import addresses
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.ships import PLOVER
from tests.durability.served import server, set_up
from tests.end_to_end.automation import free_port
from tests.end_to_end.nginx import nginx
from tests.pictures import picture
from tests.storage import stores

pytestmark = pytest.mark.rough
BLOCKS = """
upstream leadline {{ server 127.0.0.1:{first}; server 127.0.0.1:{second}; }}
server {{
  listen 127.0.0.1:{port};
  location / {{
    proxy_pass http://leadline; proxy_http_version 1.1; proxy_set_header Host $http_host;
    proxy_set_header X-Forwarded-For $proxy_add_x_forwarded_for; proxy_set_header X-Forwarded-Proto $scheme;
  }}
}}
"""
PATIENCE_S = 120
PHOTOS = f"/api/v1/jobs/knife_inspection:{PLOVER.pump(1)}-knives:1/photos"
ME = Actor("set up", "set up", Role.ADMIN)


@dataclass(frozen=True, slots=True)
class Said:
    """An answer."""

    status: int
    headers: dict[str, str]
    body: bytes
    cookies: list[str]


@dataclass(frozen=True, slots=True)
class Address:
    """Where to ask; the servers are asked under the name that nginx serves them by."""

    port: int
    host: str

    def ask(self, method: str, path: str, body: bytes = b"", /, **headers: str) -> Said:
        """The answer; headers with _ for -."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)) as talk:
            talk.request(method, path, body, {"Host": self.host, "Origin": f"http://{self.host}", **named})
            answer = talk.getresponse()
            cookies = [value.partition(";")[0] for name, value in answer.getheaders() if name.lower() == "set-cookie"]
            return Said(
                answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read(), cookies
            )


def until(holds: Callable[[], bool], what: str) -> None:
    """Wait until it holds; a machine that is slow only takes longer."""
    ends = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < ends, what
        time.sleep(0.1)


def answers(address: Address) -> bool:
    """Whether anybody is there."""
    try:
        return address.ask("GET", "/livez").status == 200
    except OSError:
        return False


def photo_form(content: bytes) -> tuple[bytes, str]:
    """A multipart form with a photo, and its content type."""
    head = b'--cut\r\nContent-Disposition: form-data; name="photo"; filename="x.png"\r\nContent-Type: image/png\r\n\r\n'
    return head + content + b"\r\n--cut--\r\n", "multipart/form-data; boundary=cut"


@dataclass(frozen=True, slots=True)
class Secrets:
    """Of a counter, of the engineer, of whoever manages people; a link to sign in by and a calendar of the engineer's."""

    counter: str
    engineer: str
    manager: str
    link: str
    calendar: str


def secrets_of(url: str) -> Secrets:
    """An invented ship with an engineer."""
    counter, vessel = set_up(url), PLOVER.vessel
    context = open_context(Settings(database=url))
    try:
        people.add_person(
            context, ME, person_id="engineer", name="Demo Engineer", rank="2/E", role=Role.ENGINEER, vessel_id=vessel
        )
        people.add_person(context, ME, person_id="m", name="M", rank="m", role=Role.ADMIN, vessel_id=None)
        engineer = people.add_key(context, ME, role=Role.ENGINEER, label="e", person_id="engineer", vessel_id=vessel)
        manager = people.add_key(context, ME, role=Role.ADMIN, label="m", person_id="m")
        link = people.make_link(context, "engineer", vessel)
        by = Actor("engineer", "Demo Engineer", Role.ENGINEER, vessel, person_id="engineer")
        calendar = addresses.make_address(context, by, person_id="engineer", vessel_id=vessel).secret
        return Secrets(counter, engineer, manager, link, calendar)
    finally:
        context.db.close()


def test_what_one_server_did_the_other_knows_and_the_address_outlives_one_of_them(tmp_path: Path) -> None:
    """Session, Idempotency-Key, photo, calendar with 304, withdrawn key, address and person: given at one, seen at the other, on
    each way; then one is killed -9 and whoever asks through nginx is answered, readings are stored and calendars go on."""
    port = free_port()
    with stores.ready_url("postgresql", tmp_path) as url:
        own, base = secrets_of(url), f"http://127.0.0.1:{port}"
        settings = {"LEADLINE_BASE_URL": base, "LEADLINE_INSECURE_COOKIE": "true", "LEADLINE_PROXIES": "127.0.0.1"}
        with (
            server(url, **settings) as (child, first),
            server(url, **settings) as (_, second),
            nginx(tmp_path, BLOCKS.format(port=port, first=first, second=second)),
        ):
            host = urlsplit(base).netloc
            front, one, other = (Address(number, host) for number in (port, first, second))
            until(lambda: answers(front), "nginx did not start")

            entered = one.ask("POST", f"/enter/{own.link}")
            assert entered.status == 303
            cookie = next(one for one in entered.cookies if one.startswith(f"{COOKIE}="))
            assert one.ask("POST", f"/enter/{own.link}").status == other.ask("POST", f"/enter/{own.link}").status == 401
            page = other.ask("GET", f"/plants/{PLOVER.key}-plant", Cookie=cookie, Accept="text/html")
            assert (page.status, b"Demo Engineer" in page.body) == (200, True)
            for _ in range(4):  # nginx takes turns
                assert front.ask("GET", f"/plants/{PLOVER.key}-plant", Cookie=cookie).status == 200

            engineer = {"Authorization": f"Bearer {own.engineer}"}
            form, kind = photo_form(picture("PNG"))
            sent = [
                at.ask("POST", PHOTOS, form, **engineer, Content_Type=kind, Idempotency_Key="once")
                for at in (one, other)
            ]
            assert [said.status for said in sent] == [201, 201]
            assert sent[0].body == sent[1].body
            seen = [at.ask("GET", f"{PHOTOS}/{json.loads(sent[0].body)['sha256']}", **engineer) for at in (one, other)]
            assert [said.status for said in seen] == [200, 200]
            assert seen[0].body == seen[1].body != b""

            feed = f"/cal/{own.calendar}/plan.ics"
            tag = one.ask("GET", feed).headers["etag"]
            until(
                lambda: other.ask("GET", feed, If_None_Match=one.ask("GET", feed).headers["etag"]).status == 304, "304"
            )
            down = json.dumps({"at": _now(), "reason": "stuck"}).encode()
            told = one.ask(
                "POST",
                f"/api/v1/pumps/{PLOVER.pump(0)}/down",
                down,
                **engineer,
                Content_Type="application/json",
                Idempotency_Key="down",
            )
            assert told.status == 200, told.body
            until(lambda: other.ask("GET", feed, If_None_Match=tag).status == 200, "the calendar did not change")
            until(
                lambda: one.ask("GET", feed).headers["etag"] == other.ask("GET", feed).headers["etag"],
                "two calendars",
            )

            manager = {"Authorization": f"Bearer {own.manager}"}
            posted = {"Authorization": f"Bearer {own.counter}", "Content_Type": "application/json"}

            def post(at: Address, second: int) -> int:
                item = {"counter": PLOVER.counter(0), "observed_at": f"2024-01-01T00:00:{second:02}Z", "value": 5}
                return at.ask("POST", "/api/v1/readings", json.dumps({"readings": [item]}).encode(), **posted).status

            assert [post(at, second) for second, at in enumerate((one, other))] == [207, 207]
            keys = json.loads(one.ask("GET", "/api/v1/keys", **manager).body)["keys"]
            (mine,) = [key["key"] for key in keys if key["key"] in own.engineer]
            assert one.ask("DELETE", f"/api/v1/keys/{mine}", **manager).status == 200
            assert [at.ask("GET", PHOTOS, **engineer).status for at in (other, one)] == [401, 401]
            withdrawn = other.ask(
                "POST",
                "/api/v1/people/engineer/withdrawal",
                json.dumps({"vessel": PLOVER.vessel}).encode(),
                **manager,
                Content_Type="application/json",
                Idempotency_Key="leaves",
            )
            assert withdrawn.status == 200, withdrawn.body
            assert one.ask("GET", f"/plants/{PLOVER.key}-plant", Cookie=cookie).status == 401
            gone = one.ask("GET", feed, If_None_Match=tag)
            assert (gone.status, b"withdrawn" in gone.body.lower()) == (200, True)

            child.kill()
            child.wait()
            for number in range(6):
                assert front.ask("GET", "/livez").status == 200
                assert post(front, 10 + number) == 207
            counter = next(key["key"] for key in keys if key["key"] in own.counter)
            assert front.ask("DELETE", f"/api/v1/keys/{counter}", **manager).status == 200
            until(lambda: post(other, 30) == 401, "a counter's withdrawn key")


def _now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
