"""A small invented world at a fixed clock, made through the program's own doors: two ships, and what people do there.

Told twice it is the same to the last id, so that what the doors answer and what the record says can be frozen.
"""

import gzip
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.testclient import TestClient

from tests.acts import PROVED, back, opened
from tests.frozen import doors
from tests.frozen.kept import KEPT, load

AT = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)
"""When it begins. The documents and readings of `kept/ships.json.gz` lead up to it."""
API = "/api/v1"
SHIPS = ("demo-plover", "demo-avocet")
PLOVER, AVOCET = SHIPS
ABOARD = ("counter", "engineer", "chief", "hotel", "master")
PNG, JPEG = (gzip.decompress((KEPT / f"picture.{ending}.gz").read_bytes()) for ending in ("png", "jpg"))
KNIFE = "knife_inspection:plover-pump-b-knives:1"


def stamp(at: datetime) -> str:
    """RFC 3339 in UTC, to the second."""
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


@dataclass(slots=True)
class Answer:
    """What a door answered: JSON as a value, all else as bytes."""

    status: int
    kind: str
    body: Any
    etag: str = ""


@dataclass(slots=True)
class World:
    """A running application over the world. acts: what each act was answered, by its number and door."""

    client: TestClient
    clock: "Clock"
    keys: dict[str, str]
    feeds: dict[str, str] = field(default_factory=dict)
    acts: dict[str, Answer] = field(default_factory=dict)
    dice: doors.Dice = field(default_factory=doors.Dice)

    def ask(self, method: str, path: str, role: str = "engineer", vessel: str = PLOVER, **sent: Any) -> Answer:
        """What that role's key is answered."""
        headers = dict(sent.pop("headers", {}))
        headers["Authorization"] = f"Bearer {self.keys[f'{role} {vessel}' if role in ABOARD else role]}"
        told = self.client.request(method, path, headers=headers, follow_redirects=False, **sent)
        kind = told.headers.get("content-type", "").split(";")[0]
        return Answer(told.status_code, kind, told.json() if "json" in kind and "jsonl" not in kind else told.content,
                      told.headers.get("etag", ""))  # fmt: skip

    def do(self, method: str, path: str, json: Any = None, *, good: int = 2, **more: Any) -> Any:
        """An act: asked with a key of its own for doing it once; must be answered as `good` says (first digits)."""
        name = f"{len(self.acts) + 1:03} {method} {path.split('?')[0].removeprefix(API)}"
        self.dice.begin(name)
        headers = {"Idempotency-Key": name[:100], **more.pop("headers", {})}
        answer = self.ask(method, path, headers=headers, **({} if json is None else {"json": json}), **more)
        assert str(answer.status).startswith(str(good)), (name, answer)
        if answer.status < 300:
            doors.written_after(self.client, method, path)
        self.acts[name] = answer
        return answer.body

    def post(self, vessel: str, *readings: dict[str, Any]) -> Any:
        """Readings by the ship's counters."""
        return self.do("POST", f"{API}/readings", {"readings": list(readings)}, role="counter", vessel=vessel)

    def step(
        self,
        minutes: int,
        kind: str,
        *,
        job: str = KNIFE,
        vessel: str = PLOVER,
        good: int = 2,
        fact: bool = False,
        **told: Any,
    ) -> Any:
        """A step of the work on a job, so many minutes after the world began."""
        at = AT + timedelta(minutes=minutes)
        self.clock.at = max(self.clock.at, at)
        body = {"step": {"kind": kind, "at": stamp(at), "by": told.pop("by", "A. Second"), **told}, "fact": fact}
        return self.do("POST", f"{API}/jobs/{job}/steps", body, good=good, vessel=vessel)

    def version(self, path: str, role: str = "engineer", vessel: str = PLOVER) -> dict[str, str]:
        """The header that names the version to be changed."""
        return {"If-Match": self.ask("GET", path, role, vessel).etag}

    def rounds(self) -> None:
        """The timers' turn."""
        self.dice.begin(f"rounds {len(self.acts)}")
        doors.rounds(self.client)


