"""What `leadline serve --unit` and `--containerfile` print; the unit is looked at by systemd itself (`-m systemd`)."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from api.commands import service_files
from tests.cli.calling import good, leadline


def test_the_unit_starts_this_program_with_the_options_given() -> None:
    """ExecStart is an absolute path; what a unit would take for its own is doubled; a port that is wrong is refused."""
    unit = good("serve", "--unit", "--port", "8400", "--host", "fe80::1%$0")
    (line,) = re.findall(r"^ExecStart=(.*)$", unit, re.MULTILINE)
    program, *words = line.split()
    assert Path(program).is_absolute()
    assert Path(program).exists()
    assert words[-3:] == ["serve", "'--host=fe80::1%%$$0'", "--port=8400"]
    assert "@" not in re.sub(r"@system-service|@privileged", "", unit)
    assert leadline("serve", "--unit", "--port", "70000").returncode == 2
    assert leadline("serve", "--unit", "--base-url", "http://ship.lan/leadline").returncode == 2


def test_the_workers_unit_is_the_servers_but_for_what_it_starts() -> None:
    """The same cage; no watchdog, which a worker does not feed, and its settings from a file that the server reads too."""
    server, worker = good("serve", "--unit").splitlines(), good("worker", "--unit", "--processes", "3").splitlines()
    assert re.findall(r"@[A-Z]+@", "\n".join(worker)) == []
    only = [line for line in worker if line not in server and not line.startswith("#")]
    assert [line.partition("=")[0] for line in only] == ["Description", "ExecStart", "Environment"]
    assert only[1].endswith(" worker --processes=3")
    gone = {line.partition("=")[0] for line in server if line not in worker and not line.startswith("#")}
    assert gone == {"Description", "ExecStart", "Environment", "WatchdogSec"}
    assert good("worker", "--unit", "--queues", "plan, show").count("--queues=plan, show") == 1
    told = leadline("worker", "--unit", "--queues", "plans")
    assert (told.returncode, "derive, show, plan, care" in " ".join(told.stderr.split())) == (2, True)
    assert leadline("worker", "--unit", "--processes", "0").returncode == 2


def test_the_container_file_serves_as_nobody_in_particular() -> None:
    """It copies the project, serves to every address, keeps /data, and asks readiness for its health."""
    text = good("serve", "--containerfile")
    said = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert {line.split()[0] for line in said} <= {
        "FROM", "COPY", "RUN", "ENV", "USER", "VOLUME", "EXPOSE", "STOPSIGNAL", "HEALTHCHECK", "ENTRYPOINT", "CMD",
    }  # fmt: skip
    assert "USER 10001" in said
    assert "/readyz" in text
    assert said[-2:] == ['ENTRYPOINT ["leadline"]', 'CMD ["serve"]']
    assert leadline("serve", "--containerfile", "--unit").returncode == 2
    assert "LEADLINE_*" in leadline("serve", "--containerfile", "--port", "1").stderr


def test_both_come_with_the_package() -> None:
    """They lie inside a package that the wheel takes, beside the mark that it is typed."""
    folder = Path(service_files.__file__).parent
    assert {"leadline.service", "Containerfile"} <= {one.name for one in folder.iterdir()}
    assert all((folder.parents[2] / package / "py.typed").exists() for package in ("api", "scheduler", "seed_fleet"))


@pytest.fixture(params=["serve", "worker"])
def unit_file(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """The unit, for a program that is there."""
    file = tmp_path / "leadline.service"
    printed = good(request.param, "--unit")
    file.write_text(re.sub(r"^ExecStart=\S+", f"ExecStart={sys.executable}", printed, flags=re.MULTILINE))
    return file


def _analyze(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["systemd-analyze", *words], capture_output=True, text=True, check=False, timeout=60)


@pytest.mark.systemd
def test_systemd_finds_nothing_wrong_with_the_unit(unit_file: Path) -> None:
    """`systemd-analyze verify` says nothing; a word it does not know it does say."""
    told = _analyze("verify", "--man=no", str(unit_file))
    assert (told.returncode, told.stdout + told.stderr) == (0, "")
    unit_file.write_text(unit_file.read_text().replace("TimeoutStopSec", "TimeoutStopSce"))
    assert "TimeoutStopSce" in _analyze("verify", "--man=no", str(unit_file)).stderr


@pytest.mark.systemd
def test_systemd_finds_the_unit_little_exposed(unit_file: Path) -> None:
    """`systemd-analyze security`: 1.4 of 10, where 0 is best; what stays is the network it serves and the memory cap it sets."""
    told = _analyze("security", "--offline=yes", "--threshold=14", str(unit_file))
    assert told.returncode == 0, told.stdout
    assert _analyze("security", "--offline=yes", "--threshold=13", str(unit_file)).returncode == 1
