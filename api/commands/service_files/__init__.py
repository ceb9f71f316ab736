"""The unit of systemd and the container file that `leadline serve --unit`, `worker --unit` and `--containerfile` print."""

import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

_HERE = Path(__file__).parent


OUT_OF_SIGHT = (
    "leadline: this program lies in a home folder, which the unit does not let itself see. Install it in /opt/leadline."
)
_SERVER = {
    "HEAD": """\
# Printed by `leadline serve --unit`. As root, with the program outside /home and /root (such as in /opt/leadline):
#   leadline serve --unit > /etc/systemd/system/leadline.service
#   systemctl daemon-reload && systemctl enable --now leadline
# The database is /var/lib/leadline/ship.db. Commands beside the running service, as its user:
#   systemd-run --pty --collect -p User=leadline -p DynamicUser=yes -p StateDirectory=leadline leadline --database /var/lib/leadline/ship.db doctor
# Settings: a line Environment=LEADLINE_NAME=value each, or a file: Environment=LEADLINE_CONFIG=/etc/leadline.toml
""",  # noqa: E501
    "DESCRIPTION": "Leadline, planned maintenance by running hours",
    "ENVIRONMENT": "LEADLINE_DATABASE=%S/leadline/ship.db",
    "WATCHDOG": "WatchdogSec=60s\n",
}
_WORKER = {
    "HEAD": """\
# Printed by `leadline worker --unit`. As root, with the program outside /home and /root (such as in /opt/leadline):
#   leadline worker --unit > /etc/systemd/system/leadline-worker.service
#   systemctl daemon-reload && systemctl enable --now leadline-worker
# It reads /etc/leadline.toml, which the server's unit has to read too, with the lines
#   database = "postgresql://leadline@host/leadline"
#   workers = true
# A password is better kept apart: LoadCredential=database:/etc/leadline-database, Environment=LEADLINE_DATABASE_FILE=%d/database
""",
    "DESCRIPTION": "Leadline worker: plans, calendars and rounds",
    "ENVIRONMENT": "LEADLINE_CONFIG=/etc/leadline.toml",
    "WATCHDOG": "",
}


def unit(options: Sequence[str] = ()) -> str:
    """The unit file for this installation of the program. options: of `serve`, such as --port=8322."""
    return _unit("serve", options, _SERVER)


def worker_unit(options: Sequence[str] = ()) -> str:
    """The same for workers. options: of `worker`, such as --processes=4."""
    return _unit("worker", options, _WORKER)


def _unit(command: str, options: Sequence[str], words: Mapping[str, str]) -> str:
    text = (_HERE / "leadline.service").read_text(encoding="utf-8")
    program = " ".join(_quoted(word) for word in [*_program(), command, *options])
    for name, value in {**words, "PROGRAM": program}.items():
        text = text.replace(f"@{name}@", value)
    return text


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
