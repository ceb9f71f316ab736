"""The drop folder: taken when complete, moved when answered for, never overwritten, bad lines named; crashes change nothing."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.gateway.buffer import Buffer, open_buffer
from api.gateway.folder import Drop
from api.gateway.settings import DropFolder

GOOD = "vp1,2026-11-25T07:00:00Z,12006\n"


@pytest.fixture
def buffer(tmp_path: Path) -> Iterator[Buffer]:
    one = open_buffer(tmp_path / "b.db")
    yield one
    one.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    path = tmp_path / "drop"
    path.mkdir()
    return path


def drop(folder: Path, buffer: Buffer) -> Drop:
    """The gateway's view of the folder as after a start."""
    one = Drop(DropFolder(path=folder, settle_seconds=5), buffer)
    one.set_up()
    return one


def sent(buffer: Buffer) -> None:
    """The server has everything."""
    buffer.settle([one.id for one in buffer.front(1000)], [], 0)


def names(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def test_a_growing_file_waits_until_it_rests(folder: Path, buffer: Buffer) -> None:
    """Nothing of it is taken while it changes; then every line once, and it stays until the server has answered."""
    view = drop(folder, buffer)
    (folder / "a.csv").write_text(GOOD)
    for now in (0, 4):
        assert view.take(now).readings == 0
    (folder / "a.csv").write_text(GOOD * 2)
    assert view.take(8).readings == 0
    assert view.take(12).readings == 0
    assert view.settling()
    assert view.take(13).readings == 2
    assert view.take(14) == ([], [], 0, 0)
    assert not view.settling()
    assert view.move_sent().said == []
    assert names(folder) == {"a.csv"}
    assert {one.source for one in buffer.front(9)} == {"a.csv line 1", "a.csv line 2"}
    sent(buffer)
    assert view.move_sent().said == ["a.csv: the server has answered for every line; moved to done/a.csv."]
    assert names(folder) == {"done/a.csv"}


def test_restarted_after_taking_it_does_not_take_again(folder: Path, buffer: Buffer) -> None:
    """The buffer knows the file by its content."""
    (folder / "a.csv").write_text(GOOD)
    view = drop(folder, buffer)
    view.take(0)
    view.take(5)
    again = drop(folder, buffer)
    again.take(100)
    assert again.take(105).readings == 0
    assert buffer.waiting() == 1
    sent(buffer)
    assert again.move_sent().said
    assert names(folder) == {"done/a.csv"}


def test_killed_between_moving_and_noting_it(folder: Path, buffer: Buffer) -> None:
    """The file is in done/ already, its problems are not: the next start ends it, and the problems follow."""
    (folder / "a.csv").write_text(f"{GOOD}bad\n")
    view = drop(folder, buffer)
    view.take(0)
    assert view.take(5).bad == 1
    sent(buffer)
    (folder / "a.csv").rename(folder / "done" / "a.csv")
    drop(folder, buffer).move_sent()
    assert names(folder) == {"done/a.csv", "done/a.csv.problems"}
    assert buffer.files() == []


def test_the_same_name_again_overwrites_nothing(folder: Path, buffer: Buffer) -> None:
    """A later file of the same name gets a number; its problems go with it."""
    view = drop(folder, buffer)
    for now, content in enumerate((GOOD, GOOD, "bad\n")):
        (folder / "a.csv").write_text(content)
        view.take(now * 10)
        view.take(now * 10 + 5)
        sent(buffer)
        view.move_sent()
    assert names(folder) == {"done/a.csv", "done/a.2.csv", "done/a.3.csv", "done/a.3.csv.problems"}
    assert (folder / "done" / "a.3.csv").read_text() == "bad\n"


def test_changed_after_it_was_taken_it_is_taken_anew(folder: Path, buffer: Buffer) -> None:
    """Somebody appends while the server is away: the whole is taken again; what was sent before is a duplicate there."""
    view = drop(folder, buffer)
    (folder / "a.csv").write_text(GOOD)
    view.take(0)
    view.take(5)
    (folder / "a.csv").write_text(f"{GOOD}vp1,2026-11-25T08:00:00Z,12007\n")
    sent(buffer)
    assert view.move_sent().said == []
    view.take(10)
    assert view.take(15).readings == 2
    sent(buffer)
    assert view.move_sent().said
    assert names(folder) == {"done/a.csv"}


def test_what_is_not_meant_stays(folder: Path, buffer: Buffer) -> None:
    """Hidden files, other endings, folders and unfinished copies are left alone; an empty file is done at once."""
    for name in (".a.csv", "a.csv.part", "b.txt"):
        (folder / name).write_text(GOOD)
    (folder / "c.csv").mkdir()
    (folder / "d.CSV").write_text("")
    view = drop(folder, buffer)
    view.take(0)
    view.take(5)
    view.move_sent()
    assert buffer.waiting() == 0
    assert names(folder) == {".a.csv", "a.csv.part", "b.txt", "done/d.CSV"}


def test_a_file_that_cannot_be_read_stops_no_other(
    folder: Path, buffer: Buffer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told, and stays: a link to itself, and a file that may not be read."""
    (folder / "a.csv").symlink_to(folder / "a.csv")
    for name in ("b.csv", "c.csv"):
        (folder / name).write_text(GOOD)
    whole = Path.read_bytes

    def forbidden(path: Path) -> bytes:
        if path.name == "b.csv":
            raise PermissionError(13, "Permission denied")
        return whole(path)

    monkeypatch.setattr(Path, "read_bytes", forbidden)
    view = drop(folder, buffer)
    view.take(0)
    told = view.take(5)
    assert told.readings == 1
    assert "a.csv cannot be looked at: Too many levels of symbolic links" in told.trouble[0]
    assert "b.csv cannot be taken: Permission denied" in told.trouble[1]


def test_no_room_leaves_the_files_where_they_are(folder: Path, tmp_path: Path) -> None:
    """They are taken when there is room again."""
    buffer = open_buffer(tmp_path / "small.db", floor_bytes=2**60)
    (folder / "a.csv").write_text(GOOD)
    view = drop(folder, buffer)
    view.take(0)
    assert "MB left" in view.take(5).trouble[0]
    assert view.settling()
    assert names(folder) == {"a.csv"}
    buffer._floor_bytes = 0
    assert view.take(6).readings == 1
    buffer.close()


def test_every_bad_line_is_named_with_what_was_expected(folder: Path, buffer: Buffer) -> None:
    """Header, blank lines, BOM, CRLF and quotation marks are no problem; the rest is named with its number and kept."""
    lines = [
        "\ufeffcounter,observed_at,value", "", '"vp1","2026-11-25T07:00:00+01:00","0012006.50"', "vp1;2026;5",
        "vp1,2026-11-25T07:00:00,5", "vp1,2026-02-30T07:00:00Z,5", "vp1,2026-11-25T07:00:00Z,-5",
        "vp1,2026-11-25T07:00:00Z,nan", "vp1,2026-11-25T07:00:00Z,12,5", ",2026-11-25T07:00:00Z,5", "x" * 600,
        "vp1,0001-01-01T00:00:00+23:59,5", "vp1,2026-11-25T07:00:00Z,1200",
    ]  # fmt: skip
    (folder / "a.csv").write_bytes("\r\n".join(lines).encode())
    view = drop(folder, buffer)
    view.take(0)
    told = view.take(5)
    assert (told.readings, told.bad) == (1, 10)
    (one,) = buffer.front(9)
    assert (one.counter, one.observed_at, one.value) == ("vp1", "2026-11-25T06:00:00Z", "12006.50")
    problems = (folder / "a.csv.problems").read_text()
    named = {
        4: "1 fields", 5: "its offset", 6: "its offset", 7: "0 or more", 8: "0 or more", 9: "4 fields",
        10: "names no counter", 11: "longer than", 12: "year 2000", 13: "cut short",
    }  # fmt: skip
    for number, says in named.items():
        line = next(line for line in problems.splitlines() if line.startswith(f"line {number}:"))
        assert says in line
        assert lines[number - 1] in problems
