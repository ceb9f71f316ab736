"""Papers set by typst, in a process of its own: whoever asks keeps his memory. Data goes in as JSON and pictures, never as markup."""

import json
import logging
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from scheduler.errors import Busy, Refused
from scheduler.language import gettext as _

log = logging.getLogger("leadline")

Layout = Literal["history", "month", "job"]
PaperSize = Literal["a4", "us-letter"]
MOST_SECONDS = 120
"""For one paper."""
MOST_MB = 1500
"""Address space of the process; the longest papers take a third of it."""
MOST_AT_ONCE = 2
_WAIT_SECONDS = 30
_NONE_INSTALLED = 3
"""Exit code of the process where typst is not there."""
_AT_ONCE = threading.BoundedSemaphore(MOST_AT_ONCE)


@contextmanager
def typeset(
    layout: Layout, data: Mapping[str, Any], *, size: PaperSize = "a4", pictures: Mapping[str, bytes] | None = None
) -> Iterator[Path]:
    """The paper as a PDF file, there while the block lasts. Same data, same bytes.

    Args:
        data: what the layout shows; a member `pictures` names files. pictures: content of each, small JPEGs.

    Raises:
        Refused: typst is not installed, or it could not set this. Busy: others are being set, for too long.
    """
    if not _AT_ONCE.acquire(timeout=_WAIT_SECONDS):
        raise Busy(_("Other papers are being made; ask again in a minute."), more={"retry_after": 60})
    try:
        with tempfile.TemporaryDirectory(prefix="leadline-paper-") as place:
            folder = Path(place)
            (folder / "data.json").write_text(json.dumps(data), encoding="utf-8")
            for name, content in (pictures or {}).items():
                (folder / name).write_bytes(content)
            _run(folder, layout, size)
            yield folder / "paper.pdf"
    finally:
        _AT_ONCE.release()


def _run(folder: Path, layout: Layout, size: PaperSize) -> None:
    command = [sys.executable, "-m", "api.typesetting", str(folder), layout, size, str(MOST_MB)]
    try:
        ended = subprocess.run(  # noqa: S603 - our own program
            command, capture_output=True, text=True, timeout=MOST_SECONDS, check=False, env=_environment()
        )
    except subprocess.TimeoutExpired as error:
        raise Refused(
            _(
                "The paper took longer than {most_seconds} s. Choose a shorter period, or take the spreadsheet.",
                most_seconds=MOST_SECONDS,
            )
        ) from error
    if ended.returncode == _NONE_INSTALLED:
        raise Refused(_("A PDF needs the package typst: install leadline[pdf], or take CSV, XLSX or JSON Lines."))
    if ended.returncode != 0:
        log.error("typesetting ended with %s: %s", ended.returncode, ended.stderr[-2000:])
        raise Refused(
            _("The paper could not be set; the log says why. Choose a shorter period, or take the spreadsheet.")
        )


def _environment() -> dict[str, str]:
    """What the process may see: where its modules are, and none of our settings."""
    paths = os.pathsep.join(place for place in sys.path if place)
    alone = {"RAYON_NUM_THREADS": "1"}  # more threads take more memory and CPU for the same paper
    alone |= {
        "MALLOC_MMAP_THRESHOLD_": "131072",
        "MALLOC_TRIM_THRESHOLD_": "131072",
    }  # what is freed goes back: 4 % less at the peak
    return {"PYTHONPATH": paths, "PATH": os.environ.get("PATH", ""), "PYTHONDONTWRITEBYTECODE": "1", **alone}
