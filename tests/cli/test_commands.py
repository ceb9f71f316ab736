"""The command line as a person uses it: help, data on stdout, talk on stderr, JSON everywhere, from a reading to a proof."""

import json
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler import clock
from scheduler.clock import fixed_clock
from seed_fleet.ships import PLOVER
from tests.cli.calling import good, leadline, process
from tests.cli.conftest import Ship

COMMANDS = [
    "serve", "demo", "due", "forecast", "plan", "move", "reading", "hours", "intake", "doctor", "pulldown", "history", "verify",
    "fleet-history", "report", "import", "worker", "upgrade", "gateway", "backup", "restore", "office join", "office status",
    "office moved", "calendar show", "calendar add", "calendar clear", "calendar import", "calendar undo",
    "counter show", "counter replaced", "counter rescaled", "counter adjust", "counter opening", "counter preset",
    "counter misread", "counter primary", "counter undo", "counter confirm",
    "feed make", "feed list", "feed rotate", "feed revoke",
    "lead", "minimum", "may-open", "reliability", "signs", "sign answer", "sign undo",
    "job done", "job step", "job strike",
    "expected-back", "runs-after-all", "key person", "key add", "key give", "key list", "key revoke", "key rotate", "key link",
    "people list", "people change", "people withdraw", "people back", "people sessions", "people end", "config show",
    "kinds", "parts", "breakdown", "clog", "handover write", "handover list", "review list",
    "postpone ask", "postpone decide", "postpone list", "nonconformity list", "nonconformity answer", "nonconformity close",
    "concession ask", "concession sign", "concession list", "concession withdraw", "job parts-from", "job first-date",
    "job first-date-agree", "vessel approve", "notify",
    "vessel show", "vessel versions", "vessel example", "vessel schema",
    "request list", "request ask", "request change", "request withdraw", "request answer",
    "ships list", "ships answer",
]  # fmt: skip
GROUPS = (
    "handover",
    "review",
    "calendar",
    "counter",
    "feed",
    "job",
    "key",
    "people",
    "config",
    "postpone",
    "nonconformity",
    "concession",
    "vessel",
    "ships",
    "sign",
    "request",
    "office",
)
HEAVY = {"sqlmodel", "sqlalchemy", "alembic", "fastapi", "starlette", "numpy", "highspy", "httpx", "icalendar"}


@pytest.mark.parametrize("command", ["", *GROUPS, *COMMANDS])
def test_help_has_an_example(command: str) -> None:
    """-h says what a command is for, and gives an example of exactly that command."""
    told = leadline(*command.split(), "-h")
    assert told.returncode == 0
    assert re.search(rf"Example: leadline (--(database|key-file) \S+ )?{command}", told.stdout)


def test_every_command_is_in_the_list() -> None:
    """The list above is what the program offers, so that no new command goes without help."""
    offered = set()
    for group in ("", *GROUPS):
        shown = leadline(*group.split(), "-h").stdout.split("Commands:")[1]
        offered |= {f"{group} {name}".strip() for name in re.findall(r"^  ([a-z-]+)  ", shown, re.MULTILINE)}
    assert offered - set(GROUPS) == set(COMMANDS)


@pytest.mark.parametrize(
    "words",
    [
        "due", "due plover-plant", "due --moved", "forecast plover-plant", "forecast plover-plant --score",
        "plan plover-plant", "plan plover-plant --new", "upgrade", "key list", "config show",
        "key add counter --label desk --vessel demo-plover",
        "key person office --name Office --role office", "feed second demo-plover",
        "calendar show demo-plover", "key link second", "reading plover-vp2-hours 100", "counter show plover-vp1-hours",
        "counter adjust plover-vp1-hours --hours 4 --reason log", "job done alarm_test:plover-plant:1 --by A --test passed",
    ],
)  # fmt: skip
def test_json_alone_is_on_stdout(ship: Ship, words: str) -> None:
    """With --json stdout is one JSON document, whatever is said on stderr."""
    good(*ship.words("key", "person", "second", "--name", "B", "--role", "engineer", "--vessel", "demo-plover"))
    assert isinstance(json.loads(good(*ship.words(*words.split(), "--json"))), dict)