@dataclass(slots=True)
class Clock:
    """Says `at` until it is turned."""

    at: datetime = AT

    def __call__(self) -> datetime:
        return self.at


@contextmanager
def made(folder: Path, database: str | None = None) -> Iterator[World]:
    """The world, made anew in a folder (or in another database); everything has happened."""
    dice, clock = doors.Dice(), Clock()
    with doors.serving(database or str(folder / "world.db"), clock, folder / "photos") as client:
        world = World(client, clock, {}, dice=dice)
        with dice.thrown():
            _set_up(world)
            _first_days(world)
            _work(world)
            _company(world)
            _later(world)
            _calendars(world)
        yield world


@contextmanager
def opened_again(database: str, photos: Path, known: Mapping[str, Any]) -> Iterator[World]:
    """The application over a database that holds the world. known: its keys, and when it ended."""
    clock = Clock(datetime.fromisoformat(known["at"]))
    with doors.serving(database, clock, photos) as client:
        yield World(client, clock, dict(known["keys"]), dict(known["feeds"]))


def _set_up(w: World) -> None:
    ships = load("ships.json.gz")
    w.dice.begin("set up")
    for role in ("office", "admin"):
        doors.add_person(w.client, role, f"Demo {role}", role, None)
        w.keys[role] = doors.add_key(w.client, role, None, role)
    for vessel in SHIPS:
        document, body = f"{API}/vessels/{vessel}", ships[vessel]["document"]
        w.do("PUT", document, body, role="office", headers={"If-None-Match": "*"})
        for role in ABOARD:
            person = None if role == "counter" else f"{role}-{vessel}"
            w.dice.begin(f"people {vessel} {role}")
            if person is not None:
                doors.add_person(w.client, person, f"Demo {role}", role, vessel)
            w.keys[f"{role} {vessel}"] = doors.add_key(w.client, role, vessel, person)
        w.post(vessel, *ships[vessel]["readings"])


