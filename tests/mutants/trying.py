"""A change tried: a copy of the tree, the change made in it, the tests that are to notice run there."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from tests.mutants.change import ROOT, Change, NotOnce, changed

COPIED = ("scheduler", "api", "seed_fleet", "tests")
LONGEST_S = 240
"""A change may make a loop endless: a run that takes so long has noticed it."""
_FAILED, _PASSED = 1, 0


class Result(StrEnum):
    """What came of a change."""

    KILLED = "killed"
    SURVIVED = "SURVIVED"
    NOT_ONCE = "text not found or found twice"
    BROKEN = "the tests could not be run"


@dataclass(frozen=True, slots=True)
class Tried:
    """A change with what came of it. by: the test that noticed, or what went wrong."""

    change: Change
    result: Result
    by: str


def try_change(change: Change) -> Tried:
    """The change made in a copy of the tree, and its tests run there up to the first that fails."""
    try:
        text = changed(change)
    except NotOnce as wrong:
        return Tried(change, Result.NOT_ONCE, str(wrong))
    with tempfile.TemporaryDirectory(prefix="mutant-") as name:
        tree = copy_of_the_tree(Path(name))
        path = tree / change.file
        path.unlink()  # a hard link: written into, the original would change with it
        path.write_text(text, encoding="utf-8")
        for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
            compiled.unlink()
        return Tried(change, *run(tree, change.tests))


def run(tree: Path, tests: Sequence[str]) -> tuple[Result, str]:
    """What the test files say in that tree."""
    command = [sys.executable, "-m", "pytest", *tests, "-x", "-q", "-n", "0", "-p", "no:cacheprovider", "--tb=no"]
    environ = {**os.environ, "PYTHONPATH": str(tree)}
    try:
        told = subprocess.run(command, cwd=tree, env=environ, capture_output=True, text=True, timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        return Result.KILLED, f"not done in {LONGEST_S} s"
    lines = (told.stdout + told.stderr).splitlines()
    if told.returncode == _PASSED:
        return Result.SURVIVED, ""
    failed = next((line for line in lines if line.startswith("FAILED ")), None)
    if told.returncode == _FAILED and failed is not None:
        return Result.KILLED, failed.removeprefix("FAILED ").partition(" - ")[0]
    return Result.BROKEN, "\n".join(lines[-15:])


def copy_of_the_tree(folder: Path) -> Path:
    """What the tests need, by hard links where the disk has them."""
    for part in COPIED:
        shutil.copytree(ROOT / part, folder / part, copy_function=_link, ignore=_left_out)
    shutil.copy2(ROOT / "pyproject.toml", folder)
    for text in ("README.md", "DEVELOPERS.md", "LICENSE"):
        with suppress(FileNotFoundError):
            shutil.copy2(ROOT / text, folder)
    return folder


def _left_out(_folder: str, names: list[str]) -> set[str]:
    return {name for name in names if name == ".hypothesis"}


def _link(source: str, target: str) -> str:
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)
    return target
