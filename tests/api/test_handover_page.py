"""The handover's page: filled by itself, signed by two, refused by name until all is looked at; and the week on paper."""

import re

import pytest
from starlette.testclient import TestClient

from scheduler.domain.base.enums import Role
from scheduler.domain.work.handing_over import AgainstHandover, HandoverReason
from scheduler.wording.handover import handover_reasons_words
from tests.acts import isolated
from tests.api.stage import Stage
from tests.api.test_work_steps import JOB, _all, _step
from tests.unit.api.test_pages import Reader

PAGE = "/vessels/demo-plover/handover"
HTML = {"Accept": "text/html"}


def form(browser: TestClient) -> dict[str, str]:
    """The page's form as a browser sends it with nothing ticked."""
    page = browser.get(PAGE, headers=HTML)
    assert page.status_code == 200, page.text
    found = {
        str(h["name"]): str(h.get("value") or "") for t, h in Reader(page.text).tags if t == "input" and "name" in h
    }
    return {name: value for name, value in found.items() if not name.startswith(("looked:", "here", "light"))}


def ticks(browser: TestClient) -> dict[str, str]:
    """Every point ticked."""
    names = re.findall(r'name="(looked:[^"]+)"', browser.get(PAGE, headers=HTML).text)
    return dict.fromkeys(names, "yes")


def words(browser: TestClient) -> str:
    """The page's words."""
    return Reader(browser.get(PAGE, headers=HTML).text).words


@pytest.mark.long
def test_nothing_open_is_signed_by_both_at_once(fresh: Stage) -> None:
    """Each part says none; one signs, the other takes over, and the next page begins anew."""
    leaver, relief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    assert "Hand over: no jobs open." in words(leaver)
    given = leaver.post(PAGE, data={**form(leaver), "do": "write", "text": "VP2 hums."}, headers=HTML)
    assert given.status_code == 303, Reader(given.text).words
    assert "VP2 hums." in words(relief)
    assert "I take over: sign" in words(relief)
    own = leaver.post(PAGE, data={**form(leaver), "do": "sign"}, headers=HTML)
    assert own.status_code == 403
    taken = relief.post(PAGE, data={**form(relief), "do": "sign"}, headers=HTML)
    assert taken.status_code == 303, Reader(taken.text).words
    assert "Hand over: no jobs open." in words(leaver)


@pytest.mark.long
def test_it_is_refused_by_name_until_every_point_is_looked_at(fresh: Stage) -> None:
    """The first signature too; what was ticked and typed stays; a change after it asks both again."""
    _all(fresh, [(m, k, {**t, "by": "Demo engineer"}) for m, k, t in isolated()[:5]])
    leaver, relief = fresh.enter("engineer-plover"), fresh.enter("chief-plover")
    assert "one job open and one point locked and tagged" in words(leaver)
    assert "CW-7" in words(leaver)
    refused = leaver.post(PAGE, data={**form(leaver), "do": "write", "text": "mind VP2"}, headers=HTML)
    assert refused.status_code == 409
    assert "T-1 (VP2) not looked at together" in Reader(refused.text).words
    assert "mind VP2</textarea>" in refused.text
    seen = {**form(leaver), **ticks(leaver), "text": "mind VP2"}
    assert leaver.post(PAGE, data={**seen, "do": "write"}, headers=HTML).status_code == 303
    hangs = relief.post(PAGE, data={**form(relief), **ticks(relief), "do": "sign"}, headers=HTML)
    assert hangs.status_code == 409
    assert "Locks of Demo engineer" in Reader(hangs.text).words
    own = {"point": "supply breaker", "lock_no": "L30", "tag_no": "T-30"}
    assert _step(fresh, 20, "tag taken over", by="Demo chief", **own).status_code == 201
    assert _step(fresh, 21, "tag removed", by="Demo engineer", point="supply breaker").status_code == 201
    assert "points locked and tagged changed since the first signature: both sign again" in words(relief)
    assert "CW-7 (VP2) not issued anew to who takes over" in words(relief)
    assert _step(fresh, 22, "permit issued", **isolated("CW-8")[0][2]).status_code == 201
    again = {**form(leaver), **ticks(leaver), "do": "write", "text": "mind VP2"}
    assert leaver.post(PAGE, data=again, headers=HTML).status_code == 303
    signed = relief.post(PAGE, data={**form(relief), **ticks(relief), "do": "sign"}, headers=HTML)
    assert signed.status_code == 303, Reader(signed.text).words
    notes = fresh.ask("GET", "/api/v1/vessels/demo-plover/handovers", role=Role.CHIEF).json()["handovers"]
    assert [bool(one["signed_by"]) for one in notes] == [True, False]
    assert JOB.split(":")[0] == "knife_inspection"


def test_the_reasons_are_one_sentence() -> None:
    """By name, grouped; nothing where nothing stands against it."""
    reasons = [
        HandoverReason(AgainstHandover.NOT_LOOKED_AT, "T-23", "VP3"),
        HandoverReason(AgainstHandover.NOT_LOOKED_AT, "T-24", "VP3"),
        HandoverReason(AgainstHandover.PERMIT_OLD, "PT-121", "VP3"),
        HandoverReason(AgainstHandover.CHANGED, "parts_short"),
    ]
    assert handover_reasons_words(reasons) == (
        "Cannot be signed yet: T-23 (VP3) and T-24 (VP3) not looked at together; PT-121 (VP3) not issued anew to who takes over; "
        "parts short changed since the first signature: both sign again."
    )
    assert handover_reasons_words([]) == ""


def test_the_week_names_its_jobs_counters_and_what_is_not_decided(fresh: Stage) -> None:
    """Eight days, a line for each counter, the cautions."""
    said = Reader(fresh.enter("engineer-plover").get("/plants/plover-plant/week", headers=HTML).text).words
    assert said.count("Nothing planned.") <= 8
    for part in (
        "today",
        "tomorrow",
        "VP1",
        "VP3",
        "If one more pump trips",
        "Asked, not decided",
        "Permit, lock and tag first",
    ):
        assert part in said
