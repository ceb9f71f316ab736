"""What opening a pump asks for: each rule lacks by itself, and named. 29 CFR 1910.147(d), .333(b) for the principle."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

import pytest
from pydantic import Field, TypeAdapter

from scheduler.domain.vessel.isolation import POINTS
from scheduler.domain.work.acts import AnyStep, Opened
from scheduler.domain.work.against import Against, Procedure
from scheduler.domain.work.opening import RULES
from scheduler.domain.work.rules import objections
from scheduler.domain.work.state import replay
from tests.acts import GOOD_GAS, isolated, opened, tagged

STEP: TypeAdapter[AnyStep] = TypeAdapter(Annotated[AnyStep, Field(discriminator="kind")])
AT = datetime(2026, 11, 3, 8, tzinfo=UTC)
SHIP = Procedure(points=POINTS)


def told(acts: Sequence[tuple[int, str, dict[str, Any]]], by: str = "A. Second") -> list[AnyStep]:
    """The acts as values."""
    return [
        STEP.validate_python({"kind": kind, "at": AT + timedelta(minutes=minute), "by": by, **more})
        for minute, kind, more in acts
    ]


def lacks(
    acts: Sequence[tuple[int, str, dict[str, Any]]], *, minute: int = 12, procedure: Procedure = SHIP
) -> set[Against]:
    """What stands against opening then."""
    step = Opened(at=AT + timedelta(minutes=minute), by="A. Second")
    return {one.code for one in objections(replay(told(acts)), step, procedure)}


def without(drop: Callable[[str, dict[str, Any]], bool]) -> list[tuple[int, str, dict[str, Any]]]:
    """All acts up to opening but those that are dropped."""
    return [act for act in opened()[:-1] if not drop(act[1], act[2])]


def changed(kind: str, place: str = "", **more: Any) -> list[tuple[int, str, dict[str, Any]]]:
    """All acts up to opening, those of that kind with other particulars."""
    return [
        (at, name, {**given, **more}) if name == kind and given.get("place", "") == place else (at, name, given)
        for at, name, given in opened()[:-1]
    ]


def test_nothing_stands_against_opening_when_every_act_was_told():
    """Six points locked and tagged, start tried, no voltage, vacuum out, gas at the cover, permit: it may be opened."""
    assert lacks(opened()[:-1]) == set()


@pytest.mark.parametrize("point", [point.name for point in POINTS])
def test_points_locked(point):
    """Each of the six points by itself: one lock that lacks is named, and opening is refused."""
    acts = without(lambda kind, more: kind == "tag placed" and more["point"] == point)
    step = Opened(at=AT + timedelta(minutes=12), by="A. Second")
    found = {one.code: one for one in objections(replay(told(acts)), step, SHIP)}
    assert found[Against.POINT_NOT_LOCKED].facts["points"] == (point,)


def test_numbers_given():
    """A lock without its number, a tag without its number, and one lock at two points are each named."""
    for member in ("lock_no", "tag_no"):
        acts = [(m, k, {**g, member: ""} if g.get("point") == "suction valve" else g) for m, k, g in opened()[:-1]]
        assert lacks(acts) == {Against.NO_NUMBERS}
    twice = [(m, k, {**g, "lock_no": "L1"} if g.get("point") == "suction valve" else g) for m, k, g in opened()[:-1]]
    assert lacks(twice) == {Against.LOCK_TWICE}


def test_start_tried():
    """Not tried; tried with the control supply off; tried when the control supply was locked already: none of them proves."""
    assert lacks(without(lambda kind, _: kind == "start tried")) == {Against.START_NOT_TRIED}
    assert lacks(changed("start tried", control_alive=False)) == {Against.START_NOT_TRIED}
    late = [(8 if kind == "start tried" else at, kind, more) for at, kind, more in opened()[:-1]]
    assert lacks(late) == {Against.CONTROL_OFF}
    before = [(4 if kind == "start tried" else at, kind, more) for at, kind, more in opened()[:-1]]
    assert lacks(before) == {Against.START_NOT_TRIED}


def test_no_voltage():
    """Not read; not on all phases; by a meter without a number or not proved before, or after; or before the lock."""
    assert lacks(without(lambda kind, _: kind == "no voltage")) == {Against.VOLTAGE_NOT_READ}
    assert lacks(changed("no voltage", all_phases=False)) == {Against.VOLTAGE_NOT_READ}
    for member, value in (("meter", " "), ("meter_proved_before", False), ("meter_proved_after", False)):
        assert lacks(changed("no voltage", **{member: value})) == {Against.METER_NOT_PROVED}, member
    early = [(6 if kind == "no voltage" else at, kind, more) for at, kind, more in opened()[:-1]]
    assert lacks(early) == {Against.VOLTAGE_NOT_READ}


def test_vacuum_let_out():
    """Not told; the gauge does not stay; not drained; or before the valves were locked."""
    assert lacks(without(lambda kind, _: kind == "vacuum let out")) == {Against.VACUUM_NOT_OUT}
    for member in ("gauge_stays_at_zero", "drained"):
        assert lacks(changed("vacuum let out", **{member: False})) == {Against.VACUUM_NOT_OUT}
    early = [(6 if kind == "vacuum let out" else at, kind, more) for at, kind, more in opened()[:-1]]
    assert lacks(early) == {Against.VACUUM_NOT_OUT}


def test_gas_within_time():
    """At the cover, whole, by a named and bump-tested meter; the ship's minutes count to the minute."""
    assert lacks(without(lambda _, more: more.get("place") == "slackened cover")) == {Against.NOT_AT_COVER}
    assert lacks(changed("gas checked", "slackened cover", h2s_ppm=None)) == {Against.GAS}
    assert lacks(changed("gas checked", "slackened cover", meter="")) == {Against.NO_METER}
    assert lacks(changed("gas checked", "slackened cover", bump_tested=False)) == {Against.NO_BUMP_TEST}
    assert lacks(opened()[:-1], minute=11 + 30) == set()
    assert lacks(opened()[:-1], minute=11 + 31) == {Against.GAS_OLD}
    assert lacks(opened()[:-1], minute=11 + 11, procedure=Procedure(points=POINTS, gas_minutes=10)) == {Against.GAS_OLD}
    none = [act for act in opened()[:-1] if act[1] != "gas checked"]
    assert lacks(none) == {Against.NO_GAS_CHECK}


