"""Traces one page's close of a job and one keep-up tick: functions, files, changes of room, loads of the plant's state.

`python -m tests.structure.trace` of this tree; `--checkout FOLDER` of another one, where `--rooms FILE` (lines of "room: modules")
says in which rooms modules of an old tree would be, so that both are counted alike. By hand; nothing runs it by itself.

Counted are functions with a name, once each, in the order of their first calls, and how often that order goes from one room
to another, where a room is a folder, or floor and subject, or a file. Then the same over all calls, loops and all.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

JOB = "standby_start:plover-plant:1"
PACKAGES = ("scheduler/", "api/")
LOADS = {
    ("scheduler/actions/plant_state/load.py", "load_plant"),
    ("scheduler/actions/situation.py", "load"),
}
"""What loads the state of a plant, in this tree and in that of old."""

_GENERATOR = 0x20 | 0x80 | 0x200
"""Flags of code that is entered again where it went on."""

Call = tuple[str, str]
"""File from the root, and function by its qualified name."""


class _CloseForm(HTMLParser):
    """What stands in the fields of a job page's close form."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.inside, self.fields = False, dict[str, str]()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self.inside = (given.get("action") or "").endswith("/close")
        elif self.inside and tag in ("input", "textarea") and given.get("name"):
            chosen = given.get("type") not in ("radio", "checkbox") or "checked" in given
            self.fields |= {str(given["name"]): given.get("value") or ""} if chosen else {}


class _Tracer:
    """Notes each call of the program's own functions, in all threads, while it is on."""

    def __init__(self, root: Path) -> None:
        self.root, self.on, self.calls = f"{root}/", False, list[Call]()
        self._going: dict[int, FrameType] = {}
        threading.setprofile(self._event)
        sys.setprofile(self._event)

    def _event(self, frame: FrameType, event: str, _: object) -> None:
        if not self.on or event != "call":
            return
        code: CodeType = frame.f_code
        path = code.co_filename.removeprefix(self.root)
        if not path.startswith(PACKAGES):
            return
        if code.co_flags & _GENERATOR:
            if id(frame) in self._going:
                return
            self._going[id(frame)] = frame
        self.calls.append((path, code.co_qualname))

    @contextmanager
    def noting(self) -> Iterator[list[Call]]:
        """Yields the list of the calls made inside."""
        self.calls, self.on = [], True
        try:
            yield self.calls
        finally:
            self.on = False
            self._going.clear()


def _traced(root: Path) -> dict[str, list[Call]]:
    """Both ways, run in this process on the tree that is imported."""
    from tests.api.stage import staged, stamp

    try:
        from tests.ticks import keep_up
    except ModuleNotFoundError:
        from scheduler.actions.rounds import keep_up  # type: ignore[import-not-found,no-redef]
    tracer = _Tracer(root)
    with tempfile.TemporaryDirectory() as folder, staged(Path(folder)) as stage:
        state: Any = stage.client.app.state  # type: ignore[attr-defined]
        context = getattr(state, "context", None) or state.house
        if hasattr(context, "waker"):
            context.waker.listen(None)  # a server's tick works in a thread of its own
        keep_up(context, state.refresh)
        browser = stage.enter("chief-plover")
        path = f"/vessels/demo-plover/jobs/{JOB}"
        fields = _CloseForm(browser.get(path).text).fields
        with tracer.noting() as close:
            answer = browser.post(f"{path}/close", data=fields)
        assert answer.status_code == 303, answer.text
        keep_up(context, state.refresh)
        stage.clock.at += timedelta(hours=4)
        run = stage.runs["demo-plover"]
        posted = stage.post({"counter": run.ship.counter(0), "observed_at": stamp(stage.clock.at), "value": 10**4})
        assert posted.status_code == 207, posted.text
        with tracer.noting() as tick:
            keep_up(context, state.refresh)
    return {"close": close, "tick": tick}


def _rooms(table: Path | None) -> Callable[[str], str]:
    """What gives a file's room, floor and subject: as the table says, else by its path."""
    known: dict[str, str] = {}
    for line in table.read_text(encoding="utf-8").splitlines() if table else ():
        room, _, names = line.partition(": ")
        known.update(dict.fromkeys(names.split(), room))

    def room_of(path: str) -> str:
        name = path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        return known.get(name) or "/".join(name.split(".")[:3])

    return room_of


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _changes(calls: list[Call], room: Callable[[str], str]) -> int:
    return sum(room(one[0]) != room(other[0]) for one, other in pairwise(calls))


def _report(name: str, calls: list[Call], room: Callable[[str], str]) -> Iterator[str]:
    calls = [call for call in calls if not call[1].rpartition(".")[2].startswith("<")]
    first = list(dict.fromkeys(calls))
    loads, files = sum(one in LOADS for one in calls), {path for path, _ in first}
    yield f"{name}: {len(first)} functions in {len(files)} files; plant state loaded {loads} times"
    for says, of in (("folder", _folder), ("floor and subject", room), ("file", str)):
        rooms = len({of(path) for path, _ in first})
        yield f"  {says:18} {rooms:3} rooms, {_changes(first, of):4} changes; over {len(calls)} calls {_changes(calls, of):5}"


def main() -> None:
    """The script."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--checkout", type=Path, default=Path(__file__).parents[2], help="the tree that is traced")
    ask.add_argument("--rooms", type=Path, help="where its modules belong")
    ask.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    given = ask.parse_args()
    root = given.checkout.resolve()
    if given.inside:
        given.inside.write_text(json.dumps(_traced(root)))
        return
    with tempfile.TemporaryDirectory() as folder:
        calls = Path(folder) / "calls.json"
        subprocess.run(
            [sys.executable, __file__, "--checkout", str(root), "--inside", str(calls)],
            cwd=root,
            env={**os.environ, "PYTHONPATH": str(root)},
            check=True,
        )
        for name, noted in json.loads(calls.read_text()).items():
            print(*_report(name, [(path, function) for path, function in noted], _rooms(given.rooms)), sep="\n")


if __name__ == "__main__":
    main()
