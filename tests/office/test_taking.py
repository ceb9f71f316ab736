"""The office's door: what a ship wrote is taken once, whole and in order, or refused in words with nothing stored."""

from concurrent.futures import ThreadPoolExecutor

from scheduler.storage.shore.ships import batch_rows, ship_line
from tests.api.stage import Stage
from tests.office.ship import Office, Ship, aboard


def _held(office: Office, vessel_id: str) -> tuple[int, int]:
    """(number held, batches kept)."""
    with office.context.db.read() as session:
        line = ship_line(session, vessel_id)
        return (line.number if line else 0), len(batch_rows(session, vessel_id))


def test_all_her_truth_arrives(office: Office, ship: Ship, stage: Stage) -> None:
    """Every row of every table of truth stands at the office as it stands aboard, and sent again it is stored once."""
    office.send_all(ship)
    assert office.rows() == aboard(stage)[1]
    held = _held(office, ship.vessel_id)
    office.send_all(ship)
    assert _held(office, ship.vessel_id) == held
    assert held[0] == len(ship.changes)


def test_eight_at_once_store_it_once(office: Office, ship: Ship) -> None:
    """Eight threads posting the same batch are all answered with the same number, and it stands once."""
    batch = ship.batch()
    office.key(ship.vessel_id)
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: office.send(batch), range(8)))
    assert {answer.status_code for answer in answers} <= {200, 503}
    assert {answer.json()["number"] for answer in answers if answer.status_code == 200} == {len(ship.changes)}
    assert _held(office, ship.vessel_id) == (len(ship.changes), 1)
