"""Draws floors and rooms as text: `python -m tests.structure.map`; with --write, into DEVELOPERS.md."""

import re
import sys
from collections.abc import Iterable, Iterator
from textwrap import wrap

from tests.structure.tree import FLOORS, ROOT, Module, in_order, modules

BEGIN, END = "<!-- map -->\n", "<!-- end -->\n"
FILE = ROOT / "DEVELOPERS.md"
WIDTH = 120


def drawn() -> str:
    """The map: each floor, its rooms in their order, and of each room modules and lines."""
    return "".join(f"{line}\n" for line in ("```", *_lines(), "```"))


def stored(text: str) -> str:
    """The map that stands in the text. Raises ValueError where none does."""
    return text[text.index(BEGIN) + len(BEGIN) : text.index(END)]


def with_map(text: str) -> str:
    """The text with the map as it is now."""
    return text.replace(BEGIN + stored(text) + END, BEGIN + drawn() + END)


def _lines() -> Iterator[str]:
    yield "floor, rooms from left to right; modules/lines of each (migrations are not counted)"
    for package in ("scheduler", "api", "seed_fleet"):
        own = [module for module in modules() if module.floor == package]
        yield ""
        yield f"{package + '/':21}{_says(package)}".rstrip()
        yield from _rooms(package, own)
        for floor in FLOORS:
            if floor.startswith(f"{package}/"):
                yield f"  {floor.removeprefix(package + '/') + '/':19}{_says(floor)}".rstrip()
                yield from _rooms(floor, [module for module in modules() if module.floor == floor])


def _says(floor: str) -> str:
    """What a floor is for: the first sentence of its own docstring, cut at a comma to the map's width."""
    says = next((module.says for module in modules() if module.path == f"{floor}/__init__.py"), "")
    first = f"{says.split('. ')[0].rstrip('.')}."
    while len(first) > WIDTH - 21:
        first = f"{re.split('[,:;]', first)[0] if first.count(',') == 0 else first.rpartition(',')[0]}."
    return first


def _rooms(floor: str, own: Iterable[Module]) -> Iterator[str]:
    rooms: dict[str, list[Module]] = {}
    for module in own:
        if module.lines:
            rooms.setdefault(module.room, []).append(module)
    rooms.pop("", None)
    cells = [
        f"{room}\0{len(rooms[room])}/{sum(one.lines for one in rooms[room])}" for room in in_order(floor, set(rooms))
    ]
    for line in wrap(", ".join(cells), WIDTH - 21, break_on_hyphens=False, break_long_words=False):
        yield f"{'':21}{line.replace(chr(0), ' ')}"


if __name__ == "__main__":
    if "--write" in sys.argv:
        FILE.write_text(with_map(FILE.read_text(encoding="utf-8")), encoding="utf-8")
    else:
        print(drawn(), end="")
