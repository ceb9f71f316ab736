"""What the hours say, from posted readings to page, API, command's words and record: seen, answered, taken back; nothing moved."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.actions.base.actor import Actor
from scheduler.actions.due.sooner import LEAST_DAYS, days_sooner
from scheduler.actions.feed import addresses
from scheduler.actions.hours import signs as hours_signs
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plant_state.load import plant_state
from scheduler.domain.base.enums import Role
from scheduler.domain.hours.sign_values import SignEnd
from scheduler.planning.problem.digest import problem_digest
from scheduler.wording.signs import CAUSES
from seed_fleet.ships import AVOCET
from tests.api import stage as staging
from tests.api.stage import AT, Stage, staged, stamp

pytestmark = pytest.mark.long
SHIP, PLANT = AVOCET.vessel, "avocet-plant"
SIGNS = f"/api/v1/plants/{PLANT}/signs"


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A year of Demo Avocet, six counters read once a watch, with the leak of her last 17 days."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(staging, "PAST_YEARS", 1.0)
        yield tmp_path_factory.mktemp("year")


@pytest.fixture
def aboard(year: Path, tmp_path: Path) -> Iterator[Stage]:
    """A copy of that database, served."""
    assert year
    with staged(tmp_path, (AVOCET,), days=340) as stage:
        yield stage


def told(stage: Stage, role: Role = Role.ENGINEER) -> dict:
    answer = stage.ask("GET", SIGNS, role=role, vessel=SHIP)
    assert answer.status_code == 200, answer.text
    return answer.json()


def open_sign(stage: Stage) -> dict:
    return next(one for one in told(stage)["signs"] if one["state"] == "open" and one["about"] == "plant")


def answered(stage: Stage, number: int, once: str | None = None, **body):
    return stage.ask("POST", f"{SIGNS}/{number}/answer", vessel=SHIP, once=once, json=body)


def test_the_leak_stands_with_its_start_its_size_and_where_to_look(aboard: Stage) -> None:
    """A quarter more from 17 days before now: about that day, 20 or 30 %, in words without an id."""
    sign = open_sign(aboard)
    began = (AT - timedelta(days=17)).date()
    assert abs((began - type(began).fromisoformat(sign["began_on"])).days) <= 2
    assert sign["rise_percent"] in (20, 30)
    assert sign["pump_hours_a_day"] > 1
    assert (sign["days_used"], sign["up"], sign["answer"]) == (56, True, None)
    assert "a hold test tells" in sign["says"]
    assert "avocet-" not in sign["says"]
    assert told(aboard)["least_percent"] >= 12
    assert told(aboard, Role.OFFICE) == told(aboard)


def test_every_page_that_should_say_it_does(aboard: Stage) -> None:
    """Plant page, page of its own, hours page with the picture; doctor's list; and nothing of it in the calendar."""
    browser = aboard.enter("engineer-avocet")
    for path in (f"/plants/{PLANT}", f"/plants/{PLANT}/signs", f"/vessels/{SHIP}/counters"):
        page = browser.get(path)
        assert page.status_code == 200, path
        assert "more than usual" in page.text, path
    assert "does not show" in browser.get(f"/vessels/{SHIP}/counters").text
    looks = aboard.ask("GET", f"/api/v1/vessels/{SHIP}/looks", vessel=SHIP).json()
    assert "more than usual" in str(looks)


def test_an_answer_is_on_record_once_and_taken_back_once(aboard: Stage) -> None:
    """The same key does it once; the answer closes the sign; taken back it stands again, with its number; both are records."""
    number = open_sign(aboard)["sign"]
    first = answered(aboard, number, once="one", cause="leak", text="flush valve, cabin 204")
    assert first.status_code == 201, first.text
    assert answered(aboard, number, once="one", cause="leak", text="flush valve, cabin 204").json() == first.json()
    assert answered(aboard, number, cause="guests").status_code == 409
    closed = next(one for one in told(aboard)["signs"] if one["sign"] == number)
    assert (closed["state"], closed["answer"]["text"]) == ("mended", "flush valve, cabin 204")
    undo = {"json": {"reason": "it was not that one"}, "vessel": SHIP}
    assert aboard.ask("POST", f"{SIGNS}/{number}/answer/undo", **undo).status_code == 200
    assert open_sign(aboard)["sign"] == number
    assert aboard.ask("POST", f"{SIGNS}/{number}/answer/undo", **undo).status_code == 409
    kinds = aboard.ask("GET", f"/api/v1/history?vessel={SHIP}&format=jsonl", role=Role.OFFICE, vessel=SHIP).text
    assert kinds.count("sign answered") == 1
    assert kinds.count("sign answer taken back") == 1


