"""How it goes with much behind it: ten years of eight pumps, a thousand counters, five million readings.

Figures are the best of a few runs, on the wall clock, against bounds for a quiet machine. A busy one is slower at
everything: a bare loop is timed beside each figure, and the bound grows with it. Every query is also held to its plan:
seeks in an index, never a walk through a table. PostgreSQL gets fewer years and readings, since filling it takes long.
"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from scheduler.actions.base.context import Context
from scheduler.actions.hours import ledger
from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.running import running_hours
from scheduler.domain.vessel.document import Counter, Plant, Position, Pump, Stay
from scheduler.settings import Settings
from scheduler.storage.database import Database, Session
from scheduler.storage.hours.counters import CounterRow, counter_rows
from scheduler.storage.hours.readings import newest_readings
from tests.bench.load import LEEWAY, SHORT
from tests.storage.stores import add_vessel, kinds, store

pytestmark = pytest.mark.bench

HOUR_S, DAY_S = 3600, 86_400
T0 = 1_450_000_000 // DAY_S * DAY_S
PUMPS, COUNTERS = 8, 200 if SHORT else 1000
YEARS = {"sqlite": 1, "postgresql": 1} if SHORT else {"sqlite": 10, "postgresql": 2}
MILLIONS = {"sqlite": 0.2, "postgresql": 0.2} if SHORT else {"sqlite": 5, "postgresql": 1}
HOURS = YEARS["sqlite"] * 365 * 24
MOST_MB = 300


def best(act: Callable[[], object], runs: int = 5) -> float:
    """Milliseconds of the quickest of some runs."""
    took = []
    for _ in range(runs):
        began = time.perf_counter()
        act()
        took.append((time.perf_counter() - began) * 1000)
    return min(took)


def yardstick() -> float:
    """Milliseconds of a bare loop of a million additions: the yardstick."""

    def loop() -> None:
        total = 0
        for n in range(1_000_000):
            total += n

    return best(loop)


QUIET_MS = 30
"""The yardstick on a quiet machine of 2026."""


def hold(what: str, milliseconds: float, most: float) -> None:
    """Prints a figure with its bound, and holds it to that."""
    loop = yardstick()
    print(f"\n{what}: {milliseconds:.0f} ms (at most {most:.0f}); a bare loop {loop:.0f} ms ({QUIET_MS} when quiet)")
    # The aim is printed; what is held here leaves room for a machine that others use too.
    assert milliseconds < 3 * LEEWAY * most * max(1.0, loop / QUIET_MS)


@contextmanager
def seeks_only(database: Database) -> Iterator[None]:
    """No query within walks through a table: each one asked is held to its plan.

    On SQLite EXPLAIN QUERY PLAN says SCAN of a walk; on PostgreSQL EXPLAIN says Seq Scan, and is only asked of tables
    that are large, since it rightly walks through small ones.
    """
    asked: dict[str, Any] = {}

    def note(_c: Any, _cursor: Any, statement: str, parameters: Any, _context: Any, _many: bool) -> None:
        asked.setdefault(statement, parameters)

    event.listen(database.read_engine, "before_cursor_execute", note)
    try:
        yield
    finally:
        event.remove(database.read_engine, "before_cursor_execute", note)
    assert any(f"FROM {table}" in one for one in asked for table in ("reading", "ledger_entry", "day_ends"))
    with database.read_engine.connect() as connection:
        for statement, parameters in asked.items():
            if statement.lstrip().upper().startswith(("SELECT", "WITH")):
                word = "EXPLAIN QUERY PLAN" if database.path else "EXPLAIN"
                plan = [str(row[-1]) for row in connection.exec_driver_sql(f"{word} {statement}", parameters)]
                for table in ("reading", "ledger_entry"):
                    walks = [line for line in plan if f"SCAN {table}" in line or f"Seq Scan on {table}" in line]
                    assert not walks, (statement, plan)


def plant_of(rows: Sequence[CounterRow], number: int = 0) -> Plant:
    """A plant whose pumps each stand at one position since before the first reading."""
    start = datetime.fromtimestamp(T0 - DAY_S, UTC)
    positions = [row.position_id for row in rows]
    return Plant(
        id=f"plant{number}",
        name="Demo plant",
        receiver_m3=1,
        start_vacuum_kpa=35,
        stop_vacuum_kpa=55,
        minimum_swept_m3_per_h=1,
        positions=tuple(Position(id=one, name=one) for one in positions),
        pumps=tuple(Pump(id=f"pump {one}", serial=one, rated_swept_m3_per_h=60) for one in positions),
        stays=tuple(Stay(pump=f"pump {one}", position=one, from_at=start) for one in positions),
        counters=tuple(Counter(id=row.id, position=row.position_id) for row in rows),
        job_kinds=(),
    )


def pour(database: Database, numbers: Sequence[int], instants: Sequence[int]) -> None:
    """Readings of all counters at all instants, three hours in five run, straight into the table; marked as touched."""
    connection = database.connect()
    mark = "?" if database.path else "%s"
    sql = (
        "INSERT INTO reading (counter_no, at_s, value_milli, received_s, vessel_id, skew_s) "
        f"SELECT no, {mark}, {mark}, {mark}, vessel_id, 0 FROM counter"
    )
    connection.execute("BEGIN")
    rows = [(at, (at - T0) * 6 // 36_000 * 1000, at) for at in instants]
    cursor = connection.cursor()
    cursor.executemany(sql, rows)
    span = (min(instants), max(instants))
    connection.execute(
        f"UPDATE counter SET dirty_from_s = {span[0]}, newest_s = CASE WHEN newest_s > {span[1]} THEN newest_s ELSE {span[1]} END"
    )
    connection.execute("COMMIT")
    connection.execute("ANALYZE")
    connection.close()
    assert len(numbers) > 0


def context_at(database: Database, at_s: int) -> Context:
    """The context on a clock that stands."""
    return Context(database, lambda: datetime.fromtimestamp(at_s, UTC), Settings())


def counters_of(database: Database, vessel_id: str = "plover") -> list[CounterRow]:
    """A vessel's counters."""
    with database.read() as session:
        return counter_rows(session, vessel_id)


