"""What a ship's hours take in PostgreSQL in a year, and what partitions by month would cost: why readings lie in one table."""

import random
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import psycopg
import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.hours import ledger
from scheduler.clock import system_clock
from scheduler.settings import Settings
from tests.bench.load import SHORT
from tests.bench.test_bench_scale import DAY_S, HOUR_S, T0, pour
from tests.storage.stores import add_vessel, kinds, ready_url, store

pytestmark = [pytest.mark.bench, pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL server")]

SHIPS, PUMPS, DAYS = 3, 8, 60 if SHORT else 365
COUNTERS, MONTHS, MONTH_S = 400, 6 if SHORT else 24, 30 * DAY_S
START_S = 1_700_000_000 // MONTH_S * MONTH_S
END_S = START_S + MONTHS * MONTH_S

_SIZES = "SELECT relname, pg_total_relation_size(oid) FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"


def test_what_a_ships_hours_take_in_a_year(tmp_path: Path) -> None:
    """A few ships of eight pumps posting hourly, filled and derived; bytes a ship and year by table, and a thousand ships reckoned."""
    with store("postgresql", tmp_path, fresh=True) as db:

        def sizes() -> dict[str, int]:
            with db.read() as session:
                rows = session.connection().exec_driver_sql(_SIZES).all()
                return {str(name): int(size) for name, size in rows}

        vessels = [f"demo-{number}" for number in range(SHIPS)]
        numbers = [no for vessel in vessels for no in add_vessel(db, vessel, PUMPS)]
        before = sizes()
        pour(db, numbers, range(T0, T0 + DAYS * DAY_S, HOUR_S))
        for vessel in vessels:
            ledger.derive_vessel(Context(db, system_clock, Settings()), vessel)
        grown = {name: size - before[name] for name, size in sizes().items() if size > before[name]}
        a_year = {
            name: size / SHIPS / DAYS * 365 / 1e6 for name, size in sorted(grown.items(), key=lambda one: -one[1])
        }
        whole, readings = sum(a_year.values()), SHIPS * PUMPS * DAYS * 24
        print(
            f"\npostgresql: {SHIPS} ships, {PUMPS} pumps hourly, {DAYS} days: {whole:.1f} MB a ship and year ("
            f"{', '.join(f'{name} {size:.2f}' for name, size in a_year.items() if size >= 0.01)}); "
            f"{grown['reading'] / readings:.0f} bytes a reading; 1000 ships reckoned: {whole:.1f} GB a year"
        )
        assert grown["reading"] / readings < 140
        assert whole < 30


_COLUMNS = (
    "(counter_no integer, at_s bigint, value_milli bigint NOT NULL, received_s bigint NOT NULL, vessel_id text NOT NULL, "
    "skew_s bigint NOT NULL DEFAULT 0, PRIMARY KEY (counter_no, at_s))"
)
_SEEK = (
    "SELECT no, (SELECT at_s FROM {} AS r WHERE r.counter_no = c.no AND at_s <= %s ORDER BY at_s DESC LIMIT 1) "
    "FROM generate_series(1, 8) AS c (no)"
)
_DAY = "SELECT at_s, value_milli FROM {} WHERE counter_no = %s AND at_s > %s AND at_s <= %s ORDER BY at_s"
_STORE = (
    "INSERT INTO {} SELECT * FROM unnest(%s::int[], %s::bigint[], %s::bigint[], %s::bigint[], %s::text[], %s::bigint[]) "
    "ON CONFLICT (counter_no, at_s) DO NOTHING RETURNING counter_no, at_s"
)


def test_partitions_by_month_make_every_seek_dearer(tmp_path: Path) -> None:
    """The same readings in one table and in one of partitions: the seeks that each page and calendar make, and the intake. Readings
    stay for good, so no partition would ever be dropped. Goes red where partitions have become as cheap: then think again."""
    with ready_url("postgresql", tmp_path) as url, psycopg.connect(url, autocommit=True) as connection:

        def ask(says: str, values: Sequence[Any] = ()) -> Any:
            return connection.execute(says.encode(), values or None)

        ask(f"CREATE TABLE one {_COLUMNS}")
        ask(f"CREATE TABLE many {_COLUMNS} PARTITION BY RANGE (at_s)")
        for month in range(-1, MONTHS + 2):
            from_s = START_S + month * MONTH_S
            values = f"FOR VALUES FROM ({from_s}) TO ({from_s + MONTH_S})"
            ask(f"CREATE TABLE many_{month + 1} PARTITION OF many {values}")
        ask("CREATE TABLE many_else PARTITION OF many DEFAULT")
        for table in ("one", "many"):
            ask(
                f"INSERT INTO {table} SELECT c, {START_S} + h * 21600, h * 1000, {START_S} + h * 21600, 'demo', 0 "
                f"FROM generate_series(1, {COUNTERS}) AS c, generate_series(0, {MONTHS * 120 - 1}) AS h"
            )
            ask(f"VACUUM ANALYZE {table}")

        def batch(size: int, number: int) -> list[list[Any]]:
            at = [END_S + number * 10 + index // COUNTERS for index in range(size)]
            return [[index % COUNTERS + 1 for index in range(size)], at, [1] * size, at, ["demo"] * size, [0] * size]

        draw = random.Random(1)
        took: dict[tuple[str, str], list[float]] = {}
        acts: dict[str, tuple[int, Callable[[int, int], tuple[str, list[Any]]]]] = {
            "seek of 8 counters": (60, lambda _r, _i: (_SEEK, [END_S - draw.randrange(END_S - START_S)])),
            "a day of a counter": (
                60,
                lambda _r, i: (_DAY, [i % COUNTERS + 1, END_S - MONTH_S, END_S - MONTH_S + DAY_S]),
            ),
            "batch of 1000": (10, lambda r, i: (_STORE, batch(1000, r * 1000 + i))),
            "batch of 8": (40, lambda r, i: (_STORE, batch(8, r * 1000 + 500 + i))),
        }
        for turn in range(5):
            for table in ("one", "many"):
                for name, (times, act) in acts.items():
                    statements = [act(turn, number) for number in range(times)]
                    began = time.perf_counter()
                    for statement, given in statements:
                        ask(statement.format(table), given).fetchall()
                    took.setdefault((name, table), []).append((time.perf_counter() - began) / times * 1e3)
        ratios = {}
        for name in acts:
            plain, parted = (min(took[name, table]) for table in ("one", "many"))
            ratios[name] = parted / plain
            print(
                f"\n{name}: one table {plain:.2f} ms, {MONTHS} months {parted:.2f} ms, ratio {ratios[name]:.2f}", end=""
            )
        assert ratios["seek of 8 counters"] > 1.5
