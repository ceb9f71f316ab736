"""The record: what was exported on that day verifies, and the same acts at the same clock are written down the same."""

import gzip
import json
import re
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.frozen import doors
from tests.frozen.conftest import Told
from tests.frozen.kept import KEPT, differences, masked
from tests.frozen.world import SHIPS

pytestmark = pytest.mark.long

SENTENCES = {
    "closed job": ("check", "findings", "flags", "limit_from", "measures", "parts_used", "tags", "tests"),
    "operating calendar changed": ("what",),
    "photo kept": ("bytes", "sha256"),
    "vessel document stored": ("changes",),
}
"""Kinds of records that carry sentences, and the members that do. They are compared by their being there alone, and so
are the digests of plans, wherever they stand; so are the photos of that day, which were no pictures."""
_DIGEST = re.compile(r"[0-9a-f]{64}")


def kept(vessel: str) -> str:
    """The export of that day."""
    return gzip.decompress((KEPT / f"record-{vessel}.jsonl.gz").read_bytes()).decode()


def lines(export: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The first line of an export, and its records."""
    first, *records = (json.loads(line) for line in export.splitlines())
    return first, records


def worded(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """The text of the new record with the old one's sentences and digests, spelled as records are."""
    mine = dict(new)
    for name in SENTENCES.get(old["kind"], ()):
        if name in mine and name in old and type(mine[name]) is type(old[name]):
            mine[name] = old[name]
    for name, value in old.items():
        if isinstance(value, str) and _DIGEST.fullmatch(value) and not name.endswith("sha256"):
            assert _DIGEST.fullmatch(mine[name]), name
            mine[name] = value
    return json.dumps(mine, ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))


def verified(export: str, head: str, folder: Path) -> None:
    """By the command that needs neither server nor database."""
    file = folder / "history.jsonl"
    file.write_text(export)
    told = doors.leadline("verify", str(file), "--stamp", head, "--json")
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout)["verified"] is True


@pytest.mark.parametrize("vessel", SHIPS)
def test_the_record_exported_on_that_day_verifies_and_one_changed_letter_shows(vessel: str, tmp_path: Path) -> None:
    """Against the stamp that the export itself ended in, as kept on paper."""
    export = kept(vessel)
    first, records = lines(export)
    assert len(records) == first["records"]
    verified(export, records[-1]["hash"], tmp_path)
    (tmp_path / "changed.jsonl").write_text(export.replace("Demo engineer", "Demo Engineer", 1))
    assert doors.leadline("verify", str(tmp_path / "changed.jsonl")).returncode == 7


@pytest.mark.parametrize("vessel", SHIPS)
def test_the_same_acts_leave_the_same_record(vessel: str, told: Told, tmp_path: Path) -> None:
    """Record by record the same canonical text, and over it the same chain; the export of today verifies as well."""
    first, old = lines(kept(vessel))
    export = told.said["records"][vessel]
    top, new = lines(export)
    assert [one["number"] for one in new] == [one["number"] for one in old]
    previous, same = "0" * 64, True
    for before, now in zip(old, new, strict=True):
        payload = json.loads(before["text"])
        text = worded(payload, json.loads(now["text"]))
        assert text == before["text"], f"record {before['number']}, {payload['kind']}"
        assert sha256(f"{previous}\n{text}".encode()).hexdigest() == before["hash"]
        same = same and now["text"] == before["text"]
        assert not same or now["hash"] == before["hash"]
        previous = before["hash"]
    found = list(differences(masked(first), masked(top)))
    assert not found, found
    verified(export, new[-1]["hash"], tmp_path)
