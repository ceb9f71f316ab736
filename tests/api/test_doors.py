"""Every door of the table is walked through the real application by everyone there is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest

from api.server.access import DOORS, NoRole
from api.server.app import doors_there
from scheduler.actions.base.actor import Actor
from scheduler.actions.feed import addresses
from scheduler.actions.people import people, sessions
from scheduler.domain.base.enums import Role
from seed_fleet.ships import AVOCET, PLOVER
from tests.api.stage import AT, Stage, stamp

JOB = "alarm_test:plover-plant:1"
CLOSE = {"done_at": stamp(AT), "done_by": "Demo Hand", "test": "passed"}
READING = {"readings": [{"counter": "plover-vp1-hours", "observed_at": stamp(AT), "value": 1}]}
DOCUMENT: dict[str, Any] = {}
BROWSER = {"Accept": "text/html"}


@dataclass(frozen=True)
class Walk:
    """How a door is tried. good: what someone allowed gets; foreign: what someone allowed on another vessel gets.

    form: only a signed-in browser can send it, with its page's token; a key is refused there.
    """

    path: str
    good: frozenset[int] | int = 200
    foreign: int = 404
    body: Mapping[str, Any] | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    form: bool = False

    def expected(self) -> frozenset[int]:
        return self.good if isinstance(self.good, frozenset) else frozenset({self.good})


API = "/api/v1"
PUMP_TEST = {
    "at": stamp(AT),
    "result": "passed",
    "done_by": "A. Second",
    "figures": {"from_vacuum_kpa": 35, "to_vacuum_kpa": 50, "seconds": 45},
}
ENGINEER = {"name": "Demo engineer", "rank": "engineer", "role": "engineer"}
PERSON = {"id": "engineer-plover", "vessel": "demo-plover", **ENGINEER}
DIGEST = {"digest": "0" * 64}
# Facts are taken once: the second to report the same is told that it is known (409).
TAKEN_ONCE = frozenset({200, 409})
WALKS: dict[tuple[str, str], Walk] = {
    ("POST", f"{API}/readings"): Walk(f"{API}/readings", 207, 207, READING),
    ("POST", f"{API}/ships/{{vessel_id}}/changes"): Walk(f"{API}/ships/demo-plover/changes", 422, body={}),
    ("GET", f"{API}/ships/{{vessel_id}}/changes"): Walk(f"{API}/ships/demo-plover/changes?life=one", 204),
    ("GET", f"{API}/ships/{{vessel_id}}/head"): Walk(f"{API}/ships/demo-plover/head"),
    ("POST", f"{API}/ships/{{vessel_id}}/rejoin"): Walk(
        f"{API}/ships/demo-plover/rejoin", body={"life": "two", "number": 0, "hash": "0" * 64}
    ),
    ("GET", f"{API}/ships"): Walk(f"{API}/ships", foreign=200),
    ("POST", f"{API}/ships/{{vessel_id}}/life"): Walk(
        f"{API}/ships/demo-nobody/life", 404, body={"answer": "stray copy", "reason": "walked"}
    ),
    ("GET", f"{API}/ships/{{vessel_id}}/lost-records"): Walk(f"{API}/ships/demo-plover/lost-records"),
    ("GET", "/ships"): Walk("/ships", foreign=200, headers=BROWSER),
    ("POST", "/ships/{ship}/life"): Walk("/ships/demo-nobody/life", 404, body={"answer": "stray copy"}, form=True),
    ("GET", f"{API}/vessels"): Walk(f"{API}/vessels", 200, 200),
    ("GET", f"{API}/vessels/{{vessel_id}}"): Walk(f"{API}/vessels/demo-plover"),
    ("PUT", f"{API}/vessels/{{vessel_id}}"): Walk(f"{API}/vessels/demo-plover", 428, body=DOCUMENT),
    ("GET", f"{API}/vessels/{{vessel_id}}/versions"): Walk(f"{API}/vessels/demo-plover/versions"),
    ("GET", f"{API}/vessels/{{vessel_id}}/versions/{{number}}"): Walk(f"{API}/vessels/demo-plover/versions/1"),
    ("POST", f"{API}/vessels/{{vessel_id}}/clock"): Walk(
        f"{API}/vessels/demo-plover/clock",
        frozenset({201, 409}),
        body={"from_at": stamp(AT), "utc_offset_minutes": 60, "reason": "walked"},
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/calendar"): Walk(f"{API}/vessels/demo-plover/calendar"),
    ("PUT", f"{API}/vessels/{{vessel_id}}/calendar"): Walk(
        f"{API}/vessels/demo-plover/calendar", 428, body={"stretches": []}
    ),
    ("PATCH", f"{API}/vessels/{{vessel_id}}/calendar"): Walk(
        f"{API}/vessels/demo-plover/calendar", 428, body={"stretches": []}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/calendar/previews"): Walk(
        f"{API}/vessels/demo-plover/calendar/previews", body={"csv": "from,to,kind"}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/calendar/file"): Walk(
        f"{API}/vessels/demo-plover/calendar/file", 422, body={"csv": "from,to,kind"}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/calendar/undo"): Walk(
        f"{API}/vessels/demo-plover/calendar/undo", 428, body={}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/looks"): Walk(f"{API}/vessels/demo-plover/looks"),
    ("GET", f"{API}/vessels/{{vessel_id}}/intake"): Walk(f"{API}/vessels/demo-plover/intake"),
    ("GET", f"{API}/plants/{{plant_id}}"): Walk(f"{API}/plants/plover-plant"),
    ("GET", f"{API}/plants/{{plant_id}}/due"): Walk(f"{API}/plants/plover-plant/due"),
    ("GET", f"{API}/plants/{{plant_id}}/due/moved"): Walk(f"{API}/plants/plover-plant/due/moved"),
    ("GET", f"{API}/plants/{{plant_id}}/capacity"): Walk(f"{API}/plants/plover-plant/capacity"),
    ("GET", f"{API}/pumps/{{pump_id}}/may-open"): Walk(f"{API}/pumps/plover-pump-b/may-open"),
    ("GET", f"{API}/plants/{{plant_id}}/lead-order"): Walk(f"{API}/plants/plover-plant/lead-order"),
    ("GET", f"{API}/plants/{{plant_id}}/plan"): Walk(f"{API}/plants/plover-plant/plan"),
    ("GET", f"{API}/plants/{{plant_id}}/plan/outlook"): Walk(f"{API}/plants/plover-plant/plan/outlook?days=2"),
    # There is no plan yet.
    ("GET", f"{API}/plants/{{plant_id}}/plan/why/{{key}}"): Walk(
        f"{API}/plants/plover-plant/plan/why/{JOB}", frozenset({200, 404, 409})
    ),
    ("POST", f"{API}/plants/{{plant_id}}/plan/previews"): Walk(f"{API}/plants/plover-plant/plan/previews", 201),
    ("POST", f"{API}/plants/{{plant_id}}/plan"): Walk(f"{API}/plants/plover-plant/plan", 412, body=DIGEST),
    # No plan is taken.
    ("GET", f"{API}/plants/{{plant_id}}/plan/slots/{{key}}/times"): Walk(
        f"{API}/plants/plover-plant/plan/slots/{JOB}/times?start_at={stamp(AT)}", 409
    ),
    ("GET", f"{API}/plants/{{plant_id}}/plan/moves"): Walk(f"{API}/plants/plover-plant/plan/moves"),
    ("POST", f"{API}/plants/{{plant_id}}/plan/moves"): Walk(
        f"{API}/plants/plover-plant/plan/moves", 409, body={"job": JOB, "start_at": stamp(AT)}
    ),
    ("POST", f"{API}/plants/{{plant_id}}/plan/moves/{{number}}/undo"): Walk(
        f"{API}/plants/plover-plant/plan/moves/999/undo", 404
    ),
    ("GET", f"{API}/pumps/{{pump_id}}"): Walk(f"{API}/pumps/plover-pump-a"),
    ("POST", f"{API}/pumps/{{pump_id}}/down"): Walk(
        f"{API}/pumps/plover-pump-a/down", TAKEN_ONCE, body={"at": stamp(AT), "reason": "walked"}
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/back"): Walk(
        f"{API}/pumps/plover-pump-b/back", 409, body={"at": stamp(AT), "test": "passed", "reason": "walked"}
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/test"): Walk(f"{API}/pumps/plover-pump-c/test", TAKEN_ONCE, body=PUMP_TEST),
    ("GET", f"{API}/plants/{{plant_id}}/parts"): Walk(f"{API}/plants/plover-plant/parts"),
    ("POST", f"{API}/plants/{{plant_id}}/parts"): Walk(
        f"{API}/plants/plover-plant/parts", body={"name": "knife set", "aboard": 2}
    ),
    ("GET", f"{API}/plants/{{plant_id}}/concessions"): Walk(f"{API}/plants/plover-plant/concessions"),
    ("POST", f"{API}/plants/{{plant_id}}/concessions"): Walk(
        f"{API}/plants/plover-plant/concessions",
        201,
        body={
            "from_at": stamp(AT),
            "to_at": stamp(AT + timedelta(days=1)),
            "minimum_swept_m3_per_h": 50,
            "reason": "walked",
        },
    ),
    ("POST", f"{API}/plants/{{plant_id}}/concessions/{{number}}/signature"): Walk(
        f"{API}/plants/plover-plant/concessions/999/signature", 404, body={"as": "hotel"}
    ),
    ("POST", f"{API}/plants/{{plant_id}}/concessions/{{number}}/withdrawal"): Walk(
        f"{API}/plants/plover-plant/concessions/999/withdrawal", 404
    ),
    ("POST", f"{API}/plants/{{plant_id}}/lead-order"): Walk(
        f"{API}/plants/plover-plant/lead-order", 201, body={"order": ["VP2", "VP1", "VP3"], "at": stamp(AT)}
    ),
    ("GET", f"{API}/plants/{{plant_id}}/dock"): Walk(
        f"{API}/plants/plover-plant/dock?from_at=2026-12-01T00:00:00Z&to_at=2026-12-20T00:00:00Z"
    ),
    ("POST", f"{API}/plants/{{plant_id}}/dock"): Walk(
        f"{API}/plants/plover-plant/dock",
        422,
        body={"from_at": stamp(AT), "to_at": stamp(AT + timedelta(days=9)), "jobs": [JOB]},
    ),
    ("POST", f"{API}/plants/{{plant_id}}/dock/{{number}}/withdrawal"): Walk(
        f"{API}/plants/plover-plant/dock/999/withdrawal", 404
    ),
    ("PUT", f"{API}/jobs/{{key}}/first-date"): Walk(
        f"{API}/jobs/{JOB}/first-date",
        frozenset({409, 422}),
        body={"on": "2026-12-25", "reason": "walked"},
        headers={"Idempotency-Key": "walked"},
    ),
    ("POST", f"{API}/jobs/{{key}}/first-date/agreement"): Walk(
        f"{API}/jobs/{JOB}/first-date/agreement", frozenset({404, 409})
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/versions/{{number}}/approval"): Walk(
        f"{API}/vessels/demo-plover/versions/1/approval", 409
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/first-date/agreement"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/first-date/agreement", frozenset({404, 409}), form=True
    ),
    ("PUT", f"{API}/jobs/{{key}}/part-date"): Walk(
        f"{API}/jobs/{JOB}/part-date", TAKEN_ONCE, body={"from_on": "2026-10-25"}, headers={"Idempotency-Key": "walked"}
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/breakdowns"): Walk(
        f"{API}/pumps/plover-pump-c/breakdowns", frozenset({201, 409}), body={"at": stamp(AT), "reason": "walked"}
    ),
    ("PUT", f"{API}/pumps/{{pump_id}}/expected-return"): Walk(
        f"{API}/pumps/plover-pump-b/expected-return",
        409,
        body={"expected_at": None},
        headers={"Idempotency-Key": "walked too"},
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/runs-after-all"): Walk(
        f"{API}/pumps/plover-pump-b/runs-after-all", 409, body={"at": stamp(AT)}
    ),
    ("GET", f"{API}/pumps/{{pump_id}}/notices"): Walk(f"{API}/pumps/plover-pump-b/notices"),
    ("POST", f"{API}/pumps/{{pump_id}}/notices"): Walk(
        f"{API}/pumps/plover-pump-b/notices", 409, body={"whom": "bridge", "at": stamp(AT)}
    ),
    ("GET", f"{API}/pumps/{{pump_id}}/points"): Walk(f"{API}/pumps/plover-pump-b/points"),
    ("POST", f"{API}/pumps/{{pump_id}}/points"): Walk(
        f"{API}/pumps/plover-pump-b/points", 422, body={"point": "supply breaker", "reason": "walked"}
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/points/{{number}}/signature"): Walk(
        f"{API}/pumps/plover-pump-b/points/999/signature",
        frozenset({403, 404}),
        body={"as": "master"},
    ),
    ("POST", f"{API}/pumps/{{pump_id}}/points/{{number}}/withdrawal"): Walk(
        f"{API}/pumps/plover-pump-b/points/999/withdrawal", 404
    ),
    ("POST", f"{API}/jobs/{{key}}/check"): Walk(f"{API}/jobs/{JOB}/check", frozenset({200, 403, 404, 409})),
    ("POST", f"{API}/jobs/{{key}}/close/strike"): Walk(
        f"{API}/jobs/{JOB}/close/strike", frozenset({200, 403, 404, 409}), body={}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/clogs"): Walk(f"{API}/vessels/demo-plover/clogs"),
    ("POST", f"{API}/vessels/{{vessel_id}}/clogs"): Walk(
        f"{API}/vessels/demo-plover/clogs", 201, body={"at": stamp(AT), "object": "wipe", "riser": "R4"}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/handovers"): Walk(f"{API}/vessels/demo-plover/handovers"),
    ("POST", f"{API}/vessels/{{vessel_id}}/handovers"): Walk(
        f"{API}/vessels/demo-plover/handovers", 201, body={"text": "walked"}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/handovers/{{number}}/signature"): Walk(
        f"{API}/vessels/demo-plover/handovers/999/signature", 404
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/months/{{month}}"): Walk(f"{API}/vessels/demo-plover/months/2026-09"),
    ("GET", f"{API}/jobs/{{key}}/paper"): Walk(f"{API}/jobs/{JOB}/paper", frozenset({200, 404})),
    ("GET", "/vessels/{vessel_id}/months/{month}"): Walk("/vessels/demo-plover/months/2026-09"),
    ("GET", f"{API}/vessels/{{vessel_id}}/reviews"): Walk(f"{API}/vessels/demo-plover/reviews"),
    ("POST", f"{API}/vessels/{{vessel_id}}/reviews"): Walk(
        f"{API}/vessels/demo-plover/reviews", frozenset({201, 409}), body={"month": "2026-09"}
    ),
    ("GET", f"{API}/plants/{{plant_id}}/hours/daily"): Walk(f"{API}/plants/plover-plant/hours/daily?days=5"),
    ("GET", f"{API}/plants/{{plant_id}}/signs"): Walk(f"{API}/plants/plover-plant/signs"),
    ("POST", f"{API}/plants/{{plant_id}}/signs/{{number}}/answer"): Walk(
        f"{API}/plants/plover-plant/signs/999/answer", 404, body={"cause": "leak"}
    ),
    ("POST", f"{API}/plants/{{plant_id}}/signs/{{number}}/answer/undo"): Walk(
        f"{API}/plants/plover-plant/signs/999/answer/undo", 404, body={"reason": "walked"}
    ),
    ("GET", f"{API}/counters/{{counter_id}}"): Walk(f"{API}/counters/plover-vp1-hours"),
    ("POST", f"{API}/counters/{{counter_id}}/events"): Walk(
        f"{API}/counters/plover-vp1-hours/events",
        201,
        body={"kind": "adjustment", "at": stamp(AT), "hours": 1, "reason": "walked"},
    ),
    ("POST", f"{API}/counters/{{counter_id}}/events/{{event_id}}/undo"): Walk(
        f"{API}/counters/plover-vp1-hours/events/none/undo", 404, body={"reason": "walked"}
    ),
    ("POST", f"{API}/counters/{{counter_id}}/events/{{event_id}}/confirm"): Walk(
        f"{API}/counters/plover-vp1-hours/events/none/confirm", 404, body={}
    ),
    ("GET", f"{API}/jobs/{{key}}"): Walk(f"{API}/jobs/{JOB}"),
    ("POST", f"{API}/jobs/{{key}}/close"): Walk(f"{API}/jobs/{JOB}/close", TAKEN_ONCE, body=CLOSE),
    ("GET", f"{API}/jobs/{{key}}/work"): Walk(f"{API}/jobs/{JOB}/work"),
    ("POST", f"{API}/jobs/{{key}}/steps"): Walk(
        f"{API}/jobs/{JOB}/steps",
        frozenset({201, 409}),
        body={"step": {"kind": "people clear", "at": stamp(AT), "by": "A. Second"}},
    ),
    ("GET", f"{API}/jobs/{{key}}/photos"): Walk(f"{API}/jobs/{JOB}/photos"),
    ("POST", f"{API}/jobs/{{key}}/photos"): Walk(f"{API}/jobs/{JOB}/photos", 422, 422, body={}),
    ("GET", f"{API}/jobs/{{key}}/photos/{{digest}}"): Walk(f"{API}/jobs/{JOB}/photos/{'0' * 64}", 404),
    ("POST", f"{API}/jobs/{{key}}/postponements"): Walk(
        f"{API}/jobs/{JOB}/postponements",
        frozenset({201, 409}),
        body={"to_at": stamp(AT + timedelta(days=900)), "reason": "walked", "risk": "none"},
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/requests"): Walk(
        f"{API}/vessels/demo-plover/requests", 409, body={"what": "close non-conformity", "non_conformity": 1}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/requests"): Walk(f"{API}/vessels/demo-plover/requests"),
    ("DELETE", f"{API}/vessels/{{vessel_id}}/requests/{{number}}"): Walk(
        f"{API}/vessels/demo-plover/requests/999", 404, headers={"Idempotency-Key": "walked"}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/requests/{{number}}/answer"): Walk(
        f"{API}/vessels/demo-plover/requests/999/answer", 404, body={"accept": True}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/postponements"): Walk(f"{API}/vessels/demo-plover/postponements"),
    ("POST", f"{API}/vessels/{{vessel_id}}/postponements/{{number}}/decision"): Walk(
        f"{API}/vessels/demo-plover/postponements/999/decision", 404, body={"granted": True}
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/non-conformities"): Walk(f"{API}/vessels/demo-plover/non-conformities"),
    ("POST", f"{API}/vessels/{{vessel_id}}/non-conformities/{{number}}/answer"): Walk(
        f"{API}/vessels/demo-plover/non-conformities/999/answer", 404, body={"cause": "a", "corrective_action": "b"}
    ),
    ("POST", f"{API}/vessels/{{vessel_id}}/non-conformities/{{number}}/close"): Walk(
        f"{API}/vessels/demo-plover/non-conformities/999/close", 404
    ),
    ("GET", f"{API}/vessels/{{vessel_id}}/reliability"): Walk(f"{API}/vessels/demo-plover/reliability"),
    ("GET", f"{API}/history"): Walk(f"{API}/history?vessel=demo-plover"),
    ("GET", f"{API}/fleet/history"): Walk(f"{API}/fleet/history?vessel=demo-plover"),
    ("GET", f"{API}/history/schema"): Walk(f"{API}/history/schema"),
    # A key of the office belongs to no person here, and a calendar address does.
    ("POST", f"{API}/feeds"): Walk(f"{API}/feeds", frozenset({201, 403}), body={"vessel": "demo-plover"}),
    ("GET", f"{API}/feeds"): Walk(f"{API}/feeds", frozenset({200, 403}), 200),
    # Somebody else's address looks as if it were not there.
    ("POST", f"{API}/feeds/{{feed_id}}/rotate"): Walk(f"{API}/feeds/ADDRESS/rotate", frozenset({200, 404})),
    ("DELETE", f"{API}/feeds/{{feed_id}}"): Walk(f"{API}/feeds/ADDRESS", frozenset({200, 404})),
    ("GET", "/cal/{token}/plan.ics"): Walk("/cal/FEED/plan.ics"),
    ("HEAD", "/cal/{token}/plan.ics"): Walk("/cal/FEED/plan.ics"),
    ("GET", "/cal/{token}/tasks.ics"): Walk("/cal/FEED/tasks.ics"),
    ("HEAD", "/cal/{token}/tasks.ics"): Walk("/cal/FEED/tasks.ics"),
    ("GET", "/"): Walk("/", frozenset({200, 303}), 303),
    ("GET", "/plants/{plant_id}"): Walk("/plants/plover-plant"),
    ("GET", "/plants/{plant_id}/figures"): Walk("/plants/plover-plant/figures"),
    ("GET", "/plants/{plant_id}/moved"): Walk("/plants/plover-plant/moved"),
    ("GET", "/plants/{plant_id}/signs"): Walk("/plants/plover-plant/signs"),
    ("POST", "/plants/{plant_id}/signs"): Walk(
        "/plants/plover-plant/signs", 404, body={"do": "answer", "number": "999", "cause": "leak"}, form=True
    ),
    ("GET", "/plants/{plant_id}/minimum"): Walk("/plants/plover-plant/minimum"),
    ("POST", "/plants/{plant_id}/minimum"): Walk(
        "/plants/plover-plant/minimum", 422, body={"do": "ask", "from_at": "x"}, form=True
    ),
    ("GET", "/plants/{plant_id}/plan"): Walk("/plants/plover-plant/plan"),
    ("POST", "/plants/{plant_id}/plan/again"): Walk("/plants/plover-plant/plan/again", 303, body={}, form=True),
    # There is no plan to move a slot of.
    ("POST", "/plants/{plant_id}/plan/moves"): Walk(
        "/plants/plover-plant/plan/moves",
        frozenset({409, 412}),
        body={"job": JOB, "start": stamp(AT), "version": "9"},
        form=True,
    ),
    ("POST", "/plants/{plant_id}/plan/moves/{number}/undo"): Walk(
        "/plants/plover-plant/plan/moves/999/undo", 404, body={}, form=True
    ),
    ("POST", "/plants/{plant_id}/plan"): Walk("/plants/plover-plant/plan", 412, body=DIGEST, form=True),
    ("POST", "/plants/{plant_id}/parts"): Walk(
        "/plants/plover-plant/parts", 303, body={"name": "knife set", "aboard": "2"}, form=True
    ),
    ("GET", "/pumps/{pump_id}/stopped"): Walk("/pumps/plover-pump-b/stopped", headers=BROWSER),
    ("GET", "/vessels/{vessel_id}/decide/{number}"): Walk("/vessels/demo-plover/decide/999", 404, headers=BROWSER),
    ("POST", "/vessels/{vessel_id}/decide/{number}"): Walk(
        "/vessels/demo-plover/decide/999", 404, body={"granted": "yes"}, headers=BROWSER, form=True
    ),
    ("POST", "/pumps/{pump_id}/out"): Walk(
        "/pumps/plover-pump-a/out", frozenset({303, 409}), body={"idempotency_key": "walked"}, form=True
    ),
    ("POST", "/pumps/{pump_id}/return"): Walk(
        "/pumps/plover-pump-a/return", frozenset({303, 409}), body={"idempotency_key": "walked"}, form=True
    ),
    ("POST", "/pumps/{pump_id}/runs"): Walk(
        "/pumps/plover-pump-a/runs", frozenset({303, 409}), body={"idempotency_key": "walked"}, form=True
    ),
    ("POST", "/pumps/{pump_id}/notices"): Walk(
        "/pumps/plover-pump-b/notices", 409, body={"whom": "bridge", "idempotency_key": "walked"}, form=True
    ),
    ("GET", "/pumps/{pump_id}/record"): Walk("/pumps/plover-pump-b/record"),
    ("GET", "/pumps/{pump_id}/points"): Walk("/pumps/plover-pump-b/points"),
    ("POST", "/pumps/{pump_id}/points"): Walk(
        "/pumps/plover-pump-b/points", 422, body={"do": "say", "point": "none"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/find"): Walk("/vessels/demo-plover/find?q=seal"),
    ("GET", "/vessels/{vessel_id}/notes"): Walk("/vessels/demo-plover/notes", 303),
    ("GET", "/vessels/{vessel_id}/decisions"): Walk("/vessels/demo-plover/decisions"),
    ("GET", "/vessels/{vessel_id}/requests"): Walk("/vessels/demo-plover/requests"),
    ("POST", "/vessels/{vessel_id}/requests"): Walk(
        "/vessels/demo-plover/requests", 422, body={"do": "answer", "idempotency_key": "walked"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/clogs"): Walk("/vessels/demo-plover/clogs"),
    ("POST", "/vessels/{vessel_id}/clogs"): Walk(
        "/vessels/demo-plover/clogs", 422, body={"do": "clog", "idempotency_key": "walked"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/non-conformities/{number}"): Walk(
        "/vessels/demo-plover/non-conformities/999", 404, headers=BROWSER
    ),
    ("POST", "/vessels/{vessel_id}/non-conformities/{number}"): Walk(
        "/vessels/demo-plover/non-conformities/999",
        404,
        body={"do": "answer", "cause": "a", "corrective_action": "b", "idempotency_key": "walked"},
        form=True,
    ),
    ("GET", "/vessels/{vessel_id}/versions/{number}"): Walk("/vessels/demo-plover/versions/1"),
    ("POST", "/vessels/{vessel_id}/versions/{number}"): Walk(
        "/vessels/demo-plover/versions/999", 404, body={"do": "approve", "idempotency_key": "walked"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/months/{month}"): Walk(
        "/vessels/demo-plover/months/2026-13", 422, body={"do": "review", "idempotency_key": "walked"}, form=True
    ),
    ("GET", "/first-run"): Walk("/first-run", 200, 200),
    ("POST", "/first-run"): Walk("/first-run", 422, 422, body={"do": "store"}, form=True),
    ("GET", "/vessels/{vessel_id}/labels"): Walk("/vessels/demo-plover/labels"),
    ("GET", "/vessels/{vessel_id}/handover"): Walk("/vessels/demo-plover/handover"),
    ("POST", "/vessels/{vessel_id}/handover"): Walk(
        "/vessels/demo-plover/handover", 404, body={"do": "sign", "number": "7", "idempotency_key": "walked"}, form=True
    ),
    ("GET", "/plants/{plant_id}/week"): Walk("/plants/plover-plant/week"),
    ("GET", "/plants/{plant_id}/dock"): Walk("/plants/plover-plant/dock"),
    ("POST", "/plants/{plant_id}/dock"): Walk(
        "/plants/plover-plant/dock", 422, body={"do": "choose", "idempotency_key": "walked"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/notes"): Walk(
        "/vessels/demo-plover/notes", 409, body={"do": "clog", "idempotency_key": "walked"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/photos"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/photos", 422, 404, body={}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/postponements"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/postponements", frozenset({422, 409}), body={"to_at": "x"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/first-date"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/first-date", 422, body={"on": "soon", "reason": "walked"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/part-date"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/part-date", 422, body={"do": "set", "from_on": "soon"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/jobs/{key}"): Walk(f"/vessels/demo-plover/jobs/{JOB}"),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/close"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/close", frozenset({303, 409}), body={**CLOSE, "test": "passed"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/check"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/check",
        frozenset({303, 403, 404, 409}),
        body={"idempotency_key": "w"},
        form=True,
    ),
    ("GET", "/vessels/{vessel_id}/calendar"): Walk("/vessels/demo-plover/calendar"),
    ("GET", "/vessels/{vessel_id}/calendar.csv"): Walk("/vessels/demo-plover/calendar.csv"),
    ("POST", "/vessels/{vessel_id}/calendar"): Walk(
        "/vessels/demo-plover/calendar", 422, body={"from_on": "x"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/calendar/file"): Walk(
        "/vessels/demo-plover/calendar/file", 422, body={"csv": "x"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/jobs/{key}/paper"): Walk(f"/vessels/demo-plover/jobs/{JOB}/paper", 200),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/paper"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/paper", 422, body={"do": "look", "done_on": "soon"}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/close/strike"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/close/strike", frozenset({303, 403, 404, 409}), body={}, form=True
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/acts"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/acts",
        frozenset({303, 409, 412}),
        body={"act": "people clear", "by": "A. Second"},
        form=True,
    ),
    ("POST", "/vessels/{vessel_id}/jobs/{key}/steps"): Walk(
        f"/vessels/demo-plover/jobs/{JOB}/steps",
        frozenset({303, 409}),
        body={"kind": "people clear", "at": "2026-10-20T06:00", "by": "A. Second"},
        form=True,
    ),
    ("GET", "/vessels/{vessel_id}/plan"): Walk("/vessels/demo-plover/plan", 303),
    ("GET", "/feeds"): Walk("/feeds", frozenset({200, 403}), 200),
    ("POST", "/feeds"): Walk("/feeds", 201, body={"vessel": "demo-plover"}, form=True),
    ("POST", "/feeds/{feed_id}/rotate"): Walk("/feeds/ADDRESS/rotate", 404, body={}, form=True),
    ("POST", "/feeds/{feed_id}/revoke"): Walk("/feeds/ADDRESS/revoke", 404, body={}, form=True),
    ("GET", "/vessels/{vessel_id}/counters"): Walk("/vessels/demo-plover/counters"),
    ("POST", "/counters/{counter_id}/answers"): Walk(
        "/counters/plover-vp1-hours/answers", 200, body={"what": "adjust", "hours": "1", "reason": "walked"}, form=True
    ),
    ("GET", "/vessels/{vessel_id}/hours"): Walk("/vessels/demo-plover/hours"),
    ("POST", "/vessels/{vessel_id}/hours"): Walk(
        "/vessels/demo-plover/hours",
        200,
        body={"at": "2026-10-20T06:30", "utc_offset_minutes": "0", "counter:plover-vp1-hours": "1"},
        form=True,
    ),
    ("GET", "/people"): Walk("/people", 200, 200),
    ("POST", "/people"): Walk("/people", 404, 404, body={"do": "end", "who": "nobody"}, form=True),
    # A key that is nobody's has no page of its own.
    ("GET", "/you"): Walk("/you", frozenset({200, 403}), 200),
    ("POST", "/you"): Walk("/you", 404, 404, body={"do": "end", "who": "nobody"}, form=True),
    ("POST", "/sign-out"): Walk("/sign-out", 303, 303, {}, form=True),
    ("GET", "/sign-in"): Walk("/sign-in"),
    # Nobody's name, tried again and again, is soon told to wait.
    ("POST", "/sign-in"): Walk("/sign-in", frozenset({401, 429})),
    ("POST", "/sign-in/pin"): Walk("/sign-in/pin", frozenset({401, 429})),
    ("GET", f"{API}/people"): Walk(f"{API}/people", 200, 200),
    ("POST", f"{API}/people"): Walk(f"{API}/people", 409, body=PERSON),
    ("PUT", f"{API}/people/{{person_id}}"): Walk(f"{API}/people/engineer-plover", body=ENGINEER),
    ("POST", f"{API}/people/{{person_id}}/withdrawal"): Walk(f"{API}/people/nobody/withdrawal", 404, body={}),
    ("POST", f"{API}/people/{{person_id}}/return"): Walk(f"{API}/people/engineer-plover/return", body={}),
    # An engineer signs in nobody else.
    ("POST", f"{API}/people/{{person_id}}/link"): Walk(
        f"{API}/people/chief-plover/link", frozenset({201, 403}), body={"vessel": "demo-plover"}
    ),
    ("DELETE", f"{API}/sessions/{{session_id}}"): Walk(f"{API}/sessions/nobody", 404),
    ("GET", f"{API}/keys"): Walk(f"{API}/keys", 200, 200),
    ("POST", f"{API}/keys"): Walk(
        f"{API}/keys", frozenset({201, 403}), body={"role": "counter", "label": "walked", "vessel": "demo-plover"}
    ),
    ("POST", f"{API}/keys/{{prefix}}/rotate"): Walk(f"{API}/keys/00000000/rotate", 404, body={}),
    ("DELETE", f"{API}/keys/{{prefix}}"): Walk(f"{API}/keys/00000000", 404),
    ("GET", "/enter/{token}"): Walk("/enter/LINK"),
    ("POST", "/enter/{token}"): Walk("/enter/LINK", 303),
    ("POST", "/light"): Walk("/light", 303),
    ("GET", "/livez"): Walk("/livez"),
    ("GET", "/readyz"): Walk("/readyz"),
    ("GET", "/metrics"): Walk("/metrics", foreign=200),
    ("GET", "/problems/{name}"): Walk("/problems/stale"),
    ("GET", "/openapi.json"): Walk("/openapi.json"),
    ("GET", "/docs"): Walk("/docs"),
    ("GET", "/manual"): Walk("/manual"),
    ("GET", "/manual/{name}"): Walk("/manual/plan"),
}
FIRST_WALKED = frozenset({Role.ENGINEER, Role.OFFICE})
"""Walked each time; the others with what takes long."""
_SEATS: dict[str, tuple[Any, str]] = {}
"""Browsers of this module's application, by person, with their session's secret."""


def tried(stage: Stage, door: tuple[str, str], role: Role | None, vessel: str = PLOVER.vessel) -> int:
    """The status that the door answers a key of that role."""
    method, walk = door[0], WALKS[door]
    path = address(stage, walk.path)
    body = dict(walk.body) if walk.body is not None else None
    if walk.body is DOCUMENT:
        body = stage.document()[0]
    sent = {"data": body} if walk.form else {"json": body} if body is not None else {}
    answer = stage.ask(method, path, role=role, vessel=vessel, headers=dict(walk.headers), **sent)
    stage.client.cookies.clear()
    return answer.status_code


def address(stage: Stage, path: str) -> str:
    """The path with a fresh secret where it needs one."""
    if "LINK" in path:
        return path.replace("LINK", people.make_link(stage.context, "engineer-plover"))
    if "FEED" in path:
        token = addresses.make_address(
            stage.context, Actor("walk", "walk", Role.ADMIN), person_id="engineer-plover", vessel_id=PLOVER.vessel
        ).secret
        return path.replace("FEED", token)
    if "ADDRESS" in path:
        made = addresses.make_address(
            stage.context, Actor("walk", "walk", Role.ADMIN), person_id="engineer-plover", vessel_id=PLOVER.vessel
        )
        return path.replace("ADDRESS", made.id)
    return path


def test_every_door_is_walked() -> None:
    """A door that is added without being walked here fails, and so does a walk through a door that is gone."""
    assert set(WALKS) == set(DOORS) == doors_there()


@pytest.mark.parametrize("door", sorted(WALKS), ids=" ".join)
def test_nobody_passes_but_where_it_is_open(stage: Stage, door: tuple[str, str]) -> None:
    """Without a key or a session every door but the open ones says 401."""
    wanted = WALKS[door].expected() if isinstance(DOORS[door], NoRole) else {401}
    assert tried(stage, door, None) in wanted


def test_every_status_of_the_walk_is_declared(stage: Stage) -> None:
    """/openapi.json names what those allowed get at a door, and what people of another vessel get."""
    paths = stage.ask("GET", "/openapi.json", role=None).json()["paths"]
    for (method, path), walk in WALKS.items():
        if path in paths and path.startswith(API) and not isinstance(DOORS[method, path], NoRole):
            declared = {int(status) for status in paths[path][method.lower()]["responses"]}
            assert walk.expected() | {walk.foreign} <= declared, (method, path)


@pytest.mark.parametrize(
    "role",
    [pytest.param(role, marks=() if role in FIRST_WALKED else pytest.mark.long, id=role.value) for role in Role],
)
@pytest.mark.parametrize("door", sorted(WALKS), ids=" ".join)
def test_each_role_passes_where_the_table_says(stage: Stage, door: tuple[str, str], role: Role) -> None:
    """By key: the roles of the table get in, every other is told 403; a form is not for keys."""
    passes, walk = DOORS[door], WALKS[door]
    status = tried(stage, door, role)
    if isinstance(passes, NoRole):
        assert status in walk.expected()
    elif role not in passes or walk.form:
        assert status == 403
    elif door == ("POST", f"{API}/feeds"):
        assert status == 201
    else:
        assert status in walk.expected()


@pytest.mark.parametrize(
    "role",
    [
        pytest.param(role, marks=() if role in FIRST_WALKED else pytest.mark.long, id=role.value)
        for role in (Role.COUNTER, Role.ENGINEER, Role.CHIEF)
    ],
)
@pytest.mark.parametrize("door", sorted(WALKS), ids=" ".join)
def test_another_vessels_people_find_nothing(stage: Stage, door: tuple[str, str], role: Role) -> None:
    """A thing of another vessel looks to them as if it were not there; their role is asked first."""
    passes, walk = DOORS[door], WALKS[door]
    status = tried(stage, door, role, AVOCET.vessel)
    if isinstance(passes, NoRole):
        assert status in walk.expected()
    elif role not in passes or walk.form:
        assert status == 403
    else:
        assert status == walk.foreign


@pytest.mark.parametrize("person", ["chief-plover", pytest.param("chief-avocet", marks=pytest.mark.long)])
@pytest.mark.parametrize("door", sorted(WALKS), ids=" ".join)
def test_a_chief_at_a_browser(stage: Stage, door: tuple[str, str], person: str) -> None:
    """By session with the page's token: the chief's doors open on the own vessel, the other's things are not there."""
    passes, walk = DOORS[door], WALKS[door]
    browser, token = seated(stage, person)
    body = stage.document()[0] if walk.body is DOCUMENT else dict(walk.body or {})
    sent = {"data": {**body, "csrf": token, "idempotency_key": f"{person} {door}"}} if walk.form else {"json": body}
    headers = {"X-CSRF-Token": token, "Idempotency-Key": f"{person} {door}", **walk.headers}
    status = browser.request(
        door[0], address(stage, walk.path), headers=headers, **(sent if door[0] in ("POST", "PUT", "PATCH") else {})
    ).status_code
    if isinstance(passes, NoRole):
        assert status in walk.expected()
    elif Role.CHIEF not in passes:
        # Readings come by counter key alone, so a cookie is nobody there.
        assert status == (401 if door[1] == f"{API}/readings" else 403)
    elif person == "chief-plover":
        assert status in walk.expected() - {403}
    else:
        assert status == walk.foreign


