"""Why a job stands where it stands in the plan, and what would help one that is late or has no place."""

from datetime import timedelta
from typing import Any

from scheduler.actions.house import House
from scheduler.actions.situation import situation
from scheduler.errors import Clash, NotFound
from scheduler.planning.explain import explain
from scheduler.planning.reliefs import Relief, reliefs


def why(house: House, vessel_id: str, plant_id: str, key: str) -> dict[str, Any]:
    """Reasons, what forbids the other starts, and for a late or unplaced job the reliefs, each tried by planning again.

    Of the proposed plan, else of the one taken. Runs outside any transaction.

    Raises:
        Clash: there is no plan yet. NotFound: the plan has no such job.
    """
    now = situation(house, vessel_id, plant_id)
    held = now.proposed or now.taken
    if held is None:
        raise Clash(f"There is no plan for {plant_id} yet. Make one: leadline plan {plant_id} --new")
    offset = timedelta(minutes=now.offset_minutes)
    try:
        told = explain(held.problem, held.plan, key, offset=offset)
    except KeyError as error:
        raise NotFound(
            f"The plan of {plant_id} has no job {key}: it is not due in the planned days, or another job renews it."
        ) from error
    helps: tuple[Relief, ...] = ()
    if told.days_late is None or told.days_late:
        helps = reliefs(held.problem, held.plan, key, solve=house.plan, offset=offset)
    return {
        "plant": plant_id,
        "plan": held.digest,
        "job": key,
        "days_late": told.days_late,
        "placed": told.days_late is not None,
        "reasons": list(told.reasons),
        "forbidden": [
            {
                "from": f"{one.from_at:%Y-%m-%dT%H:%MZ}",
                "to": f"{one.to_at:%Y-%m-%dT%H:%MZ}",
                "starts": one.starts,
                "reason": one.reason,
                "lacking_swept_m3_per_h": one.lacking_litres_per_h / 1000,
            }
            for one in told.forbidden
        ],
        "reliefs": [{"kind": one.kind.value, "says": one.says, "price": one.price} for one in helps],
    }
