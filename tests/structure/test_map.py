"""The map in DEVELOPERS.md is the tree."""

import re

from tests.structure.map import FILE, WIDTH, drawn, stored

_ROOM = re.compile(r"(\d+)/(\d+)")


def test_the_map_in_the_file_is_the_tree() -> None:
    """Floors, rooms and modules to the letter, lines to a tenth; `python -m tests.structure.map --write` draws it anew."""
    kept, now = stored(FILE.read_text(encoding="utf-8")), drawn()
    assert _without_lines(kept) == _without_lines(now)
    for (_, before), (modules, lines) in zip(_ROOM.findall(kept), _ROOM.findall(now), strict=True):
        assert abs(int(before) - int(lines)) <= max(20, int(lines) // 10), (modules, lines)


def test_the_map_is_one_screen() -> None:
    """Sixty lines of the map's width."""
    lines = drawn().splitlines()
    assert len(lines) <= 60
    assert max(map(len, lines)) <= WIDTH


def _without_lines(text: str) -> str:
    """Rooms may break over the lines of the map elsewhere when figures have more digits."""
    return " ".join(_ROOM.sub(r"\1/", text).split())
