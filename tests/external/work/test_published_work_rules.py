"""Locks, tags and gas against published rules. They are models: the ship's own procedures, flag and class come first."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.work.acts import (
    NoVoltage,
    OtherHand,
    PeopleWarned,
    PermitIssued,
    Returned,
    StartedLocally,
    TagPlaced,
    TagRemoved,
)
from scheduler.domain.work.against import Against, Procedure
from scheduler.domain.work.gas import Gas, gas_faults
from scheduler.domain.work.rules import objections
from scheduler.domain.work.state import after, replay

AT = datetime(2026, 11, 3, 8, tzinfo=UTC)
RULES = Procedure()
TAGGED = [
    PermitIssued(at=AT, by="A. Chief", number="CW-1"),
    TagPlaced(at=AT + timedelta(minutes=1), by="A. Second", point="supply breaker"),
    TagPlaced(at=AT + timedelta(minutes=2), by="B. Fitter", point="suction valve"),
]
WHOLE = OtherHand(reason="signed off", approved_by="A. Chief", absence_checked=True, contact_tried=True)


def _off(by: str, told: OtherHand | None = None, point: str = "supply breaker") -> TagRemoved:
    return TagRemoved(at=AT + timedelta(hours=1), by=by, point=point, other_hand=told)


def test_the_one_who_placed_it_takes_it_off_another_does_not():
    """Source: 29 CFR 1910.147(e)(3): each device is removed by the employee who applied it."""
    work = replay(TAGGED)
    assert objections(work, _off("A. Second"), RULES) == []
    assert [one.code for one in objections(work, _off("B. Fitter"), RULES)] == ["other hand"]


@pytest.mark.parametrize("lacking", ["reason", "approved_by", "absence_checked", "contact_tried"])
def test_another_hand_only_with_all_of_the_exception(lacking):
    """Source: 29 CFR 1910.147(e)(3) exception: absence verified, contact tried, documented; each alone is not enough."""
    work = replay(TAGGED)
    assert objections(work, _off("B. Fitter", WHOLE), RULES) == []
    parts = {"reason": "signed off", "approved_by": "A. Chief", "absence_checked": True, "contact_tried": True}
    parts[lacking] = "" if isinstance(parts[lacking], str) else False
    assert [one.code for one in objections(work, _off("B. Fitter", OtherHand(**parts)), RULES)] == ["exception lacks"]


def test_two_locks_one_off_is_still_isolated():
    """Source: 29 CFR 1910.147(f)(3), group lockout (second-hand): no start while any lock is on."""
    work = after(replay(TAGGED), _off("A. Second"))
    assert [one.code for one in objections(work, Returned(at=AT + timedelta(hours=2), by="A. Second"), RULES)] == [
        "tag hangs"
    ]


def test_told_first_then_started():
    """Source: 29 CFR 1910.147(e)(2)(ii): affected employees are notified after removal and before the start."""
    work = after(after(replay(TAGGED), _off("A. Second")), _off("B. Fitter", point="suction valve"))
    start = Returned(at=AT + timedelta(hours=3), by="A. Second")
    assert "nobody told" in [one.code for one in objections(work, start, RULES)]
    told = after(work, PeopleWarned(at=AT + timedelta(hours=2), by="A. Second", names="B. Fitter"))
    assert "nobody told" not in [one.code for one in objections(told, start, RULES)]
    local = after(told, StartedLocally(at=AT + timedelta(hours=2), by="A. Second"))
    assert objections(local, start, RULES) == []


@pytest.mark.parametrize(
    ("ppm", "found"),
    [(0, None), (10, None), (10.1, Gas.H2S_NIOSH), (20, Gas.H2S_NIOSH), (20.1, Gas.H2S_OSHA)],
)
def test_hydrogen_sulphide_against_the_ceilings(ppm, found):
    """Source: OSHA and NIOSH hydrogen sulfide pages: 10 ppm ceiling over 10 minutes (NIOSH), 20 ppm ceiling (OSHA)."""
    assert [one.code for one in gas_faults(20.9, 0.0, ppm)] == ([] if found is None else [found])


@pytest.mark.parametrize("member", ["meter_proved_before", "meter_proved_after"])
def test_the_meter_is_proved_before_and_after(member):
    """Source: 29 CFR 1910.333(b)(2)(iv)(B): test equipment is checked for proper operation before and after the test."""
    proved = {"meter_proved_before": True, "meter_proved_after": True, member: False}
    read = NoVoltage(at=AT + timedelta(minutes=5), by="A. Second", all_phases=True, meter="V-1", **proved)
    assert [one.code for one in objections(replay(TAGGED), read, RULES)] == [Against.METER_NOT_PROVED]
