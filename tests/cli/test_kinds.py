"""Job kinds from a spreadsheet on the command line: shown first, taken in when asked, bad cells named."""

import json

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship


def test_a_sheet_is_shown_first_and_taken_in_when_asked(ship: Ship) -> None:
    """A bad cell is named and nothing is taken; a good sheet changes nothing until --take."""
    file = ship.folder / "kinds.csv"
    file.write_text("code,name,subject,takes_hours,interval_days\nlamp,Lamp test,plant,x,30\n")
    bad = leadline(*ship.words("kinds", "plover-plant", str(file), "--take"))
    assert bad.returncode == 1
    assert "row 2, column takes_hours: 'x'" in bad.stderr
    file.write_text("code;name;subject;takes_hours;interval_days;takes_pump_out\nlamp;Lamp test;plant;1;30;no\n")
    assert "added: lamp" in good(*ship.words("kinds", "plover-plant", str(file)))
    taken = json.loads(good(*ship.words("kinds", "plover-plant", str(file), "--take", "--json")))
    assert (taken["taken"], taken["version"]) == (True, 2)
    assert json.loads(good(*ship.words("kinds", "plover-plant", str(file), "--json")))["same"] == ["lamp"]