def _first_days(w: World) -> None:
    """Ship time, operating calendars, counters, plans with a slot moved by hand."""
    hour, day = timedelta(hours=1), timedelta(days=1)
    counter = f"{API}/counters/plover-vp1-hours"
    w.do("POST", f"{API}/vessels/{PLOVER}/clock",
         {"from_at": stamp(AT + 3 * day), "utc_offset_minutes": 120, "reason": "going east"})  # fmt: skip
    _daybook(w)
    shown = w.ask("GET", counter).body["newest_value"]
    told: list[Any] = [
        {"counter": "plover-vp1-hours", "observed_at": stamp(AT - 2 * hour), "value": 1},
        {"counter": "plover-vp9-hours", "observed_at": stamp(AT), "value": 1},
        {"counter": "plover-vp1-hours", "observed_at": stamp(AT + 9 * day), "value": 1},
        {"counter": "plover-vp1-hours", "observed_at": stamp(AT), "value": shown},
        {"counter": "plover-vp2-hours", "observed_at": "yesterday", "value": 1},
    ]
    w.post(PLOVER, *told)
    w.post(AVOCET, {"counter": "avocet-vp1-hours", "observed_at": stamp(AT + hour / 2), "value": 3})
    w.post(AVOCET, {"counter": "avocet-vp2-hours", "observed_at": stamp(AT + hour / 2), "value": 900_000})

    def event(
        kind: str, of: str = counter, good: int = 2, role: str = "engineer", vessel: str = PLOVER, **more: Any
    ) -> Any:
        body = {"kind": kind, "at": stamp(AT - hour), "reason": "as read at the panel", **more}
        return w.do("POST", f"{of}/events", body, good=good, role=role, vessel=vessel)

    w.clock.at = AT + hour / 2
    event("rescale", seconds_per_count=60, old_final=shown, new_first=shown * 60, modulus=10**9)
    event("adjustment", hours=1.5)
    event("adjustment", of=f"{API}/counters/plover-vp3-hours", hours=-2)
    event("opening balance", of=f"{API}/counters/avocet-vp3-hours", vessel=AVOCET, hours=10)
    event("replacement", of=f"{API}/counters/avocet-vp4-hours", vessel=AVOCET, new_first=0, at=stamp(AT + hour / 4))
    event("bad reading", of=f"{API}/counters/avocet-vp2-hours", vessel=AVOCET, at=stamp(AT + hour / 2))
    event("step decision", hours=1)
    event("step decision", good=4, hours=1, at=stamp(AT + 9 * day))
    held = w.ask("GET", counter).body["events"]
    scale = next(one["id"] for one in held if one["kind"] == "rescale")
    w.do("POST", f"{counter}/events/{scale}/undo", {"reason": "another counter"})
    third = w.ask("GET", f"{API}/counters/plover-vp3-hours").body["events"]
    w.do("POST", f"{API}/counters/plover-vp3-hours/events/{third[0]['id']}/confirm", {"reason": "seen"}, role="chief")
    event("adjustment", of=f"{API}/counters/plover-vp2-hours", hours=-3)
    _hours_by_hand(w)
    for ship in ("plover", "avocet"):
        vessel, plan = f"demo-{ship}", f"{API}/plants/{ship}-plant/plan"
        proposed = w.do("POST", f"{plan}/previews", vessel=vessel)["proposed"]
        w.do("POST", plan, {"digest": proposed["digest"]}, vessel=vessel)
    w.do("POST", f"{API}/plants/plover-plant/plan", {"digest": "0" * 64}, good=412)
    _moves(w)


def _daybook(w: World) -> None:
    """The operating calendar: put whole, corrected, taken in from a file, taken back."""
    days = f"{API}/vessels/{PLOVER}/calendar"
    kinds = [{"code": "sea", "weight": 1}, {"code": "port", "weight": 0.3}]
    sea = {"from_on": "2026-10-01", "to_on": "2026-10-12", "kind": "sea", "source": "log"}
    port = {"from_on": "2026-10-25", "to_on": "2026-10-27", "kind": "port", "note": "bunkers"}
    w.do("PUT", days, {"stretches": [sea, port], "kinds": kinds}, headers=w.version(days))
    later = {**port, "from_on": "2026-10-26", "kind": "sea"}
    w.do("PATCH", days, {"stretches": [later], "reason": "leaves a day sooner"}, headers=w.version(days))
    file = "from,to,kind\n2026-11-01,2026-11-03,port\n"
    w.do("POST", f"{days}/previews", {"csv": file})
    w.do("POST", f"{days}/previews", {"csv": "from,to\nx,y\n"}, good="")
    w.do("POST", f"{days}/file", {"csv": file, "reason": "from the office"}, headers=w.version(days))
    w.do("POST", f"{days}/undo", {"reason": "old file"}, headers=w.version(days))
    whole = load("ships.json.gz")[AVOCET]["calendar"]
    theirs = f"{API}/vessels/{AVOCET}/calendar"
    w.do("PUT", theirs, whole, headers=w.version(theirs, vessel=AVOCET), vessel=AVOCET)


def _hours_by_hand(w: World) -> None:
    """Hours typed on the page, by somebody signed in."""
    w.dice.begin("by hand")
    link = doors.sign_in_link(w.client, f"engineer-{PLOVER}")
    path, html = f"/vessels/{PLOVER}/hours", {"Accept": "text/html"}
    w.client.post(f"/enter/{link}", follow_redirects=False)
    token = re.search(r'name="csrf" value="([^"]+)"', w.client.get(path, headers=html).text)
    assert token is not None
    shown = int(w.ask("GET", f"{API}/counters/plover-vp3-hours").body["newest_value"])
    sent = w.client.post(
        path,
        data={
            "csrf": token[1],
            "idempotency_key": "by hand",
            "at": "2026-10-20T08:30",
            "utc_offset_minutes": "60",
            "counter:plover-vp3-hours": str(shown + 1),
            "do": "store",
            "seen_at": "2026-10-20T08:30",
            "seen:plover-vp3-hours": f"fits|{shown + 1}",
        },
        headers=html,
    )
    assert sent.status_code == 200, sent.text
    w.client.cookies.clear()


