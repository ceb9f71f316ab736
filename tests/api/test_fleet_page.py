"""The page of the fleet, from what is stored: worst first, never as if all were well, whatever its address says."""

from datetime import timedelta

import pytest

from scheduler.actions.feed.refresh import stale_vessels
from scheduler.domain.base.enums import Role
from seed_fleet.ships import AVOCET, PLOVER
from tests.api.stage import Stage, stamp


def test_the_fleet_is_listed_from_what_is_stored(stage: Stage) -> None:
    """A strip a ship with her name, least margin and when, worst job and age of hours; the link leads to her plant."""
    for ship in (PLOVER, AVOCET):
        stage.client.app.state.refresh(ship.vessel)  # type: ignore[attr-defined]
    page = stage.ask("GET", "/?all=1", role=Role.OFFICE).text
    assert page.count('<div class="strip2"><svg') == 2
    for ship in (PLOVER, AVOCET):
        assert f'href="/plants/{ship.key}-plant"' in page
    assert "something changed since" not in page
    assert "not worked out" not in page


def test_what_was_just_done_is_said_to_be_worked_out_until_it_is(fresh: Stage) -> None:
    """A pump that went down: until the tick has been, the row says as of when it is."""
    context = fresh.context
    fresh.client.app.state.refresh(PLOVER.vessel)  # type: ignore[attr-defined]
    context.waker.listen(None)  # nobody writes
    down = {"at": stamp(fresh.clock.at), "reason": "seized"}
    assert fresh.ask("POST", f"/api/v1/pumps/{PLOVER.pump(0)}/down", json=down).status_code == 200
    assert "something changed since and is being worked out" in fresh.ask("GET", "/?all=1").text
    assert stale_vessels(context, 10**6) == [PLOVER.vessel]
    fresh.client.app.state.refresh(PLOVER.vessel)  # type: ignore[attr-defined]
    assert "something changed since" not in fresh.ask("GET", "/?all=1").text
    fresh.clock.at += timedelta(days=1)
    assert "something changed since" in fresh.ask("GET", "/?all=1").text


def test_a_ship_that_is_not_worked_out_yet_is_listed_first(fresh: Stage) -> None:
    """And the heading says so by name."""
    fresh.context.waker.listen(None)
    page = fresh.ask("GET", "/?all=1").text
    assert "Demo Plover is not worked out yet." in page
    assert "Not worked out yet; look again in a moment." in page


def test_who_has_one_plant_is_led_to_it(fresh: Stage) -> None:
    """Unless all are asked for."""
    answer = fresh.ask("GET", "/")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/plants/{PLOVER.key}-plant")
    assert fresh.ask("GET", "/?all=1").status_code == 200


@pytest.mark.parametrize("page", ["0", "-1", "x", "", "1e308", "٣", "99999999999999999999", "1%00"])
def test_a_page_that_is_no_number_is_the_first(stage: Stage, page: str) -> None:
    """Nothing typed there makes an error."""
    answer = stage.ask("GET", f"/?all=1&page={page}", role=Role.OFFICE)
    assert answer.status_code == (422 if "%00" in page else 200)


def test_a_page_after_the_last_leads_to_the_last(stage: Stage) -> None:
    """As when there are fewer ships by now."""
    answer = stage.ask("GET", "/?all=1&page=7", role=Role.OFFICE)
    assert (answer.status_code, answer.headers["location"]) == (303, "/?all=1&page=1")
