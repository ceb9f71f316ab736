"""The page of a closed job: what it changed, and the turn before it, as stored."""

import re
from datetime import timedelta

import pytest
from httpx2 import Response

from api.ics.writer import calendar_writer
from scheduler.actions.feed import refresh
from scheduler.actions.plant_state.load import hours_then, load_plant, plant_state_then
from scheduler.domain.base.enums import Subject
from scheduler.shiptime import ship_time
from scheduler.wording.hours import counts_text
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage

FIRST, SECOND = "standby_start:plover-plant:1", "standby_start:plover-plant:2"
KNIFE = "knife_inspection:plover-pump-b-knives:1"


def _written(stage: Stage) -> None:
    refresh.refresh(stage.context, calendar_writer(stage.context.settings.shown_base_url()), PLOVER.vessel)


@pytest.mark.long
def test_a_closed_job_says_what_it_changed_and_what_was_found_the_time_before(fresh: Stage) -> None:
    """The date that moved by it, alone; the next due point; once done again, when; and the turn before with its findings and page."""
    _written(fresh)
    assert fresh.close(FIRST, findings="low vacuum switch slow", reason="early, in port").status_code == 200
    fresh.clock.at = AT + timedelta(minutes=5)
    _written(fresh)
    browser = fresh.enter("chief-plover")
    first = browser.get(f"/vessels/demo-plover/jobs/{FIRST}").text
    changed = first[first.index("What changed by this") :].partition("</details>")[0]
    assert "Next due" in changed
    assert changed.count("Standby start: published date moved from") == 1
    fresh.clock.at = AT + timedelta(days=5)
    assert fresh.close(SECOND, reason="early").status_code == 200
    _written(fresh)
    browser = fresh.enter("chief-plover")
    first = browser.get(f"/vessels/demo-plover/jobs/{FIRST}").text
    assert ("Done again" in first, "Next due" in first) == (True, False)
    assert first.count("published date moved from") == 1  # what moved by the second close is none of the first's
    second = browser.get(f"/vessels/demo-plover/jobs/{SECOND}").text
    before = second[second.index("Last time") :].partition("</details>")[0]
    assert second.count("published date moved from") == 1
    assert "low vacuum switch slow" in before
    assert "Demo Hand" in before
    assert f'href="/vessels/demo-plover/jobs/{FIRST}"' in before


def _field(page: str) -> str:
    """Label and hint of the field of hours."""
    before, _, after = page.partition('id="h-running_hours"')
    label = before.rpartition("<label")[2].partition(">")[2].partition("<")[0]
    return f"{label}: {after.partition('>')[2].partition('</p>')[0]}"


@pytest.mark.long
def test_the_field_of_hours_asks_what_the_counter_showed(fresh: Stage) -> None:
    """In the counter's own counts, since the job and when it is due, and what an empty field takes. No field on a job of the plant."""
    browser = fresh.enter("chief-plover")
    page = browser.get(f"/vessels/demo-plover/jobs/{KNIFE}?also=close").text
    line = next(one for one in fresh.pump("plover-pump-b")["jobs"] if one["job"] == KNIFE)["counter_line"]
    assert (
        _field(page)
        == f"Counter showed when done: {line[0].upper()}{line[1:]}. Typed as it shows, in tenths of an hour. Empty: as counted."
    )
    assert "running_hours" not in browser.get(f"/vessels/demo-plover/jobs/{FIRST}").text
    assert 'name="running_hours"' in browser.get(f"/vessels/demo-plover/jobs/{KNIFE}/paper").text


def _closed_with(stage: Stage, shown: str, *, door: str = "close", ago: timedelta = timedelta()) -> Response:
    """The knife inspection closed on its page, or from paper, an hour ago unless said otherwise, with what the counter showed."""
    browser = stage.enter("chief-plover")
    here = f"/vessels/demo-plover/jobs/{KNIFE}"
    page = browser.get(f"{here}/paper" if door == "paper" else f"{here}?also=close").text
    done = ship_time(stage.clock.at - ago, PLOVER.utc_offset_minutes)
    moment = {"done_at": f"{done:%Y-%m-%d %H:%M}", "test": "passed"}
    paper = {"done_on": f"{done:%Y-%m-%d}", "finished": f"{done:%H:%M}", "do": "take"}
    fields = {
        "done_by": "Demo Hand",
        "reason": "early",
        "running_hours": shown,
        **(paper if door == "paper" else moment),
    }
    form = page[page.index(f'action="{here}/{door}"') :]
    hidden = dict(re.findall(r'<input type="hidden" name="([a-z_]+)" value="([^"]*)">', form.partition("</form>")[0]))
    return browser.post(f"{here}/{door}", data={**hidden, **fields}, follow_redirects=False)


@pytest.mark.parametrize(("door", "days"), [("close", 0), ("paper", 0), ("paper", 2)])
def test_what_the_counter_showed_is_stored_as_the_parts_own_hours(fresh: Stage, door: str, days: int) -> None:
    """What it showed eight hours before a reading is what the knives had then, though the counter began elsewhere."""
    read_at = fresh.clock.at - timedelta(days=days)
    with fresh.context.db.read() as session:
        now = load_plant(session, fresh.context, PLOVER.vessel, "plover-plant")
        own, before = (
            hours_then(session, now, Subject.PART, KNIFE.split(":")[1], at).hours
            for at in (read_at, read_at - timedelta(hours=8))
        )
    then = plant_state_then(fresh.context, PLOVER.vessel, "plover-plant", read_at)
    figure = then.counter_figure("plover-vp2")
    assert figure is not None
    shown = counts_text(figure.value_milli - round((own - before) * 3_600_000 / figure.seconds_per_count))
    done = _closed_with(fresh, shown, door=door, ago=timedelta(days=days, hours=1))
    assert done.status_code == 303, done.text
    assert own > before
    assert fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()["running_seconds"] == pytest.approx(before * 3600, abs=36)


@pytest.mark.parametrize("shown", ["1e308", "-1", "99999999", "nan", "12x"])
def test_a_figure_the_counter_cannot_have_shown_is_named_at_its_field(fresh: Stage, shown: str) -> None:
    """Nothing is stored, and what was typed stays."""
    refused = _closed_with(fresh, shown)
    assert refused.status_code == 422
    assert f'value="{shown}"' in refused.text
    assert 'id="e-running_hours"' in refused.text
    assert KNIFE in {job["job"] for job in fresh.due().values()}
