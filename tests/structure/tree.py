"""The program's own modules as they lie in the tree, read and not imported; floors, rooms, and the order of the rooms."""

import ast
import tomllib
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = ("scheduler", "api", "seed_fleet")
FLOORS = (
    "scheduler/domain",
    "scheduler/planning",
    "scheduler/wording",
    "scheduler/storage",
    "scheduler/actions",
    "api/server",
    "api/routes",
    "api/pages",
    "api/commands",
    "api/ics",
    "api/exports",
    "api/gateway",
    "seed_fleet",
)
SUBJECTS = ("people", "vessel", "voyage", "hours", "due", "capacity", "plan", "work", "record", "feed")


@dataclass(frozen=True)
class Module:
    """A Python file. path: from the root, with slashes."""

    path: str

    @cached_property
    def text(self) -> str:
        """Its source."""
        return (ROOT / self.path).read_text(encoding="utf-8")

    @cached_property
    def tree(self) -> ast.Module:
        """Its source, parsed."""
        return ast.parse(self.text)

    @property
    def name(self) -> str:
        """As it is imported."""
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def lines(self) -> int:
        """Lines of text."""
        return len(self.text.splitlines())

    @property
    def says(self) -> str:
        """The first line of its docstring, or nothing."""
        return (ast.get_docstring(self.tree) or "").split("\n")[0]

    @property
    def floor(self) -> str:
        """The floor it is on; of a module on none, its package."""
        return next((floor for floor in FLOORS if self.path.startswith(f"{floor}/")), self.path.split("/")[0])

    @property
    def room(self) -> str:
        """The folder of its floor that it is in, or its own name; "" for the floor's own `__init__`."""
        first = self.path.removeprefix(f"{self.floor}/").split("/")[0].removesuffix(".py")
        return "" if first == "__init__" else first


@cache
def modules() -> tuple[Module, ...]:
    """All of the program's modules; migrations are left out, as they are not changed once they are there."""
    paths = (path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py")))
    return tuple(
        Module(path.relative_to(ROOT).as_posix()) for path in paths if "migrations" not in path.relative_to(ROOT).parts
    )


@cache
def layers() -> dict[str, tuple[str, ...]]:
    """By floor, its rooms from left to right as the contracts of `pyproject.toml` hold them."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]
    found: dict[str, tuple[str, ...]] = {}
    for contract in contracts:
        rooms = [one for layer in reversed(contract.get("layers", [])) for one in layer.replace(" ", "").split("|")]
        floors = {one.rpartition(".")[0].replace(".", "/") for one in rooms}
        if len(floors) == 1 and floors <= set(FLOORS):
            found[floors.pop()] = tuple(one.rpartition(".")[2] for one in rooms)
    return found


def in_order(floor: str, rooms: set[str]) -> list[str]:
    """The rooms of a floor: by its contract, else base, then the subjects, then what else there is."""
    order = layers().get(floor, ("base", *SUBJECTS))
    return sorted(rooms, key=lambda room: (order.index(room) if room in order else len(order), room))
