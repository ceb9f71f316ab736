"""From paper a routine job is closed with the few fields that paper carries."""

from html.parser import HTMLParser
from itertools import combinations

import pytest
from httpx2 import Response

from api.routes.shared.bodies import CloseBody
from scheduler.domain.base.enums import Role
from tests.api.stage import AT, Stage, stamp

CARRIED = {"done_at", "done_by", "test"}
"""What every sheet that was signed says: when, by whom, and how the test went."""
ROUTINE = "standby_start:plover-plant:1"


def test_no_field_is_demanded_but_when_by_whom_and_the_test(fresh: Stage) -> None:
    """The body demands at most these three; each of them is enough with the others, and none can be left out."""
    demanded = {name for name, one in CloseBody.model_fields.items() if one.is_required()}
    assert demanded <= CARRIED
    body = {"done_at": stamp(AT), "done_by": "A. Second", "test": "passed"}
    for left_out in combinations(sorted(demanded), len(demanded) - 1):
        sent = {name: body[name] for name in left_out}
        assert fresh.ask("POST", f"/api/v1/jobs/{ROUTINE}/close", json=sent).status_code == 422
    done = fresh.ask("POST", f"/api/v1/jobs/{ROUTINE}/close", json={name: body[name] for name in demanded})
    assert done.status_code == 200, done.text


KNIFE = "knife_inspection:plover-pump-b-knives:1"
SHEET = {
    "done_on": "2026-10-19",
    "finished": "10:45",
    "done_by": "Demo relief",
    "checked_by": "A. Chief",
    "permit issued:number": "PT-98",
    "made ready:told": "bridge",
    "gas in the room:oxygen": "20.9",
    "gas in the room:lel": "0",
    "gas in the room:h2s": "1",
    "rinsed:drained": "sewage tank",
    "tag placed:tags": "T-31 to T-36",
    "tag placed:at": "08:41",
    "start tried:at": "08:35",
    "no voltage:meter": "VM-2",
    "no voltage:at": "08:44",
    "gas at the cover:oxygen": "20.9",
    "gas at the cover:lel": "0",
    "gas at the cover:h2s": "1",
    "opened:at": "08:52",
    "people clear:at": "10:20",
    "people told:names": "bridge",
    "started locally:at": "10:30",
    "started locally:current": "10.8",
    "returned:at": "10:41",
    "measure:knife gap, widest": "0.31",
    "measure:largest chip": "0",
    "seen": "as it should be",
    "ticked": "yes",
}


def send_sheet(stage: Stage, **typed: str) -> Response:
    """The sheet sent from the page by the chief."""
    browser = stage.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{KNIFE}/paper"
    page = browser.get(path).text
    hidden = {
        name: page.split(f'name="{name}" value="')[1].split('"')[0] for name in ("csrf", "idempotency_key", "version")
    }
    return browser.post(path, data={**hidden, "utc_offset_minutes": "60", **SHEET, **typed})


@pytest.mark.long
def test_a_sheet_is_looked_at_then_taken_in_and_what_it_does_not_show_is_flagged_apart(fresh: Stage) -> None:
    """Look stores nothing and names the acts not seen; taken in, they stand as not seen on paper, and no breach is opened."""
    seen = send_sheet(fresh, do="look")
    assert seen.status_code == 200
    assert "3 acts are not seen on paper" in seen.text
    assert fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()["open"]
    taken = send_sheet(fresh, do="take")
    assert taken.status_code == 303, taken.text
    closed = fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()
    assert (closed["from_paper"], closed["test"], closed["check"]) == (True, "none", "as on sheet: A. Chief")
    [flag] = closed["flags"]
    assert flag.startswith("Not seen on paper: stored vacuum let out; personal locks; test after.")
    assert fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"] == []
    lines = fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    assert "on_paper" in lines
    assert "T-31 to T-36" in lines


@pytest.mark.long
@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"gas at the cover:h2s": "30"}, "above the OSHA ceiling"),
        ({"opened:at": "08:30"}, "was before"),
    ],
)
def test_what_a_sheet_shows_against_itself_is_a_breach(fresh: Stage, typed: dict[str, str], says: str) -> None:
    """Gas over its limit, opened before it was locked: said when looked at, and a non-conformity once taken in."""
    assert says in send_sheet(fresh, do="look", **typed).text
    assert send_sheet(fresh, do="take", **typed).status_code == 303
    flags = fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()["flags"]
    assert any(says in one for one in flags)
    found = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert [one["job"] for one in found] == [KNIFE]


@pytest.mark.parametrize(
    "typed",
    [{"done_on": "soon"}, {"finished": ""}, {"done_by": ""}, {"opened:at": "then"}, {"gas at the cover:h2s": "1e999"}],
)
def test_a_sheet_that_cannot_be_read_comes_back_as_typed(fresh: Stage, typed: dict[str, str]) -> None:
    """Refused at the field, nothing stored, all of it kept."""
    back = send_sheet(fresh, do="take", **typed)
    assert back.status_code == 422
    assert 'value="T-31 to T-36"' in back.text
    assert 'aria-invalid="true"' in back.text
    assert fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()["open"]


class Fields(HTMLParser):
    """The fields of the close form that a person sees, and what stands in them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.inside, self.shown, self.hidden = False, {}, {}  # type: ignore[var-annotated]
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        if tag == "form":
            self.inside = (held.get("action") or "").endswith("/close")
        elif self.inside and tag in ("input", "textarea") and held.get("name"):
            name, value = str(held["name"]), held.get("value") or ""
            if held.get("type") == "hidden":
                self.hidden[name] = value
            elif held.get("type") not in ("radio", "checkbox") or "checked" in held:
                self.shown[name] = value


def test_on_the_page_a_routine_job_of_today_is_closed_by_the_button_alone(fresh: Stage) -> None:
    """When, by whom and the test stand in the form already; the other fields may stay empty."""
    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{ROUTINE}"
    fields = Fields(browser.get(path).text)
    assert {name for name, value in fields.shown.items() if value} == CARRIED
    sent = browser.post(f"{path}/close", data={**fields.hidden, **fields.shown})
    assert sent.status_code == 303, sent.text
    assert "Closed" in browser.get(path).text
