"""Laws of the simulated ships: same seed same bytes, believable hours, counters true but for their troubles."""

import json
from collections import defaultdict
from dataclasses import asdict
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seed_fleet.counters import SPIKE_COUNTS, Event, PostedBatch, deliveries, observe, observed_at
from seed_fleet.course import course_of
from seed_fleet.documents import vessel_document
from seed_fleet.past_work import past_acts
from seed_fleet.running import Run, truth
from seed_fleet.sheets import SHEETS
from seed_fleet.ships import SHIPS, ShipPlan

ships = st.sampled_from(SHIPS)
seeds = st.integers(min_value=0, max_value=2**32)
untils = st.datetimes(
    datetime(2020, 1, 1),  # noqa: DTZ001 - the strategy adds the zone
    datetime(2035, 1, 1),  # noqa: DTZ001
    timezones=st.sampled_from([UTC, timezone(timedelta(hours=5, minutes=30))]),
)
years = st.floats(min_value=0.05, max_value=1.2)
few = settings(max_examples=max(6, settings.default.max_examples // 25))


def text(run: Run) -> str:
    steps = [asdict(step) for step in deliveries(run)]
    return json.dumps([vessel_document(run), steps], default=str)


@pytest.mark.long
@few
@given(ships, seeds, untils, st.floats(min_value=0.05, max_value=0.5))
def test_same_seed_same_bytes(ship: ShipPlan, seed: int, until: datetime, length: float) -> None:
    """Documents and deliveries are the same text for the same seed, end and length, and another for another seed."""
    once = text(Run(ship, seed, until, length))
    assert once == text(Run(ship, seed, until, length))
    assert once != text(Run(ship, seed + 1, until, length))


@few
@given(ships, seeds, untils, years)
def test_a_pump_runs_between_0_and_24_hours_a_day(ship: ShipPlan, seed: int, until: datetime, length: float) -> None:
    """True running seconds never decrease and never grow faster than the clock, in the past and beyond it."""
    run = Run(ship, seed, until, length)
    instants = [run.start + timedelta(minutes=37) * n for n in range(int(length * 1000))]
    instants = sorted(instants + [run.end + timedelta(hours=7) * n for n in range(60)])
    for number in range(len(ship.pumps)):
        for before, after in pairwise(instants):
            ran = run.ran_seconds(number, after) - run.ran_seconds(number, before)
            assert 0 <= ran <= (after - before).total_seconds() + 1


@few
@given(ships, seeds, untils, years)
def test_everything_observed_is_delivered_once(ship: ShipPlan, seed: int, until: datetime, length: float) -> None:
    """Batches hold each observed reading exactly once, none over 1000, one instant a counter; the link's cut only
    changes the order."""
    run = Run(ship, seed, until, length)
    batches = [step for step in deliveries(run) if isinstance(step, PostedBatch)]
    sent = [reading for batch in batches for reading in batch.readings]
    assert sorted(sent) == sorted(reading for at in observed_at(run) for reading in observe(run, at))
    assert len({(reading.counter, reading.observed_at) for reading in sent}) == len(sent)
    assert max(len(batch.readings) for batch in batches) <= 1000


@few
@given(ships, seeds, untils, st.sampled_from([0.1, 0.7, 2.0]))
def test_counters_credit_the_truth(ship: ShipPlan, seed: int, until: datetime, length: float) -> None:
    """A plain sum of each counter's steps agrees with what the pump truly ran within two counts (three hours where a
    dead counter was made good by hand); it steps back only by a roll-over, a replacement or after the one spike."""
    run = Run(ship, seed, until, length)
    events: dict[str, dict[str, Event]] = defaultdict(dict)
    series: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for step in deliveries(run):
        if isinstance(step, Event):
            events[step.counter][step.body["kind"]] = step
        else:
            for reading in step.readings:
                series[reading.counter].append((reading.observed_at, reading.value))
    for number, pump in enumerate(ship.pumps):
        register, mine = pump.register, sorted(series[ship.counter(number)])
        swap = events[ship.counter(number)].get("replacement")
        credited = backward = 0
        last: int | None = None
        for at, counts in mine:
            if swap is not None and last is not None and at > swap.body["at"]:
                assert last == swap.body["old_final"]
                last, swap = swap.body["new_first"], None
            step = 0 if last is None else counts - last
            if step < 0 and register.modulus is not None:
                step, backward = step + register.modulus, backward + 1
            if register.spike_days is not None and abs(step) > SPIKE_COUNTS - 10:
                backward += step < 0
            elif step < 0:
                raise AssertionError(f"{ship.counter(number)} stepped back at {at}: {last} to {counts}")
            credited, last = credited + step, counts
        assert swap is None
        made_good = events[ship.counter(number)].get("adjustment")
        seconds = credited * register.seconds_per_count + (3600 * made_good.body["hours"] if made_good else 0)
        last_at = datetime.fromisoformat(mine[-1][0])
        true = run.pump_seconds(number, last_at) - run.pump_seconds(number, run.start)
        assert seconds == pytest.approx(true, abs=3 * 3600 if made_good else 2 * register.seconds_per_count)
        troubled = register.modulus is not None or register.spike_days is not None
        assert backward == (1 if troubled and length >= 0.7 else 0)
        silent = timedelta(days=register.silent_days or 0)
        assert run.end - last_at - silent < timedelta(hours=4)


@given(ships, seeds)
def test_the_future_goes_on_where_the_past_ended(ship: ShipPlan, seed: int) -> None:
    """Readings taken after the end never fall below the last of the past, and the past is not changed by asking."""
    run = Run(ship, seed, datetime(2026, 11, 25, 9, 33, tzinfo=UTC), 0.06)
    before = truth(run, run.end)
    later = {reading.counter: reading.value for reading in observe(run, run.end + timedelta(hours=30, seconds=1))}
    for reading in observe(run, run.end):
        assert later[reading.counter] >= reading.value
    assert truth(run, run.end) == before
    assert all(0 <= truth(run, run.end + timedelta(days=1))[name] - before[name] <= 86400 for name in before)


@pytest.mark.long
@settings(max_examples=5)
@given(ships, seeds, untils)
def test_a_worked_past_is_in_order_and_ends_as_the_other(ship: ShipPlan, seed: int, until: datetime) -> None:
    """Its acts are the same for the same seed, oldest first and within the past, each key once; what was done last was done
    about when it was without the work before; the document's last times lie before the first turns."""
    run, plain = Run(ship, seed, until, worked=True), Run(ship, seed, until)
    acts = past_acts(run)
    assert acts == past_acts(Run(ship, seed, until, worked=True))
    assert [act.at for act in acts] == sorted(act.at for act in acts)
    assert all(run.start < act.at <= run.end + timedelta(hours=1) for act in acts)
    assert len({act.key for act in acts}) == len(acts)
    assert past_acts(plain) == []
    for turn, mark in run.marks.items():
        assert abs(mark.done_at - plain.marks[turn].done_at) < timedelta(days=4)
    done = {
        (one["kind"], one["subject"]): datetime.fromisoformat(one["done_at"])
        for one in vessel_document(run)["plants"][0]["last_done"]
    }
    for act in acts:
        kind, _, rest = act.path.split("/")[4].partition(":")
        if act.path.endswith(":1/close") and kind != "breakdown":
            assert done[kind, rest.partition(":")[0]] < datetime.fromisoformat(act.body["done_at"])


def test_the_job_recorded_act_by_act_ticks_every_step_of_its_sheet_in_their_order() -> None:
    """In the order of time, so that its paper finds nothing that was never recorded."""
    done_at = datetime(2026, 11, 25, 12, tzinfo=UTC)
    acts = course_of(done_at - timedelta(hours=3), done_at, 599)
    assert [at for at, _ in acts] == sorted(at for at, _ in acts)
    ticked = [step["name"] for _, step in acts if step.get("about") == "step"]
    assert ticked == [one["text"] for one in SHEETS["knife_inspection"]["steps"] if not one["act"]]
