"""A form of a page that is refused comes back beside what it asks, with what was typed; nothing is lost and nothing is done."""

from html import unescape

import pytest
from httpx import Response
from starlette.testclient import TestClient

from scheduler.actions.people import sessions
from tests.api.stage import Stage

JOB = "/vessels/demo-plover/jobs/alarm_test:plover-plant:1"


def _send(stage: Stage, browser: TestClient, path: str, **typed: str) -> Response:
    signed = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert signed is not None
    sent = {"csrf": signed.csrf, "idempotency_key": f"k{path}{len(typed)}", "utc_offset_minutes": "60", **typed}
    return browser.post(path, data=sent, headers={"Accept": "text/html"})


@pytest.mark.parametrize(
    ("path", "typed", "back"),
    [
        ("/pumps/plover-pump-a/out", {"reason": "seal <leaks>", "expected_at": "soon"}, 'value="seal <leaks>"'),
        ("/pumps/plover-pump-a/out", {"reason": "seal", "expected_at": "soon"}, "a date and time are expected"),
        ("/plants/plover-plant/parts", {"name": "x", "aboard": "few", "here": JOB}, "a whole number is expected"),
        (f"{JOB}/photos", {"text": "the bell"}, "No photo was chosen"),
        (f"{JOB}/photos", {"text": "the bell"}, 'value="the bell"'),
        (f"{JOB}/close", {"done_at": "", "findings": "bell heard"}, "bell heard</textarea>"),
        (f"{JOB}/steps", {"kind": "tested", "at": "then", "text": "hold 3 min"}, 'value="hold 3 min"'),
        ("/vessels/demo-plover/calendar", {"do": "kinds", "w-0": "lots"}, 'value="lots"'),
        ("/feeds", {"vessel": "demo-plover", "label": "bridge", "days": "few"}, 'value="bridge"'),
        ("/vessels/demo-plover/hours", {"at": "then", "counter:plover-vp1-hours": "77"}, 'value="77"'),
    ],
)
def test_what_was_typed_comes_back(stage: Stage, path: str, typed: dict[str, str], back: str) -> None:
    """The page that asked is drawn again, refused, with the words and figures as they were typed."""
    answer = _send(stage, stage.enter("chief-plover"), path, **typed)
    assert (answer.status_code, back in unescape(answer.text)) == (422, True)
    assert "Sign out" in answer.text


@pytest.mark.parametrize("path", ["/pumps/plover-pump-a/out", f"{JOB}/close", "/feeds", f"{JOB}/photos"])
def test_a_form_of_another_page_is_nobodys(stage: Stage, path: str) -> None:
    """Without the session's own token a form does nothing, whatever it holds."""
    browser = stage.enter("chief-plover")
    assert _send(stage, browser, path, csrf="").status_code == 403


@pytest.mark.long
def test_a_form_drawn_before_a_change_is_refused_with_what_was_typed(fresh: Stage) -> None:
    """A step recorded meanwhile makes a form stale: 412, and the next form has the version of now."""
    browser = fresh.enter("chief-plover")
    step = {"kind": "work reported", "by": "A. Chief", "text": "bell heard", "version": "0"}
    at = f"{fresh.clock.at:%Y-%m-%dT%H:%M}"
    assert _send(fresh, browser, f"{JOB}/steps", at=at, utc_offset_minutes="0", **step).status_code == 303
    stale = _send(fresh, browser, f"{JOB}/steps", at=at, utc_offset_minutes="0", idempotency_key="other", **step)
    assert (stale.status_code, "bell heard" in stale.text, 'name="version" value="1"' in stale.text) == (
        412,
        True,
        True,
    )
