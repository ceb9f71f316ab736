"""The operating calendar by the command: entered, taken in from a file, shown, taken back."""

import json

from tests.cli.calling import good, leadline
from tests.cli.conftest import Ship

BAD = "from,to,kind\n2026-10-01,2026-10-32,sea\n2026-10-05,2026-10-06,harbour\n"


def test_days_by_the_command(ship: Ship) -> None:
    """Added, read back as CSV, cleared, taken back; each says which days changed."""
    added = good(*ship.words("calendar", "add", "demo-plover", "port", "2099-11-28", "2099-11-30", "--note", "bunkers"))
    assert "2099-11-28 to 2099-11-30: nothing entered, now port" in added
    csv = good(*ship.words("calendar", "show", "demo-plover", "--csv"))
    assert csv.splitlines() == ["from,to,kind,source,note", "2099-11-28,2099-11-30,port,plan,bunkers"]
    assert "now nothing" in good(*ship.words("calendar", "clear", "demo-plover", "2099-11-28"))
    good(*ship.words("calendar", "undo", "demo-plover"))
    shown = json.loads(good(*ship.words("calendar", "show", "demo-plover", "--json")))
    assert [s["from_on"] for s in shown["stretches"]] == ["2099-11-28"]
    assert shown["version"] == 3
    (ship.folder / "days.csv").write_text(csv.replace("port", "yard"))
    taken = good(*ship.words("calendar", "import", "demo-plover", str(ship.folder / "days.csv")))
    assert "port, now yard" in taken


def test_a_bad_file_and_a_bad_date(ship: Ship) -> None:
    """Every bad cell on stdout, exit 1, nothing taken in; a date that is none is wrong use."""
    (ship.folder / "days.csv").write_text(BAD)
    told = leadline(*ship.words("calendar", "import", "demo-plover", str(ship.folder / "days.csv")))
    assert told.returncode == 1
    assert "row 2, column to: '2026-10-32'" in told.stdout
    assert "row 3, column kind: 'harbour'" in told.stdout
    assert leadline(*ship.words("calendar", "add", "demo-plover", "sea", "28/11/2099")).returncode == 2
    late = leadline(*ship.words("calendar", "add", "demo-plover", "sea", "2099-01-01", "--log"))
    assert late.returncode == 1
    assert "still to come" in late.stderr
