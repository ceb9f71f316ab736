"""The command line as a person uses it, rightly and wrongly: exit codes, words, JSON on stdout, talk on stderr."""

import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli import app
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER

COMMANDS = [
    "serve", "demo", "due", "plan", "reading", "history", "verify", "feed", "import", "upgrade", "job done", "key person",
    "key add", "key list", "key revoke", "key link", "config show",
]  # fmt: skip


def leadline(*words: str, **env: str) -> "subprocess.CompletedProcess[str]":
    """The command's result."""
    told = {k: v for k, v in os.environ.items() if not k.startswith("LEADLINE_")} | env
    command = [sys.executable, "-m", "api", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False, env=told)


@pytest.fixture(scope="module")
def ship(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """A database with the three-pump ship imported by the command; its address, and the folder."""
    folder = tmp_path_factory.mktemp("cli")
    document = vessel_document(Run(PLOVER, 1, datetime.now(UTC), 0.1))
    (folder / "plover.json").write_text(json.dumps(document))
    database = str(folder / "ship.db")
    done = leadline("--database", database, "import", str(folder / "plover.json"))
    assert done.returncode == 0, done.stderr
    assert done.stdout == "demo-plover: version 1\n"
    return database, folder


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_has_an_example(command: str) -> None:
    """-h answers with what the command is for and an example."""
    told = CliRunner().invoke(app, [*command.split(), "-h"])
    assert told.exit_code == 0
    assert "Example: leadline" in told.stdout


def test_the_command_is_there() -> None:
    """The installed command answers, too."""
    assert "Example: leadline demo" in leadline("-h").stdout


def test_wrong_use_is_told_apart_from_could_not(ship: tuple[str, Path]) -> None:
    """A typo is wrong use (2) with a suggestion; what is not there is could not (1); neither shows a traceback."""
    database, folder = ship
    typo = leadline("plna")
    assert typo.returncode == 2
    assert "plan" in typo.stderr
    for words in (
        ("due", "no-such-plant"),
        ("plan", "plover-plant"),
        ("reading", "no-such-counter", "5"),
        ("job", "done", "nothing", "--by", "A", "--test", "passed"),
        ("import", str(folder / "missing.json")),
        ("verify", str(folder / "missing.jsonl")),
        ("history", "no-such-vessel"),
        ("key", "link", "nobody"),
        ("key", "revoke", "00000000"),
        ("feed", "nobody", "demo-plover"),
    ):
        told = leadline("--database", database, *words)
        assert told.returncode == 1, words
        assert told.stderr.startswith("leadline: ")
        assert "Traceback" not in told.stderr
        assert told.stdout == ""
    assert leadline("--database", database, "job", "done", "x:y:1", "--by", "A", "--test", "maybe").returncode == 2
    assert leadline("--database", database, "reading", "plover-vp1-hours", "5", "--at", "noon").returncode == 2
    assert leadline("--database", str(folder / "no" / "folder.db"), "due").returncode == 1


def test_a_faulty_document_names_every_fault(ship: tuple[str, Path]) -> None:
    """Not JSON, senseless, and already there are each said in words."""
    database, folder = ship
    (folder / "bad.json").write_text("{")
    assert "not JSON" in leadline("--database", database, "import", str(folder / "bad.json")).stderr
    document = json.loads((folder / "plover.json").read_text())
    document["imo"] = "1234568"
    document["plants"][0]["minimum_swept_m3_per_h"] = 9000
    (folder / "senseless.json").write_text(json.dumps(document))
    told = leadline("--database", database, "import", str(folder / "senseless.json"), "--replace")
    assert told.returncode == 1
    assert "2 faults" in told.stderr
    assert "/imo" in told.stderr or "IMO" in told.stderr
    there = leadline("--database", database, "import", str(folder / "plover.json"))
    assert "--replace" in there.stderr


def test_from_a_reading_to_a_verified_history(ship: tuple[str, Path]) -> None:
    """Reading, due, plan, take, job done, history, verify; then a changed file is found (7) and past due shows (3 or 4)."""
    database, folder = ship
    counter = PLOVER.counter(0)

    def run(*words: str) -> str:
        told = leadline("--database", database, *words)
        assert told.returncode == 0, (words, told.stderr)
        return told.stdout

    at = datetime.now(UTC) - timedelta(hours=3)
    assert "stored; baseline" in run("reading", counter, "100", "--at", at.isoformat())
    assert "stored" in run("reading", counter, "101")
    backwards = leadline("--database", database, "reading", counter, "101", "--at", at.isoformat())
    assert backwards.returncode == 1
    assert "another value" in backwards.stderr
    jobs = json.loads(run("due", "plover-plant", "--json"))["jobs"]
    assert {"job", "state", "due_at", "caution"} <= jobs[0].keys()
    plan = run("plan", "plover-plant", "--new")
    digest = re.search(r"plan ([0-9a-f]{12}) proposed", plan)
    assert digest is not None
    assert "taken" in run("plan", "plover-plant", "--take", digest[1])
    assert leadline("--database", database, "plan", "plover-plant", "--take", "0" * 64).returncode == 6
    job = next(j["job"] for j in jobs if j["kind"] == "alarm_test")
    closed = run("job", "done", job, "--by", "A. Second", "--test", "passed", "--findings", "=1+1")
    assert closed.startswith(f"{job}: closed")
    again = leadline("--database", database, "job", "done", job, "--by", "A. Second", "--test", "passed")
    assert again.returncode == 1
    assert "done already" in again.stderr
    out = folder / "history.jsonl"
    told = leadline("--database", database, "history", "demo-plover", "--out", str(out))
    assert told.returncode == 0
    assert told.stdout == ""
    whole = json.loads(leadline("verify", str(out), "--json").stdout)
    assert whole["verified"] is True
    stamped = leadline("verify", str(out), "--stamp", whole["head"])
    assert stamped.returncode == 0
    out.write_text(out.read_text().replace("A. Second", "B. Second"))
    broken = leadline("verify", str(out))
    assert broken.returncode == 7
    assert "record" in broken.stderr
    assert "'=1+1" in run("history", "demo-plover", "--csv")
    assert leadline("--database", database, "due", "--check").returncode in (0, 3, 4)


def test_keys_people_links_and_feeds_are_shown_once(ship: tuple[str, Path]) -> None:
    """Secrets come on stdout alone, once; the list has none of them; a revoked key is marked so."""
    database, _ = ship

    def run(*words: str) -> str:
        told = leadline("--database", database, *words)
        assert told.returncode == 0, told.stderr
        return told.stdout

    run("key", "person", "chief", "--name", "A. Chief", "--role", "chief", "--vessel", "demo-plover")
    assert leadline("--database", database, "key", "person", "x", "--name", "X", "--role", "chief").returncode == 1
    assert leadline("--database", database, "key", "add", "captain", "--label", "x").returncode == 2
    key = run("key", "add", "counter", "--vessel", "demo-plover", "--label", "gateway").strip()
    assert re.fullmatch(r"ll_[0-9a-f]{8}_[\w-]{43}", key)
    listed = run("key", "list")
    assert key not in listed
    assert key.split("_")[1] in listed
    run("key", "revoke", key.split("_")[1])
    assert "revoked" in run("key", "list")
    assert "/enter/" in run("key", "link", "chief")
    address = run("feed", "chief", "demo-plover")
    assert re.search(r"/cal/[\w-]{43}/plan\.ics", address)
    stored = (
        Path(database).read_bytes() + Path(f"{database}-wal").read_bytes()
        if Path(f"{database}-wal").exists()
        else Path(database).read_bytes()
    )
    assert key.encode() not in stored
    assert address.split("/cal/")[1].split("/")[0].encode() not in stored


def test_upgrade_says_where_a_database_stands(ship: tuple[str, Path]) -> None:
    """A current database is left as it is."""
    database, _ = ship
    assert "already at" in leadline("--database", database, "upgrade").stdout


def test_settings_come_from_flags_environment_and_file(tmp_path: Path) -> None:
    """Flag over environment over file over default; a typing error is named with a suggestion; secrets by file."""
    config = tmp_path / "leadline.toml"
    config.write_text('port = 9001\nhost = "::1"\n')
    shown = leadline("--config", str(config), "config", "show", "--json", LEADLINE_PORT="9002")
    told = json.loads(shown.stdout)
    assert (told["port"]["value"], told["host"]["value"], told["frozen_days"]["value"]) == ("9002", "::1", "7")
    assert "environment" in told["port"]["from"]
    wrong = leadline("config", "show", LEADLINE_PROT="1")
    assert wrong.returncode == 1
    assert 'Did you mean "port"?' in wrong.stderr
    assert "0 to 65535" in leadline("config", "show", LEADLINE_PORT="-1").stderr
    secret = tmp_path / "address"
    secret.write_text("postgresql://u:hush@h/n\n")
    hidden = leadline("config", "show", LEADLINE_DATABASE_FILE=str(secret))
    assert "hush" not in hidden.stdout
    assert "h/n" in hidden.stdout


def test_the_demo_proves_itself(tmp_path: Path) -> None:
    """`leadline demo --check` runs the whole job on a fixed clock and ends with 0; a folder used before is refused."""
    done = leadline("demo", "--check", "--folder", str(tmp_path))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "FAILS" not in done.stdout
    assert done.stdout.endswith("All of it holds.\n")
    again = leadline("demo", "--check", "--folder", str(tmp_path))
    assert again.returncode == 1
    assert "there already" in again.stderr
