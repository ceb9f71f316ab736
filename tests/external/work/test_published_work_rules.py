"""Locks, tags and gas against published rules. They are models: the ship's own procedures, flag and class come first."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.gas import h2s_words
from scheduler.domain.work import OtherHand, PeopleTold, PermitIssued, Returned, TagPlaced, TagRemoved, after, replay
from scheduler.domain.work_rules import Procedure, objections

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
    assert [one.code for one in objections(work, start, RULES)] == ["nobody told"]
    told = after(work, PeopleTold(at=AT + timedelta(hours=2), by="A. Second", names="B. Fitter"))
    assert objections(told, start, RULES) == []


@pytest.mark.parametrize(
    ("ppm", "above", "says"),
    [(9, False, "no limit known here"), (11, True, "NIOSH"), (21, True, "OSHA ceiling of 20 ppm")],
)
def test_hydrogen_sulphide_against_the_ceilings(ppm, above, says):
    """Source: OSHA and NIOSH hydrogen sulfide pages: 10 ppm ceiling over 10 minutes (NIOSH), 20 ppm ceiling (OSHA)."""
    found, words = h2s_words(ppm)
    assert found is above
    assert says in words
    assert "ok" not in words.lower().split()
