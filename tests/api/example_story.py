"""One good and one refused request for every door that /openapi.json describes, in an order in which all of it happens.

`python -m tests.api.example_story` sends them and stores what was asked and answered in `api/routes/shared/examples.json`, from
where /openapi.json has its examples; `test_examples.py` sends them again.
"""

import json
import re
import struct
import zlib
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote

from api.routes.shared.examples import EXAMPLES_FILE
from scheduler.actions.shore.applying import take_in
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from scheduler.domain.hours.sign_days import SignDays
from scheduler.domain.hours.sign_values import Sign
from scheduler.storage.database import INSTALLATION
from scheduler.storage.hours.signs import sign_track
from scheduler.storage.shore.ships import LineState, ShipLineRow
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp
from tests.api.test_first_dates import KEY as UNKNOWN_JOB
from tests.api.test_first_dates import forget
from tests.frozen.doors import routes_of_the_app

_SECRET = re.compile(r"(/cal/|/enter/|ll_[0-9a-f]{8}_)[A-Za-z0-9_-]+")
NUMBERS = count(1)
THERE: Mapping[str, Any] = {
    "vessel_id": "demo-plover",
    "plant_id": "plover-plant",
    "pump_id": "plover-pump-b",
    "counter_id": "plover-vp1-hours",
    "key": "alarm_test:plover-plant:1",
    "number": 1,
}
NOT_THERE: Mapping[str, Any] = {
    "vessel_id": "demo-nobody",
    "plant_id": "nobody-plant",
    "pump_id": "nobody-pump",
    "counter_id": "nobody-hours",
    "key": "alarm_test:nobody-plant:1",
    "token": "not-an-address",
    "person_id": "nobody",
    "session_id": "nobody",
    "prefix": "00000000",
    "feed_id": "not-an-address",
}
SEAL = "seal_inspection:plover-pump-a-seal:1"
KNIFE = "knife_inspection:plover-pump-b-knives:1"
DOCK = {"from_at": stamp(AT + timedelta(days=10)), "to_at": stamp(AT + timedelta(days=18))}
OPENER, CHIEF, OFFICE = Role.ENGINEER, Role.CHIEF, Role.OFFICE


@dataclass(frozen=True, slots=True)
class Found:
    """A value that is known once the story runs: what `read` finds in the world at that moment."""

    read: Callable[["Run"], Any]


@dataclass(frozen=True, slots=True)
class Sent:
    """A request to a door: parts that are left out are those of the plain case."""

    role: Role | None = OPENER
    path: Mapping[str, Any] = field(default_factory=dict)
    query: Mapping[str, Any] = field(default_factory=dict)
    headers: Mapping[str, Any] = field(default_factory=dict)
    body: Any = None
    files: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """A door with its good request and its refused one, sent before it. first: what has to happen before both."""

    door: str
    good: Sent = field(default_factory=Sent)
    refused: Sent | None = None
    first: Callable[[Stage], object] | None = None


@dataclass(slots=True)
class Run:
    """A run of the story. told: the last good answer of each door."""

    stage: Stage
    paths: Mapping[str, tuple[str, str]]
    told: dict[str, Any] = field(default_factory=dict)

    def parts(self, door: str, sent: Sent) -> tuple[dict[str, Any], Any]:
        """Parameters and body of a request as they go out now."""
        names = _names(self.paths[door][1])
        parameters = {name: sent.path.get(name, THERE.get(name)) for name in names} | {**sent.query, **sent.headers}
        body = self.value(sent.body)
        if isinstance(body, Mapping):
            body = {name: self.value(value) for name, value in body.items()}
        return {name: self.value(value) for name, value in parameters.items()}, body

    def send(self, door: str, parameters: Mapping[str, Any], body: Any, sent: Sent) -> Any:
        """The answer to a request of those parts, by the role and with the files that `sent` names."""
        method, path = self.paths[door]
        for name in _names(path):
            path = path.replace(f"{{{name}}}", quote(str(parameters[name]), safe=""))
        headers = {name: parameters[name] for name in sent.headers}
        query = {name: parameters[name] for name in sent.query}
        sends = {"data": body, "files": sent.files} if sent.files else {} if body is None else {"json": body}
        if method != "GET":
            headers["Idempotency-Key"] = f"example {next(NUMBERS)}"
        return self.stage.ask(method, path, role=sent.role, once="", headers=headers, params=query, **sends)

    def value(self, given: Any) -> Any:
        """The value itself, or what is found now."""
        return given.read(self) if isinstance(given, Found) else given


