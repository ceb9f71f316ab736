"""What is asked of the world when everything has happened: each GET door of the API with one thing or several."""

from collections.abc import Iterator
from hashlib import sha256

from tests.frozen.world import API, AVOCET, JPEG, KNIFE, PLOVER, PNG, SHIPS, World

Asked = tuple[str, str, str, str]
"""Door (its path template), path, role, ship."""

NOT_ASKED = (
    dict.fromkeys(("/api/v1/people", "/api/v1/keys"), "sign-ins and keys are drawn anew: tests/api/test_people.py")
    | dict.fromkeys(
        ("/api/v1/vessels/{vessel_id}/months/{month}", "/api/v1/jobs/{key}/paper"),
        "papers: tests/api/test_month_and_job_papers.py",
    )
    | {
        "/api/v1/vessels/{vessel_id}/requests": "of later: tests/api/test_requests_page.py",
        "/api/v1/fleet/history": "of later: tests/api/test_fleet_history.py",
        "/api/v1/ships": "of later: tests/office",
        "/api/v1/ships/{vessel_id}/lost-records": "of later: tests/office",
        "/api/v1/ships/{vessel_id}/changes": "of later: tests/office",
        "/api/v1/ships/{vessel_id}/head": "of later: tests/office",
    }
)
"""GET doors of the API that are not asked, and why."""

JOBS = {
    PLOVER: (
        KNIFE,
        "knife_inspection:plover-pump-b-knives:2",
        "knife_inspection:plover-pump-c-knives:1",
        "knife_inspection:plover-pump-a-knives:1",
        "overhaul:plover-pump-a:1",
        "overhaul:plover-pump-c:1",
        "seal_inspection:plover-pump-b-seal:1",
        "seal_inspection:plover-pump-c-seal:1",
        "alarm_test:plover-plant:2",
        "standby_start:plover-plant:1",
        "breakdown:plover-pump-c:1",
    ),
    AVOCET: ("knife_inspection:avocet-pump-e-knives:1", "pull_down_test:avocet-pump-b:1"),
}
WHY = {PLOVER: (KNIFE, "overhaul:plover-pump-a:1", "alarm_test:plover-plant:2"), AVOCET: ()}
PUMPS = {PLOVER: "abc", AVOCET: "cef"}
COUNTERS = {PLOVER: (1, 2, 3), AVOCET: (2, 3, 4)}
OF_A_SHIP = (
    "",
    "/versions",
    "/calendar",
    "/looks",
    "/intake",
    "/clogs",
    "/handovers",
    "/reviews",
    "/postponements",
    "/non-conformities",
    "/reliability",
)
OF_A_PLANT = (
    "",
    "/due",
    "/due?outlook=true",
    "/due/moved",
    "/capacity",
    "/lead-order",
    "/parts",
    "/concessions",
    "/plan",
    "/plan/moves",
    "/hours/daily?days=40",
    "/signs",
    "/dock?from_at=2026-12-01T00:00:00Z&to_at=2026-12-20T00:00:00Z",
)
SHAPES = ("jsonl", "csv", "xlsx", "summary", "pdf")


def asked(w: World) -> Iterator[Asked]:
    """All that is asked. What stands in the plan aboard is asked of that plan."""
    yield f"{API}/vessels", f"{API}/vessels", "office", PLOVER
    yield f"{API}/vessels", f"{API}/vessels", "engineer", PLOVER
    yield f"{API}/feeds", f"{API}/feeds", "engineer", PLOVER
    yield f"{API}/feeds", f"{API}/feeds", "chief", PLOVER
    yield f"{API}/history/schema", f"{API}/history/schema", "engineer", PLOVER
    for vessel in SHIPS:
        yield from _of(w, vessel)
    door = f"{API}/vessels/{{vessel_id}}/versions/{{number}}"
    yield door, f"{API}/vessels/{PLOVER}/versions/1", "engineer", PLOVER
    yield (
        f"{API}/plants/{{plant_id}}/plan/outlook",
        f"{API}/plants/plover-plant/plan/outlook?days=5",
        "engineer",
        PLOVER,
    )
    for picture in (PNG, JPEG):
        digest = sha256(picture).hexdigest()
        yield f"{API}/jobs/{{key}}/photos/{{digest}}", f"{API}/jobs/{KNIFE}/photos/{digest}", "engineer", PLOVER
    yield f"{API}/jobs/{{key}}/photos/{{digest}}", f"{API}/jobs/{KNIFE}/photos/{'0' * 64}", "engineer", PLOVER
    for shape in SHAPES:
        yield f"{API}/history", f"{API}/history?vessel={PLOVER}&format={shape}", "office", PLOVER
    yield f"{API}/history", f"{API}/history?vessel={PLOVER}", "engineer", PLOVER
    yield f"{API}/vessels/{{vessel_id}}", f"{API}/vessels/{AVOCET}", "engineer", PLOVER
    yield f"{API}/plants/{{plant_id}}/due/moved", f"{API}/plants/plover-plant/due/moved?limit=0", "engineer", PLOVER


def _of(w: World, vessel: str) -> Iterator[Asked]:
    ship, here = vessel.removeprefix("demo-"), f"{API}/vessels/{vessel}"
    plant = f"{API}/plants/{ship}-plant"
    for end in OF_A_SHIP:
        yield f"{API}/vessels/{{vessel_id}}{end}", f"{here}{end}", "engineer", vessel
    for end in OF_A_PLANT:
        yield f"{API}/plants/{{plant_id}}{end.partition('?')[0]}", f"{plant}{end}", "engineer", vessel
    for letter in PUMPS[vessel]:
        yield f"{API}/pumps/{{pump_id}}", f"{API}/pumps/{ship}-pump-{letter}", "engineer", vessel
        yield f"{API}/pumps/{{pump_id}}/points", f"{API}/pumps/{ship}-pump-{letter}/points", "engineer", vessel
        yield f"{API}/pumps/{{pump_id}}/may-open", f"{API}/pumps/{ship}-pump-{letter}/may-open", "engineer", vessel
        yield f"{API}/pumps/{{pump_id}}/notices", f"{API}/pumps/{ship}-pump-{letter}/notices", "engineer", vessel
    for number in COUNTERS[vessel]:
        yield f"{API}/counters/{{counter_id}}", f"{API}/counters/{ship}-vp{number}-hours", "engineer", vessel
    for key in WHY[vessel]:
        yield f"{API}/plants/{{plant_id}}/plan/why/{{key}}", f"{plant}/plan/why/{key}", "engineer", vessel
    for key in JOBS[vessel]:
        for end in ("", "/work", "/photos"):
            yield f"{API}/jobs/{{key}}{end}", f"{API}/jobs/{key}{end}", "engineer", vessel
    taken = w.ask("GET", f"{plant}/plan", vessel=vessel).body["taken"]
    for slot in taken["slots"][:2]:
        times = f"{plant}/plan/slots/{slot['job']}/times?start_at={slot['from']}"
        yield f"{API}/plants/{{plant_id}}/plan/slots/{{key}}/times", times, "engineer", vessel