@pytest.mark.long
def test_every_date_is_explained_and_scored_or_said_to_be_too_young(ship: Ship) -> None:
    """`due --explain` shows one job with its sentence, `forecast` all of them; two readings are no history to score on."""
    jobs = json.loads(good(*ship.words("due", "plover-plant", "--json")))["jobs"]
    for job in jobs:
        assert job["why"]["sentence"] in good(*ship.words("due", "--explain", job["job"]))
    shown = good(*ship.words("forecast", "plover-plant"))
    assert all(job["why"]["sentence"] in shown for job in jobs)
    assert re.search(r"early \w+ \d+ \w+ \d+, likely ", shown)
    told = leadline(*ship.words("due", "--explain", "knives:nobody:1"))
    assert told.returncode == 1
    assert "no open job knives:nobody:1" in told.stderr
    scored = good(*ship.words("forecast", "plover-plant", "--score"))
    assert "365 days ahead: too short a history to tell; it takes 834 days" in scored


@pytest.mark.long
def test_from_a_reading_to_a_verified_history(ship: Ship) -> None:
    """Due, plan, take, job done, history; the export verifies offline, also against a stamp, until a byte is changed."""
    jobs = json.loads(good(*ship.words("due", "plover-plant", "--json")))["jobs"]
    assert {"job", "state", "due_at", "caution"} <= jobs[0].keys()
    digest = re.search(r"plan ([0-9a-f]{12}) proposed", good(*ship.words("plan", "plover-plant")))
    assert digest is not None
    assert "taken" in good(*ship.words("plan", "plover-plant", "--take", digest[1]))
    assert leadline(*ship.words("plan", "plover-plant", "--take", "0" * 64)).returncode == 6
    job = next(j["job"] for j in jobs if j["kind"] == "alarm_test")
    done = ship.words("job", "done", job, "--by", "A. Second", "--test", "passed", "--findings", "=1+1")
    assert good(*done).startswith(f"{job}: closed")
    again = leadline(*done)
    assert again.returncode == 1
    assert "done already" in again.stderr
    out = ship.folder / "history.jsonl"
    told = leadline(*ship.words("history", "demo-plover", "--out", str(out)))
    assert (told.returncode, told.stdout) == (0, "")
    assert f"leadline verify {out}" in told.stderr
    again = good(*ship.words("history", "demo-plover")).splitlines()
    assert again[1:-1] == out.read_text().splitlines()[1:]
    assert "export made" in again[-1]
    whole = json.loads(good("verify", str(out), "--json"))
    assert whole["verified"] is True
    assert "Verified" in good("verify", str(out), "--stamp", whole["head"])
    assert leadline("verify", str(out), "--stamp", "0" * 64).returncode == 7
    assert "'=1+1" in good(*ship.words("history", "demo-plover", "--format", "csv"))
    out.write_text(out.read_text().replace("A. Second", "B. Second"))
    broken = process("verify", str(out), "--json")
    assert broken.returncode == 7
    assert json.loads(broken.stdout)["verified"] is False
    assert "NOT VERIFIED at record" in broken.stderr


def test_histories_of_many_vessels_are_one_file_that_verifies_or_a_file_each(ship: Ship) -> None:
    """A line a vessel with until when it is complete; a folder gets a file each, of any form; what is no folder is jsonl alone."""
    out, folder = ship.folder / "fleet.jsonl", ship.folder / "all"
    folder.mkdir()
    assert f"leadline verify {out}" in leadline(*ship.words("fleet-history", "--out", str(out))).stderr
    assert "Verified: Demo Plover" in (said := good("verify", str(out)))
    assert "complete until 20" in said
    whole = json.loads(good("verify", str(out), "--json"))
    assert (whole["verified"], [one["vessel"] for one in whole["vessels"]]) == (True, ["Demo Plover"])
    assert leadline("verify", str(out), "--stamp", "0" * 64).returncode == 2
    out.write_text("".join(out.read_text().splitlines(keepends=True)[:-1]))
    cut = leadline("verify", str(out))
    assert (cut.returncode, "cut short" in cut.stderr) == (7, True)
    for form in ("jsonl", "csv"):
        assert leadline(*ship.words("fleet-history", "--out", str(folder), "--format", form)).returncode == 0
    assert "Verified" in good("verify", str(folder / "demo-plover-history.jsonl"))
    assert sorted(one.name for one in folder.iterdir()) == ["demo-plover-history.csv", "demo-plover-history.jsonl"]
    assert leadline(*ship.words("fleet-history", "--format", "csv")).returncode == 2
    assert leadline(*ship.words("fleet-history", "demo-nobody")).returncode == 1


