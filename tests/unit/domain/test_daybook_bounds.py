"""The book of days at its bounds: first and last day, longest and shortest stretch, least and most weight."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduler.domain.voyage.days import LEAST_WEIGHT, MOST_WEIGHT
from scheduler.domain.voyage.stretches import (
    FIRST_KINDS,
    FIRST_ON,
    LAST_ON,
    LONGEST_DAYS,
    LONGEST_NOTE,
    MOST_KINDS,
    KindOfDay,
    Source,
    Spell,
    VoyageDays,
    clear,
    day_kind_faults,
    lay,
    spell_faults,
)

TODAY = date(2026, 11, 25)
DAY = timedelta(days=1)
SPELL = Spell(from_on=TODAY, to_on=TODAY + 9 * DAY, kind="port")


def _columns(**change: object) -> list[str]:
    spell = replace(SPELL, **change)  # type: ignore[arg-type]
    return [fault.column for fault in spell_faults([spell], ["sea", "port"], TODAY, str)]


@pytest.mark.parametrize(("day", "held"), [(-1, False), (0, True), (9, True), (10, False)])
def test_a_stretch_holds_its_first_and_its_last_day(day: int, held: bool) -> None:
    """And no other."""
    assert (VoyageDays(spells=(SPELL,)).on(TODAY + day * DAY) is not None) is held


@pytest.mark.parametrize(
    ("first", "last", "days"), [(0, 9, 10), (-5, 20, 10), (9, 20, 1), (-5, 0, 1), (10, 20, 0), (3, 4, 2)]
)
def test_both_ends_count_as_logged_days(first: int, last: int, days: int) -> None:
    """Of the days asked for, those in the log."""
    book = VoyageDays(spells=(replace(SPELL, source=Source.LOG),))
    assert book.logged_days(TODAY + first * DAY, TODAY + last * DAY) == days
    assert VoyageDays(spells=(SPELL,)).logged_days(TODAY, TODAY + 9 * DAY) == 0


@pytest.mark.parametrize(("days", "columns"), [(0, ["to"]), (1, []), (LONGEST_DAYS, []), (LONGEST_DAYS + 1, ["to"])])
def test_a_stretch_is_a_day_to_ten_years_long(days: int, columns: list[str]) -> None:
    """One day is one; a day more than the longest is checked for its year."""
    assert _columns(to_on=TODAY + (days - 1) * DAY) == columns


@pytest.mark.parametrize(("day", "columns"), [(-1, []), (0, []), (1, ["to"])])
def test_the_log_may_end_today(day: int, columns: list[str]) -> None:
    """What is to come is a plan."""
    told = {"from_on": TODAY - 5 * DAY, "to_on": TODAY + day * DAY}
    assert _columns(source=Source.LOG, **told) == columns
    assert _columns(source=Source.PLAN, **told) == []


def test_the_first_and_the_last_day_that_may_be_are_days() -> None:
    """A day outside is not."""
    assert _columns(from_on=FIRST_ON, to_on=FIRST_ON) == _columns(from_on=LAST_ON, to_on=LAST_ON) == []
    assert _columns(from_on=FIRST_ON - DAY, to_on=FIRST_ON) == ["from"]
    assert _columns(from_on=LAST_ON, to_on=LAST_ON + DAY) == ["to"]


def test_a_note_may_have_all_its_letters() -> None:
    """One more is too many."""
    assert _columns(note="x" * LONGEST_NOTE) == []
    assert _columns(note="x" * (LONGEST_NOTE + 1)) == ["note"]


@pytest.mark.parametrize(("many", "faults"), [(MOST_KINDS, []), (MOST_KINDS + 1, ["/kinds"])])
def test_there_may_be_thirty_kinds_of_day(many: int, faults: list[str]) -> None:
    """One more is too many; none at all has no sea."""
    more = tuple(KindOfDay(code=f"kind {n}", weight=0.5) for n in range(many - len(FIRST_KINDS)))
    assert [at for at, _ in day_kind_faults((*FIRST_KINDS, *more), ())] == faults
    assert [at for at, _ in day_kind_faults((), ())] == ["/kinds", "/kinds"]


@pytest.mark.parametrize(
    ("weight", "good"),
    [(LEAST_WEIGHT - 0.001, False), (LEAST_WEIGHT, True), (MOST_WEIGHT, True), (MOST_WEIGHT + 0.001, False)],
)
def test_the_least_and_the_most_weight_are_weights(weight: float, good: bool) -> None:
    """A little beyond is none."""
    kinds = (*FIRST_KINDS, KindOfDay(code="canal", weight=weight))
    assert (day_kind_faults(kinds, ()) == []) is good


def test_a_plan_is_laid_over_a_plan_and_a_log_over_both() -> None:
    """A plan over a log changes nothing."""
    for below, above, kind in (
        (Source.PLAN, Source.PLAN, "sea"),
        (Source.PLAN, Source.LOG, "sea"),
        (Source.LOG, Source.LOG, "sea"),
        (Source.LOG, Source.PLAN, "port"),
    ):
        book = lay(VoyageDays(), [replace(SPELL, source=below)]).book
        laid = lay(book, [replace(SPELL, source=above, kind="sea")]).book
        held = laid.on(TODAY)
        assert held is not None
        assert held.kind == kind


def test_days_are_cleared_from_the_first_to_the_last() -> None:
    """The days beside them stay."""
    book = clear(VoyageDays(spells=(SPELL,)), TODAY + 3 * DAY, TODAY + 5 * DAY).book
    assert [book.on(TODAY + n * DAY) is not None for n in range(10)] == [True] * 3 + [False] * 3 + [True] * 4
