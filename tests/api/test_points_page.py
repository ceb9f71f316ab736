"""Points that a pump has not, on a page of their own: said by one, signed by another as office or master, kept when refused."""

from typing import Any

import pytest

from scheduler.actions.people import sessions
from tests.api.stage import Stage

PAGE = "/pumps/plover-pump-b/points"
POINT = "flushing or seal water"


def _send(stage: Stage, person: str, do: str, once: str, **typed: str) -> Any:
    browser = stage.enter(person)
    signed = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert signed is not None
    return browser.post(PAGE, data={"csrf": signed.csrf, "idempotency_key": once, "do": do, **typed})


@pytest.mark.long
def test_a_point_is_said_signed_and_withdrawn_on_the_page(fresh: Stage) -> None:
    """Led to from the pump's record; refused without a reason, and what was typed stays; never the supply breaker; signed by the
    master or the office, not by who said it nor by the chief; it counts from the next ship's day on."""
    assert f'href="{PAGE}"' in fresh.enter("chief-plover").get("/pumps/plover-pump-b/record").text
    empty = fresh.enter("engineer-plover").get(PAGE).text
    assert "VP2 has every point of the sheet" in empty
    assert "<option>supply breaker" not in empty
    assert "Supply breaker: always there" in empty
    lacking = _send(fresh, "engineer-plover", "say", "a", point=POINT, reason=" ")
    assert lacking.status_code == 422
    assert f"<option selected>{POINT}</option>" in lacking.text
    breaker = _send(fresh, "engineer-plover", "say", "b", point="supply breaker", reason="old")
    assert breaker.status_code == 422
    assert "without it nobody opens a pump" in breaker.text
    told = _send(fresh, "engineer-plover", "say", "c", point=POINT, reason="dry seal, drawing 7")
    assert (told.status_code, told.headers["location"]) == (303, f"{PAGE}?done=say")
    page = fresh.enter("engineer-plover").get(PAGE).text
    assert "not signed, so it counts for nothing" in page
    assert "Sign 1" not in page
    assert f"<option>{POINT}" not in page
    for person in ("engineer-plover", "chief-plover"):
        assert _send(fresh, person, "sign", f"d {person}", number="1").status_code in (403, 422), person
    assert "Sign 1 as master" in fresh.enter("master-plover").get(PAGE).text
    assert _send(fresh, "master-plover", "sign", "e", number="1").status_code == 303
    signed = fresh.enter("chief-plover").get(PAGE).text
    assert f"VP2: {POINT} not fitted" in signed
    assert "counts for work begun from Wed 21 Oct 2026 on" in signed
    assert _send(fresh, "master-plover", "withdraw", "f", number="1").status_code == 403
    assert _send(fresh, "chief-plover", "withdraw", "g", number="1").status_code == 303
    assert "VP2 has every point of the sheet" in fresh.enter("chief-plover").get(PAGE).text
    again = _send(fresh, "chief-plover", "withdraw", "h", number="1")
    assert again.status_code == 409
    assert "withdrawn already" in again.text