def test_verify_loads_nothing_heavy(tmp_path: Path) -> None:
    """An auditor's check needs no database, no web server and no solver: none of them is even imported."""
    (tmp_path / "x.jsonl").write_text("{}\n")
    code = (
        "import sys; from api.__main__ import main\n"
        f"sys.argv = ['leadline', 'verify', {str(tmp_path / 'x.jsonl')!r}]\n"
        "try: main()\nexcept SystemExit as end: print(end.code)\n"
        "print(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    code_said, loaded = done.stdout.splitlines()
    assert code_said == "7"
    assert not HEAVY & set(loaded.split())


@pytest.mark.parametrize(
    ("value", "hours_ago", "says"),
    [
        ("103", 0.5, "stored; credited"),
        ("60", 0.5, "stored; held: decrease"),
        ("99", 2, "stored; jitter"),
    ],
)
def test_a_reading_by_hand_is_told_its_verdict(ship: Ship, value: str, hours_ago: float, says: str) -> None:
    """What the ledger makes of it is said at once: credited, jitter of one count, or held (backwards); one to come is refused."""
    at = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=hours_ago)
    assert says in good(*ship.words("reading", PLOVER.counter(0), value, "--at", at.isoformat()))
    later = (at + timedelta(days=3)).isoformat()
    assert "still to come" in leadline(*ship.words("reading", PLOVER.counter(0), value, "--at", later)).stderr


@pytest.mark.long
@pytest.mark.parametrize(("days_ago", "code"), [(10, 0), (38, 3), (80, 4)])
def test_due_check_tells_a_script_by_its_exit_code(ship: Ship, days_ago: int, code: int) -> None:
    """One monthly job with 14 days' tolerance, last done so many days ago: good, past due, past its limit."""
    plant = ship.document["plants"][0]
    kind = next(kind for kind in plant["job_kinds"] if kind["code"] == "alarm_test") | {"tolerance_days": 14}
    done_at = (datetime.now(UTC) - timedelta(days=days_ago)).isoformat()
    last = {"kind": "alarm_test", "subject": "plover-plant", "done_at": done_at}
    document = ship.document | {"plants": [plant | {"job_kinds": [kind], "last_done": [last]}]}
    (ship.folder / "one.json").write_text(json.dumps(document))
    database = ("--database", str(ship.folder / "one.db"))
    good(*database, "import", str(ship.folder / "one.json"))
    assert leadline(*database, "due", "--check").returncode == code
    if code == 4:  # the same code leaves the process
        assert process(*database, "due", "plover-plant", "--check").returncode == code
    assert leadline(*database, "due").returncode == 0


def test_keys_people_links_and_feeds_are_shown_once(ship: Ship) -> None:
    """Secrets come on stdout alone, once; the list and the database have none of them; a revoked key is marked so."""
    good(*ship.words("key", "person", "chief", "--name", "A. Chief", "--role", "chief", "--vessel", "demo-plover"))
    key = good(*ship.words("key", "add", "counter", "--vessel", "demo-plover", "--label", "gateway")).strip()
    assert re.fullmatch(r"ll_[0-9a-f]{8}_[\w-]{43}", key)
    prefix = key.split("_")[1]
    listed = good(*ship.words("key", "list"))
    assert prefix in listed
    assert key not in listed
    good(*ship.words("key", "revoke", prefix))
    assert "revoked" in good(*ship.words("key", "list"))
    link = good(*ship.words("key", "link", "chief")).strip().split("/enter/")[1]
    address = re.search(r"/cal/([\w-]{43})/plan\.ics", good(*ship.words("feed", "chief", "demo-plover")))
    assert address is not None
    assert address[1] not in good(*ship.words("feed", "list"))
    stored = b"".join(file.read_bytes() for file in ship.folder.glob("ship.db*"))
    for secret in (key, link, address[1]):
        assert secret.encode() not in stored


