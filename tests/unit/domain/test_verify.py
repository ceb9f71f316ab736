"""An export checked offline, at its first and its last record."""

from scheduler.domain.record.chain import GENESIS
from scheduler.domain.record.verify import Broken, Verified, header_line, verify_lines
from tests.unit.domain.test_history import broken, chain, exported


def test_a_record_that_stands_in_place_of_the_last_one_is_told_as_such() -> None:
    """Record 2 twice, record 3 gone: 3 is missing. One more after a whole export stands after the last."""
    lines = exported(chain(3))
    found = broken([*lines[:3], lines[2]])
    assert (found.number, found.says) == (3, "record 3 is missing; record 2 stands in its place.")
    assert "after the last one" in broken([*lines, lines[1]]).says


def test_the_first_record_of_a_vessel_follows_nothing() -> None:
    """Record 1 with one before it is no first record; a later period begins with what was before it."""
    assert (broken(exported(chain(2, previous="ab" * 32))).number) == 1
    assert isinstance(verify_lines(exported(chain(2, first=2, previous="ab" * 32))), Verified)


def test_an_export_that_ends_at_the_number_kept_has_it() -> None:
    """One more was expected, and is missing."""
    lines = exported(chain(3))
    assert isinstance(verify_lines(lines, expected_number=3), Verified)
    assert broken(lines, expected_number=4).number == 4


def test_records_are_numbered_from_1() -> None:
    """A first line that begins with 0 is none of ours."""
    told = {"vessel": "x", "filter": None, "previous_hash": GENESIS, "head": GENESIS}
    for first, whole in ((0, False), (1, True)):
        line = header_line({**told, "records": 0, "first_number": first, "last_number": first - 1}) + "\n"
        assert isinstance(verify_lines([line]), Verified if whole else Broken)
