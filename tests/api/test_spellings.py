"""What people type into a form is read alike on every page: spaces, comma, true minus, date and time with a T or a space."""

import re
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api.pages.plan.moving import start_of
from api.pages.shared import layout
from api.pages.work.forms import FORMS, Ask, StepForm, read_step
from api.routes.shared.fields import Fields
from scheduler.actions.people import sessions
from scheduler.errors import Refused
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage

JOB = "/vessels/demo-plover/jobs/alarm_test:plover-plant:1"
DAYS, MINIMUM = "/vessels/demo-plover/calendar", "/plants/plover-plant/minimum"
ANSWERS, HOURS = "/counters/plover-vp1-hours/answers", "/vessels/demo-plover/hours"
FUTURE = {"at": "2031-01-01T00:00", "utc_offset_minutes": "60"}
SPELLINGS = {
    "figure": ("13905.2", "13905,2", " 13 905.2 ", "13\u202f905,2", "13\u00a0905.2", "\u22124", "-4"),
    "figures": ("8.1 8,2 8.1",),
    "whole": ("1200", " 1 200", "1\u202f200", "1\u00a0200"),
    "moment": ("2031-11-25T14:00", "2031-11-25 14:00", " 2031-11-25\u202f14:00 ", "2031-11-25T14:00:00"),
    "day": ("2031-11-25", " 2031-11-25\u00a0", "2031-11-5"),
    "time": ("14:00", " 14:00", "9:05"),
}
SAYS = {
    "figure": "a figure is expected",
    "figures": "a figure is expected",
    "whole": "a whole number is expected",
    "moment": "a date and time are expected",
    "day": "a date as 2026-11-25 is expected",
    "time": "a time is expected",
}
STEP_KINDS = {"number": "figure", "numbers": "figures", "whole": "whole", "moment": "moment"}
FIELDS = [
    (f"{JOB}/close", {"done_at": "2026-01-01T00:00"}, "running_hours", "figure"),
    (f"{JOB}/close", {}, "done_at", "moment"),
    (f"{JOB}/postponements", {}, "to_at", "moment"),
    (f"{JOB}/first-date", {}, "on", "day"),
    (f"{JOB}/part-date", {"do": "set"}, "from_on", "day"),
    (f"{JOB}/steps", {"kind": "tested", "at": "2026-01-01T00:00"}, "pull_down_seconds", "figure"),
    (f"{JOB}/steps", {"kind": "tested"}, "at", "moment"),
    ("/plants/plover-plant/parts", {"name": "none such", "here": JOB}, "aboard", "whole"),
    ("/pumps/no-such-pump/out", {}, "expected_at", "moment"),
    (MINIMUM, {"do": "ask", "from_at": "2031-01-01T00:00", "to_at": "2031-01-01T00:00"}, "minimum", "figure"),
    (MINIMUM, {"do": "ask", "minimum": "1", "to_at": "2031-01-01T00:00"}, "from_at", "moment"),
    (MINIMUM, {"do": "ask", "minimum": "1", "from_at": "2031-01-01T00:00"}, "to_at", "moment"),
    (DAYS, {"source": "plan", "kind": "none", "to_on": "2031-01-01"}, "from_on", "day"),
    (DAYS, {"source": "plan", "kind": "none", "from_on": "2031-01-01"}, "to_on", "day"),
    (DAYS, {"do": "kinds", "new_code": "x y"}, "new_weight", "figure"),
    *((DAYS, {"do": "kinds"}, f"w-{n}", "figure") for n in range(2)),
    *((ANSWERS, {"what": "replaced"}, name, "figure") for name in ("old_final", "new_first", "hours")),
    (ANSWERS, {"what": "replaced"}, "at", "moment"),
    (ANSWERS, {"what": "adjust"}, "hours", "figure"),
    (HOURS, FUTURE, "counter:plover-vp1-hours", "figure"),
    (HOURS, {}, "at", "moment"),
    ("/plants/plover-plant/signs", {"do": "answer", "number": "1", "cause": "known"}, "until_on", "day"),
    *(("/feeds", {"vessel": "demo-plover"}, name, "whole") for name in ("days", "days_ahead", "alarm_hour")),
]


def _answer(stage: Stage, browser: TestClient, path: str, members: dict[str, str]) -> str:
    signed = sessions.at_browser(stage.context, browser.cookies["leadline"])
    assert signed is not None
    sent = {"csrf": signed.csrf, "utc_offset_minutes": "60", **members}
    return unescape(browser.post(path, data=sent, headers={"Accept": "text/html"}).text)