def test_a_calendar_address_is_made_listed_changed_and_withdrawn(ship: Ship) -> None:
    """Both forms of the address and the honest words at each showing; what is listed is what was asked for."""
    good(*ship.words("key", "person", "chief", "--name", "A. Chief", "--role", "chief", "--vessel", "demo-plover"))
    asked = ("chief", "demo-plover", "--label", "bridge", "--alarms", "--kinds", "alarm_test", "--days", "30")
    told = leadline(*ship.words("feed", "make", *asked, "--json"))
    made = json.loads(told.stdout)
    assert made["webcal"].partition("://")[2] == made["address"].partition("://")[2]
    assert "It is no alarm" in told.stderr
    assert "does not reach a ship's own network" in told.stderr
    (one,) = json.loads(good(*ship.words("feed", "list", "chief", "--json")))["feeds"]
    assert (one["id"], one["label"], one["alarms"], one["kinds"]) == (made["id"], "bridge", True, ["alarm_test"])
    changed = json.loads(good(*ship.words("feed", "rotate", made["id"], "--json")))
    assert changed["address"] != made["address"]
    good(*ship.words("feed", "revoke", made["id"]))
    assert "withdrawn" in good(*ship.words("feed", "list"))
    assert "no longer good" in leadline(*ship.words("feed", "rotate", made["id"])).stderr


def test_a_document_is_replaced_on_request_alone(ship: Ship) -> None:
    """The same vessel again is refused; with --replace it is the next version."""
    words = ship.words("import", str(ship.folder / "plover.json"))
    assert "--replace" in leadline(*words).stderr
    (ship.folder / "plover.json").write_text(json.dumps(ship.document | {"name": "Demo Plover II"}))
    assert good(*words, "--replace") == "demo-plover: version 2\n"
    assert "Demo Plover II" in good(*ship.words("due"))


@pytest.mark.long
def test_upgrade_says_where_a_database_stands(ship: Ship) -> None:
    """An empty one gets its tables, a current one is left as it is."""
    new = ship.folder / "new.db"
    new.touch()
    assert re.fullmatch(r"empty to v\d{4}\n", good("--database", str(new), "upgrade"))
    assert good("--database", str(new), "upgrade").startswith("already at v")
    assert json.loads(good(*ship.words("upgrade", "--json")))["backup"] is None


