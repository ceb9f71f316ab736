"""Calendar addresses from making to the end: what each shows, who used it, and what it serves when it is no longer good."""

import re
from datetime import timedelta
from urllib.parse import urlsplit

import numpy as np
import pytest
import zxingcpp
from httpx2 import Response
from icalendar import Calendar

from api.pages.feed.addresses import must_fit
from api.pages.shared import qr
from scheduler.actions.feed import refresh
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.errors import Busy, Refused
from tests.api.stage import Stage
from tests.api.test_doors import csrf_of

FEEDS = "/api/v1/feeds"


def made(stage: Stage, role: Role = Role.ENGINEER, **told: object) -> dict[str, str]:
    """A new address of that role's person; the member `path` is where it is."""
    answer = stage.ask("POST", FEEDS, role=role, json={"vessel": "demo-plover", **told})
    assert answer.status_code == 201, answer.text
    assert answer.headers["cache-control"] == "no-store"
    body: dict[str, str] = answer.json()
    return {**body, "path": urlsplit(body["address"]).path, "tasks_path": urlsplit(body["tasks"]).path}


def got(stage: Stage, path: str, method: str = "GET", **headers: str) -> Response:
    told = {name.replace("_", "-"): value for name, value in headers.items()}
    return stage.client.request(method, path, headers={"Accept-Encoding": "identity", **told})


def titles(answer: Response, component: str = "VEVENT") -> list[str]:
    return [str(part["SUMMARY"]) for part in Calendar.from_ical(answer.content).walk(component)]


def mine(stage: Stage, address: dict[str, str]) -> dict[str, object]:
    listed = stage.ask("GET", FEEDS).json()["feeds"]
    return next(one for one in listed if one["id"] == address["id"])


def test_a_changed_address_says_so_at_once_and_the_new_one_shows_the_same(stage: Stage) -> None:
    """The old secret tells what a withdrawn one tells, so that no program keeps stale jobs; id, label and scope stay."""
    old = made(stage, label="bridge", kinds=["alarm_test"])
    before = got(stage, old["path"])
    new = stage.ask("POST", f"{FEEDS}/{old['id']}/rotate").json()
    assert titles(got(stage, old["path"])) == ["This calendar address was withdrawn"]
    assert got(stage, urlsplit(new["address"]).path).content == before.content
    assert (new["id"], mine(stage, old)["label"]) == (old["id"], "bridge")


def test_a_withdrawn_address_says_so_for_thirty_days_and_then_is_gone(stage: Stage) -> None:
    """Calendar and tasks with one entry, the same bytes at each poll, never older than what was served before."""
    address = made(stage)
    before = got(stage, address["path"])
    assert stage.ask("DELETE", f"{FEEDS}/{address['id']}").json()["state"] == "withdrawn"
    first = got(stage, address["path"])
    assert titles(first) == ["This calendar address was withdrawn"]
    assert titles(got(stage, address["tasks_path"]), "VTODO") == ["This calendar address was withdrawn"]
    assert first.headers["last-modified"] != before.headers["last-modified"]
    assert got(stage, address["path"], If_None_Match=before.headers["etag"]).status_code == 200
    stage.clock.at += timedelta(days=29)
    assert got(stage, address["path"], If_None_Match=first.headers["etag"]).status_code == 304
    stage.clock.at += timedelta(days=1, minutes=1)
    gone = got(stage, address["path"], Accept="text/html")
    assert (gone.status_code, gone.json()["title"]) == (410, "No longer here")
    assert stage.ask("POST", f"{FEEDS}/{address['id']}/rotate").status_code == 422


def test_an_address_made_for_some_days_runs_out(stage: Stage) -> None:
    """It then serves what a withdrawn one serves."""
    address = made(stage, days=2)
    assert len(titles(got(stage, address["path"]))) > 1
    stage.clock.at += timedelta(days=2)
    assert titles(got(stage, address["path"])) == ["This calendar address was withdrawn"]
    assert mine(stage, address)["state"] == "run out"


def test_an_address_shows_only_the_kinds_it_was_made_for(stage: Stage) -> None:
    """And the plan status, which says so in the calendar's description; an unknown kind is refused by name."""
    whole, alarms = titles(got(stage, made(stage)["path"])), got(stage, made(stage, kinds=["alarm_test"])["path"])
    few = titles(alarms)
    assert "Only: Alarm test." in str(Calendar.from_ical(alarms.content)["DESCRIPTION"])
    assert few == [title for title in whole if "Alarm test" in title or " ship time" in title or "No plan" in title]
    assert 1 < len(few) < len(whole)
    refused = stage.ask("POST", FEEDS, json={"vessel": "demo-plover", "kinds": ["tea"]})
    assert (refused.status_code, "'tea'" in refused.json()["detail"]) == (422, True)


