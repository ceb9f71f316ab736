"""The gateway's buffer: durable before anything is sent, bounded, one gateway at a time, damage told in words."""

import sqlite3
from contextlib import suppress
from pathlib import Path

import pytest

from api.gateway.buffer import Buffer, open_buffer
from api.gateway.pacing import Aside
from api.gateway.reading import BadLine, CounterReading
from scheduler.errors import Busy, NotFound, Refused, StorageFull

AT = 1_700_000_000


def some(count: int, first: int = 0) -> list[CounterReading]:
    return [CounterReading("vp1", AT + n, str(n)) for n in range(first, first + count)]


def test_every_commit_reaches_the_disk(tmp_path: Path) -> None:
    """Synchronous FULL, also when opened again; a second connection sees a reading as soon as it is taken."""
    for _ in range(2):
        buffer = open_buffer(tmp_path / "b.db")
        assert buffer._db.execute("PRAGMA synchronous").fetchone() == (2,)
        buffer.close()
    buffer = open_buffer(tmp_path / "b.db")
    buffer.add(some(3))
    with sqlite3.connect(tmp_path / "b.db") as other:
        assert other.execute("SELECT count(*) FROM queue").fetchone() == (3,)
    other.close()
    buffer.close()


@pytest.mark.long
def test_a_full_buffer_says_so_and_still_settles(tmp_path: Path) -> None:
    """It takes all of an addition or nothing; what the server will not take can still be put aside; then there is room."""
    buffer = open_buffer(tmp_path / "b.db", most_mb=1)
    taken = 0
    with suppress(StorageFull):
        while True:
            taken += buffer.add(some(2000, taken))
    with pytest.raises(StorageFull, match=r"is full .*readings wait.*--put-aside"):
        buffer.add(some(1, taken))
    assert buffer.waiting() == taken
    batch = buffer.front(1000)
    buffer.settle([], [Aside(one.id, "refused", "why " * 20) for one in batch[:500]], AT)
    assert buffer.waiting() + len(buffer.put_aside()) == taken
    buffer.settle([one.id for one in buffer.front(taken)], [], AT)
    buffer.add(some(10))
    assert buffer.waiting() == 10
    buffer.close()


def test_one_addition_too_large_is_taken_back_whole(tmp_path: Path) -> None:
    """The disk running out in the middle, or any other failure there, leaves what was there before."""
    buffer = open_buffer(tmp_path / "b.db", most_mb=1)
    buffer.add(some(5))
    with pytest.raises(StorageFull):
        buffer.add(some(60_000))
    with pytest.raises(Refused):
        buffer.add([*some(1), CounterReading("vp1", AT, None)])  # type: ignore[arg-type]
    assert [one.value for one in buffer.front(10)] == ["0", "1", "2", "3", "4"]
    buffer.close()


def test_a_full_disk_is_told_with_its_room(tmp_path: Path) -> None:
    """Below the floor nothing new is taken, and what is acknowledged is still deleted."""
    buffer = open_buffer(tmp_path / "b.db")
    buffer.add(some(2))
    buffer.close()
    buffer = open_buffer(tmp_path / "b.db", floor_bytes=2**60)
    with pytest.raises(StorageFull, match=r"The disk of the buffer .* MB left.*Free space.*2 readings wait"):
        buffer.add(some(1, 9))
    buffer.settle([one.id for one in buffer.front(2)], [], AT)
    assert not buffer.any_waiting()
    buffer.close()


def test_a_second_gateway_is_refused_a_look_is_not(tmp_path: Path) -> None:
    """Two gateways on one buffer would both send it."""
    buffer = open_buffer(tmp_path / "b.db")
    with pytest.raises(Busy, match=r"Another gateway runs on the buffer .*b\.db"):
        open_buffer(tmp_path / "b.db")
    look = open_buffer(tmp_path / "b.db", alone=False, new=False)
    look.close()
    buffer.close()
    open_buffer(tmp_path / "b.db").close()


def test_what_is_no_buffer_is_told(tmp_path: Path) -> None:
    """No folder, no file, text, another program's database, a damaged file, no right to write: nothing is overwritten."""
    with pytest.raises(NotFound, match="folder"):
        open_buffer(tmp_path / "none" / "b.db")
    with pytest.raises(NotFound, match="has not run"):
        open_buffer(tmp_path / "b.db", new=False)
    (tmp_path / "text").write_text("this is text and long enough to be looked at " * 99)
    with pytest.raises(Refused, match="damaged or no buffer"):
        open_buffer(tmp_path / "text")
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE x (y)")
    other.close()
    with pytest.raises(Refused, match="no gateway buffer"):
        open_buffer(tmp_path / "other.db")
    with pytest.raises(Refused, match="cannot be"):
        open_buffer(tmp_path)


def test_a_damaged_buffer_is_told_and_kept(tmp_path: Path) -> None:
    """Its pages overwritten: words, and the file stays for whoever can mend it."""
    path = tmp_path / "b.db"
    buffer = open_buffer(path)
    buffer.add(some(2000))
    buffer.close()
    content = bytearray(path.read_bytes())
    content[8192:40_000] = b"\xaa" * (40_000 - 8192)
    path.write_bytes(content)
    with pytest.raises(Refused, match="move it away"):
        open_buffer(path)
    assert path.read_bytes() == content


def test_registers_read_twice_within_a_second_count_once(tmp_path: Path) -> None:
    """Instants are to the second: a quick restart must not make a conflict of its own."""
    buffer = open_buffer(tmp_path / "b.db")
    assert buffer.add_shown([CounterReading("vp1", AT, "5"), CounterReading("vp2", AT, "7")]) == 2
    buffer.settle([one.id for one in buffer.front(9)], [], AT)
    buffer.close()
    buffer = open_buffer(tmp_path / "b.db")
    assert buffer.add_shown([CounterReading("vp1", AT, "6"), CounterReading("vp2", AT + 1, "7")]) == 1
    assert buffer.add_shown([CounterReading("vp1", AT - 60, "6")]) == 1, "a clock set back loses nothing"
    buffer.close()


def test_lines_put_aside_stay_when_readings_are_sent_again(tmp_path: Path) -> None:
    """A line that is no reading cannot be sent."""
    buffer = open_buffer(tmp_path / "b.db")
    buffer.add(some(1))
    buffer.settle([], [Aside(buffer.front(1)[0].id, "refused", "no such counter")], AT)
    buffer.add_bad([BadLine(4, "what?", "it is not")], "standard input", AT)
    assert [one.says() for one in buffer.put_aside()] == [
        "vp1,2023-11-14T22:13:20Z,0  refused: no such counter",
        "what?  not a reading (standard input): line 4: it is not",
    ]
    assert buffer.send_again() == 1
    assert (buffer.waiting(), len(buffer.put_aside())) == (1, 1)
    buffer.close()


def test_the_type_is_the_buffers_own(tmp_path: Path) -> None:
    """Made empty, it holds nothing."""
    buffer: Buffer = open_buffer(tmp_path / "b.db")
    assert (buffer.front(5), buffer.files(), buffer.put_aside(), buffer.waiting()) == ([], [], [], 0)
    buffer.close()
