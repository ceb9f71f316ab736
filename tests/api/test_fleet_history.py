"""Histories of many vessels in one file: each chain verifies by itself, none can be missing unseen, one that is broken is named."""

import json
import random
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.actions.record.history import head_of
from scheduler.domain.base.enums import Role
from scheduler.domain.record.verify import Broken, Verified, verify_lines
from scheduler.domain.record.verify_fleet import checked_line, verify_fleet
from scheduler.storage.shore.ships import ShipLineRow
from seed_fleet.ships import AVOCET, PLOVER
from tests.api.stage import AT, Stage, staged, stamp

PATH = "/api/v1/fleet/history"


def _lines(stage: Stage, query: str = "", role: Role = Role.OFFICE) -> list[str]:
    answer = stage.ask("GET", f"{PATH}?{query}", role=role)
    assert answer.status_code == 200, answer.text
    return answer.text.splitlines(keepends=True)


@pytest.fixture(scope="module")
def whole(module_stage: Stage) -> list[str]:
    """Both ships, as the office takes them out."""
    return _lines(module_stage)


def test_every_chain_verifies_and_the_file_says_until_when_each_is_complete(
    module_stage: Stage, whole: list[str]
) -> None:
    """In the whole file, and cut out of it as a file of its own; the lines of a vessel are those of her own export."""
    parts, wrong = verify_fleet(whole)
    assert wrong is None
    assert [part.vessel for part in parts] == ["Demo Avocet", "Demo Plover"]
    assert {part.complete_until for part in parts} == {stamp(AT)}
    begins = [number for number, line in enumerate(whole) if '"format":"leadline history 1"' in line]
    own = whole[begins[1] : -1]
    found = verify_lines(own)
    assert isinstance(found, Verified)
    assert found == parts[1].found
    again = module_stage.ask("GET", f"/api/v1/history?vessel={PLOVER.vessel}", role=Role.OFFICE).text
    assert again.splitlines(keepends=True)[1:-1] == own[1:]
    assert json.loads(json.loads(own[-1])["text"])["kind"] == "export made"


def test_any_line_left_out_doubled_or_moved_and_any_byte_changed_is_noticed(whole: list[str]) -> None:
    """Drawn by chance, and every line that is about the file as a whole."""
    draw, ends = random.Random(5), [number for number, line in enumerate(whole) if '"format"' in line[:4000]]
    for number in {*ends, *draw.sample(range(len(whole)), 12)}:
        line = whole[number]
        place = draw.randrange(len(line) - 1)
        byte = line[:place] + ("a" if line[place] != "a" else "b") + line[place + 1 :]
        for lines in (
            [*whole[:number], *whole[number + 1 :]],
            [*whole[: number + 1], line, *whole[number + 1 :]],
            [*whole[:number], byte, *whole[number + 1 :]],
            whole[:number],
        ):
            assert not _holds(lines)
    assert not _holds([])
    assert not _holds(["\x00\n"])
    assert not _holds([*whole, whole[1]])


def _holds(lines: list[str]) -> bool:
    parts, wrong = verify_fleet(lines)
    return wrong is None and bool(parts) and all(isinstance(part.found, Verified) for part in parts)


def test_a_whole_vessel_left_out_exchanged_or_of_another_day_is_noticed(whole: list[str]) -> None:
    """Also with a last line made to fit: then her part is not in the file, and with her older history in place of the newer."""
    begins = [number for number, line in enumerate(whole) if '"format":"leadline history 1"' in line]
    one, other = whole[begins[0] : begins[1]], whole[begins[1] : -1]
    for parts in ([one], [other], [other, one], [one, one, other]):
        assert not _holds([whole[0], *(line for part in parts for line in part), whole[-1]])
    end = json.loads(whole[-1])
    listed = {name: value for name, value in end.items() if name != "check"}
    fitted = checked_line({**listed, "vessels": listed["vessels"][:1]}) + "\n"
    assert _holds([whole[0], *one, fitted])  # a file of one ship is a file of one ship
    heads = [{**listed["vessels"][0], "head": "0" * 64}, listed["vessels"][1]]
    assert not _holds([*whole[:-1], checked_line({**listed, "vessels": heads}) + "\n"])
    assert not _holds([*whole[:-1], checked_line({**listed, "vessels": heads})])


def test_whoever_asks_gets_the_vessels_they_reach_and_those_they_name(module_stage: Stage) -> None:
    """The chief her own ship, another's is not there; an engineer none; a period that ends before it begins is refused."""
    assert [part.vessel for part in verify_fleet(_lines(module_stage, role=Role.CHIEF))[0]] == ["Demo Plover"]
    named = _lines(module_stage, f"vessel={AVOCET.vessel}&vessel={AVOCET.vessel}")
    assert [part.vessel for part in verify_fleet(named)[0]] == ["Demo Avocet"]
    asked = {
        f"{PATH}?vessel={AVOCET.vessel}": (Role.CHIEF, 404),
        f"{PATH}?vessel=nobody": (Role.OFFICE, 404),
        f"{PATH}?from={stamp(AT)}&to={stamp(AT)}": (Role.OFFICE, 422),
        PATH: (Role.ENGINEER, 403),
    }
    for path, (role, status) in asked.items():
        assert module_stage.ask("GET", path, role=role).status_code == status
    none = _lines(module_stage, f"to={AT.year - 5}-01-01T00:00:00Z")
    assert _holds(none)


def test_a_broken_chain_is_named_and_the_others_go_on(tmp_path: Path) -> None:
    """It is not exported as if it were whole: the last line says what is missing, and the check fails for that ship alone."""
    with staged(tmp_path) as both:
        with both.context.db.write(AVOCET.vessel) as session:
            ask = session.connection().exec_driver_sql
            ask("DROP TRIGGER record_no_delete")
            ask(f"DELETE FROM record WHERE vessel_id = '{AVOCET.vessel}' AND number = 1")
        parts, wrong = verify_fleet(_lines(both))
    assert wrong is None
    assert isinstance(parts[0].found, Broken)
    assert "Records 1 are missing or changed" in parts[0].found.says
    assert isinstance(parts[1].found, Verified)


def test_of_a_ship_that_is_written_aboard_the_file_says_until_when_she_was_heard(tmp_path: Path) -> None:
    """Complete until her last post, not until now; that it was taken out is on the installation's record, not on hers."""
    heard = AT - timedelta(days=3)
    with staged(tmp_path) as both:
        before = head_of(both.context, AVOCET.vessel)
        with both.context.db.write("") as session:
            session.add(
                ShipLineRow(vessel_id=AVOCET.vessel, life="a", number=1, hash="0" * 64, heard_at=heard, since_at=heard)
            )
        parts, wrong = verify_fleet(_lines(both))
        assert wrong is None
        assert [(part.vessel, part.complete_until) for part in parts] == [
            ("Demo Avocet", stamp(heard)),
            ("Demo Plover", stamp(AT)),
        ]
        assert all(isinstance(part.found, Verified) for part in parts)
        assert head_of(both.context, AVOCET.vessel) == before
