"""One word, one thing: names are unique, need no docstring, and stand in the rooms and lists where they are looked for."""

import ast
import importlib
import re
from collections import defaultdict
from collections.abc import Iterator
from types import ModuleType

import pytest
from fastapi import APIRouter

from api.commands.app import COMMANDS
from api.server.app import ROUTERS
from scheduler.storage.tables import MODULES as TABLES
from tests.structure.tree import SUBJECTS, Module, in_order, layers, modules

FORBIDDEN = {
    "pen", "shelf", "hot", "looks", "house", "told", "held", "wanted", "standing", "beside", "runs", "typed",
}  # fmt: skip
"""Words that need a docstring to be understood, or that mean several things."""

EXCUSED: dict[str, str] = {
    "runs_after_all": "what a person answers, and a frozen word of command and API: the pump runs after all",
    "RunsAfterAllAnswer": "of the door of that word",
    "RunsBody": "of the door of that word",
    "runs": "what a pump does: its past runs, which a forecast counts; the runs of the demo's ships",
    "held": "a held reading is the ledger's verdict, and what people read of it",
    "open_held": "held readings that are not decided",
    "held_runs": "held readings that follow from each other",
    "held_questions": "questions about held readings",
    "HELD": "the ledger's verdict as stored",
}
"""Public names with a forbidden word, and why."""

MEMBERS_FROZEN = ("api/routes/", "scheduler/domain/work/acts.py")
"""Where the members of classes are those of JSON and of the record, which stay; so do codes, named after their text."""

LISTS = {
    "scheduler/storage/tables.py": "the list of tables",
    "api/commands/app.py": "the list of commands",
    "api/pages/drawing/__init__.py": "what the pages take of the drawing",
}
"""Modules that only gather others."""

ROOMS = {
    "scheduler/domain": tuple(one for one in SUBJECTS if one != "plan"),
    "scheduler/wording": ("hours", "due", "plan", "work"),
    "scheduler/storage": SUBJECTS,
    "scheduler/actions": SUBJECTS,
    "api/routes": SUBJECTS,
    "api/pages": ("people", "vessel", "voyage", "hours", "due", "capacity", "plan", "work", "feed"),
    "api/commands": SUBJECTS,
}
"""Where a subject has a room: a folder, or a file while one is enough. Planning is the plan's own floor."""

MORE_ROOMS = {
    "scheduler/domain": {"base", "checks", "shore"},
    "scheduler/actions": {"base", "plant_state", "care", "shore"},
    "api/commands": {"app", "shared", "care", "gateway", "requests", "ships", "service_files", "worker", "shore"},
}
"""What else is on floors that have a contract or a list; a room that is not named here is one too many."""

_Function = ast.FunctionDef | ast.AsyncFunctionDef
_DOORS = {"get", "post", "put", "patch", "delete", "api_route", "route", "command", "callback"}