@pytest.mark.parametrize(
    ("figures", "stands"),
    [
        ({"oxygen_percent": 19.5}, False),
        ({"oxygen_percent": 19.4}, True),
        ({"oxygen_percent": 23.5}, False),
        ({"oxygen_percent": 23.6}, True),
        ({"lel_percent": 9.9}, False),
        ({"lel_percent": 10}, True),
        ({"h2s_ppm": 10}, False),
        ({"h2s_ppm": 10.1}, True),
    ],
)
def test_gas_limits_at_their_edges(figures, stands):
    """At the limit, just under, just over. Source: 29 CFR 1910.146(b) (from memory), NIOSH ceiling of 10 ppm."""
    assert lacks(changed("gas checked", "slackened cover", **figures)) == ({Against.GAS} if stands else set())


def test_permit_now():
    """None; run out by a minute (its last minute counts); closed; of before a failed test: each is refused."""
    assert lacks(without(lambda kind, _: kind == "permit issued")) == {Against.NO_PERMIT}
    until = {"valid_to": AT + timedelta(minutes=12)}
    acts = changed("permit issued", **until)
    assert lacks(acts, minute=12) == set()
    assert Against.NO_PERMIT in lacks(acts, minute=13)
    closed = [*opened()[:-1], (11, "permit closed", {"number": "CW-7"})]
    assert lacks(closed) == {Against.NO_PERMIT}


def test_rinsed():
    """Not rinsed, and drained to the bilge, are each refused."""
    assert lacks(without(lambda kind, _: kind == "rinsed")) == {Against.NOT_RINSED}
    assert lacks(changed("rinsed", drained_to="bilge well")) == {Against.BILGE}


def test_personal_lock():
    """Who opens it has a personal lock on the box, and has not taken it off."""
    assert lacks(without(lambda kind, _: kind == "personal lock on")) == {Against.NO_PERSONAL_LOCK}
    assert lacks([*opened()[:-1], (11, "personal lock off", {})]) == {Against.NO_PERSONAL_LOCK}


def test_passing_isolated():
    """A valve that passes: what isolates instead is locked as its own point, and the permit names the valve."""
    passes = (10, "point passes", {"point": "suction valve", "instead": "blank at the suction flange"})
    assert lacks([*opened()[:-1], passes]) == {Against.POINT_NOT_LOCKED, Against.NOT_ON_PERMIT}
    blank = (
        10,
        "tag placed",
        {**tagged("suction valve"), "point": "blank at the suction flange", "lock_no": "L9", "tag_no": "T-9"},
    )
    again = (11, "vacuum let out", {"gauge_stays_at_zero": True, "drained": True})
    named = [(m, k, {**g, "passing": ("suction valve",)} if k == "permit issued" else g) for m, k, g in opened()[:-1]]
    assert lacks([*named, passes, blank, again]) == set()
    assert Against.PASSES in lacks([*named, (10, "point passes", {"point": "suction valve"})])


def test_every_rule_has_its_own_test():
    """A rule added without a test of its name fails here."""
    for rule in RULES:
        assert f"test_{rule.__name__}" in globals()


def test_a_tag_off_and_on_again_makes_the_proofs_stale():
    """A breaker locked anew after the voltage was read: nothing proved before it counts."""
    acts = [
        *opened()[:-1],
        (11, "people clear", {}),
        (11, "personal lock off", {}),
        (11, "tag removed", {"point": "supply breaker"}),
        (11, "personal lock on", {}),
        (12, "tag placed", tagged("supply breaker")),
    ]
    found = lacks(acts)
    assert {Against.START_NOT_TRIED, Against.VOLTAGE_NOT_READ} <= found


def test_told_in_one_word_tested_dead_proves_nothing():
    """A record of before the proofs were asked for one by one is read, and opens no pump."""
    acts = [
        *isolated()[:5],
        (6, "tested dead", {"text": "start tried, vacuum broken"}),
        (7, "gas checked", {"place": "slackened cover", **GOOD_GAS}),
    ]
    assert {Against.START_NOT_TRIED, Against.VOLTAGE_NOT_READ, Against.VACUUM_NOT_OUT} <= lacks(acts)
