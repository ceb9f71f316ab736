"""`python -m seed_fleet` as its parent sees it: exit codes, progress lines, words on stderr, SIGTERM."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from seed_fleet.__main__ import KEYS_VARIABLE, run_seed
from tests.unit.seed_fleet.unwell import Unwell

ROOT = Path(__file__).parents[3]
BOTH = ("demo-plover", "demo-avocet")
KEYS = {
    "office": "o",
    "counter": {name: f"c-{name}" for name in BOTH},
    "engineer": {name: f"e-{name}" for name in BOTH},
}
ENVIRON = {KEYS_VARIABLE: json.dumps(KEYS)}


def start(url: str, *options: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "seed_fleet", url, "--years", "0.06", "--tries", "2", "--progress", *options],
        cwd=ROOT,
        env={**os.environ, **ENVIRON},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_the_past_is_posted_with_progress_then_the_present_until_sigterm(server: Unwell) -> None:
    """Documents, the whole past, then live rounds; progress counts up to its sum; SIGTERM while live ends with 0."""
    with start(server.url, "--live", "60") as child:
        lines = []
        assert child.stdout is not None
        for line in child.stdout:
            lines.append(json.loads(line))
            if lines[-1]["what"].startswith("live:"):
                break
        child.send_signal(signal.SIGTERM)
        _, talk = child.communicate(timeout=20)
    assert child.returncode == 0, talk
    assert "The past is posted" in talk
    past = [line for line in lines if not line["what"].startswith("live:")]
    assert [line["done"] for line in past] == sorted({line["done"] for line in past})
    assert past[-1]["done"] == past[-1]["of"]
    keys = {header["authorization"].removeprefix("Bearer ") for header in server.headers}
    assert keys == {"o", "c-demo-plover", "c-demo-avocet"}  # no replacement within so short a past
    stored = len(server.stored)
    live = sum(len(body["readings"]) for body in server.bodies[-2:])
    assert live == 8  # nine counters, one of them silent
    assert past[-1]["of"] - len(BOTH) <= stored <= past[-1]["of"] - len(BOTH) + live


@pytest.mark.long
def test_the_same_call_again_changes_nothing(server: Unwell) -> None:
    """Posting the same past again is all duplicates: what is stored stays the same."""
    for _ in range(2):
        with start(server.url, "--until", "2026-01-31T12:00:00Z") as child:
            _, talk = child.communicate(timeout=20)
        assert child.returncode == 0, talk
        stored = dict(server.stored)
        assert all("sent_at" not in body for body in server.bodies)
    assert server.stored == stored
    assert "{'duplicate': " in talk


def test_documents_alone_need_the_office_key_alone(server: Unwell) -> None:
    """`--documents` puts both vessels and the operating calendar of the one that keeps it, and posts nothing else."""
    assert run_seed([server.url, "--documents", "--years", "0.06"], {KEYS_VARIABLE: '{"office": "o"}'}) == 0
    assert [body["id"] for body in server.bodies if "id" in body] == list(BOTH)
    (calendar,) = (body["stretches"] for body in server.bodies if "stretches" in body)
    assert {(stretch["kind"], stretch["source"]) for stretch in calendar} == {
        (kind, source) for kind in ("sea", "port") for source in ("log", "plan")
    }


@pytest.mark.parametrize(
    ("spoilt", "says"),
    [("403", "putting vessel demo-plover: 403 The engine room says no."), ("503", "no answer after 1 tries")],
)
def test_a_server_that_refuses_ends_it_with_words(
    server: Unwell, capsys: pytest.CaptureFixture[str], spoilt: str, says: str
) -> None:
    """Refused or put off for good: exit code 1 and the reason on stderr, no traceback."""
    server.always = spoilt
    assert run_seed([server.url, "--years", "0.06", "--tries", "1"], ENVIRON) == 1
    assert says in capsys.readouterr().err


def test_other_readings_in_the_register_stop_it(server: Unwell, capsys: pytest.CaptureFixture[str]) -> None:
    """When the server answers conflict, the command stops and says what to do."""
    server.always = "conflict"
    assert run_seed([server.url, "--years", "0.06"], ENVIRON) == 1
    assert "Use an empty server" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "environ", "says"),
    [
        (["http://h"], {}, "no office key"),
        (["http://h"], {KEYS_VARIABLE: "{"}, "is not JSON"),
        (["http://h"], {KEYS_VARIABLE: "[]"}, "an object with office"),
        (["http://h"], {KEYS_VARIABLE: '{"office": "o", "counter": "c"}'}, "counter must be an object"),
        (["http://h", "--office-key", "o"], {}, "no counter key"),
        (["http://h", "--office-key", "o", "--counter-key", "demo-plover=c"], {}, "but no engineer key"),
        (["http://h", "--office-key", "o", "--counter-key", "other=c"], {}, "no vessel 'other'"),
        (["http://h", "--counter-key", "demo-plover"], {}, "VESSEL=KEY was expected"),
        (["ship.example"], ENVIRON, "an address such as"),
        (["http://h", "--until", "2026-01-31T12:00:00"], ENVIRON, "with its offset"),
        (["http://h", "--until", "9998-01-31T12:00:00Z", "--live", "5"], ENVIRON, "lies in the future"),
        (["http://h", "--years", "nan"], ENVIRON, "from 0.05 to 10"),
        (["http://h", "--live", "0"], ENVIRON, "from 1 to 86400"),
    ],
)
def test_wrong_use_ends_with_2_and_says_what_was_expected(
    capsys: pytest.CaptureFixture[str], options: list[str], environ: dict[str, str], says: str
) -> None:
    """Every wrong option or key is told apart, before anything is sent."""
    with pytest.raises(SystemExit) as ended:
        run_seed(options, environ)
    assert ended.value.code == 2
    assert says in " ".join(capsys.readouterr().err.split())