def _moves(w: World) -> None:
    """A slot tried elsewhere, moved, put back, and another one moved for good."""
    plan = f"{API}/plants/plover-plant/plan"
    taken = w.ask("GET", plan).body["taken"]
    first, second = [one for one in taken["slots"] if one["job"].startswith(("pull_down_test", "alarm_test"))][:2]
    for slot, stays in ((first, False), (second, True)):
        job = slot["job"]
        at = stamp(datetime.fromisoformat(slot["from"]) + timedelta(days=1))
        tried = w.ask("GET", f"{plan}/slots/{job}/times?start_at={at}").body
        starts = [at] if tried["holds"] else [one["start_at"] for one in tried["times"] if one["start_at"] > at]
        body = {"job": job, "start_at": starts[0], "reason": "port call moved"}
        moved = w.do("POST", f"{plan}/moves", body, headers={"If-Match": f'"{tried["version"]}"'})
        if not stays:
            w.do("POST", f"{plan}/moves/{moved['move']}/undo", {})


def _work(w: World) -> None:
    """Jobs: one from permit to checked, one closed at once, one struck, one from paper; pumps out and back."""
    hour = timedelta(hours=1)
    job = f"{API}/jobs/{KNIFE}"
    w.do("POST", f"{API}/plants/plover-plant/parts", {"name": "knife set", "aboard": 2})
    w.step(31, "opened", good=4)
    acts = opened(at=60)
    for minutes, kind, told in acts[:5]:
        w.step(minutes, kind, **told)
    w.step(66, "tag placed", point="selector to OFF", lock_no="L9", tag_no="T-9", box_no="4")
    w.step(66, "entry struck", number=6, reason="wrong point")
    for minutes, kind, told in acts[5:]:
        w.step(max(minutes, 66), kind, **told)
    sheet = w.ask("GET", job).body
    for one in sheet["sheet"]:
        if not one["act"]:
            w.step(80, "noted", about="step", name=one["text"])
    for one in sheet["measures"]:
        value = one["low"] if one["low"] is not None else one["high"] or 0
        w.step(81, "noted", about="measure", name=one["name"], value=value)
    w.step(82, "noted", about="finding", name="Knife edges dull")
    w.step(82, "noted", about="foreign object", name="cloth")
    w.step(83, "noted", about="part used", name="knife set", value=1)
    w.do("POST", f"{job}/photos", files={"photo": ("x.png", PNG)}, data={"text": "worn edge"})
    w.do("POST", f"{job}/photos", files={"photo": ("y.jpg", JPEG)}, data={"text": ""})
    for minutes, kind, told in back(at=110):
        w.step(minutes, kind, **told)
    w.step(120, "tested", **PROVED)
    w.step(121, "permit closed", number="CW-7")
    _close(w, KNIFE, test="none", done_by="A. Second", checked_by="Demo chief", findings="edges dull, set renewed")
    w.do("POST", f"{job}/check", role="chief")
    w.clock.at += hour
    seal = "seal_inspection:plover-pump-a-seal:1"
    _close(w, seal, company="Demo Pumps", answers_for="A. Second", done_by="C. Fitter", from_paper=True)
    _close(w, "alarm_test:plover-plant:1")
    _close(w, "alarm_test:plover-plant:1", good=4)
    other = "knife_inspection:plover-pump-a-knives:1"
    _close(w, other)
    w.do("POST", f"{API}/jobs/{other}/close/strike", {"reason": "wrong pump"})
    _close(w, "knife_inspection:plover-pump-c-knives:1", done_by="B. Wiper", checked_by="Demo chief")
    figures = {"from_vacuum_kpa": 35, "to_vacuum_kpa": 50, "seconds": 45, "hold_rise_kpa": 2.0, "hold_seconds": 300}
    test = {"at": stamp(w.clock.at), "result": "passed", "done_by": "A. Second", "figures": figures}
    w.do("POST", f"{API}/pumps/plover-pump-c/test", test)
    log = "\n".join(["seconds,vacuum_kpa", *(f"{8 * i},{30 + 1.8 * i:.2f}" for i in range(14))])
    w.do("POST", f"{API}/pumps/avocet-pump-c/test", {**test, "figures": None, "log": log}, vessel=AVOCET)
    order = {"order": ["VP2", "VP1", "VP3"], "at": stamp(w.clock.at)}
    w.do("POST", f"{API}/plants/plover-plant/lead-order", order)
    _pumps(w)