def _names(path: str) -> list[str]:
    return [part[1:-1] for part in path.split("/") if part.startswith("{")]


def refused_plainly(path: str, good: Sent) -> Sent:
    """The same of something that is not there."""
    name = _names(path)[-1] if _names(path)[-1] in NOT_THERE else _names(path)[0]
    return Sent(good.role, {**good.path, name: NOT_THERE[name]}, good.query, good.headers, good.body, good.files)


def _png() -> bytes:
    """A picture of one white point."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0\xff")) + chunk(b"IEND", b"")


PHOTO = {"photo": ("knife.png", _png(), "image/png")}


def told(door: str, *names: str | int) -> Found:
    """A member of that door's last good answer."""

    def read(run: Run) -> Any:
        value = run.told[door]
        for name in names:
            value = value[name]
        return value

    return Found(read)


def _slot(run: Run) -> dict[str, Any]:
    slots: list[dict[str, Any]] = run.told["get_plan"]["proposed"]["slots"]
    return slots[-1]


def _version(run: Run) -> str:
    return run.stage.document()[1]


def _due_by_nobody(stage: Stage) -> None:
    """Four months later jobs are past their limits."""
    stage.clock.at += timedelta(days=120)
    open_where_due(stage.context)


def _parted(stage: Stage) -> None:
    """The line of a ship that sends what she writes has parted."""
    with stage.context.db.write("demo-dunlin") as session:
        facts = {"why": "parted", "life": "b7d2", "held_life": "a1c0", "held": 412, "number": 390, "key": "00000000"}
        line = ShipLineRow(vessel_id="demo-dunlin", heard_at=stage.clock.at, since_at=stage.clock.at, facts=facts)
        line.life, line.number, line.hash, line.state = "a1c0", 412, "0" * 64, LineState.PARTED
        session.add(line)


def _signed_as_hotel(stage: Stage) -> None:
    path = "/api/v1/plants/plover-plant/concessions/1/signature"
    assert stage.ask("POST", path, role=Role.HOTEL, json={"as": "hotel"}).status_code == 200


def _sign_seen(stage: Stage) -> None:
    """As a year of hours would have shown it; three days show nothing."""
    vessel, plant = THERE["vessel_id"], THERE["plant_id"]
    with stage.context.db.write(vessel) as session:
        row = sign_track(session, vessel, plant)
        assert row is not None
        days = SignDays.from_text(row.state)
        seen = row.next_day - 1
        sign = Sign(
            seen_day=seen,
            direction=1,
            began_day=seen - 5,
            rise=0.26,
            width=0.05,
            after_day=seen - 90,
            base_day=seen - 10,
        )
        row.state = replace(days, plant=replace(days.plant, signs=(sign,))).to_text()
        session.add(row)


def _first_date_asked(stage: Stage) -> None:
    """Of a critical job, by the chief engineer: it waits for the office."""
    forget(stage, "seal_inspection", critical=True)
    body = {"on": "2026-12-01", "reason": "opened in dock, no paper"}
    asked = stage.ask(
        "PUT", f"/api/v1/jobs/{SEAL}/first-date", role=CHIEF, json=body, headers={"Idempotency-Key": "first"}
    )
    assert asked.status_code == 202, asked.text