def csrf_of(stage: Stage, browser: Any) -> str:
    """The token that this browser's pages carry."""
    found = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert found is not None
    return found.csrf


def seated(stage: Stage, person: str) -> tuple[Any, str]:
    """A browser with that person signed in, the one of before unless a door has ended it; and the token that its pages carry."""
    browser, secret = _SEATS.get(person, (None, ""))
    found = sessions.at_browser(stage.context, secret) if browser else None
    if found is None:
        browser = stage.enter(person)
        secret = browser.cookies["leadline"]
        _SEATS[person] = browser, secret
        found = sessions.at_browser(stage.context, secret)
    assert found is not None
    browser.cookies.clear()
    browser.cookies.set("leadline", secret)
    return browser, found.csrf


def test_anothers_readings_touch_nothing(stage: Stage) -> None:
    """The counter key of one vessel cannot store a reading of another's counter: unknown there."""
    answer = stage.post(*READING["readings"], vessel=AVOCET.vessel)
    assert answer.status_code == 207
    assert answer.json()["items"][0]["status"] == "refused"
    assert "no counter" in answer.json()["items"][0]["why"]


def test_lists_hold_only_ones_own(stage: Stage) -> None:
    """A ship's key sees her alone in the list of vessels; the office sees every one."""
    for role, seen in ((Role.ENGINEER, {"demo-plover"}), (Role.OFFICE, {"demo-plover", "demo-avocet"})):
        listed = stage.ask("GET", f"{API}/vessels", role=role).json()["vessels"]
        assert {vessel["vessel"] for vessel in listed} == seen


def test_a_revoked_key_is_nobody(stage: Stage) -> None:
    """A key stops at once when it is revoked, with the same words as one never made."""
    office = Actor("walk", "walk", Role.ADMIN)
    key = people.add_key(
        stage.context, office, role=Role.ENGINEER, label="lost", vessel_id=PLOVER.vessel, person_id="engineer-plover"
    )
    headers = {"Authorization": f"Bearer {key}"}
    assert stage.ask("GET", f"{API}/vessels", role=None, headers=headers).status_code == 200
    people.revoke_key(stage.context, office, key.split("_")[1])
    revoked = stage.ask("GET", f"{API}/vessels", role=None, headers=headers)
    never = stage.ask("GET", f"{API}/vessels", role=None, headers={"Authorization": "Bearer ll_00000000_x"})
    assert (revoked.status_code, revoked.json()["detail"]) == (never.status_code, never.json()["detail"])
    assert revoked.status_code == 401
    assert revoked.headers["www-authenticate"].startswith("Bearer")