def _close(w: World, job: str, *, good: int = 2, vessel: str = PLOVER, **told: Any) -> Any:
    body = {"done_at": stamp(w.clock.at), "done_by": "Demo Hand", "test": "passed", **told}
    return w.do("POST", f"{API}/jobs/{job}/close", body, good=good, vessel=vessel)


def _pumps(w: World) -> None:
    """Out and back, broken down, runs after all, expected back; an isolation begun on the other ship and not ended."""
    now, pumps = stamp(w.clock.at), f"{API}/pumps"
    w.do("POST", f"{pumps}/plover-pump-a/down", {"at": now, "reason": "seal leaks"})
    w.clock.at += timedelta(hours=1)
    told = {"test": "passed", "measured_swept_m3_per_h": 72.5, "reason": "seal renewed"}
    w.do("POST", f"{pumps}/plover-pump-a/back", {"at": stamp(w.clock.at), **told})
    now = stamp(w.clock.at)
    w.do("POST", f"{pumps}/plover-pump-c/breakdowns", {"at": now, "reason": "tripped, smell of burning"})
    expected = {"expected_at": stamp(w.clock.at + timedelta(days=4))}
    w.do("PUT", f"{pumps}/plover-pump-c/expected-return", expected)
    w.do("POST", f"{pumps}/avocet-pump-b/breakdowns", {"at": now, "reason": "noise"}, vessel=AVOCET)
    ran = {"at": stamp(w.clock.at), "reason": "breaker only"}
    w.do("POST", f"{pumps}/avocet-pump-b/runs-after-all", ran, vessel=AVOCET)
    begun = int((w.clock.at - AT).total_seconds() // 60)
    for minutes, kind, more in opened("CW-20", at=begun)[:7]:
        w.step(minutes, kind, job="knife_inspection:avocet-pump-e-knives:1", by="Demo engineer", vessel=AVOCET, **more)

    w.do("POST", f"{pumps}/avocet-pump-f/down", {"at": now, "reason": "seized"}, vessel=AVOCET)
    w.do("POST", f"{pumps}/avocet-pump-a/back", {"at": now, "test": "passed", "reason": "x"}, good=4, vessel=AVOCET)


def _company(w: World) -> None:
    """What is asked of others: postponements, lower minima, docks, part dates, points not fitted, notes and reviews."""
    day, pumps, plant, ship = timedelta(days=1), f"{API}/pumps", f"{API}/plants/plover-plant", f"{API}/vessels/{PLOVER}"
    later = {
        "to_at": stamp(AT + 500 * day),
        "reason": "no seal aboard",
        "risk": "leak",
        "mitigation": "looked at daily",
    }
    for job in ("overhaul:plover-pump-a:1", "overhaul:plover-pump-b:1", "seal_inspection:plover-pump-b-seal:1"):
        w.do("POST", f"{API}/jobs/{job}/postponements", later)
    w.do("POST", f"{API}/jobs/overhaul:plover-pump-a:1/postponements", later, good=4)
    w.do("POST", f"{ship}/postponements/1/decision", {"granted": True, "note": "seal on order"}, role="chief")
    w.do("POST", f"{ship}/postponements/2/decision", {"granted": False, "note": "too long"}, role="chief")
    minimum = {"from_at": stamp(AT), "to_at": stamp(AT + 6 * day), "minimum_swept_m3_per_h": 60, "reason": "few aboard"}
    dock = {"from_at": stamp(AT + 12 * day), "to_at": stamp(AT + 18 * day)}
    for more in ({}, {**dock, "minimum_swept_m3_per_h": 0, "reason": "in dock"}, {"minimum_swept_m3_per_h": 70}):
        w.do("POST", f"{plant}/concessions", {**minimum, **more})
    for number in (1, 2):
        w.do("POST", f"{plant}/concessions/{number}/signature", {"as": "chief"}, role="chief")
        w.do("POST", f"{plant}/concessions/{number}/signature", {"as": "hotel"}, role="hotel")
    w.do("POST", f"{plant}/concessions", {**minimum, "minimum_swept_m3_per_h": 4000}, good=4)
    w.do("POST", f"{plant}/concessions/1/withdrawal")
    offered = w.ask("GET", f"{plant}/dock?from_at={dock['from_at']}&to_at={dock['to_at']}").body["jobs"]
    for jobs in (offered[:2], offered[2:3]):
        w.do("POST", f"{plant}/dock", {**dock, "jobs": [one["job"] for one in jobs]})
    w.do("POST", f"{plant}/dock/2/withdrawal", {})
    comes = {"from_on": "2026-10-25", "note": "by the agent"}
    w.do("PUT", f"{API}/jobs/seal_inspection:plover-pump-c-seal:1/part-date", comes)
    for pump, point in (("b", "selector to OFF"), ("b", "suction valve"), ("a", "selector to OFF")):
        w.do("POST", f"{pumps}/plover-pump-{pump}/points", {"point": point, "reason": "not there"})
    for number in (1, 2):
        w.do("POST", f"{pumps}/plover-pump-b/points/{number}/signature", {"as": "master"}, role="master")
    w.do("POST", f"{pumps}/plover-pump-b/points/2/withdrawal")
    w.do("POST", f"{pumps}/plover-pump-a/points", {"point": "supply breaker", "reason": "none"}, good=4)
    w.do("POST", f"{ship}/clogs", {"at": stamp(w.clock.at), "object": "wipe", "riser": "R4", "text": "a handful"})
    w.do("POST", f"{ship}/clogs", {"at": stamp(w.clock.at), "object": "cloth", "deck": "5"})
    w.do("POST", f"{ship}/reviews", {"month": "2026-09", "text": "nothing to add"}, role="chief")
    for vessel in SHIPS:
        w.do("POST", f"{API}/vessels/{vessel}/handovers", {"text": "One pump is out."}, vessel=vessel)
    w.do("POST", f"{ship}/handovers/1/signature", {}, role="chief")
    w.do("POST", f"{API}/vessels/{AVOCET}/handovers/1/signature", {}, role="chief", vessel=AVOCET, good=4)
    w.do("POST", f"{ship}/handovers", {"text": "Parts come on Sunday."}, role="chief")
    listed = w.ask("GET", f"{ship}/non-conformities").body["non_conformities"]
    first = f"{ship}/non-conformities/{listed[0]['non_conformity']}"
    w.do("POST", f"{first}/answer", {"cause": "no seal aboard", "corrective_action": "two kept"}, role="chief")
    w.do("POST", f"{first}/close", role="chief", good=4)
    w.do("POST", f"{first}/close", role="office")
    _documents(w)


def _documents(w: World) -> None:
    """A document changed: one kind's last dates are not known any more, and one of them gets a first date."""
    here = f"{API}/vessels/{PLOVER}"
    document = w.ask("GET", here, "office").body
    for plant in document["plants"]:
        plant["last_done"] = [one for one in plant["last_done"] if one["kind"] != "overhaul"]
    why = "?reason=no+paper+found&class_agreed=agreed"
    w.do("PUT", here, {**document, "name": ""}, role="office", headers=w.version(here, "office"), good=4)
    w.do("PUT", here + why, document, role="office", headers=w.version(here, "office"))
    first = {"on": "2026-12-20", "reason": "opened in dock, no paper"}
    w.do("PUT", f"{API}/jobs/overhaul:plover-pump-c:1/first-date", first, role="chief")
    w.do("PUT", f"{API}/jobs/alarm_test:plover-plant:2/first-date", first, role="chief", good=4)


def _later(w: World) -> None:
    """Thirty-three days go by: more readings, the timers' rounds, what went past its limit, plans anew."""
    hour = timedelta(hours=1)
    for days in (2, 33):
        w.clock.at = AT + timedelta(days=days)
        for ship, pumps in (("plover", (1, 2)), ("avocet", (1, 3, 5, 6))):
            told = []
            for number in pumps:
                counter = f"{ship}-vp{number}-hours"
                shown = w.ask("GET", f"{API}/counters/{counter}", vessel=f"demo-{ship}").body
                since = (w.clock.at - hour - datetime.fromisoformat(shown["newest_at"])) / hour
                value = int(shown["newest_value"] + since / 3 * 3600 / shown["seconds_per_count"])
                told.append({"counter": counter, "observed_at": stamp(w.clock.at - hour), "value": value})
            w.post(f"demo-{ship}", *told)
        w.rounds()
    _close(w, "standby_start:avocet-plant:1", vessel=AVOCET)
    w.do("POST", f"{API}/plants/avocet-plant/plan/previews", vessel=AVOCET)
    proposed = w.do("POST", f"{API}/plants/plover-plant/plan/previews")["proposed"]
    w.do("POST", f"{API}/plants/plover-plant/plan", {"digest": proposed["digest"]})
    w.do("POST", f"{API}/plants/plover-plant/plan/previews")


def _calendars(w: World) -> None:
    """Addresses: of a ship, of some kinds with reminders, of the whole fleet; one changed, one withdrawn."""
    feeds = f"{API}/feeds"
    asked: tuple[tuple[str, str, dict[str, Any]], ...] = (
        ("plover", "engineer", {"vessel": PLOVER, "label": "bridge"}),
        ("some", "engineer", {"vessel": PLOVER, "kinds": ["alarm_test", "overhaul"], "alarms": True, "alarm_hour": 20}),
        ("changed", "engineer", {"vessel": PLOVER, "days_ahead": 14, "days": 30}),
        ("withdrawn", "chief", {"vessel": PLOVER}),
    )
    ids = {}
    for name, role, body in asked:
        told = w.do("POST", feeds, body, role=role)
        ids[name], w.feeds[name] = told["id"], urlsplit(told["address"]).path.split("/")[2]
    told = w.do("POST", feeds, {"vessel": AVOCET}, role="chief", vessel=AVOCET)
    w.feeds["avocet"] = urlsplit(told["address"]).path.split("/")[2]
    w.do("POST", feeds, {"vessel": AVOCET}, good=4)
    told = w.do("POST", f"{feeds}/{ids['changed']}/rotate")
    w.feeds["changed"] = urlsplit(told["address"]).path.split("/")[2]
    w.do("DELETE", f"{feeds}/{ids['withdrawn']}", role="chief")
    w.rounds()
    for secret in w.feeds.values():
        for name in ("plan", "tasks"):
            w.client.get(f"/cal/{secret}/{name}.ics")