@pytest.mark.long
def test_every_field_takes_what_the_next_one_takes(stage: Stage) -> None:
    """No page refuses a spelling that another takes, and each says of nonsense what it expects."""
    browser = stage.enter("chief-plover")
    wrong = []
    for path, members, name, kind in FIELDS:
        real = path.replace("no-such-pump", f"{PLOVER.key}-pump-a")
        if SAYS[kind] not in _answer(stage, browser, real, {**members, name: "soon"}):
            wrong.append((path, name, "soon"))
        spellings = SPELLINGS[kind] if "/pumps/" not in path else ()
        wrong += [
            (path, name, text)
            for text in spellings
            if SAYS[kind] in _answer(stage, browser, real, {**members, name: text})
        ]
    assert wrong == [], "\n".join(map(str, wrong))


@pytest.mark.long
def test_the_vacuum_in_a_question_takes_what_a_form_takes(stage: Stage) -> None:
    """May I open? is asked in the address: the gauge's figure in every spelling, and nonsense is named."""
    browser = stage.enter("chief-plover")

    def shown(vacuum: str) -> str:
        asked = {"open": "plover-pump-a", "when": "now", "vacuum": vacuum}
        return unescape(browser.get("/plants/plover-plant", params=asked, headers={"Accept": "text/html"}).text)

    assert SAYS["figure"] in shown("soon")
    assert [text for text in SPELLINGS["figure"] if SAYS["figure"] in shown(text)] == []


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.kind)
def test_every_step_of_the_work_reads_its_figures_and_times(form: StepForm) -> None:
    """Each field of each step takes every spelling, and nonsense is named at its field."""
    for ask in (Ask("at", "When", "moment"), *form.asks):
        kind = STEP_KINDS.get(ask.type)
        for text in SPELLINGS[kind] if kind else ():
            assert ask.name not in _faults(form.kind, ask.name, text)
        if kind:
            assert ask.name in _faults(form.kind, ask.name, "soon")


def _faults(kind: str, name: str, text: str) -> list[str]:
    values = {"at": "2031-01-01 10:00", "by": "Demo Hand", "utc_offset_minutes": "60", name: text}
    try:
        read_step(kind, Fields(values), fact=False)
    except Refused as refused:
        return [pointer.rpartition("/")[2] for pointer, says in refused.faults if "expected" in says]
    return []


@pytest.mark.parametrize("day", SPELLINGS["day"])
@pytest.mark.parametrize("at", SPELLINGS["time"])
def test_a_slot_is_moved_to_a_time_in_any_spelling(day: str, at: str) -> None:
    """The day and the hour of a move are read like those of every other form, and nonsense is named at its field."""
    assert start_of({"day": day, "at": at}, 0).year == 2031
    for name in ("day", "at"):
        with pytest.raises(Refused) as refused:
            start_of({"day": day, "at": at, name: "soon"}, 0)
        assert [pointer for pointer, _ in refused.value.faults] == [f"/{name}"]


def test_no_time_is_left_to_the_browser() -> None:
    """A browser shows its own field for times in its own language, with 12 hours in some: times are typed, 24 hours."""
    for template in Path(layout.STATIC).parent.rglob("*.html"):
        assert re.findall(r'"datetime-local"|type="(?:time|month|week)"', template.read_text()) == [], template.name


def test_no_field_for_a_figure_or_a_time_is_left_out() -> None:
    """Each field that the templates mark as a figure, a date or a time is among those walked above."""
    named = {name for _, _, name, _ in FIELDS} | {
        "value",
        "day",
        "pin",
        "vacuum",
    }  # a PIN is no figure; the vacuum is asked by GET, below
    found = set()
    for template in Path(layout.STATIC).parent.rglob("*.html"):
        text = template.read_text()
        for tag in re.findall(r"<input[^>]*>", text):
            if re.search(r'type="(?:date|number)"|inputmode=', tag) and "{% if" not in tag.split("name=")[0]:
                found |= set(re.findall(r' name="([\w-]+)"', tag))
        for call in re.findall(r"(?:field|ask)\(.*?\)\s*}}", text):
            if re.search(r'"(?:date|moment|number)"|"decimal"|inputmode', call):
                found |= set(re.findall(r'\(\S+, "(\w+)"', call))
    assert found - named == set()
    assert {"done_at", "from_on", "minimum", "aboard", "days_ahead"} <= found
