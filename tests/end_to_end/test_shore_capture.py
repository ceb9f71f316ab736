"""What is done aboard becomes changes: every row of truth, nothing else, in the transaction that changed it, on both databases."""

from pathlib import Path

import pytest

from scheduler.actions.shore.joining import join_office
from scheduler.storage.shore.truth import STAYS_ABOARD, TRUTH
from scheduler.storage.tables import METADATA
from seed_fleet.ships import PLOVER
from tests import shore
from tests.api.stage import staged
from tests.storage.stores import empty_url, kinds

V = PLOVER.vessel


def test_every_table_either_travels_or_stays_aboard() -> None:
    """A new table has to be named in one of the two lists, and no column of a key stays behind unnoticed."""
    assert set(METADATA.tables) == set(TRUTH) | STAYS_ABOARD
    for truth in TRUTH.values():
        keys = {column.name for column in METADATA.tables[truth.name].primary_key.columns} - {"vessel_id", "no"}
        assert keys <= set(truth.keys), truth.name
        order = list(TRUTH)
        for key in METADATA.tables[truth.name].foreign_keys:
            other = key.column.table.name
            assert other not in TRUTH or order.index(other) <= order.index(truth.name), (truth.name, other)


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds())
def test_every_door_used_once_leaves_no_row_out(kind: str, tmp_path: Path) -> None:
    """The story of all doors with a witness by triggers: what it saw is in the changes; the changes make what stands in the tables."""
    from scheduler.storage.database import open_database
    from scheduler.storage.migrate import create_or_check

    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        create_or_check(database)
        database.close()
        with staged(tmp_path, (PLOVER,), url=url) as stage:
            context = stage.context
            join_office(context, V, "http://office.lan", shore.key_file(tmp_path))
            shore.same_truth(context.db, V)
            shore.set_witness(context.db)
            before = len(shore.changes_of(context.db, V))
            list(shore.done_aboard(stage))
            changes = shore.changes_of(context.db, V)[before:]
            assert len(changes) > 50
            seen = shore.witnessed(context.db, V)
            assert len({name for name, _ in seen}) > 20
            assert seen - shore.captured(changes) == set()
            shore.same_truth(context.db, V)