def _interval_changed(stage: Stage) -> None:
    """By somebody else than approves it."""
    document, etag = stage.document()
    kind = next(one for one in document["plants"][0]["job_kinds"] if one["code"] == "overhaul")
    kind["interval_running_hours"] += 500
    path = "/api/v1/vessels/demo-plover?reason=little+wear"
    put = stage.ask("PUT", path, role=Role.ADMIN, json=document, headers={"If-Match": etag})
    assert put.status_code == 200, put.text


def _newest_version(run: Run) -> int:
    return int(run.stage.document()[1].strip('"'))


def _hours_to_be_taken(stage: Stage) -> None:
    body = {"kind": "adjustment", "at": stamp(AT), "hours": -1, "reason": "counted twice"}
    assert stage.ask("POST", "/api/v1/counters/plover-vp2-hours/events", json=body, once="taken").status_code == 202


def _asked_for(run: Run) -> str:
    """The event that waits: asked for once more with the same key, which gives the same answer."""
    body = {"kind": "adjustment", "at": stamp(AT), "hours": -1, "reason": "counted twice"}
    again = run.stage.ask("POST", "/api/v1/counters/plover-vp2-hours/events", json=body, once="taken")
    return str(again.json()["id"])


def _other_start(run: Run) -> str:
    """A start that was offered and is another than today's."""
    times = run.told["slot_times"]["times"]
    return next(str(one["start_at"]) for one in times if not one["as_planned"])


def _token(run: Run) -> str:
    return str(run.told["rotate_feed"]["address"]).rpartition("/cal/")[2].partition("/")[0]


def _session(run: Run) -> str:
    """Where the engineer is signed in."""
    people = run.stage.ask("GET", "/api/v1/people", role=OFFICE).json()["people"]
    return next(str(one["sessions"][0]["id"]) for one in people if one["sessions"])


def _asked_by_the_office(stage: Stage) -> None:
    """One more hand in the crew waits for the chief engineer."""
    document, etag = stage.document()
    patch = deepcopy(document)
    patch["plants"][0]["crew"]["hands"] += 1
    at = int(stage.clock.at.timestamp())
    said = {"version": int(etag.strip('"')), "patch": {"plants": patch["plants"]}, "reason": "one more hand joins"}
    asked = {
        "number": 1,
        "what": "change document",
        "arguments": said,
        "seen": {},
        "asked_s": at,
        "until_s": at + 86_400,
    }
    by = {
        "by_id": "super",
        "by": "A. Superintendent, superintendent",
        "role": "office",
        "vouched_id": "",
        "vouched": "",
    }
    take_in(stage.context, THERE["vessel_id"], [{**asked, **by}])


def _written_aboard(stage: Stage) -> None:
    """From here on the ship's own server keeps her records."""
    with stage.context.db.write(INSTALLATION) as session:
        session.add(
            ShipLineRow(
                vessel_id=THERE["vessel_id"], life="first", number=1, heard_at=stage.clock.at, since_at=stage.clock.at
            )
        )


