"""`leadline demo --check`: what it proves of the demo that stands, line by line."""

import json
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import httpx

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.people import people
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record.history import head_of
from scheduler.actions.vessel import fleet
from scheduler.domain.base.enums import Role
from scheduler.errors import SchedulerError

DEMO_ACTOR = Actor("the demo", "the demo", Role.ADMIN)
"""Nobody: with a person's id it would vouch for both sides of what takes two."""
_LEAST_CLOSED = 15
_PAST_KINDS = ("pump tested", "photo kept", "breakdown opened", "postponement granted", "non-conformity closed")
_FOLLOW_TRIES, _FOLLOW_WAIT_S = 40, 0.5


@dataclass(frozen=True, slots=True)
class Scene:
    """A demo that serves: its context, address, and the keys made for it."""

    context: Context
    url: str
    office_key: str
    vessel_keys: dict[str, tuple[str, ...]]
    child: "subprocess.Popen[str] | None"


def prove(scene: Scene, ashore: Callable[[Callable[[str, bool], None]], None] | None = None) -> int:
    """Prove the demo: each line a thing that holds; the first that does not ends it with 1. ashore: proves the office ashore."""
    from icalendar import Calendar

    from scheduler.domain.record.verify import Verified, verify_lines
    from scheduler.planning.judge.check import judge

    context = scene.context
    # Shorter than the server's own patience with an idle connection, so that none is used as it ends.
    limits = httpx.Limits(keepalive_expiry=1)
    key = {"Authorization": f"Bearer {scene.office_key}"}
    office = httpx.Client(base_url=scene.url, headers=key, timeout=60, limits=limits)

    def holds(what: str, good: bool) -> None:
        print(f"  {'holds' if good else 'FAILS'}  {what}", flush=True)
        if not good:
            raise SchedulerError(f"leadline demo --check: {what}")

    try:
        for vessel, _ in fleet.list_vessels(context, DEMO_ACTOR):
            plant = vessel.plants[0]
            print(f"{vessel.name}, {context.now():%Y-%m-%d %H:%MZ}")
            shown = office.get(f"/api/v1/plants/{plant.id}").json()
            newest = [c["newest_at"] for c in shown["counters"]]
            holds(f"{len(newest)} counters posted over HTTP", all(newest))
            due = office.get(f"/api/v1/plants/{plant.id}/due").json()["jobs"]
            pressing = [job for job in due if job["state"] != "ahead"]
            holds(f"{len(due)} jobs are open, {len(pressing)} of them due now", bool(due and pressing))
            now = plant_state(context, vessel.id, plant.id)
            taken = now.taken
            verdict = None if taken is None else judge(taken.problem, taken.plan)
            slots = 0 if taken is None else len(taken.plan.slots)
            lawful = verdict is not None and verdict.lawful and bool(slots)
            least = (verdict.least_margin_litres_per_h or 0) / 1000 if verdict else 0.0
            holds(f"the plan's {slots} slots pass the judge at every hour, least margin {least:g} m3/h", lawful)
            token = addresses.make_address(
                context, DEMO_ACTOR, person_id=f"second-{vessel.id.removeprefix('demo-')}", vessel_id=vessel.id
            ).secret
            address = f"{scene.url}/cal/{token}/plan.ics"
            calendar = Calendar.from_ical(httpx.get(address).content)
            uids = {str(event["UID"]) for event in calendar.walk("VEVENT")}
            holds(f"the calendar feed parses, {len(uids)} events", len(uids) > slots / 2)
            job = next(job for job in due if job["takes_pump_out"] and job["open"])
            chief = {"Authorization": f"Bearer {scene.vessel_keys[vessel.id][1]}", "Idempotency-Key": "check"}
            body = {
                "done_at": context.now().isoformat(),
                "done_by": "Demo second",
                "checked_by": "Demo chief",
                "test": "passed",
            }
            done = httpx.post(f"{scene.url}/api/v1/jobs/{job['job']}/close", json=body, headers=chief, timeout=60)
            holds(
                f"{job['position_name']} {job['name']} closed: {done.json().get('verdict') or done.text}",
                done.status_code == 200,
            )
            holds("the feed follows the closed job", _follows(address, " · done\r\n"))
            export = office.get("/api/v1/history", params={"vessel": vessel.id}).text
            found = verify_lines(export.splitlines(keepends=True), expected_head=head_of(context, vessel.id)[1])
            told = Counter(json.loads(json.loads(line)["text"])["kind"] for line in export.splitlines()[1:])
            holds(
                f"two years are on record: {told['closed job']} jobs closed, {told['pump tested']} pumps tested, "
                f"{told['photo kept']} photos; a breakdown, a postponement and a non-conformity, each to its end",
                told["closed job"] > _LEAST_CLOSED and all(told[kind] for kind in _PAST_KINDS),
            )
            holds("the exported history verifies against the record stamp", isinstance(found, Verified))
            broken = verify_lines(export.replace("Demo second", "Demo sEcond").splitlines(keepends=True))
            holds("a changed record is found", not isinstance(broken, Verified))
            page = httpx.Client(base_url=scene.url, follow_redirects=True, timeout=60, limits=limits)
            entered = page.post(f"/enter/{people.make_link(context, 'chief-' + vessel.id.removeprefix('demo-'))}")
            holds("the page opens by the sign-in link", entered.status_code == 200 and vessel.name in entered.text)
        if ashore is not None:
            print("The office ashore")
            ashore(holds)
    except SchedulerError as error:
        print(error.says, file=sys.stderr)
        return 1
    print("All of it holds.")
    return 0


def _follows(address: str, words: str) -> bool:
    """Whether a calendar has the words within a few seconds: the tick that an action wakes writes it."""
    for _ in range(_FOLLOW_TRIES):
        if words in httpx.get(address).text.replace("\r\n ", ""):
            return True
        time.sleep(_FOLLOW_WAIT_S)
    return False
