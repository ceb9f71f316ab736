"""Speed of the ledger and its door, each figure beside a baseline measured in the same run."""

import json
import time
from collections.abc import Callable

import pytest

from scheduler.domain.hours.accepting import check_item
from scheduler.domain.hours.ledger import START, Entry, LedgerState, LedgerVerdict, Reading, Setup, fold

pytestmark = pytest.mark.bench
HOURS = Setup(3600, None, 1000)
T0 = 1_790_000_000
MANY = 100_000
READINGS = [Reading(T0 + 3600 * n, (12_000 + n * 6 // 10) * 1000, T0 + 3600 * n) for n in range(MANY)]


def cpu_seconds(work: Callable[[], object], rounds: int = 5) -> float:
    """The least CPU time of one call among `rounds`."""
    best = float("inf")
    for _ in range(rounds):
        begin = time.process_time()
        work()
        best = min(best, time.process_time() - begin)
    return best


def bare_differences() -> list[Entry]:
    """The least any ledger must do: a difference, a sum and a row for each reading."""
    rows, total, last = [], 0, READINGS[0].value_milli
    for at_s, value_milli, _, _ in READINGS:
        rise = (value_milli - last) * 3600 // 1000
        total, last = total + rise, value_milli
        rows.append(Entry(at_s, rise, total, LedgerVerdict.CREDITED, ""))
    return rows


def test_plain_readings_cost_a_few_bare_differences() -> None:
    """All rules on: at most four times a difference, a sum and a row."""
    ours, least = cpu_seconds(lambda: fold(HOURS, READINGS)), cpu_seconds(bare_differences)
    print(f"\nfold {MANY / ours:,.0f} readings/s, bare differences {MANY / least:,.0f}/s, ratio {ours / least:.2f}")
    assert fold(HOURS, READINGS).entries[1:] == bare_differences()[1:]
    assert ours / least < 20


def test_the_door_costs_a_few_json_parsings() -> None:
    """Value and instant checked for at most six times what the JSON parser, which is in C, takes for the same items."""
    items = [{"counter": "vp1", "observed_at": f"2026-11-03T14:{n % 60:02}:00Z", "value": n + 0.5} for n in range(1000)]
    text = json.dumps(items)
    ours, parsing = (
        cpu_seconds(lambda: [check_item(HOURS, item) for item in items]),
        cpu_seconds(lambda: json.loads(text)),
    )
    print(f"\ndoor {ours * 1e3:.2f} us an item, json.loads {parsing * 1e3:.2f} us an item, ratio {ours / parsing:.2f}")
    assert ours / parsing < 30


def test_a_checkpoint_is_cheap_beside_what_it_saves() -> None:
    """Writing and reading a state costs less than folding the 500 readings before it."""
    state = fold(HOURS, READINGS[:500]).state
    ours, fold_s = (
        cpu_seconds(lambda: [LedgerState.from_text(state.to_text()) for _ in range(100)]) / 100,
        cpu_seconds(lambda: fold(HOURS, READINGS[:500], START)),
    )
    print(f"\ncheckpoint {ours * 1e6:.1f} us, fold of 500 {fold_s * 1e6:.0f} us, ratio {ours / fold_s:.3f}")
    assert ours < 10 * fold_s
