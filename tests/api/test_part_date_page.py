"""When a job's parts come, said on its own page: shown, kept when refused, sent twice it counts once, and taken back."""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.actions.people import sessions
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage

KEY = "alarm_test:plover-plant:1"
PAGE = f"/vessels/demo-plover/jobs/{KEY}"


@pytest.mark.long
def test_a_date_for_parts_is_given_shown_and_taken_back(fresh: Stage) -> None:
    """By the form alone; a word is no date, and what was typed stays; each is a record."""
    browser = fresh.enter("engineer-plover")
    signed = sessions.at_browser(fresh.context, browser.cookies["leadline"])
    assert signed is not None

    def send(once: str, **told: str) -> Any:
        return browser.post(f"{PAGE}/part-date", data={"csrf": signed.csrf, "idempotency_key": once, **told})

    assert "Give the date the parts come" in browser.get(PAGE).text
    wrong = send("a", do="set", from_on="soon", note="with <the> agent")
    assert wrong.status_code == 422
    assert "a date as 2026-11-25 is expected" in wrong.text
    assert 'value="with &lt;the&gt; agent"' in wrong.text
    on = (AT + timedelta(days=9)).date()
    for _ in range(2):
        sent = send("b", do="set", from_on=on.isoformat(), note="with the agent")
        assert (sent.status_code, sent.headers["location"]) == (303, f"{PAGE}#h-part-date")
    shown = browser.get(PAGE).text
    assert (
        "Thu\u00a029\u00a0Oct\u00a02026</b>, ship's date: with the agent. The plan puts this job no earlier." in shown
    )
    assert f'value="{on}"' in shown
    assert send("c", do="clear").status_code == 303
    assert "The plan puts this job no earlier." not in browser.get(PAGE).text
    gone = send("d", do="clear")
    assert gone.status_code == 409
    assert "nothing to take back" in gone.text
    lines = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert lines.count("part date") == 2