SLOT_JOB, SLOT_START = Found(lambda run: _slot(run)["job"]), Found(lambda run: _slot(run)["from"])
NOW = stamp(AT)
ROTATED = Found(lambda run: run.told["rotate_key"]["key"].split("_")[1])
SECOND = {"name": "A. Second", "rank": "second engineer", "role": "engineer", "vessel": "demo-plover"}
OF_SECOND = {"person_id": "second-plover"}
STORY: tuple[Act, ...] = (
    Act("list_people", Sent(OFFICE), Sent(Role.COUNTER)),
    Act(
        "add_person",
        Sent(OFFICE, body={"id": "second-plover", **SECOND}),
        Sent(OFFICE, body={"id": "engineer-plover", **SECOND}),
    ),
    Act("change_person", Sent(OFFICE, OF_SECOND, body={**SECOND, "rank": "third engineer"})),
    Act("make_link", Sent(OFFICE, OF_SECOND, body={"vessel": "demo-plover"})),
    Act(
        "end_session",
        Sent(OFFICE, {"session_id": Found(_session)}),
        first=lambda stage: stage.enter("engineer-plover"),
    ),
    Act("withdraw_person", Sent(OFFICE, OF_SECOND, body={})),
    Act("return_person", Sent(OFFICE, OF_SECOND, body={})),
    Act(
        "make_key",
        Sent(OFFICE, body={"role": "counter", "label": "engine room gateway", "vessel": "demo-plover"}),
        Sent(OPENER, body={"role": "office", "label": "my own"}),
    ),
    Act("list_keys", Sent(OFFICE), Sent(Role.COUNTER)),
    Act(
        "rotate_key",
        Sent(OFFICE, {"prefix": Found(lambda run: run.told["make_key"]["key"].split("_")[1])}, body={"both_days": 7}),
        Sent(OFFICE, {"prefix": "00000000"}, body={"both_days": 7}),
    ),
    Act("withdraw_key", Sent(OFFICE, {"prefix": ROTATED})),
    Act("get_head", Sent(Role.SHIP), Sent(OFFICE)),
    Act(
        "post_rejoin",
        Sent(Role.SHIP, body={"life": "b7d2", "number": 0, "hash": "0" * 64}),
        Sent(Role.SHIP, body={"life": "b7d2", "number": -1, "hash": "0" * 64}),
    ),
    Act("list_ships", Sent(OFFICE), Sent(None)),
    Act(
        "answer_life",
        Sent(OFFICE, {"vessel_id": "demo-dunlin"}, body={"answer": "stray copy", "reason": "a copy in the workshop"}),
        Sent(CHIEF, {"vessel_id": "demo-dunlin"}, body={"answer": "stray copy", "reason": "a copy in the workshop"}),
        first=_parted,
    ),
    Act("list_lost_records", Sent(OFFICE), Sent(CHIEF)),
    Act("list_vessels", Sent(OFFICE), Sent(None)),
    Act("get_vessel", Sent(OFFICE)),
    Act(
        "put_vessel",
        Sent(OFFICE, headers={"If-Match": Found(_version)}, body=told("get_vessel")),
        Sent(OFFICE, headers={"If-Match": '"99"'}, body=told("get_vessel")),
    ),
    Act("versions_of", Sent(OFFICE)),
    Act("version_of", Sent(OFFICE)),
    Act("diagnosis"),
    Act(
        "post_readings",
        Sent(Role.COUNTER, body={"readings": [{"counter": "plover-vp1-hours", "observed_at": NOW, "value": 90001}]}),
        Sent(OPENER, body={"readings": [{"counter": "plover-vp1-hours", "observed_at": NOW, "value": 90001}]}),
    ),
    Act("intake"),
    Act("get_counter"),
    Act("daily_hours", Sent(query={"days": 3})),
    Act("get_signs"),
    Act(
        "answer_sign",
        Sent(body={"cause": "leak", "text": "flush valve, cabin 204"}),
        Sent(path={"number": 999}, body={"cause": "leak"}),
        first=_sign_seen,
    ),
    Act(
        "undo_sign_answer",
        Sent(body={"reason": "it was not that valve"}),
        Sent(path={"number": 999}, body={"reason": "it was not that valve"}),
    ),
    Act(
        "counter_event",
        Sent(body={"kind": "adjustment", "at": NOW, "hours": 1.5, "reason": "ran on its local switch"}),
        Sent(body={"kind": "adjustment", "at": NOW, "hours": 1.5, "reason": " "}),
    ),
    Act(
        "undo_event",
        Sent(path={"event_id": told("counter_event", "id")}, body={"reason": "entered twice"}),
        Sent(path={"event_id": "none"}, body={"reason": "entered twice"}),
    ),
    Act("get_calendar"),
    Act(
        "put_calendar",
        Sent(
            headers={"If-Match": '"0"'},
            body={
                "stretches": [{"from_on": "2026-11-01", "to_on": "2026-11-05", "kind": "sea"}],
                "reason": "voyage 12",
            },
        ),
        Sent(headers={"If-Match": '"7"'}, body={"stretches": []}),
    ),
    Act(
        "patch_calendar",
        Sent(
            headers={"If-Match": '"1"'},
            body={"stretches": [{"from_on": "2026-11-06", "to_on": "2026-11-08", "kind": "port"}]},
        ),
        Sent(headers={"If-Match": '"0"'}, body={"stretches": []}),
    ),
    Act("try_days", Sent(body={"csv": "from,to,kind\n2026-11-09,2026-11-12,sea\n"})),
    Act(
        "take_file",
        Sent(headers={"If-Match": '"2"'}, body={"csv": "from,to,kind\n2026-11-09,2026-11-12,sea\n"}),
        Sent(headers={"If-Match": '"2"'}, body={"csv": "from,to,kind\n2026-11-09,2026-11-08,sea\n"}),
    ),
    Act(
        "undo_days",
        Sent(headers={"If-Match": '"3"'}, body={"reason": "old file"}),
        Sent(headers={"If-Match": '"2"'}, body={}),
    ),
    Act("get_plant"),
    Act("get_pump"),
    Act("get_due"),
    Act("get_moved"),
    Act("get_capacity", Sent(query={"from": NOW, "to": stamp(AT + timedelta(days=2))})),
    Act(
        "may_open_pump",
        Sent(query={"at": stamp(AT + timedelta(hours=2)), "hours": 3}),
        Sent(query={"at": stamp(AT - timedelta(hours=2)), "hours": 3}),
    ),
    Act("lead_order"),
    Act(
        "set_lead_order",
        Sent(body={"order": ["VP2", "VP1", "VP3"], "at": NOW}),
        Sent(body={"order": ["VP2", "VP1"], "at": NOW}),
    ),
    Act("propose_plan"),
    Act("get_plan"),
    Act("plan_why", Sent(path={"key": SLOT_JOB})),
    Act("plan_outlook", Sent(query={"days": 2})),
    Act("take_plan", Sent(body={"digest": told("get_plan", "proposed", "digest")}), Sent(body={"digest": "0" * 64})),
    Act("slot_times", Sent(path={"key": SLOT_JOB}, query={"start_at": SLOT_START})),
    Act(
        "move_slot",
        Sent(
            headers={"If-Match": Found(lambda run: f'"{run.told["slot_times"]["version"]}"')},
            body={"job": SLOT_JOB, "start_at": Found(_other_start), "reason": "port call moved"},
        ),
        Sent(headers={"If-Match": '"99"'}, body={"job": SLOT_JOB, "start_at": SLOT_START}),
    ),
    Act("moves_made"),
    Act("undo_move", Sent(), Sent(path={"number": 999})),
    Act(
        "ask_concession",
        Sent(body={**DOCK, "minimum_swept_m3_per_h": 0, "reason": "in dock"}),
        Sent(body={**DOCK, "minimum_swept_m3_per_h": 100000, "reason": "in dock"}),
    ),
    Act("concessions"),
    Act("sign_concession", Sent(CHIEF, body={"as": "chief"}), Sent(OPENER, body={"as": "chief"})),
    Act("dock_choices", Sent(query=DOCK)),
    Act(
        "choose_dock",
        Sent(body={**DOCK, "jobs": Found(lambda run: [run.told["dock_choices"]["jobs"][0]["job"]])}),
        Sent(body={"from_at": NOW, "to_at": stamp(AT + timedelta(days=9)), "jobs": [THERE["key"]]}),
        first=_signed_as_hotel,
    ),
    Act("withdraw_dock", Sent(), Sent(path={"number": 999})),
    Act("withdraw_concession", Sent(CHIEF), Sent(CHIEF, path={"number": 999})),
    Act(
        "say_not_fitted",
        Sent(body={"point": "flushing or seal water", "reason": "no flushing line on this pump"}),
        Sent(body={"point": "supply breaker", "reason": "no flushing line on this pump"}),
    ),
    Act("points_not_fitted"),
    Act("sign_point", Sent(OFFICE, body={"as": "office"}), Sent(OFFICE, path={"number": 999}, body={"as": "office"})),
    Act("withdraw_point", Sent(), Sent(path={"number": 999})),
    Act(
        "pump_down",
        Sent(path={"pump_id": "plover-pump-a"}, body={"at": NOW, "reason": "trips on overload"}),
        Sent(
            path={"pump_id": "plover-pump-a"},
            body={"at": stamp(AT + timedelta(days=1)), "reason": "trips on overload"},
        ),
    ),
    Act(
        "say_expected",
        Sent(path={"pump_id": "plover-pump-a"}, body={"expected_at": stamp(AT + timedelta(days=2))}),
        Sent(path={"pump_id": "plover-pump-a"}, body={"expected_at": stamp(AT - timedelta(days=2))}),
    ),
    Act(
        "pump_back",
        Sent(path={"pump_id": "plover-pump-a"}, body={"at": NOW, "test": "none", "reason": "relay set anew"}),
        Sent(path={"pump_id": "plover-pump-b"}, body={"at": NOW, "test": "none", "reason": "relay set anew"}),
    ),
    Act(
        "open_breakdown",
        Sent(path={"pump_id": "plover-pump-c"}, body={"at": NOW, "reason": "seized"}),
        Sent(path={"pump_id": "plover-pump-c"}, body={"at": NOW, "reason": ""}),
    ),
    Act(
        "record_stop_notice",
        Sent(path={"pump_id": "plover-pump-c"}, body={"whom": "bridge", "at": NOW}),
        Sent(path={"pump_id": "plover-pump-c"}, body={"whom": "galley", "at": NOW}),
    ),
    Act("stop_notices", Sent(path={"pump_id": "plover-pump-c"})),
    Act(
        "runs_after_all",
        Sent(path={"pump_id": "plover-pump-c"}, body={"at": NOW, "reason": "the breaker was off"}),
        Sent(path={"pump_id": "plover-pump-b"}, body={"at": NOW}),
    ),
    Act(
        "pump_test",
        Sent(
            body={
                "at": NOW,
                "result": "passed",
                "done_by": "A. Second",
                "figures": {"from_vacuum_kpa": 35, "to_vacuum_kpa": 50, "seconds": 45},
            }
        ),
        Sent(body={"at": NOW, "result": "passed", "done_by": "A. Second"}),
    ),
    Act("count_part", Sent(body={"name": "knife set", "aboard": 2}), Sent(body={"name": "sail", "aboard": 2})),
    Act("part_counts"),
    Act("get_job"),
    Act(
        "take_step",
        Sent(
            path={"key": KNIFE},
            body={"step": {"kind": "noted", "at": NOW, "by": "A. Second", "about": "finding", "name": "edge chipped"}},
        ),
        Sent(
            path={"key": KNIFE},
            body={"step": {"kind": "opened", "at": NOW, "by": "A. Second"}},
        ),
    ),
    Act("get_work", Sent(path={"key": KNIFE})),
    Act(
        "keep_photo",
        Sent(path={"key": KNIFE}, body={"text": "edge"}, files=PHOTO),
        Sent(path={"key": KNIFE}, body={"text": "edge"}, files={"photo": ("knife.png", b"no picture", "image/png")}),
    ),
    Act("job_photos", Sent(path={"key": KNIFE})),
    Act(
        "photo",
        Sent(path={"key": KNIFE, "digest": told("keep_photo", "sha256")}),
        Sent(path={"key": KNIFE, "digest": "0" * 64}),
    ),
    Act(
        "ask_postponement",
        Sent(
            path={"key": KNIFE},
            body={"to_at": stamp(AT + timedelta(days=300)), "reason": "no knives aboard", "risk": "more clogs"},
        ),
        Sent(path={"key": KNIFE}, body={"to_at": NOW, "reason": "no knives aboard", "risk": "more clogs"}),
    ),
    Act("postponements"),
    Act(
        "decide_postponement",
        Sent(OFFICE, body={"granted": False, "note": "knives come at the next port"}),
        Sent(OFFICE, body={"granted": False}),
    ),
    Act(
        "set_part_date",
        Sent(path={"key": KNIFE}, body={"from_on": "2026-10-25"}),
        Sent(path={"key": "knife_inspection:nobody:1"}, body={"from_on": "2026-10-25"}),
    ),
    Act(
        "close_job",
        Sent(
            body={
                "done_at": NOW,
                "done_by": "Demo Hand",
                "test": "passed",
                "from_paper": True,
                "checked_by": "Demo chief",
            }
        ),
        Sent(body={"done_at": stamp(AT + timedelta(days=1)), "done_by": "Demo Hand", "test": "passed"}),
    ),
    Act("check_job", Sent(CHIEF), Sent(OPENER)),
    Act(
        "strike_close",
        Sent(path={"key": KNIFE}, body={"reason": "the wrong job"}),
        Sent(path={"key": "overhaul:plover-pump-a:1"}, body={"reason": "the wrong job"}),
        first=lambda stage: stage.close(KNIFE, from_paper=True),
    ),
    Act("note_clog", Sent(body={"at": NOW, "object": "wipe", "riser": "R4"}), Sent(body={"at": NOW, "object": "wipe"})),
    Act("clogs"),
    Act("write_handover", Sent(body={"text": "VP2 runs hot since Monday."}), Sent(body={"text": " "})),
    Act("handovers"),
    Act("sign_handover", Sent(CHIEF), Sent(OPENER)),
    Act("sign_review", Sent(CHIEF, body={"month": "2026-09"}), Sent(CHIEF, body={"month": "2026-12"})),
    Act("reviews"),
    Act("make_feed", Sent(body={"vessel": "demo-plover", "label": "bridge"}), Sent(body={"vessel": "demo-nobody"})),
    Act("list_feeds", Sent(), Sent(Role.COUNTER)),
    Act("rotate_feed", Sent(path={"feed_id": told("make_feed", "id")})),
    Act("plan_feed", Sent(None, path={"token": Found(_token)})),
    Act("tasks_feed", Sent(None, path={"token": Found(_token)})),
    Act("revoke_feed", Sent(path={"feed_id": told("make_feed", "id")})),
    Act("get_history", Sent(CHIEF, query={"vessel": "demo-plover"}), Sent(CHIEF, query={"vessel": "demo-nobody"})),
    Act(
        "get_fleet_history", Sent(CHIEF, query={"vessel": "demo-plover"}), Sent(CHIEF, query={"vessel": "demo-nobody"})
    ),
    Act("month_report", Sent(path={"month": "2026-09"}), Sent(path={"month": "2026-13"})),
    Act("job_paper", Sent(), Sent(path={"key": UNKNOWN_JOB})),
    Act("history_schema", Sent(None), Sent(None, query={"q": "\x00"})),
    Act("reliability"),
    Act(
        "change_clock",
        Sent(body={"from_at": stamp(AT + timedelta(hours=9)), "utc_offset_minutes": 120, "reason": "eastbound"}),
        Sent(body={"from_at": stamp(AT + timedelta(hours=9)), "utc_offset_minutes": 900, "reason": "eastbound"}),
    ),
    Act(
        "confirm_event",
        Sent(
            CHIEF,
            path={"counter_id": "plover-vp2-hours", "event_id": Found(_asked_for)},
            body={"reason": "seen"},
        ),
        Sent(CHIEF, path={"counter_id": "plover-vp2-hours", "event_id": "none"}, body={"reason": "seen"}),
        first=_hours_to_be_taken,
    ),
    Act(
        "set_first_date",
        Sent(CHIEF, path={"key": UNKNOWN_JOB}, body={"on": "2026-12-01", "reason": "opened in dock, no paper"}),
        Sent(OPENER, path={"key": UNKNOWN_JOB}, body={"on": "2026-12-01", "reason": "opened in dock, no paper"}),
        first=forget,
    ),
    Act("agree_first_date", Sent(OFFICE, path={"key": SEAL}), Sent(CHIEF, path={"key": SEAL}), first=_first_date_asked),
    Act(
        "approve_version",
        Sent(OFFICE, path={"number": Found(_newest_version)}),
        Sent(OFFICE, path={"number": 999}),
        first=_interval_changed,
    ),
    Act("nonconformities_listed", first=_due_by_nobody),
    Act(
        "answer_nonconformity",
        Sent(body={"cause": "no knives aboard", "corrective_action": "two sets are kept"}),
        Sent(path={"number": 999}, body={"cause": "no knives aboard", "corrective_action": "two sets are kept"}),
    ),
    Act("close_nonconformity", Sent(CHIEF), Sent(CHIEF, path={"number": 999})),
    Act(
        "answer_request",
        Sent(CHIEF, path={"number": 1}, body={"accept": True}),
        Sent(CHIEF, path={"number": 1}, body={"accept": False}),
        first=_asked_by_the_office,
    ),
    Act(
        "ask_of_ship",
        Sent(OFFICE, body={"what": "set part date", "job": KNIFE, "from_on": "2027-06-12", "version": 0}),
        Sent(OFFICE, body={"what": "take work step"}),
        first=_written_aboard,
    ),
    Act("requests_listed", Sent(OFFICE)),
    Act(
        "withdraw_request",
        Sent(OFFICE, path={"number": told("ask_of_ship", "request")}),
        Sent(OFFICE, path={"number": 999}),
    ),
)


