"""What waits, what is asked between ship and office, and what stands against an act: each fact is said, none by an id."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.due.deciding import Objected, Unfit
from scheduler.domain.feed.summary import Waiting
from scheduler.domain.shore.asking import EFFECTS, Effect, Lapse, RequestKind, RequestStage
from scheduler.domain.shore.frame import BatchFault
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.domain.work.handing_over import AgainstHandover, HandoverReason
from scheduler.domain.work.rest import Rest, RestFault
from scheduler.wording.deciding import unfit_words
from scheduler.wording.handover import handover_reasons_words
from scheduler.wording.requests import (
    asked_words,
    effect_words,
    lapse_words,
    never_words,
    request_kind_words,
    stage_words,
)
from scheduler.wording.rest import rest_words
from scheduler.wording.shore_taking import not_taken_words, requests_waiting_words, ship_clock_words
from scheduler.wording.waiting import matter_words

AT = datetime(2026, 11, 27, 8, 5, tzinfo=UTC)
JOB = "knife_inspection:plover-pump-a-knives:3"
UNSAID = re.compile(r"plover-|_|[a-z]:\w|\d{4}-\d\d|\dT\d|\dZ|\bUTC\b|\bNone\b|[{}]|  |\.\.|,,|\( ?\)")
"""Ids, keys, instants in UTC, and what a figure left out would leave behind."""

texts = st.sampled_from(("", "Parts come in Bergen.", "a longer reason " * 8))
offsets = st.integers(-720, 840)
instants = st.datetimes(datetime(2024, 1, 1), datetime(2028, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001


def said(words: str) -> None:
    """There, and with nothing in it that only machines say."""
    assert words.strip()
    assert not UNSAID.search(words), words


@st.composite
def matters(draw: st.DrawFn, code: MatterCode) -> Matter:
    """Any matter of that code, as it is gathered."""
    figures = {"hours_then": 1400.0, "interval_hours": 1500.0, "margin_m3_per_h": draw(st.floats(-99, 99))}
    some = figures if draw(st.booleans()) else {}
    return Matter(
        code=code,
        vessel_id="demo-plover",
        plant_id="plover-plant",
        number=draw(st.integers(1, 10**6)),
        job_key=JOB,
        position="VP1",
        at=draw(instants),
        to_at=draw(instants),
        by="Chief Engineer",
        text="2026-10" if code is MatterCode.MONTH else draw(texts),
        count=draw(st.sampled_from((1, 2, 30))),
        figures={"minimum_m3_per_h": 94.0} if code is MatterCode.LOWER_MINIMUM else some,
    )


@pytest.mark.parametrize("code", MatterCode)
@given(data=st.data())
def test_everything_that_waits_is_said(code: MatterCode, data: st.DataObject) -> None:
    """What it is, some words on it, and one verb."""
    one = data.draw(matters(code))
    words = matter_words(Waiting(matter=one, open_to=(), job="VP1 knife inspection"), AT, data.draw(offsets))
    for part in words:
        said(part)
    assert " " not in words.verb


@pytest.mark.parametrize("what", RequestKind)
def test_everything_that_may_be_asked_of_a_ship_is_said(what: RequestKind) -> None:
    """What it is, when it takes effect, and why it is not asked where it is done aboard alone; what exactly is asked."""
    said(request_kind_words(what))
    if EFFECTS[what] is Effect.NEVER:
        said(never_words(what))
        return
    arguments: dict[str, Any] = {
        "postponement": 3,
        "non_conformity": 4,
        "version": 5,
        "job": JOB,
        "reason": "New plan.",
    }
    for more in ({"granted": True, "from_on": "2026-12-01"}, {"granted": False, "from_on": None}):
        said(asked_words(what, arguments | more, lambda _: "VP1 knife inspection"))


@pytest.mark.parametrize("effect", Effect)
def test_when_a_request_takes_effect_is_said(effect: Effect) -> None:
    """In a few words."""
    said(effect_words(effect))


@pytest.mark.parametrize("stage", RequestStage)
@given(record=st.integers(0, 2**40), days=st.integers(0, 4000), ran_out=st.booleans())
def test_how_far_a_request_is_is_said(stage: RequestStage, record: int, days: int, ran_out: bool) -> None:
    """At every stage, whatever the ship answered; that its time is over where it was never fetched."""
    asked_at = AT - timedelta(days=days)
    words = stage_words(
        stage, asked_at=asked_at, now=AT, record=record, says="No. Not so.", by="C. Chief", ran_out=ran_out
    )
    said(words)
    assert ("its time is over" in words) is (ran_out and stage is RequestStage.SENT)


@pytest.mark.parametrize("lapse", Lapse)
@pytest.mark.parametrize("pumps", [["VP1"], ["VP1", "VP2"]])
def test_why_a_request_lapsed_is_said(lapse: Lapse, pumps: list[str]) -> None:
    """With what it rested on."""
    said(lapse_words(lapse, {"until": "27 Nov 08:05", "pumps": pumps, "number": 4}))


@pytest.mark.parametrize("why", AgainstTaking)
@pytest.mark.parametrize("fault", [*BatchFault, "of another program"])
@pytest.mark.parametrize("number", [None, 12])
def test_why_nothing_of_a_ship_was_taken_is_said(why: AgainstTaking, fault: str, number: int | None) -> None:
    """By the names of ships, with what to do."""
    if number is None and why in (AgainstTaking.GAP, AgainstTaking.ROW, AgainstTaking.RECORD_CHAIN):
        number = 1  # those always have it
    figures = {"number": number, "fault": fault, "other": "demo-avocet", "record": 7, "ids": ["VP9"], "held": 14}
    words = not_taken_words(why, figures, "Demo Plover", {"demo-avocet": "Demo Avocet"})
    said(words)
    assert words.endswith(".")
    assert "Demo Plover" in words
    assert "avocet" not in words


@given(skew=st.integers(-(10**9), 10**9), waiting=st.integers(1, 10**4))
def test_what_there_is_to_say_of_a_ships_line_is_said(skew: int, waiting: int) -> None:
    """How far her clock is off, and how much she has not fetched."""
    said(ship_clock_words(skew))
    said(requests_waiting_words(waiting))


@pytest.mark.parametrize("code", Unfit)
def test_why_somebody_does_not_decide_is_said(code: Unfit) -> None:
    """In sentences, one after the other."""
    words = unfit_words([Objected(code, "Overhaul"), Objected(Unfit.NOT_DECIDER)])
    said(words)
    assert words.endswith(".")


@pytest.mark.parametrize("code", AgainstHandover)
def test_what_stands_against_a_handover_is_said(code: AgainstHandover) -> None:
    """Whatever list of it changed; nothing where nothing stands against it."""
    lists = ("permits_open", "tags_hanging", "personal_locks", "lower_minima", "postponements_asked", "readings_held")
    lists += ("parts_short", "pumps_out", "pumps_not_proved", "lead_order")
    for what in lists if code is AgainstHandover.CHANGED else ("tag 7",):
        said(handover_reasons_words([HandoverReason(code, what, "VP1")]))
    assert handover_reasons_words([]) == ""


@pytest.mark.parametrize("code", Rest)
@given(hours=st.floats(0, 168), limit=st.sampled_from((6.0, 10.0, 14.0, 77.0)))
def test_what_of_the_rest_rule_does_not_hold_is_said(code: Rest, hours: float, limit: float) -> None:
    """With its source and what rules; STCW A-VIII/1."""
    words = rest_words("E. Engineer", RestFault(code, hours, limit))
    assert words.endswith(".")
    assert "STCW A-VIII/1" in words
    assert not UNSAID.search(words.replace("VIII/1", "")), words


def test_a_matter_of_many_is_said_as_many() -> None:
    """With their count, and not the one job of the oldest."""
    one = Matter(code=MatterCode.NON_CONFORMITY, vessel_id="v", plant_id="p", at=AT, text="past limit", count=2)
    many = matter_words(Waiting(matter=one, open_to=(), job="VP1 overhaul"), AT, 0).what
    alone = matter_words(Waiting(matter=replace(one, count=1), open_to=(), job="VP1 overhaul"), AT, 0).what
    assert (many, alone) == ("Two non-conformities", "Non-conformity, VP1 overhaul")
