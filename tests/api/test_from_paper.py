"""From paper a routine job is closed with the few fields that paper carries."""

from html.parser import HTMLParser
from itertools import combinations

from api.routes.shared.bodies import CloseBody
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
