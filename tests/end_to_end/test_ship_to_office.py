"""A ship and her office, both whole: what is done aboard stands at the office row by row, whatever was lost on the way."""

import random
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.actions.shore.joining import join_office
from scheduler.actions.shore.sending import NotReached, OfficeCall, OfficeReply, Sending
from scheduler.domain.base.enums import Role
from scheduler.storage.database import Database, open_database
from scheduler.storage.migrate import create_or_check
from scheduler.storage.shore.lines import shore_line
from scheduler.storage.shore.ships import ship_line
from seed_fleet.ships import PLOVER
from tests import shore
from tests.api.stage import Stage, staged
from tests.storage.stores import empty_url, kinds

V = PLOVER.vessel
LOCAL = ("person", "intake_log")
"""People stand in a table of their own at the office, and items of the log get numbers of its own."""


def office_of(office: Stage, chance: random.Random, lost: float = 0.0):
    """Asks the office's real application; some requests and some answers are lost."""

    def ask(call: OfficeCall) -> OfficeReply:
        if chance.random() < lost:
            raise NotReached("ConnectError")
        sent = {"content": call.content} if call.content is not None else {"json": call.body}
        answer = office.client.request(call.method, call.path, headers={"Authorization": f"Bearer {call.key}"}, **sent)
        if chance.random() < lost:
            raise NotReached("ReadTimeout")
        return OfficeReply(status=answer.status_code, body=answer.json())

    return ask


def same_truths(ship: Database, office: Database) -> None:
    """All rows equal, and the number and hash of the newest change."""
    with ship.read() as session:
        line = shore_line(session, V)
    with office.read() as session:
        held = ship_line(session, V)
    assert line is not None
    assert held is not None
    assert (held.number, held.hash, held.life) == (line.number, line.hash, line.life)
    aboard, ashore = shore.stored(ship, V), shore.stored(office, V)
    left, right = ({place: row for place, row in one.items() if place[0] not in LOCAL} for one in (aboard, ashore))
    assert {place for place in left if place not in right} == set()
    assert {place for place in right if place not in left} == set()
    assert [(place, left[place], right[place]) for place in left if left[place] != right[place]] == []


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds())
def test_every_door_used_once_aboard_over_a_link_that_drops_stands_at_the_office(kind: str, tmp_path: Path) -> None:
    """The story of all doors, sent over a link that loses a third of requests and answers: every row equal, heads equal."""
    (tmp_path / "office").mkdir()
    (tmp_path / "ship").mkdir()
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        create_or_check(database)
        database.close()
        with (
            staged(tmp_path / "office", (), url=url) as office,
            staged(tmp_path / "ship", (PLOVER,)) as ship,
        ):
            made = office.ask(
                "POST", "/api/v1/keys", role=Role.OFFICE, json={"role": "ship", "vessel": V, "label": "server"}
            )
            assert made.status_code == 201, made.text
            file = tmp_path / "office.key"
            file.write_text(made.json()["key"])
            join_office(ship.context, V, "http://office.lan", file)
            chance = random.Random(5)
            sending = Sending(ship.context, office_of(office, chance, 0.3), chance=chance.random)

            def send() -> None:
                for _ in range(200):
                    sending.turn()
                    ship.clock.at += timedelta(seconds=301)
                    office.clock.at = ship.clock.at
                    with ship.context.db.read() as session:
                        line = shore_line(session, V)
                        if line.acknowledged == line.number:
                            return
                raise AssertionError((line.state, line.facts))

            send()
            same_truths(ship.context.db, office.context.db)
            began = ship.clock.at
            for number, _ in enumerate(shore.done_aboard(ship)):
                ship.clock.at = began
                if number % 40 == 39:
                    send()
                    ship.clock.at = began
            send()
            same_truths(ship.context.db, office.context.db)
