"""The page of a closed job: what it changed, and the turn before it, as stored."""

from datetime import timedelta

from api.ics.writer import calendar_writer
from scheduler.actions.feed import refresh
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage

FIRST, SECOND = "standby_start:plover-plant:1", "standby_start:plover-plant:2"
KNIFE = "knife_inspection:plover-pump-b-knives:1"


def _written(stage: Stage) -> None:
    refresh.refresh(stage.context, calendar_writer(stage.context.settings.shown_base_url()), PLOVER.vessel)


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


def test_the_field_of_hours_says_what_the_counter_shows_before_anything_else(fresh: Stage) -> None:
    """In the counter's own counts first, since the job and when it is due; then what an empty field takes."""
    browser = fresh.enter("chief-plover")
    page = browser.get(f"/vessels/demo-plover/jobs/{KNIFE}?also=close").text
    hint = page[page.index('id="h-running_hours"') :].partition(">")[2].partition("</p>")[0]
    line = next(one for one in fresh.pump("plover-pump-b")["jobs"] if one["job"] == KNIFE)["counter_line"]
    assert hint.startswith(f"{line[0].upper()}{line[1:]}. Empty: as counted, ")
    assert 'id="h-running_hours"' not in browser.get(f"/vessels/demo-plover/jobs/{FIRST}").text