@dataclass(frozen=True, slots=True)
class Sending:
    """One request of the story, sent: what it is called, its parts as they went out, and the answer."""

    door: str
    name: str
    parameters: Mapping[str, Any]
    body: Any
    answer: Any


def told_in_order(stage: Stage) -> Iterator[Sending]:
    """The story, happening: of each door the refused request and then the good one."""
    doors = (route for route in routes_of_the_app() if route.include_in_schema and route.operation_id)
    paths = {str(route.operation_id): (next(iter(route.methods)), route.path) for route in doors}
    run = Run(stage, paths)
    for act in STORY:
        if act.first is not None:
            act.first(stage)
        refused = act.refused or refused_plainly(paths[act.door][1], act.good)
        for name, sent in (("refused", refused), ("good", act.good)):
            parameters, body = run.parts(act.door, sent)
            answer = run.send(act.door, parameters, body, sent)
            if name == "good" and answer.headers.get("content-type") == "application/json":
                run.told[act.door] = answer.json()
            yield Sending(act.door, name, parameters, body, answer)


def shortened(value: Any) -> Any:
    """An answer with two of each list, without what is of one request alone, without secrets."""
    if isinstance(value, dict):
        return {name: shortened(inner) for name, inner in value.items() if name != "request_id"}
    if isinstance(value, list):
        return [shortened(one) for one in value[:2]]
    return _SECRET.sub(r"\1SECRET", value) if isinstance(value, str) else value


def as_example(sending: Sending) -> dict[str, Any]:
    """What is stored of it."""
    parameters = {name: "SECRET" if name == "token" else value for name, value in sending.parameters.items()}
    media = sending.answer.headers.get("content-type", "")
    found = {"parameters": parameters, "status": sending.answer.status_code, "media": media}
    if sending.body is not None:
        found["body"] = sending.body
    if media in ("application/json", "application/problem+json"):
        found["answer"] = shortened(sending.answer.json())
    return found


def main() -> None:
    """Stores the examples."""
    found: dict[str, dict[str, Any]] = {}
    with TemporaryDirectory() as folder, staged(Path(folder), (PLOVER,)) as stage:
        for sending in told_in_order(stage):
            found.setdefault(sending.door, {})[sending.name] = as_example(sending)
            good = sending.answer.status_code < 400
            if good != (sending.name == "good"):
                print(sending.door, sending.name, sending.answer.status_code, sending.answer.text[:300])
    lines = (f"{json.dumps(door)}: {json.dumps(found[door], ensure_ascii=False)}" for door in sorted(found))
    EXAMPLES_FILE.write_text("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
