"""Who may pass which door: one table. Every door is closed unless it stands here, and the app refuses to start without."""

from collections.abc import Mapping
from enum import Enum

from scheduler.domain.words import Role


class Free(Enum):
    """Doors that ask for no role."""

    OPEN = "open"
    TOKEN = "the secret in the address"  # noqa: S105 - a word, no secret


Pass = frozenset[Role] | Free

COUNTER = frozenset({Role.COUNTER})
READ = frozenset({Role.ENGINEER, Role.CHIEF, Role.OFFICE, Role.ADMIN})
WORK = frozenset({Role.ENGINEER, Role.CHIEF, Role.OFFICE, Role.ADMIN})
SET_UP = frozenset({Role.OFFICE, Role.ADMIN})
EXPORT = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})
SIGN = frozenset({Role.CHIEF})

DOORS: Mapping[tuple[str, str], Pass] = {
    ("POST", "/api/v1/readings"): COUNTER,
    ("GET", "/api/v1/vessels"): READ,
    ("GET", "/api/v1/vessels/{vessel_id}"): READ,
    ("PUT", "/api/v1/vessels/{vessel_id}"): SET_UP,
    ("POST", "/api/v1/vessels/{vessel_id}/clock"): WORK,
    ("GET", "/api/v1/vessels/{vessel_id}/calendar"): READ,
    ("PUT", "/api/v1/vessels/{vessel_id}/calendar"): WORK,
    ("PATCH", "/api/v1/vessels/{vessel_id}/calendar"): WORK,
    ("POST", "/api/v1/vessels/{vessel_id}/calendar/previews"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/calendar/file"): WORK,
    ("POST", "/api/v1/vessels/{vessel_id}/calendar/undo"): WORK,
    ("GET", "/api/v1/vessels/{vessel_id}/looks"): READ,
    ("GET", "/api/v1/vessels/{vessel_id}/intake"): READ,
    ("GET", "/api/v1/plants/{plant_id}"): READ,
    ("GET", "/api/v1/plants/{plant_id}/due"): READ,
    ("GET", "/api/v1/plants/{plant_id}/parts"): READ,
    ("POST", "/api/v1/plants/{plant_id}/parts"): WORK,
    ("GET", "/api/v1/plants/{plant_id}/concessions"): READ,
    ("POST", "/api/v1/plants/{plant_id}/concessions"): WORK,
    ("POST", "/api/v1/plants/{plant_id}/concessions/{number}/signature"): WORK,
    ("POST", "/api/v1/plants/{plant_id}/concessions/{number}/withdrawal"): WORK,
    ("GET", "/api/v1/plants/{plant_id}/due/moved"): READ,
    ("GET", "/api/v1/plants/{plant_id}/capacity"): READ,
    ("GET", "/api/v1/plants/{plant_id}/lead-order"): READ,
    ("GET", "/api/v1/plants/{plant_id}/plan"): READ,
    ("GET", "/api/v1/plants/{plant_id}/plan/outlook"): READ,
    ("GET", "/api/v1/plants/{plant_id}/plan/why/{key}"): READ,
    ("POST", "/api/v1/plants/{plant_id}/plan/previews"): WORK,
    ("POST", "/api/v1/plants/{plant_id}/plan"): WORK,
    ("GET", "/api/v1/pumps/{pump_id}"): READ,
    ("POST", "/api/v1/pumps/{pump_id}/down"): WORK,
    ("POST", "/api/v1/pumps/{pump_id}/back"): WORK,
    ("POST", "/api/v1/pumps/{pump_id}/breakdowns"): WORK,
    ("GET", "/api/v1/vessels/{vessel_id}/handovers"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/handovers"): WORK,
    ("POST", "/api/v1/vessels/{vessel_id}/handovers/{number}/signature"): WORK,
    ("GET", "/api/v1/vessels/{vessel_id}/reviews"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/reviews"): SIGN,
    ("GET", "/api/v1/vessels/{vessel_id}/clogs"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/clogs"): WORK,
    ("POST", "/api/v1/pumps/{pump_id}/test"): WORK,
    ("GET", "/api/v1/plants/{plant_id}/hours/daily"): READ,
    ("GET", "/api/v1/counters/{counter_id}"): READ,
    ("POST", "/api/v1/counters/{counter_id}/events"): WORK,
    ("POST", "/api/v1/counters/{counter_id}/events/{event_id}/undo"): WORK,
    ("POST", "/api/v1/counters/{counter_id}/events/{event_id}/confirm"): WORK,
    ("GET", "/api/v1/jobs/{key}"): READ,
    ("POST", "/api/v1/jobs/{key}/close"): WORK,
    ("GET", "/api/v1/jobs/{key}/work"): READ,
    ("POST", "/api/v1/jobs/{key}/steps"): WORK,
    ("GET", "/api/v1/jobs/{key}/photos"): READ,
    ("POST", "/api/v1/jobs/{key}/photos"): WORK,
    ("GET", "/api/v1/jobs/{key}/photos/{digest}"): READ,
    ("PUT", "/api/v1/jobs/{key}/part-date"): WORK,
    ("POST", "/api/v1/jobs/{key}/postponements"): WORK,
    ("GET", "/api/v1/vessels/{vessel_id}/postponements"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/postponements/{number}/decision"): EXPORT,
    ("GET", "/api/v1/vessels/{vessel_id}/non-conformities"): READ,
    ("POST", "/api/v1/vessels/{vessel_id}/non-conformities/{number}/answer"): WORK,
    ("POST", "/api/v1/vessels/{vessel_id}/non-conformities/{number}/close"): EXPORT,
    ("GET", "/api/v1/vessels/{vessel_id}/reliability"): READ,
    ("GET", "/api/v1/history"): EXPORT,
    ("GET", "/api/v1/history/schema"): Free.OPEN,
    ("GET", "/api/v1/feeds"): READ,
    ("POST", "/api/v1/feeds"): READ,
    ("POST", "/api/v1/feeds/{feed_id}/rotate"): READ,
    ("DELETE", "/api/v1/feeds/{feed_id}"): READ,
    ("GET", "/cal/{token}/plan.ics"): Free.TOKEN,
    ("HEAD", "/cal/{token}/plan.ics"): Free.TOKEN,
    ("GET", "/cal/{token}/tasks.ics"): Free.TOKEN,
    ("HEAD", "/cal/{token}/tasks.ics"): Free.TOKEN,
    ("GET", "/"): READ,
    ("GET", "/plants/{plant_id}"): READ,
    ("GET", "/plants/{plant_id}/figures"): READ,
    ("GET", "/plants/{plant_id}/moved"): READ,
    ("GET", "/plants/{plant_id}/minimum"): READ,
    ("POST", "/plants/{plant_id}/minimum"): WORK,
    ("POST", "/plants/{plant_id}/plan"): WORK,
    ("POST", "/plants/{plant_id}/parts"): WORK,
    ("POST", "/pumps/{pump_id}/out"): WORK,
    ("GET", "/vessels/{vessel_id}/notes"): READ,
    ("POST", "/vessels/{vessel_id}/notes"): WORK,
    ("GET", "/vessels/{vessel_id}/jobs/{key}"): READ,
    ("POST", "/vessels/{vessel_id}/jobs/{key}/close"): WORK,
    ("POST", "/vessels/{vessel_id}/jobs/{key}/steps"): WORK,
    ("POST", "/vessels/{vessel_id}/jobs/{key}/photos"): WORK,
    ("POST", "/vessels/{vessel_id}/jobs/{key}/postponements"): WORK,
    ("POST", "/vessels/{vessel_id}/jobs/{key}/part-date"): WORK,
    ("GET", "/vessels/{vessel_id}/plan"): READ,
    ("GET", "/vessels/{vessel_id}/calendar"): READ,
    ("GET", "/vessels/{vessel_id}/calendar.csv"): READ,
    ("POST", "/vessels/{vessel_id}/calendar"): WORK,
    ("POST", "/vessels/{vessel_id}/calendar/file"): WORK,
    ("GET", "/feeds"): READ,
    ("POST", "/feeds"): READ,
    ("POST", "/feeds/{feed_id}/rotate"): READ,
    ("POST", "/feeds/{feed_id}/revoke"): READ,
    ("GET", "/vessels/{vessel_id}/counters"): READ,
    ("POST", "/counters/{counter_id}/answers"): WORK,
    ("GET", "/vessels/{vessel_id}/hours"): WORK,
    ("POST", "/vessels/{vessel_id}/hours"): WORK,
    ("POST", "/sign-out"): READ,
    ("GET", "/sign-in"): Free.OPEN,
    ("GET", "/enter/{token}"): Free.OPEN,
    ("POST", "/enter/{token}"): Free.TOKEN,
    ("POST", "/light"): Free.OPEN,
    ("GET", "/livez"): Free.OPEN,
    ("GET", "/readyz"): Free.OPEN,
    ("GET", "/problems/{name}"): Free.OPEN,
    ("GET", "/openapi.json"): Free.OPEN,
    ("GET", "/docs"): Free.OPEN,
}
"""(method, route) to the roles that may pass. `/static` is open: it holds the look only."""
