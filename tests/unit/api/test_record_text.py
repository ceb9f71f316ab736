"""A record's text in the workbook: as people say it, of every kind of record that an invented ship's life leaves behind."""

import gzip
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from api.exports.record_text import MOST_THINGS, RecordTexts
from scheduler.actions.record.period import PlantPeriod, VesselPeriod
from scheduler.domain.record.chain import Record
from scheduler.domain.vessel.document import Vessel
from scheduler.shiptime import ShipOffset
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import SHIPS

KEPT = Path(__file__).parents[2] / "frozen" / "kept"
AT = datetime(2026, 10, 20, 7, tzinfo=UTC)
MACHINE = re.compile(r"_|\bNone\b|\d{4}-\d\d-\d\d|\d\d:\d\d:\d\d|[0-9a-f]{12,}|\bseconds\b|litres|\bmilli\b")
"""Member names, instants of machines, hashes, and units nobody reads."""


@cache
def _vessel(key: str) -> Vessel:
    run = Run(next(one for one in SHIPS if one.key == key), 1, AT, 0.02)
    return TypeAdapter(Vessel).validate_python(vessel_document(run))


def _texts(key: str = "plover") -> RecordTexts:
    plants = tuple(PlantPeriod(plant=plant, pumps=()) for plant in _vessel(key).plants)
    on, offset = AT.date(), ShipOffset(-180)
    return RecordTexts(VesselPeriod(vessel_name="", imo="", offset=offset, first_on=on, last_on=on, plants=plants))


def _record(members: dict[str, Any]) -> Record:
    at = datetime.fromisoformat(members.get("recorded_at", AT.isoformat()))
    return Record(
        number=1, kind=str(members.get("kind", "")), text=json.dumps(members), hash="", previous_hash="", recorded_at=at
    )


def _said(members: dict[str, Any]) -> str:
    return _texts().said(_record(members), members).replace("\u00a0", " ").replace("\u202f", " ")


def _frozen(key: str) -> Iterator[dict[str, Any]]:
    with gzip.open(KEPT / f"record-demo-{key}.jsonl.gz", "rt") as lines:
        for line in lines:
            if "text" in (told := json.loads(line)):
                yield json.loads(told["text"])


@pytest.mark.parametrize("key", ["avocet", "plover"])
def test_no_member_name_second_or_id_stands_in_a_text(key: str) -> None:
    """Whatever kind of record: all kinds of the frozen lives."""
    texts = _texts(key)
    ids = {one.id for plant in _vessel(key).plants for one in (plant, *plant.pumps, *plant.positions, *plant.counters)}
    for members in _frozen(key):
        record = _record(members)
        for said in (texts.said(record, members), texts.pump(record, members)):
            assert not MACHINE.search(said), (record.kind, said)
            assert not [one for one in ids if one in said], (record.kind, said)


def test_a_closed_job_is_said_in_ship_time_hours_and_units() -> None:
    """From due with its sign, dates as aboard, what is in a column of its own not again."""
    members = {
        "kind": "closed job",
        "job_no": "knife_inspection:plover-pump-a-knives:5",
        "done_at": "2026-03-01T01:30:00Z",
        "done_by": "Demo second",
        "recorded_by": "Demo relief, second engineer",
        "running_seconds": str(6_956 * 3600),
        "due_running_seconds": str(7_063 * 3600),
        "due_at": "2026-03-02T01:00:00Z",
        "seconds_from_due": str(-107 * 3600 - 1),
        "days_from_due": "-1",
        "least_margin_swept_m3_per_h": "89.9",
        "findings": "Edges good.",
        "from_paper": False,
        "verdict": "in window",
        "checked_by": None,
    }
    assert _said(members) == (
        "VP1 knife inspection; done: 28 Feb 2026 22:30; done at: 6 956 running h; due at: 7 063 running h; due on: 1 Mar 2026; "
        "from due: −107 h; findings: Edges good; from due date: −1 d; least margin: 89 m³/h swept; "
        "recorded by: Demo relief, second engineer"
    )
    assert _said({**members, "from_paper": True}).endswith(
        "from paper; least margin: 89 m³/h swept; recorded by: Demo relief, second engineer"
    )


@pytest.mark.parametrize(("things", "more"), [(MOST_THINGS, ""), (MOST_THINGS + 1, ", and 1 more")])
def test_of_a_long_list_the_rest_is_counted(things: int, more: str) -> None:
    """Twelve stand there in full, of thirteen the last is counted."""
    days = [{"from_on": "2026-03-01", "to_on": "2026-03-02", "now": "sea", "was": None}] * things
    said = _said({"kind": "operating calendar changed", "days": days})
    assert said.count("1 Mar 2026 to 2 Mar 2026 sea") == MOST_THINGS
    assert said.endswith(f"sea{more}")


def test_a_person_is_named_once_a_record_gave_the_name() -> None:
    """Before that the id is all that is known."""
    texts, signed = _texts(), {"kind": "signed in", "by": "passphrase", "person": "chief-plover"}
    assert texts.said(_record(signed), signed) == "Person: chief-plover"
    added = {
        "kind": "person added",
        "by": "the demo",
        "person": "chief-plover",
        "name": "Demo chief",
        "rank": "chief engineer",
    }
    assert texts.said(_record(added), added) == "Name: Demo chief; rank: chief engineer"
    assert texts.said(_record(signed), signed) == "Person: Demo chief"


def test_a_step_that_is_not_understood_is_said_member_by_member() -> None:
    """A record of another version is no reason for an export to fail."""
    step = {"kind": "danced", "at": "2026-03-01T01:30:00Z", "how_often": "2"}
    assert _said({"kind": "work: danced", "step": step}) == "When 28 Feb 2026 22:30 how often 2 kind danced"
