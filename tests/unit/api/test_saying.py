"""The sentences and numbers of the pages."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.plant.view import PlantView
from api.pages.plant.words import action, least_words, plant_heading, plant_subline
from api.pages.vessel.page import fleet_answer, trouble_words, vessel_words
from api.pages.vessel.view import VesselLine
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.summary import Trouble
from scheduler.wording.due import state_words
from scheduler.wording.figures import NARROW, margin_number, number
from tests.unit.api import invented

LATE = (1, "knife", 1690, None)
PAST = (2, "knife", 1512, None)


def _silent() -> PlantView:
    view = invented.calm()
    first, *rest = view.pumps
    return replace(view, pumps=(replace(first, silent_since_at=invented.NOW - timedelta(hours=40)), *rest))


def _proposed() -> PlantView:
    view = invented.calm()
    return replace(view, plan=None, proposed=invented.plan_line(taken_at=None))


def _below_now() -> PlantView:
    view = invented.calm()
    margins = tuple(replace(r, available_m3_per_h=r.minimum_m3_per_h - 9.2) for r in view.margins)
    return replace(view, margins=margins)


VIEWS = {
    "calm": invented.calm(),
    "past due": replace(invented.calm(), jobs=invented.plant(2, states=[(1, "knife", 300, None), PAST]).jobs),
    "past limit": invented.plant(3, states=[LATE, PAST]),
    "all": invented.all_states(),
    "no plan": replace(invented.calm(), plan=None),
    "proposed": _proposed(),
    "down": replace(invented.calm(), pumps=invented.plant(3, down=3).pumps),
    "deficit": invented.deficit(),
    "below now": _below_now(),
    "nothing read": invented.nothing(),
    "silent": _silent(),
}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("calm", "Nothing is due before "),
        ("calm", "As planned, capacity holds the minimum to 23\u00a0December"),
        ("past due", "VP2 knife inspection is past due."),
        ("past limit", "VP1 knife inspection is past its limit, and one more is past due."),
        ("all", "Two jobs are past their limit, VP3 knife inspection the longest"),
        ("all", "A newer plan waits to be taken."),
        ("no plan", "There is no plan yet; with no pump opened, capacity holds the minimum"),
        ("proposed", "As proposed, capacity holds the minimum"),
        ("down", "VP3 is down since 24\u00a0November."),
        ("below now", "Capacity is short by 10\u00a0m³/h now, to 23\u00a0December at least."),
        ("nothing read", "No running hours have been read yet. No capacity has been worked out yet."),
        ("silent", "The counter of VP1 is silent; its due dates are estimated."),
    ],
)
def test_the_heading_answers(name: str, said: str) -> None:
    """In every state of a plant the heading says what is pressing and how capacity stands to the minimum."""
    assert said in plant_heading(VIEWS[name])


@pytest.mark.parametrize("name", VIEWS)
def test_no_sentence_promises(name: str) -> None:
    """Margins are calculated: no heading, line or action says "guaranteed", "safe" or "ensured"."""
    view = VIEWS[name]
    words = [
        plant_heading(view),
        plant_subline(view),
        str(action(view)),
        *least_words(view),
    ]
    words += [state_words(j.due, view.now_at, 60) for j in view.jobs]
    assert not any(w in " ".join(words).lower() for w in ("guarant", "safe", "ensured"))


def test_the_action_is_the_most_pressing_job_or_nothing() -> None:
    """A late job is the one main action; while all is well there is none."""
    found = action(VIEWS["past limit"])
    assert found is not None
    assert found[0] == "Open VP1 knife inspection"
    assert action(VIEWS["calm"]) is None
    assert action(VIEWS["nothing read"]) == ("Enter running hours", "/plants/demo/hours")


@pytest.mark.parametrize(
    ("since", "state", "begins"),
    [
        (560, None, "Opens "),
        (1400, None, "Window open, due in 100 running\u00a0h, about "),
        (1512, None, "Past due by 12 running\u00a0h; limit in 138 running\u00a0h, about "),
        (1690, None, "Past limit by 40 running\u00a0h; close it or ask for a postponement"),
        (1512, JobState.POSTPONED, "Postponed to "),
        (1512, JobState.DONE, "Done"),
        (1512, JobState.WITHDRAWN, "Withdrawn"),
    ],
)
def test_each_state_has_its_words(since: int, state: JobState | None, begins: str) -> None:
    """A state is told in words, with the running hours left or over, so that no colour is needed."""
    due = invented.job(invented.KNIFE, 2, since, state=state).due
    assert state_words(due, invented.NOW, 60).startswith(begins)


@given(st.floats(-1e9, 1e9, allow_nan=False), st.integers(0, 3))
def test_a_number_reads_back(value: float, decimals: int) -> None:
    """Without its narrow no-break spaces a number is the value rounded; no other space, comma or hyphen is in it."""
    said = number(value, decimals)
    plain = said.replace(NARROW, "").replace("−", "-")
    assert float(plain) == pytest.approx(round(value, decimals), abs=10**-decimals)
    assert not set(said) & set(" ,-")
    assert all(len(part) == 3 for part in said.split(".")[0].split(NARROW)[1:])


@given(st.integers(-10_000_000, 10_000_000))
def test_a_margin_never_looks_larger_than_it_is(litres_per_h: int) -> None:
    """A margin in whole m3/h is at most the margin in litres per hour, and less than one m3/h below it."""
    said = int(margin_number(litres_per_h / 1000).replace(NARROW, "").replace("−", "-"))
    assert said * 1000 <= litres_per_h < said * 1000 + 1000


def test_a_vessel_is_said_in_one_line() -> None:
    """Counts in words; when the next thing is due where nothing presses; that it is not worked out yet."""
    lines = invented.fleet().vessels
    assert vessel_words(lines[1], invented.NOW) == "Two jobs past limit, one counter silent."
    assert vessel_words(lines[5], invented.NOW).startswith("Nothing due before ")
    assert vessel_words(replace(lines[0], trouble=Trouble.NOT_WORKED_OUT), invented.NOW).startswith(
        "Not worked out yet"
    )


def test_the_fleet_says_by_name_who_is_in_trouble() -> None:
    """The two worst by name with what troubles them, and how many more; no trouble says so."""
    said = fleet_answer(invented.fleet())
    assert said == (
        "Demo Dunlin is short on 4\u00a0December. Demo Whimbrel has two jobs past limit. Two more need a look."
    )
    calm = replace(invented.fleet(), vessels=invented.fleet().vessels[5:], total=1, troubled=0)
    assert fleet_answer(calm) == "Nothing is past due on one vessel, and none is short."
    far = replace(calm, total=300, troubled=102, page=2)
    assert fleet_answer(far) == "102 vessels need a look, before these."
    assert fleet_answer(replace(calm, vessels=(), total=0)) == "No vessel is set up yet."


def test_what_troubles_a_ship_is_said_with_figure_and_day() -> None:
    """Short by how much where that is the least, now or on a day; what is late; that the plan lacks; nothing."""

    def said(trouble: Trouble, **more: Any) -> str:
        return trouble_words(VesselLine(name="n", imo="", href="", trouble=trouble, **more), invented.NOW)

    assert said(Trouble.SHORT, below_at=invented.NOW, below_by="5.3") == "is short by 5.3 now"
    assert said(Trouble.SHORT_LATER, below_at=invented.NOW + timedelta(seconds=1)).startswith("is short on ")
    assert said(Trouble.PAST_LIMIT, past_limit=1) == "has one job past limit"
    assert said(Trouble.PAST_DUE, past_due=2) == "has two jobs past due"
    assert said(Trouble.NOT_KNOWN, not_known=1) == "has one job whose last time is not known"
    assert said(Trouble.NO_PLAN) == "has no plan"
    assert said(Trouble.NOT_WORKED_OUT) == "is not worked out yet"
    assert [said(one) for one in Trouble if one > Trouble.NO_PLAN] == [""] * 3