def test_reminders_stand_only_where_they_were_asked_for(stage: Stage) -> None:
    """Events and tasks alike; without them the calendar is the same."""
    plain, asked = made(stage), made(stage, alarms=True)
    for name in ("path", "tasks_path"):
        without, with_them = got(stage, plain[name]).text, got(stage, asked[name]).text
        assert "VALARM" not in without
        assert re.sub(r"BEGIN:VALARM.*?END:VALARM\r\n", "", with_them, flags=re.S) == without


def test_tasks_are_the_same_jobs_under_uids_of_their_own(stage: Stage) -> None:
    """One task an event, each due when its event ends; HEAD and 304 as for the calendar."""
    address = made(stage)
    events, tasks = got(stage, address["path"]), got(stage, address["tasks_path"])
    assert sorted(titles(events)) == sorted(titles(tasks, "VTODO"))
    uids = [{str(part["UID"]) for part in Calendar.from_ical(a.content).subcomponents} for a in (events, tasks)]
    assert not uids[0] & uids[1]
    assert got(stage, address["tasks_path"], "HEAD").headers["content-length"] == str(len(tasks.content))
    assert got(stage, address["tasks_path"], If_None_Match=tasks.headers["etag"]).status_code == 304
    named = got(stage, f"{address['tasks_path']}?download=1").headers["content-disposition"]
    assert named == 'attachment; filename="tasks.ics"'


def test_what_is_held_is_answered_as_if_it_were_read(stage: Stage) -> None:
    """Full, compressed, unchanged, without a body: status, headers and bytes of the first layer are the route's own."""
    address = made(stage)
    tag = got(stage, address["path"]).headers["etag"]
    asked = [("GET", {}), ("HEAD", {}), ("GET", {"Accept-Encoding": "gzip"}), ("GET", {"If-None-Match": tag})]
    asked += [("GET", {"If-None-Match": '"x"'}), ("HEAD", {"If-None-Match": f'"y", {tag}'})]
    asked += [("GET", {"If-Modified-Since": "Mon, 01 Jan 2029 00:00:00 GMT"}), ("GET", {"If-Modified-Since": "soon"})]
    for method, headers in asked:
        told = {"Accept-Encoding": "identity", **headers}
        answers = []
        for path in (f"{address['path']}?", f"{address['path']}?", f"{address['path']}?x=1"):
            with stage.client.stream(method, path, headers=told) as answer:
                sent = {name: value for name, value in answer.headers.items() if name != "x-request-id"}
                assert answer.headers["x-request-id"]
                answers.append((answer.status_code, sent, b"".join(answer.iter_raw())))
        assert answers[0] == answers[1] == answers[2]


def test_the_owner_sees_when_and_by_what_an_address_was_used(stage: Stage) -> None:
    """Nobody else sees it, and whoever has no address sees an empty list."""
    address = made(stage)
    assert mine(stage, address)["last_used_at"] is None
    got(stage, address["path"], User_Agent="demo reader/1.0")
    told = mine(stage, address)
    assert (told["agent"], told["last_used_at"]) == ("demo reader/1.0", "2026-10-20T07:00:00Z")
    assert address["id"] not in stage.ask("GET", FEEDS, role=Role.CHIEF).text
    assert address["id"] not in stage.ask("GET", FEEDS, role=Role.OFFICE).text
    assert address["id"] in stage.ask("GET", FEEDS, role=Role.ADMIN).text


def test_the_page_shows_an_address_once_with_a_code_that_a_camera_reads(stage: Stage) -> None:
    """Made, listed without its secret, changed, withdrawn: all by the page's own forms."""
    browser = stage.enter("chief-plover")
    token = csrf_of(stage, browser)
    page = browser.post("/feeds", data={"csrf": token, "vessel": "demo-plover", "label": "ECR", "days": "30"})
    assert (page.status_code, page.headers["cache-control"]) == (201, "private, no-store")
    address = re.search(r"http://testserver(/cal/[\w-]{43}/plan\.ics)", page.text)
    assert address is not None
    assert f"webcal://testserver{address[1]}" in page.text
    assert read_code(page.text) == f"webcal://testserver{address[1]}"
    listed = browser.get("/feeds")
    assert "/cal/" not in listed.text
    assert "ECR" in listed.text
    found = re.search(r"/feeds/([0-9a-f]{8})/rotate", listed.text)
    assert found is not None
    changed = browser.post(f"/feeds/{found[1]}/rotate", data={"csrf": token})
    assert titles(got(stage, address[1])) == ["This calendar address was withdrawn"]
    assert "/cal/" in changed.text
    assert browser.post(f"/feeds/{found[1]}/revoke", data={"csrf": token}).status_code == 303
    assert "Withdrawn" in browser.get("/feeds").text
    wrong = browser.post("/feeds", data={"csrf": token, "vessel": "demo-plover", "label": "kept", "days": "soon"})
    assert (wrong.status_code, "whole number" in wrong.text, 'value="kept"' in wrong.text) == (422, True, True)


