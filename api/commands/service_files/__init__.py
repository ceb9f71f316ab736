"""The unit of systemd and the container file that `leadline serve --unit` and `--containerfile` print."""

import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

_HERE = Path(__file__).parent


def unit(options: Sequence[str] = ()) -> str:
    """The unit file for this installation of the program. options: of `serve`, such as --port=8322."""
    words = " ".join(_quoted(word) for word in [*_program(), "serve", *options])
    return (_HERE / "leadline.service").read_text(encoding="utf-8").replace("@SERVE@", words)


def out_of_sight() -> bool:
    """Whether this installation lies where a unit with ProtectHome does not see it. Source: systemd.exec(5)."""
    return Path(_program()[0]).absolute().parts[1] in ("home", "root", "run")


def containerfile() -> str:
    """The container file; it is built in a copy of the project."""
    return (_HERE / "Containerfile").read_text(encoding="utf-8")


def _program() -> list[str]:
    beside = Path(sys.executable).with_name("leadline")
    return [str(beside)] if beside.exists() else [sys.executable, "-m", "api"]


def _quoted(word: str) -> str:
    """A word of a command line in a unit. Source: systemd.service(5), "Command lines": % and $ are doubled."""
    return shlex.quote(word.replace("%", "%%").replace("$", "$$"))
