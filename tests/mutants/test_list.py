"""The list of changes does not rot: each can still be made, and the tests that are to notice it are there."""

from pathlib import Path

import pytest

from tests.mutants.change import ROOT, Change, NotOnce, changed
from tests.mutants.changes import CHANGES


@pytest.mark.parametrize("change", CHANGES, ids=[one.name for one in CHANGES])
def test_each_change_can_be_made_and_leaves_a_file_that_compiles(change: Change) -> None:
    """Its old text stands once in its file, the new one is another and is still Python; its test files are there."""
    text = changed(change)
    assert text != (ROOT / change.file).read_text(encoding="utf-8")
    compile(text, change.file, "exec")
    assert change.tests
    assert [test for test in change.tests if not (ROOT / test).is_file()] == []


def test_the_list_is_whole_and_each_name_is_of_one_change() -> None:
    """At least seventy, no name twice, and each says in a sentence which rule it breaks."""
    assert len(CHANGES) >= 70
    assert len({one.name for one in CHANGES}) == len(CHANGES)
    assert [one.name for one in CHANGES if not one.breaks.endswith(".")] == []


@pytest.mark.parametrize("text", ["", "limit = 1\nlimit = 1\n"])
def test_a_text_that_is_not_found_or_found_twice_is_said(text: str, tmp_path: Path) -> None:
    """Neither is passed over; nor is a file that is gone."""
    change = Change(name="x", file="a.py", old="limit = 1", new="limit = 2", breaks="It breaks.", tests=("a.py",))
    with pytest.raises(NotOnce):
        changed(change, tmp_path)
    (tmp_path / "a.py").write_text(text, encoding="utf-8")
    with pytest.raises(NotOnce):
        changed(change, tmp_path)
    (tmp_path / "a.py").write_text("limit = 1\n", encoding="utf-8")
    assert changed(change, tmp_path) == "limit = 2\n"
