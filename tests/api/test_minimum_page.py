"""The page of the minimum: asked for, signed by two people, withdrawn, all by its own forms; what was typed is kept."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.pages.capacity.page import minimum_lines
from scheduler.actions.people import sessions
from scheduler.domain.vessel.crew import MinimumBlock
from tests.api.stage import AT, Stage
from tests.unit.domain.plants import plant as plant_of

PAGE = "/plants/plover-plant/minimum"


def _send(stage: Stage, browser: TestClient, once: str, **told: str) -> Any:
    signed = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert signed is not None
    return browser.post(PAGE, data={"csrf": signed.csrf, "idempotency_key": once, "utc_offset_minutes": "60", **told})


@pytest.mark.long
def test_a_lower_minimum_is_asked_signed_and_withdrawn_on_the_page(fresh: Stage) -> None:
    """Ship time with its offset; sent twice it is asked once; an engineer is offered no chief's signature; two people sign."""
    engineer, chief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    ask = {
        "do": "ask",
        "from_at": f"{AT + timedelta(hours=1):%Y-%m-%dT%H:%M}",
        "to_at": f"{AT + timedelta(days=2):%Y-%m-%dT%H:%M}",
        "minimum": "40,5",
        "reason": "few <aboard>",
    }
    wrong = _send(fresh, engineer, "a", **{**ask, "minimum": "much", "to_at": ""})
    assert wrong.status_code == 422
    assert wrong.text.count('aria-invalid="true"') == 2
    assert 'value="much"' in wrong.text
    assert "few &lt;aboard&gt;" in wrong.text
    assert _send(fresh, engineer, "a2", **{**ask, "minimum": "4000"}).status_code == 422
    for _ in range(2):
        asked = _send(fresh, engineer, "b", **ask)
        assert (asked.status_code, asked.headers["location"]) == (303, f"{PAGE}?done=ask")
    (told,) = fresh.ask("GET", f"/api/v1{PAGE.replace('minimum', 'concessions')}").json()["concessions"]
    assert told["from_at"] == f"{AT:%Y-%m-%dT%H:%M:%SZ}"
    assert told["minimum_swept_m3_per_h"] == 40.5
    assert f'href="{PAGE}"' in engineer.get("/plants/plover-plant").text
    page = engineer.get(PAGE).text
    assert "waits for the chief engineer and the hotel" in page
    assert "as chief engineer</button>" not in page
    assert _send(fresh, engineer, "c", do="chief", number="1").status_code == 403
    assert "as chief engineer</button>" in chief.get(PAGE).text
    assert _send(fresh, chief, "d", do="chief", number="1").status_code == 303
    alone = _send(fresh, chief, "e", do="hotel", number="1")
    assert alone.status_code == 403
    assert "As hotel signs a person whose role is hotel" in alone.text
    written = _send(fresh, chief, "e2", do="hotel", number="1", name="B. Hotel")
    assert written.status_code == 422
    assert "nobody signs for another" in written.text
    hotel = fresh.enter("hotel-plover")
    assert "second, as hotel</button>" in hotel.get(PAGE).text
    assert "second, as hotel</button>" not in chief.get(PAGE).text
    assert _send(fresh, hotel, "f0", do="withdraw", number="1").status_code == 403
    assert _send(fresh, hotel, "f", do="hotel", number="1").status_code == 303
    fresh.clock.at = AT + timedelta(hours=1)
    page = engineer.get(PAGE).text
    assert "agreed, counts now" in page
    assert "The minimum is 40.5" in page
    assert "Dashed: the plant" in page
    assert _send(fresh, engineer, "g", do="withdraw", number="1").status_code == 303
    assert re.search(r"<b>withdrawn</b>", engineer.get(PAGE).text)
    assert _send(fresh, engineer, "h", do="withdraw", number="1").status_code == 409
    assert _send(fresh, engineer, "i", do="chief", number="x").status_code == 422
    assert _send(fresh, engineer, "j", do="other", number="1").status_code == 422


def test_lines_are_joined_only_where_no_day_reads_otherwise() -> None:
    """Hours of the same days and days of the same hours stand together; a block that a later one overrules stays before it."""

    def block(label: str, figure: float, hours: tuple[int, int], days: tuple[int, int] | None = None) -> MinimumBlock:
        first, last = (date(2026, 11, days[0]), date(2026, 11, days[1])) if days else (None, None)
        return MinimumBlock(
            minimum_swept_m3_per_h=figure,
            label=label,
            from_on=first,
            to_on=last,
            from_hour=hours[0],
            to_hour=hours[1],
        )

    blocks = (
        block("gone", 1, (0, 24), (1, 2)),
        block("busy", 90, (6, 8)),
        block("busy", 90, (17, 20)),
        block("full", 100, (0, 24), (10, 12)),
        block("full, busy", 110, (6, 8), (10, 12)),
        block("full", 100, (0, 24), (20, 22)),
        block("lay-up", 0, (0, 24), (20, 20)),
        block("full", 100, (0, 24), (20, 25)),
    )
    lines, past = minimum_lines(plant_of(minimum_blocks=blocks), date(2026, 11, 5))
    assert past == 1
    assert [(line.label, line.hours) for line in lines[1:]] == [
        ("busy", "06:00 to 08:00, 17:00 to 20:00"),
        ("full", "all day"),
        ("full, busy", "06:00 to 08:00"),
        ("lay-up", "all day"),
        ("full", "all day"),
    ]
    assert lines[1].days == "every day"
    assert lines[2].days.count(";") == 1