@pytest.mark.parametrize("kind", kinds())
def test_ten_years_of_eight_pumps(kind: str, tmp_path: Path) -> None:
    """A day that comes late, half of the time back, is derived anew within a second; the hours of all pumps at any
    instant within 50 ms."""
    hours_in_all = YEARS[kind] * 365 * 24
    end_s = T0 + hours_in_all * HOUR_S
    with store(kind, tmp_path) as database:
        numbers = add_vessel(database, counters=PUMPS)
        instants = [T0 + hour * HOUR_S for hour in range(hours_in_all)]
        late = instants[hours_in_all // 2 :][:24]
        pour(database, numbers, [at for at in instants if at not in set(late)])
        context = context_at(database, end_s)
        began = time.perf_counter()
        ledger.derive_vessel(context, "plover")
        whole = (time.perf_counter() - began) * 1000
        print(f"\n{kind}: {PUMPS * hours_in_all:,} readings derived from nothing in {whole / 1000:.1f} s")
        pour(database, numbers, late)
        took = best(lambda: ledger.derive_vessel(context, "plover"), 1)
        hold(f"{kind}: a late day of {PUMPS} counters derived anew", took, 1000)
        rows = counters_of(database)
        plant = plant_of(rows)
        times = [T0 + hours_in_all * HOUR_S * share // 97 + 1234 for share in range(1, 97, 16)]

        def hours(session: Session, at_s: int) -> list[int]:
            totals = ledger.totals_of(session, rows[0].vessel_id, rows)
            at = datetime.fromtimestamp(at_s, UTC)
            return [running_hours(plant, totals, Subject.PUMP, pump.id, at).seconds for pump in plant.pumps]

        with database.read() as session, seeks_only(database):
            spent = max(best(lambda at_s=at_s: hours(session, at_s)) for at_s in times)
            all_hours = hours(session, end_s)
        hold(f"{kind}: hours of all {PUMPS} pumps at any instant", spent, 50)
        with database.read() as session, seeks_only(database):
            daily = best(lambda: ledger.daily_of(session, plant, rows, context.now()))
        hold(f"{kind}: their hours of each day of three years", daily, 500)
    assert len(set(all_hours)) == 1
    assert abs(all_hours[0] - (end_s - T0) * 6 // 10) <= 2 * HOUR_S


@pytest.mark.parametrize("kind", kinds())
def test_a_thousand_counters_for_a_year(kind: str, tmp_path: Path) -> None:
    """Read four times a day: the newest of all within 50 ms, the hours of each of the last 90 days of all pumps within 500."""
    vessels, each = COUNTERS // 8, 8
    end_s = T0 + 365 * DAY_S
    with store(kind, tmp_path) as database:
        numbers = [no for n in range(vessels) for no in add_vessel(database, f"v{n}", counters=each)]
        pour(database, numbers, [T0 + 6 * HOUR_S * n for n in range(365 * 4)])
        context = context_at(database, end_s)
        began = time.perf_counter()
        ledger.derive_all(context)
        print(f"\n{kind}: {COUNTERS * 365 * 4:,} readings derived in {time.perf_counter() - began:.1f} s")
        fleet = [counters_of(database, f"v{n}") for n in range(vessels)]
        plants = [plant_of(rows, n) for n, rows in enumerate(fleet)]

        def daily(session: Session) -> list[dict[str, list[int]]]:
            return [
                ledger.daily_of(session, plant, rows, context.now(), most_days=90)
                for plant, rows in zip(plants, fleet, strict=True)
            ]

        with database.read() as session, seeks_only(database):
            newest = best(lambda: newest_readings(session, numbers))
            spent = best(lambda: daily(session))
            days = daily(session)
        hold(f"{kind}: the newest reading of {COUNTERS} counters", newest, 50)
        hold(f"{kind}: hours of each of the last 90 days of {COUNTERS} pumps", spent, 500)
    assert len(days) == vessels
    assert all(len(one) >= 89 and 50_000 < one[40] < 54_000 for plant in days for one in plant.values())


@pytest.mark.parametrize("kind", kinds())
def test_the_newest_of_a_thousand_counters_over_five_million_readings(kind: str, tmp_path: Path) -> None:
    """One seek a counter, within 50 ms for all."""
    with store(kind, tmp_path) as database:
        numbers = add_vessel(database, counters=COUNTERS)
        each = int(MILLIONS[kind] * 1_000_000) // COUNTERS
        pour(database, numbers, [T0 + 900 * n for n in range(each)])
        with database.read() as session, seeks_only(database):
            spent = best(lambda: newest_readings(session, numbers))
            found = newest_readings(session, numbers)
    hold(f"{kind}: the newest of {COUNTERS} counters over {MILLIONS[kind]} million readings", spent, 50)
    assert set(found) == set(numbers)
    assert {at_s for at_s, _ in found.values()} == {T0 + 900 * (each - 1)}


MEMORY = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from scheduler.actions.hours import ledger
from tests.bench import test_bench_scale as scale
from tests.bench.load import peak_mb
from tests.storage.stores import add_vessel, store
with store("sqlite", Path(sys.argv[1])) as database:
    numbers = add_vessel(database, counters=scale.PUMPS)
    for year in range(scale.YEARS["sqlite"]):
        hours = range(year * 365 * 24, (year + 1) * 365 * 24)
        scale.pour(database, numbers, [scale.T0 + hour * scale.HOUR_S for hour in hours])
    connection = database.connect()
    connection.execute(f"UPDATE counter SET dirty_from_s = {scale.T0}")
    connection.close()
    context = scale.context_at(database, scale.T0 + scale.HOURS * scale.HOUR_S)
    ledger.derive_vessel(context, "plover")
    rows = scale.counters_of(database)
    with database.read() as session:
        ledger.daily_of(session, scale.plant_of(rows), rows, context.now())
print(round(peak_mb()))
"""


def test_memory_for_ten_years_of_eight_pumps(tmp_path: Path) -> None:
    """A process that derives all 700,000 readings and works out three years of days never has more than 300 MB."""
    command = [sys.executable, "-c", MEMORY, str(tmp_path)]
    own = Path(__file__).parents[2]
    out = subprocess.run(command, capture_output=True, text=True, check=True, cwd=own).stdout
    most = int(out.split()[-1])
    print(
        f"\nat most {most} MB of memory for {PUMPS * HOURS:,} readings (at most {MOST_MB}); in {tempfile.gettempdir()}"
    )
    assert most < MOST_MB
