"""The world is made once a run, whichever workers ask for it."""

import fcntl
import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.frozen.gathering import gathered


@dataclass(frozen=True, slots=True)
class Told:
    """What the world of today's code says, and the folder in which its database and photos stand."""

    folder: Path
    said: dict[str, Any]


@pytest.fixture(scope="session")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "frozen world"
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "said.json").exists():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            (folder / "said.json").write_text(json.dumps(gathered(folder)))
    return Told(folder, json.loads((folder / "said.json").read_text()))
