"""The days as folded: what touches them, and what does not."""

import pytest

from scheduler.storage.database import Database
from scheduler.storage.hours.signs import SignTrackRow, sign_track, touch_signs
from tests.storage.stores import add_vessel


@pytest.mark.parametrize(
    ("touched", "day", "then"),
    [(None, 99, 99), (None, 100, None), (50, 49, 49), (50, 50, 50), (50, 51, 50)],
)
def test_a_touched_day_is_the_earliest_of_those_folded_in(
    db: Database, touched: int | None, day: int, then: int | None
) -> None:
    """A day that is still to be folded touches nothing; of two the earlier stays; another plant's row is left alone."""
    add_vessel(db)
    with db.write("plover") as session:
        for plant in ("plant", "other"):
            row = SignTrackRow(
                vessel_id="plover", plant_id=plant, next_day=100, based_on="", touched_day=touched, state="é" * 9
            )
            session.add(row)
        session.flush()
        touch_signs(session, "plover", "plant", day)
    with db.read() as session:
        found, other = (sign_track(session, "plover", plant) for plant in ("plant", "other"))
        assert found is not None
        assert other is not None
        assert (found.touched_day, other.touched_day, found.state) == (then, touched, "é" * 9)
