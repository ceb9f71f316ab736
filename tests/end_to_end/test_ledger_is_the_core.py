"""The stored path gives what the pure core gives, whatever comes in whichever order, clocks put right and future stamps too."""

from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import delete, select

from scheduler.actions.base.context import Context
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.hours.ledger import Setup, derive
from scheduler.settings import Settings
from scheduler.storage.hours.counters import FlagRow, find_counter
from scheduler.storage.hours.intake import Intake
from scheduler.storage.hours.readings import ReadingRow
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import TurnedClock
from tests.end_to_end.test_counter_events import NAME, OFFICE, document
from tests.end_to_end.test_ledger_stored import book, drop
from tests.property.counter_pasts import troubled
from tests.storage.stores import store

HOURS = Setup(3600, None, 1000, NAME)


def test_any_arrival_is_stored_to_the_ledger_that_one_replay_gives(tmp_path: Path) -> None:
    """R1, R3, R12: posts shuffled, doubled and cut into batches, derived in between or not: entries, totals and flags are
    those of the pure fold over the same readings, and the readings are as they came."""
    with store("sqlite", tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        changes.put_vessel(context, OFFICE, VESSEL.validate_python(document()), if_new=True)
        with Intake(context.db, context.clock) as intake:

            @given(st.data())
            @settings(max_examples=settings.default.max_examples // 4)
            def law(data: st.DataObject) -> None:
                _law(context, intake, data)

            law()


def _law(context: Context, intake: Intake, data: st.DataObject) -> None:
    with context.db.write(PLOVER.vessel) as session:
        session.execute(delete(ReadingRow))
        row = find_counter(session, NAME)
    assert row is not None
    drop(context)
    posts = {p.at_s - p.skew_s: p for p in data.draw(troubled(HOURS, 12))}  # one value a stamp: no conflicts
    pairs = list(posts.items())
    arrivals = data.draw(st.permutations([*pairs, *data.draw(st.lists(st.sampled_from(pairs), max_size=4))]))
    stops = data.draw(st.sets(st.integers(0, len(arrivals)), max_size=4))
    for n, (stamp_s, post) in enumerate(arrivals):
        reading = (row.no or 0, stamp_s, post.value_milli, post.received_s)
        intake.submit(PLOVER.vessel, [reading], (), post.skew_s).result()
        if n in stops:
            derive_vessel(context, PLOVER.vessel)
    entries, flags = book(context)[NAME]
    expected = derive(HOURS, list(posts.values()))
    assert [(e[0], e[2], e[3], e[5], e[6]) for e in entries] == [tuple(e) for e in expected.entries]
    rows = [FlagRow.of(PLOVER.vessel, 1, flag) for flag in expected.flags]
    assert flags == {(f.code, f.at_s, f.facts, f.seconds) for f in rows}
    with context.db.read() as session:
        kept = {(r.at_s, r.value_milli, r.received_s, r.skew_s) for r in session.exec(select(ReadingRow))}
    assert kept == {(stamp_s, p.value_milli, p.received_s, p.skew_s) for stamp_s, p in pairs}