def test_the_page_answers_and_keeps_what_was_typed_where_it_is_refused(aboard: Stage) -> None:
    """A date that cannot be read stands there again; a good answer closes the sign."""
    browser = aboard.enter("engineer-avocet")
    number = open_sign(aboard)["sign"]
    page = browser.get(f"/plants/{PLANT}/signs").text
    csrf = page.partition('name="csrf" value="')[2].partition('"')[0]
    form = {"csrf": csrf, "do": "answer", "number": str(number), "idempotency_key": "typed", "cause": "guests"}
    refused = browser.post(f"/plants/{PLANT}/signs", data={**form, "text": "a wedding", "until_on": "Easter"})
    assert refused.status_code == 422
    assert "a wedding" in refused.text
    good = browser.post(f"/plants/{PLANT}/signs", data={**form, "idempotency_key": "two", "text": "", "until_on": ""})
    assert good.status_code == 303, good.text
    assert "Answered, and on record." in browser.get(good.headers["location"]).text


@pytest.mark.parametrize(
    ("number", "body", "status"),
    [
        (999, {"cause": "leak"}, 404),
        (1, {"cause": "ghost"}, 422),
        (1, {"cause": "guests", "until_on": "2020-01-01"}, 422),
        (1, {"cause": "leak", "until_on": "2030-01-01"}, 422),
        (1, {"cause": "leak", "text": "x" * 501}, 422),
        (2**31, {"cause": "leak"}, 422),
    ],
)
def test_answers_that_cannot_be_are_refused_in_words(aboard: Stage, number: int, body: dict, status: int) -> None:
    """None of them is stored."""
    answer = answered(aboard, number, **body)
    assert answer.status_code == status, answer.text
    assert open_sign(aboard)["answer"] is None


