"""A value that was only typed is judged by the ledger's own rules, at their edges, and what was likely meant is named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.hours.ledger import START, BadReading, Item, Reading, Replacement, Setup, derive
from scheduler.domain.hours.preview import NEVER, TAKEN, ReadingFit, ReadingPreview, SlipKind, preview
from scheduler.wording.figures import NARROW
from scheduler.wording.previews import preview_pick, preview_words, previews_words

HOURS = Setup(3600, None, 1000, "vp1-hours")
TENTHS = Setup(360, None, 1000, "vp2-hours")
DAY = 86_400


def read(day: float, value: float) -> Reading:
    """A reading so many days after the first, received at once."""
    at_s = round(day * DAY)
    return Reading(at_s, round(value * 1000), at_s)


PAST: list[Item] = [read(day, 12_000 + 9 * day) for day in range(11)]
"""Ten days at 9 h a day: 12 090 at last."""


def seen(
    value: float, day: float = 11, *, items: list[Item] | None = None, setup: Setup = HOURS, usual: float = 9.0
) -> ReadingPreview:
    """A value typed a day after the last of the past."""
    return preview(setup, START, PAST if items is None else items, read(day, value), usual_s_per_day=usual * 3600)


def test_what_fits_says_hours_since() -> None:
    """9 h in a day after 12 090."""
    one = seen(12_099)
    assert (one.fit, one.before, one.elapsed_s, one.credit_s, one.slip) == (
        ReadingFit.FITS,
        (10 * DAY, 12_090_000),
        DAY,
        9 * 3600,
        None,
    )


@pytest.mark.parametrize(
    ("day", "value", "fit"),
    [
        (10.5, 12_100.4, ReadingFit.FITS),  # 4.5 h are usual: 5.9 h more
        (10.5, 12_100.5, ReadingFit.UNUSUAL),  # 6 h more, and over twice as much
        (10.5, 12_103, ReadingFit.UNUSUAL),  # 13 h in 12 is within resolution, 0.05 h and 0.1 %
        (10.5, 12_103.062, ReadingFit.UNUSUAL),
        (10.5, 12_103.063, ReadingFit.TOO_MUCH),  # one second more than 12 h + 1 h + 180 s + 43 s
        (11, 12_090, ReadingFit.FITS),
        (11, 12_089, ReadingFit.STEP_BACK),
        (11, 12_088.999, ReadingFit.LESS),
        (11, 25.0, ReadingFit.STARTED_AGAIN),  # 24 h, resolution, 0.05 h and 0.1 %
        (11, 25.074, ReadingFit.STARTED_AGAIN),
        (11, 25.075, ReadingFit.LESS),
    ],
)
def test_the_edges_are_the_ledgers(day: float, value: float, fit: ReadingFit) -> None:
    """Just under, at and over what rules R5, R8, R10 and R11 allow."""
    assert seen(value, day).fit is fit


def test_the_first_one_is_the_start() -> None:
    """Nothing was read before."""
    one = seen(12_099, items=[])
    assert (one.fit, one.before, one.slip) == (ReadingFit.FIRST, None, None)


def test_a_counter_that_rolls_over_goes_on() -> None:
    """9 999 h and then 4 on a counter of four digits."""
    small = Setup(3600, 10_000, 1000, "vp3-hours")
    one = seen(4, 1, items=[read(0, 9_997)], setup=small)
    assert (one.fit, one.credit_s) == (ReadingFit.ROLLED_OVER, 7 * 3600)


def test_after_a_held_one_it_is_asked_about_first() -> None:
    """What follows a held reading is held, even where it would fit the last good one by then (rule R7)."""
    one = seen(12_959, items=[*PAST, read(10.1, 12_950)])
    assert (one.fit, one.credit_s) == (ReadingFit.FOLLOWS_HELD, None)


def test_a_late_one_that_spoils_later_ones_does_not_fit() -> None:
    """It can have run; what was read after it does not follow from it."""
    assert seen(12_052.2, 5.9).fit is ReadingFit.FITS  # between its neighbours
    assert seen(12_055, 5.9).fit is ReadingFit.FITS  # the next, 12 054, is then a step back of one
    assert seen(12_055.001, 5.9).fit is ReadingFit.SPOILS_LATER


def test_what_a_person_said_of_it_counts() -> None:
    """A replacement at that instant, and a reading marked bad before it."""
    swapped = [*PAST, Replacement(11 * DAY, 12_099_000, 3_000)]
    assert seen(3, items=swapped).fit is ReadingFit.FITS
    bad = [*PAST, read(10.2, 12_094), BadReading(round(10.2 * DAY))]
    assert seen(12_099, items=bad).before == (10 * DAY, 12_090_000)


@pytest.mark.parametrize(
    ("value", "kind", "meant"),
    [
        (19_209, SlipKind.DIGIT, None),
        (12_909, SlipKind.SWAPPED, 12_099),
        (12_799, SlipKind.DIGIT, 12_099),
        (1_209, SlipKind.MISSING, None),
        (120_999, SlipKind.EXTRA, 12_099),
    ],
)
def test_what_was_likely_meant_is_named(value: float, kind: SlipKind, meant: int | None) -> None:
    """One slip of the hand away, and about the usual; nothing where no one slip explains it."""
    slip = seen(value).slip
    if value == 19_209:
        assert slip is None
        return
    assert slip is not None
    assert slip.kind is kind
    assert meant is None or slip.milli == meant * 1000


def test_hours_typed_for_a_counter_of_tenths_are_named() -> None:
    """1 458.8 h on a counter that shows 14 588."""
    items: list[Item] = [read(day, 14_400 + 90 * day) for day in range(3)]
    one = seen(1_467.0, 3, items=items, setup=TENTHS)
    assert one.fit is ReadingFit.LESS
    assert one.slip is not None
    assert (one.slip.kind, one.slip.milli) == (SlipKind.UNIT, 14_670_000)
    assert "tenths of an hour: 14_670 would be 9 h." in preview_words(one, 360).replace(NARROW, "_")


def test_without_a_usual_nothing_is_guessed() -> None:
    """No past, no guess."""
    assert seen(12_909, usual=0).slip is None


@given(st.floats(0, 60_000), st.floats(10.001, 20))
def test_it_is_what_the_ledger_says_once_it_is_stored(value: float, day: float) -> None:
    """Credit and verdict of the preview are those of a derivation with the reading in it."""
    one = seen(value, day)
    entry = derive(HOURS, [*PAST, read(day, value)]).entries[-1]
    counted = entry.total_s is not None and entry.verdict != "reset"
    assert one.credit_s == (entry.credit_s if counted else None)
    assert one.taken or entry.verdict != "credited" or one.fit is ReadingFit.UNUSUAL


def test_every_fit_has_its_words_and_its_way() -> None:
    """What is not taken can be stored all the same by a tick, except what can never be."""
    for fit in ReadingFit:
        one = ReadingPreview(fit=fit, why="why", stands=1, credit_s=0)
        assert preview_words(one, 3600)
        assert bool(preview_pick(fit)) == (fit not in TAKEN | NEVER)


@pytest.mark.parametrize(
    ("fits", "unread", "says"),
    [
        (["fits"], 0, "The reading fits."),
        (["fits"] * 6, 0, "All six fit."),
        (["less than before"], 0, "The reading does not fit."),
        (["fits"] * 2 + ["less than before"] * 3 + ["far more than usual"], 0, "Three of six do not fit, one is far more than usual."),
        (["fits", "known already"], 1, "One of three does not fit."),
        ([], 2, "None of two fits."),
    ],
)  # fmt: skip
def test_the_heading_says_how_many_do_not_fit(fits: list[str], unread: int, says: str) -> None:
    """Counts in words."""
    previews = [ReadingPreview(fit=ReadingFit(one)) for one in fits]
    assert previews_words(previews, unread) == says
