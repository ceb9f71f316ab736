"""A coming change of the ship's clock: hours are told by the clock of their day on pages and calendar; a new plan is asked for."""

from datetime import timedelta

import pytest

from scheduler.actions.base import pending
from scheduler.actions.base.context import Hand
from scheduler.actions.feed import refresh
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.planning.search.stagger import stagger
from scheduler.storage.vessel import AssetKind
from tests.api.stage import AT, Stage, stamp
from tests.end_to_end.test_actions import ME, PEN_HERE

PLANT = "plover-plant"


@pytest.mark.long
def test_hours_of_a_coming_day_are_those_of_its_clock(fresh: Stage) -> None:
    """Two hours ahead now, five from tomorrow on: each planned job is told three hours later, on its page and in the calendar."""
    context = fresh.context
    digest = planning.bring_up(context, "demo-plover", PLANT, stagger)[0].digest
    planning.take(context, Hand(ME, "take", {"take": 1}), Place(PLANT, "demo-plover", PLANT, AssetKind.PLANT), digest)
    taken = plant_state(context, "demo-plover", PLANT).taken
    assert taken is not None
    key, (start_at, end_at) = next(
        (key, times) for key, times in taken.times().items() if times[0] > AT + timedelta(days=2) and times[0].hour < 18
    )
    now = plant_state(context, "demo-plover", PLANT).offset_minutes
    browser = fresh.enter("engineer-plover")

    def told(minutes: int) -> tuple[str, str]:
        begin, end = (at + timedelta(minutes=minutes) for at in (start_at, end_at))
        return (
            f"{begin:%H:%M}",
            f"{begin.day} {begin:%b} {begin.year} {begin:%H:%M} to {end.day} {end:%b} {end.year} {end:%H:%M}",
        )

    def shown() -> tuple[str, str]:
        refresh.refresh(context, PEN_HERE, "demo-plover")
        body = refresh.refresh(context, PEN_HERE, "demo-plover").body.decode().replace("\r\n ", "")
        return browser.get(f"/vessels/demo-plover/jobs/{key}").text, body

    page, body = shown()
    assert told(now)[0] in page
    assert told(now)[1] in body
    wanted_before = [pair for pair in _wanted(fresh) if pair[1] == PLANT]
    answer = fresh.ask(
        "POST",
        "/api/v1/vessels/demo-plover/clock",
        role=Role.CHIEF,
        json={"from_at": stamp(AT + timedelta(days=1)), "utc_offset_minutes": now + 180, "reason": "eastward"},
    )
    assert answer.status_code == 201, answer.text
    assert len([pair for pair in _wanted(fresh) if pair[1] == PLANT]) == max(1, len(wanted_before))
    page, body = shown()
    assert told(now + 180)[0] in page
    assert told(now + 180)[1] in body
    assert told(now)[1] not in body


def _wanted(stage: Stage) -> list[tuple[str, str]]:
    with stage.context.db.read() as session:
        return pending.plans_asked(session)
