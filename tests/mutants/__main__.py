"""Try the changes: `python -m tests.mutants [names] [--list] [--jobs N]`. Ends with 1 where one survives or fails."""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.mutants.change import Change
from tests.mutants.changes import CHANGES
from tests.mutants.trying import Result, Tried, copy_of_the_tree, run, try_change


def main(arguments: Sequence[str] | None = None) -> int:
    """0 when every change was noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("names", nargs="*", help="of changes, or beginnings of names; none: all")
    parser.add_argument("--list", action="store_true", help="show them and try none")
    parser.add_argument("--jobs", type=int, default=2, help="how many are tried at a time (2)")
    asked = parser.parse_args(arguments)
    chosen = [one for one in CHANGES if not asked.names or any(one.name.startswith(name) for name in asked.names)]
    unknown = [name for name in asked.names if not any(one.name.startswith(name) for one in CHANGES)]
    if unknown:
        parser.error(f"no change is called {', '.join(unknown)}")
    if asked.list:
        for one in chosen:
            print(f"{one.name}  {one.file}\n    {one.breaks}")
        return 0
    result, says = _unchanged(chosen)
    if result is not Result.SURVIVED:
        print(f"Without any change the tests do not pass, so they say nothing: {says}")
        return 1
    with ThreadPoolExecutor(max_workers=max(1, asked.jobs)) as pool:
        tried = [_told(one) for one in pool.map(try_change, chosen)]
    amiss = [one for one in tried if one.result is not Result.KILLED]
    print(f"{len(tried)} changes tried, {len(tried) - len(amiss)} killed.")
    for one in amiss:
        print(f"{one.result}: {one.change.name}: {one.change.breaks}")
    return 1 if amiss else 0


def _unchanged(chosen: Sequence[Change]) -> tuple[Result, str]:
    """What the tests say of the tree as it is."""
    with tempfile.TemporaryDirectory(prefix="mutant-") as name:
        return run(copy_of_the_tree(Path(name)), sorted({test for one in chosen for test in one.tests}))


def _told(one: Tried) -> Tried:
    print(f"{one.result:<9} {one.change.name}  {one.by}", flush=True)
    return one


if __name__ == "__main__":
    sys.exit(main())