@given(answers=st.lists(st.tuples(st.sampled_from(sorted(CAUSES)), st.text("ab ", max_size=9)), min_size=1, max_size=3))
@settings(max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_sign_and_its_answers_change_no_due_job_no_plan_and_no_calendar(aboard: Stage, answers: list) -> None:
    """Due list, capacity, the digests of the plan's problem (of the day too) and the calendar's text are the same before signs were
    worked out, while one stands, whatever is answered, when that is taken back, and with the days folded anew."""
    path = feed_of(aboard)

    def seen() -> tuple:
        due = aboard.ask("GET", f"/api/v1/plants/{PLANT}/due", vessel=SHIP).json()
        shown = aboard.ask("GET", f"/api/v1/plants/{PLANT}/capacity", vessel=SHIP).json()
        now = plant_state(aboard.context, SHIP, PLANT)
        framed = [problem_of(now, aboard.context, of_day=of_day) for of_day in (False, True)]
        aboard.client.app.state.refresh(SHIP)  # type: ignore[attr-defined]
        calendar = aboard.client.get(path)
        assert calendar.status_code == 200
        return due, shown, [problem_digest(one) for one in framed], calendar.text

    before = seen()
    assert "BEGIN:VEVENT" in before[3]
    with aboard.context.db.write(SHIP) as session:
        row = hours_signs.sign_track(session, SHIP, PLANT)
        if row is not None:
            session.delete(row)
    assert seen() == before
    number = open_sign(aboard)["sign"]
    assert seen() == before
    for cause, text in answers:
        assert answered(aboard, number, cause=cause, text=text).status_code == 201
        told(aboard)
        assert seen() == before
        undo = {"json": {"reason": "not that"}, "vessel": SHIP}
        assert aboard.ask("POST", f"{SIGNS}/{number}/answer/undo", **undo).status_code == 200
        told(aboard)
        assert seen() == before


def feed_of(stage: Stage) -> str:
    """Where the ship's calendar is."""
    actor = Actor("test", "test", Role.ADMIN)
    secret = addresses.make_address(stage.context, actor, person_id="chief-avocet", vessel_id=SHIP).secret
    return f"/cal/{secret}/plan.ics"


def test_a_days_new_reading_folds_a_day_and_an_old_one_from_its_day_on(
    aboard: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hours of few days are read for a new reading; of as many as it lies back for a late one; the answer is that of a fold anew."""
    told(aboard)
    read: list[int] = []
    whole = hours_signs.days_of_subjects

    def counted(*args, **more):
        read.append(args[-1])
        return whole(*args, **more)

    monkeypatch.setattr(hours_signs, "days_of_subjects", counted)
    told(aboard)
    assert read == [0]
    run = aboard.runs[SHIP]
    aboard.clock.at = AT + timedelta(days=1)
    for n, unit in enumerate(pump.register.seconds_per_count for pump in AVOCET.pumps):
        value = 100 + run.ran_seconds(n, aboard.clock.at) // unit
        one = {"counter": AVOCET.counter(n), "observed_at": stamp(aboard.clock.at), "value": value}
        assert aboard.post(one, vessel=SHIP).status_code == 207
    read.clear()
    on = told(aboard)
    assert max(read) <= hours_signs.LOOK_BACK_DAYS + 3
    with aboard.context.db.write(SHIP) as session:
        session.delete(hours_signs.sign_track(session, SHIP, PLANT))
    assert told(aboard) == on


def test_a_plant_without_a_past_says_so_and_no_line_stands_anywhere(fresh: Stage) -> None:
    """Learning what is usual, until a day; the plant page has no line."""
    said = fresh.ask("GET", "/api/v1/plants/plover-plant/signs").json()
    assert (said["signs"], said["quiet"]["reason"]) == ([], "no history")
    assert said["quiet"]["speaks_on"] > f"{AT:%Y-%m-%d}"
    assert said["pumps_quiet"]["reason"] == "whole hours"
    page = fresh.enter("engineer-plover").get("/plants/plover-plant").text
    assert "What the hours say" not in page


def test_days_sooner_are_three_or_more_and_grow_with_the_rise(aboard: Stage) -> None:
    """None at no rise, for a fall, and once it has ended; never one or two; a larger rise never brings it later."""
    now = plant_state(aboard.context, SHIP, PLANT)
    sign = hours_signs.folded_plant(aboard.context, SHIP, PLANT).facts().plant_sign
    assert sign is not None
    long = replace(sign, began_on=(AT - timedelta(days=120)).date())
    found = [days_sooner(aboard.context, now, replace(long, rise=rise / 20)) for rise in range(0, 21)]
    days = [0 if one is None else one.days for one in found]
    assert days == sorted(days)
    assert days[0] == 0
    assert days[-1] >= LEAST_DAYS
    assert not {one for one in days if 0 < one < LEAST_DAYS}
    jobs = {one.job.job_id for one in found if one is not None}
    assert len(jobs) == 1
    first = min((one for one in now.jobs if one.forecast and one.first), key=lambda one: one.forecast.likely_at)
    assert next(iter(jobs)) == first.job_id or not first.due_running_seconds
    assert days_sooner(aboard.context, now, replace(long, rise=1.0, up=False)) is None
    assert days_sooner(aboard.context, now, replace(long, rise=1.0, end=SignEnd.OVER)) is None


def test_a_proposal_leads_to_the_trial_of_the_planned_job_and_moves_nothing(aboard: Stage) -> None:
    """With a plan taken, the sign's page links the test's slot, to be moved by hand; looking at it changes no plan."""
    made = aboard.ask("POST", f"/api/v1/plants/{PLANT}/plan/previews", role=Role.CHIEF, vessel=SHIP).json()
    taken = {"digest": made["proposed"]["digest"]}
    answer = aboard.ask("POST", f"/api/v1/plants/{PLANT}/plan", role=Role.CHIEF, vessel=SHIP, json=taken)
    assert answer.status_code == 200, answer.text
    before = aboard.ask("GET", f"/api/v1/plants/{PLANT}/plan", vessel=SHIP).json()["taken"]
    browser = aboard.enter("chief-avocet")
    page = browser.get(f"/plants/{PLANT}/signs").text
    links = [unescape(one) for one in re.findall(r'href="([^"]*plan\?job=[^"]*)"', page.partition("on trial")[2])]
    assert links
    for link in links:
        trial = browser.get(link)
        assert trial.status_code == 200
        assert 'id="move"' in trial.text
    assert aboard.ask("GET", f"/api/v1/plants/{PLANT}/plan", vessel=SHIP).json()["taken"] == before