@pytest.mark.long
def test_no_class_name_twice() -> None:
    """Private ones too, over scheduler, api and seed_fleet."""
    places = defaultdict(list)
    for module in modules():
        for node in ast.walk(module.tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(module.path)
    assert _several(places) == {}


@pytest.mark.long
@pytest.mark.parametrize("package", ["scheduler", "api"])
def test_no_public_function_name_with_two_meanings(package: str) -> None:
    """A door may carry the name of the action it calls, and commands of different groups may share a word."""
    places = defaultdict(list)
    for module in modules():
        for node in module.tree.body:
            if (
                module.path.startswith(f"{package}/")
                and isinstance(node, _Function)
                and not (_is_door(node) or _is_overload(node))
            ):
                places[node.name].append(module.path)
    assert {name: there for name, there in _several(places).items() if not name.startswith("_")} == {}


def test_no_public_name_needs_a_docstring() -> None:
    """None of the forbidden words is a part of a public name: module, class, function, method, member, constant, parameter."""
    found = defaultdict(list)
    for module in modules():
        for name in (*module.path.removesuffix(".py").split("/"), *_public_names(module)):
            if name not in EXCUSED and not name.startswith("_") and FORBIDDEN & set(_parts(name)):
                found[name].append(module.path)
    assert dict(found) == {}


def test_every_excuse_is_needed() -> None:
    """A name that is gone needs no reason."""
    there = {name for module in modules() for name in _public_names(module)}
    assert set(EXCUSED) <= there


def test_no_module_over_400_lines() -> None:
    """Migrations are exempt."""
    assert {module.path: module.lines for module in modules() if module.lines > 400} == {}


def test_no_pass_through_module() -> None:
    """None only hands on what others hold, apart from the lists."""
    passing = [module.path for module in modules() if _only_hands_on(module)]
    assert sorted(passing) == sorted(LISTS)


@pytest.mark.parametrize("floor", ROOMS)
def test_every_subject_has_its_room_on_the_floor(floor: str) -> None:
    """Named as on every other; on floors with a contract or a list there is no other room."""
    there = {module.room for module in modules() if module.floor == floor and module.lines} - {""}
    assert set(ROOMS[floor]) <= there, sorted(set(ROOMS[floor]) - there)
    if floor in MORE_ROOMS:
        assert there - set(ROOMS[floor]) == MORE_ROOMS[floor]
    if floor in layers():
        assert in_order(floor, there) == list(layers()[floor])


def test_every_table_is_in_the_list() -> None:
    """Each module of storage with a table is one of `storage/tables.py`."""
    with_table = {
        module.name for module in modules() if module.floor == "scheduler/storage" and "table=True" in module.text
    }
    assert with_table == _named(TABLES)


def test_every_router_is_in_the_list() -> None:
    """Each router of routes and pages is one of `api/server/app.py`."""
    names = [module.name for module in modules() if module.floor in ("api/routes", "api/pages")]
    routers = [
        (name, one)
        for name in names
        for one in vars(importlib.import_module(name)).values()
        if isinstance(one, APIRouter)
    ]
    assert sorted({name for name, one in routers if not any(one is router for router in ROUTERS)}) == []


def test_every_command_is_in_the_list() -> None:
    """Each module with a command is one of `api/commands/app.py`, once."""
    with_command = {
        module.name
        for module in modules()
        if module.floor == "api/commands"
        and module.room != "shared"
        and any(isinstance(node, _Function) and _is_door(node) for node in module.tree.body)
    }
    assert with_command == _named(COMMANDS)
    assert len(COMMANDS) == len(with_command)


def _named(listed: tuple[ModuleType, ...]) -> set[str]:
    return {module.__name__ for module in listed}


def _several(places: dict[str, list[str]]) -> dict[str, list[str]]:
    return {name: there for name, there in places.items() if len(there) > 1}


def _is_door(node: _Function) -> bool:
    """Decorated as route or command."""
    called = [one.func if isinstance(one, ast.Call) else one for one in node.decorator_list]
    return any((one.attr if isinstance(one, ast.Attribute) else getattr(one, "id", "")) in _DOORS for one in called)


def _parts(name: str) -> list[str]:
    """Its words: between underscores, and from one capital to the next."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower().split("_")


def _public_names(module: Module) -> Iterator[str]:
    frozen = module.path.startswith(MEMBERS_FROZEN)
    for node in module.tree.body:
        yield from _names_of(node)
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            members = [one for one in node.body if not _is_code(one)]
            kept = [one for one in members if not (frozen and isinstance(one, ast.AnnAssign))]
            yield from (name for one in kept for name in _names_of(one))


def _names_of(node: ast.stmt) -> Iterator[str]:
    """What a statement names: a class, a function with its parameters, a variable."""
    if isinstance(node, ast.ClassDef):
        yield node.name
    elif isinstance(node, _Function):
        yield node.name
        if not node.name.startswith("_"):
            yield from (one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs))
    elif isinstance(node, ast.Assign):
        yield from (one.id for one in node.targets if isinstance(one, ast.Name))
    elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        yield node.target.id


def _is_code(node: ast.stmt) -> bool:
    """A member of an enumeration whose text has the word itself."""
    text = node.value.value if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant) else None
    return isinstance(text, str) and bool(FORBIDDEN & set(text.replace("_", " ").split()))


def _only_hands_on(module: Module) -> bool:
    """It has imports, and beside them at most a docstring and lists of what was imported."""
    rest = [node for node in module.tree.body if not isinstance(node, ast.Import | ast.ImportFrom)]
    return len(rest) < len(module.tree.body) and all(
        isinstance(node, ast.Expr)
        or (isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple | ast.List | ast.Name))
        for node in rest
    )


def _is_overload(node: _Function) -> bool:
    return any(isinstance(one, ast.Name) and one.id == "overload" for one in node.decorator_list)