def test_settings_come_from_flag_environment_and_file(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> None:
    """The database named by flag, environment, secret file and TOML is the one that is read; NO_COLOR changes nothing."""
    monkeypatch.setattr(clock, "system_clock", fixed_clock(datetime.now(UTC)))  # answers say the time to the minute
    config = ship.folder / "leadline.toml"
    config.write_text(f"database = {json.dumps(ship.database)}\nport = 9001\n")
    (ship.folder / "address").write_text(f"{ship.database}\n")
    due = good(*ship.words("due"))
    assert good("due", LEADLINE_DATABASE=ship.database) == due
    assert good("due", LEADLINE_DATABASE_FILE=str(ship.folder / "address"), NO_COLOR="1") == due
    assert good("--config", str(config), "due") == due
    told = json.loads(good("--config", str(config), "config", "show", "--json", LEADLINE_FROZEN_DAYS="3"))
    assert told["port"] == {"value": "9001", "from": f"file {config}", "is": "port to listen on"}
    assert told["frozen_days"]["from"] == "environment LEADLINE_FROZEN_DAYS"
    assert told["host"]["from"] == "default"


def test_the_version_is_said() -> None:
    """`--version` answers on stdout, and the installed command starts."""
    told = process("--version")
    assert told.returncode == 0
    assert re.fullmatch(r"leadline \d[\w.]*\n", told.stdout)


def test_a_pull_down_is_worked_out_and_recorded_only_when_asked(ship: Ship) -> None:
    """Without --result nothing is recorded; with it the pump is proved and the record's number is said."""
    words = ["pulldown", "plover-pump-c", "--from", "35", "--to", "50", "--seconds", "45"]
    assert "65.6 m³/h swept" in good(*ship.words(*words))
    assert "pump tested" not in good(*ship.words("history", "demo-plover"))
    told = good(*ship.words(*words, "--result", "passed", "--by", "A. Second", "--json"))
    assert json.loads(told)["pump_state"] == "proved"
    assert "pump tested" in good(*ship.words("history", "demo-plover"))


@pytest.mark.long
def test_hours_are_taken_away_by_two_people_and_an_undo_comes_once(ship: Ship) -> None:
    """Asked for with one person's own key and confirmed with another's; undone by the one who recorded it, and not a second time."""
    name = PLOVER.counter(0)
    second, chief = ship.own_key("second", "S", "engineer"), ship.own_key("chief", "C", "chief")

    def hours() -> float:
        due = json.loads(good(*ship.words("counter", "show", name, "--json")))
        return sum(entry["credit_hours"] for entry in due["entries"])

    def told(*words: str, key: str = second) -> dict:
        return json.loads(good(*ship.words("--key-file", key, "counter", *words, "--json")))

    assert hours() == 2
    added = told("adjust", name, "--hours", "40", "--reason", "starter log")
    assert hours() == 42
    assert told("undo", name, added["id"], "--reason", "wrong pump")["event"] == "undo"
    assert hours() == 2
    again = leadline(*ship.words("counter", "undo", name, added["id"], "--reason", "wrong pump"))
    assert (again.returncode, "was undone by" in again.stderr) == (1, True)
    asked = told("adjust", name, "--hours", "-1.5", "--reason", "log misread")
    assert (asked["event"], hours()) == ("adjustment asked", 2)
    assert told("confirm", name, asked["id"], key=chief)["event"] == "adjustment"
    assert hours() == 0.5
    shown = good(*ship.words("counter", "show", name))
    assert "asked for by S, engineer" in shown
    assert "C, chief" in shown


@pytest.mark.long
def test_the_plan_says_why_a_job_stands_where_it_stands(ship: Ship) -> None:
    """Reasons in words, one line for a job on its best day and no instant in UTC for any; an unknown key is told so."""
    told = json.loads(good(*ship.words("plan", "plover-plant", "--json")))
    lines = []
    for slot in told["proposed"]["slots"][:4]:
        said = good(*ship.words("plan", "plover-plant", "--explain", slot["job"]))
        assert "limit" in said
        assert not re.search(r"\dT\d|\dZ|UTC", said)
        lines.append(len(said.splitlines()))
        assert (lines[-1] == 1) == said.startswith("It stands on its best day, ")
    assert 1 in lines
    unknown = leadline(*ship.words("plan", "plover-plant", "--explain", "overhaul:nothing:1"))
    assert unknown.returncode == 1
    assert "has no job overhaul:nothing:1" in unknown.stderr


@pytest.mark.long
def test_a_step_of_the_work_is_refused_in_words_or_kept_as_a_fact(ship: Ship) -> None:
    """Without a permit no tag; told as a fact it is kept, flagged, and shown."""
    key = "knife_inspection:plover-pump-b-knives:1"
    words = ["job", "step", key, "tag placed", "point=supply breaker", "tag_no=T-12", "--by", "A. Second"]
    refused = leadline(*ship.words(*words))
    assert refused.returncode == 1
    assert "No permit holds" in refused.stderr
    assert "flagged: No permit holds" in good(*ship.words(*words, "--fact"))
    shown = good(*ship.words("job", "step", key))
    assert "tag T-12" in shown
    assert "people clear: none" in shown
    assert leadline(*ship.words(*words[:4], "point", "--by", "A")).returncode == 2


def test_the_minimum_follows_from_fixtures_and_becomes_a_block(ship: Ship) -> None:
    """100 closets, 5 flushes of 60 litres: 30 free; taken, the document has one block more."""
    words = ["minimum", "plover-plant", "--closets", "100", "--flushes", "5", "--litres", "60"]
    assert good(*ship.words(*words)).startswith("30 m³/h of free air")
    told = json.loads(
        good(*ship.words(*words, "--label", "full ship", "--from", "2030-12-20", "--to", "2031-01-03", "--json"))
    )
    assert told["version"] == 2
    assert "minimum block put in: full ship" in good(*ship.words("history", "demo-plover"))
