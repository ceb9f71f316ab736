"""What the office asks of a ship, by command."""

import json

from scheduler.actions.base.context import Context
from scheduler.actions.shore.applying import take_in
from scheduler.clock import system_clock
from scheduler.settings import Settings
from scheduler.storage.database import INSTALLATION, open_database
from scheduler.storage.shore.ships import ShipLineRow
from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


def test_asked_listed_and_taken_back_at_the_office_and_answered_aboard(ship: Ship) -> None:
    """An edited document goes down as what differs; the chief engineer's own key declines it aboard; what may be taken back is."""
    office = ("--key-file", ship.own_key("desk", "A. Desk", "office"))
    chief = ("--key-file", ship.own_key("chief", "A. Chief", "chief"))
    document = json.loads(good(*ship.words("vessel", "show", "demo-plover")))
    document["plants"][0]["crew"]["hands"] += 1
    edited = ship.folder / "edited.json"
    edited.write_text(json.dumps(document))
    change = ("request", "change", "demo-plover", str(edited), "--reason", "one joins")
    assert "keeps her records here" in leadline(*ship.words(*office, *change)).stderr
    context = Context(open_database(ship.database), system_clock, Settings(database=ship.database))
    with context.db.write(INSTALLATION) as session:
        line = ShipLineRow(
            vessel_id="demo-plover", life="first", number=1, heard_at=context.now(), since_at=context.now()
        )
        session.add(line)
    assert "It takes a person" in leadline(*ship.words(*change)).stderr
    assert good(*ship.words(*office, *change)).startswith("request 1 to demo-plover: sent")
    part = ship.folder / "part.json"
    part.write_text(json.dumps({"what": "take work step"}))
    assert "never from the office" in leadline(*ship.words(*office, "request", "ask", "demo-plover", str(part))).stderr
    part.write_text("{")
    assert "part.json" in leadline(*ship.words(*office, "request", "ask", "demo-plover", str(part))).stderr
    (asked,) = json.loads(good(*ship.words("request", "list", "demo-plover", "--json")))["asked"]
    assert (asked["stage"], asked["says"]) == ("sent", "sent, not fetched yet")
    assert "withdrawn" in good(*ship.words(*office, "request", "withdraw", "demo-plover", "1"))
    said = {"number": 2, "what": asked["what"], "arguments": asked["arguments"], "seen": {}, "role": "office"}
    at = int(context.now().timestamp())
    by = {
        "by_id": "desk",
        "by": asked["asked_by"],
        "vouched_id": "",
        "vouched": "",
        "asked_s": at,
        "until_s": at + 86_400,
    }
    with context.db.write(INSTALLATION) as session:
        session.delete(line)
    take_in(context, "demo-plover", [{**said, **by}])
    context.db.close()
    answer = ("request", "answer", "demo-plover", "2")
    assert "Say why" in leadline(*ship.words(*chief, *answer, "--decline")).stderr
    assert "declined: enough hands" in good(*ship.words(*chief, *answer, "--decline", "--reason", "enough hands"))
    assert "  2 declined" in good(*ship.words("request", "list", "demo-plover"))