def read_code(page: str) -> str:
    """What a reader makes of the page's QR code, painted from its SVG at four dots a module."""
    side = int(re.search(r'class="qr" viewBox="0 0 (\d+)', page)[1])  # type: ignore[index]
    dots = np.full((side, side), 255, np.uint8)
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", page):
        dots[int(y), int(x) : int(x) + int(length)] = 0
    (found,) = zxingcpp.read_barcodes(np.kron(dots, np.ones((4, 4), np.uint8)))
    return str(found.text)


def test_an_address_too_long_for_programs_is_refused() -> None:
    """At most 256 letters in all, whatever the server is called."""
    must_fit("http://" + "x" * 190)
    with pytest.raises(Refused, match="256"):
        must_fit("http://" + "x" * 200)
    assert 'aria-label="&lt;"' in qr.svg("x", "<")


@pytest.mark.long
def test_the_office_has_one_calendar_of_the_whole_fleet(stage: Stage) -> None:
    """Every vessel's events under the UIDs of the vessels' own calendars, each named, and the fleet's status first."""
    people.add_person(
        stage.context,
        people.Actor("t", "t", Role.ADMIN),
        person_id="office-demo",
        name="Demo office",
        rank="office",
        role=Role.OFFICE,
        vessel_id=None,
    )
    browser = stage.enter("office-demo")
    page = browser.post("/feeds", data={"csrf": csrf_of(stage, browser), "vessel": "", "label": "desk"})
    found = re.search(r"http://testserver(/cal/[\w-]{43}/)plan\.ics", page.text)
    assert found is not None
    fleet = got(stage, f"{found[1]}plan.ics")
    assert titles(fleet)[0].startswith("Fleet of 2 vessels - ")
    uids = {str(part["UID"]) for part in Calendar.from_ical(fleet.content).walk("VEVENT")}
    for vessel, role in (("demo-plover", Role.ENGINEER), ("demo-avocet", Role.CHIEF)):
        key = stage.ask("POST", FEEDS, role=role, vessel=vessel, json={"vessel": vessel})
        own = got(stage, urlsplit(key.json()["address"]).path)
        assert {str(part["UID"]) for part in Calendar.from_ical(own.content).walk("VEVENT")} <= uids
        name = vessel.replace("demo-", "").title()
        assert {f"{name}: {title}" for title in titles(own)} <= set(titles(fleet))
    assert len(titles(got(stage, f"{found[1]}tasks.ics"), "VTODO")) == len(uids)
    refused = stage.ask("POST", FEEDS, role=Role.ENGINEER, json={})
    assert refused.status_code == 404


@pytest.mark.long
def test_trouble_with_a_calendar_is_told_and_the_last_good_one_served(
    fresh: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readiness and the page say so while it lasts; the work that led to the writing is done all the same."""
    path = made(fresh)["path"]
    good = got(fresh, path)
    browser = fresh.enter("engineer-plover")
    job = next(one for (kind, _), one in fresh.due().items() if kind == "alarm_test")
    with monkeypatch.context() as patch:
        patch.setattr(refresh, "write_vessel", lambda *_: 1 / 0)
        assert fresh.close(job["job"]).status_code == 200
        assert got(fresh, path).content == good.content
        assert "could not be written" in str(fresh.ask("GET", "/readyz", role=None).json()["remarks"])
        assert "could not be written" in browser.get("/feeds").text
    fresh.clock.at += timedelta(minutes=20)
    assert fresh.client.app.state.refresh("demo-plover")  # type: ignore[attr-defined]
    assert "could not be written" not in str(fresh.ask("GET", "/readyz", role=None).json()["remarks"])
    assert "could not be written" not in browser.get("/feeds").text
    assert " · done\r\n" in got(fresh, path).text


def test_without_the_database_what_was_sent_last_is_sent_again(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who holds a calendar that is not in memory is told to keep it; only who holds nothing is told to come again."""

    def away(*_: object) -> None:
        raise Busy("away", more={"retry_after": 1})

    known, other = made(stage)["path"], made(stage, alarms=True)["path"]
    good = got(stage, known)
    monkeypatch.setattr(type(stage.context.db), "mark", lambda _: (_ for _ in ()).throw(Busy("away")))
    monkeypatch.setattr(type(stage.context.db), "read", away)
    again = got(stage, known)
    assert (again.status_code, again.content) == (200, good.content)
    assert got(stage, known, If_None_Match=good.headers["etag"]).status_code == 304
    assert got(stage, other, If_None_Match='"held"').status_code == 304
    assert got(stage, other).status_code == 503


def test_every_calendar_with_an_address_is_in_memory_from_the_start(stage: Stage) -> None:
    """So that not even the first to ask after a restart needs the database."""
    path = made(stage)["path"]
    got(stage, path)
    shelf = stage.client.app.state.feed_shelf  # type: ignore[attr-defined]
    shelf._held.clear()
    shelf.fill()
    assert len(shelf._held) >= 2
    assert got(stage, path).status_code == 200
