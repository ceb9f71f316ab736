"""What of a vessel document makes no sense, and how that is said."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.checks.document import faults_of
from scheduler.domain.vessel.crew import Crew, MinimumBlock, NoWork
from scheduler.domain.vessel.document import Counter, Fitting, Part, Position, Pump, Stay, Vessel
from scheduler.domain.vessel.job_kinds import LastDone
from tests.unit.domain.plants import ALARM, AT, KNIVES, OVERHAUL, SET_UP_AT, VALVE, plant, vessel

PUMPS, STAYS = plant().pumps, plant().stays
NAIVE = datetime(2026, 5, 1)  # noqa: DTZ001


def with_pump(**changes: Any) -> Vessel:
    return vessel(plant(pumps=(replace(PUMPS[0], **changes), *PUMPS[1:])))


def with_stay(**changes: Any) -> Vessel:
    return vessel(plant(stays=(*STAYS, Stay(**({"pump": "u1", "position": "vp1", "from_at": AT} | changes)))))


def with_kind(kind: Any, **changes: Any) -> Vessel:
    return vessel(plant(replace(kind, **changes), *(k for k in (KNIVES, VALVE, ALARM) if k is not kind)))


def with_block(**changes: Any) -> Vessel:
    block = MinimumBlock(**({"minimum_swept_m3_per_h": 50.0, "label": "full ship"} | changes))
    return vessel(plant(minimum_blocks=(block,)))


def with_last(**changes: Any) -> Vessel:
    return vessel(plant(last_done=(LastDone(**({"kind": "overhaul", "subject": "u1", "done_at": AT} | changes)),)))


def with_counter(**changes: Any) -> Vessel:
    return vessel(plant(counters=(Counter(**({"id": "c1", "position": "vp1"} | changes)),)))


def many(n: int) -> Vessel:
    return vessel(
        plant(
            pumps=tuple(Pump(id=f"u{i}", serial=f"S-{i}", rated_swept_m3_per_h=60.0) for i in range(n)),
            positions=tuple(Position(id=f"vp{i}", name=f"VP{i}") for i in range(n)),
            stays=tuple(Stay(pump=f"u{i}", position=f"vp{i}", from_at=SET_UP_AT) for i in range(n)),
            counters=(),
            fittings=(),
            last_done=(),
            minimum_swept_m3_per_h=0.0,
            minimum_blocks=(),
        )
    )


def test_a_lawful_vessel_has_no_fault():
    """The invented vessel is taken as it stands, and so is a plant with a single pump or with eight."""
    assert faults_of(vessel()) == ()
    assert faults_of(many(1)) == faults_of(many(8)) == ()


CASES = [
    (vessel(id="Demo Plover"), "/id", "'Demo Plover'"),
    (vessel(id="a" * 64), "/id", "1 to 63"),
    (vessel(imo="0123451"), "/imo", "'0123451'"),
    (vessel(name=""), "/name", "empty"),
    (vessel(name="x" * 201), "/name", "201 characters"),
    (vessel(name="Demo\nPlover"), "/name", "control characters"),
    (vessel(utc_offset_minutes=841), "/utc_offset_minutes", "841"),
    (vessel(utc_offset_minutes=-721), "/utc_offset_minutes", "-721"),
    (vessel(plants=()), "/plants", "no plant"),
    (vessel(plant(), plant(id="fwd")), "/plants/1/pumps/0/id", "'u1' is used twice"),
    (vessel(plant(pumps=(*PUMPS, PUMPS[0]))), "/plants/0/pumps/3/id", "'u1' is used twice"),
    (with_pump(serial="A-102"), "/plants/0/pumps/1/serial", "'A-102' is used twice"),
    (with_pump(derate=1.4), "/plants/0/pumps/0/derate", "is 1.4: 0 to 1"),
    (with_pump(rated_swept_m3_per_h=-60.0), "/plants/0/pumps/0/rated_swept_m3_per_h", "-60"),
    (with_pump(rated_swept_m3_per_h=60_000.0), "/plants/0/pumps/0/rated_swept_m3_per_h", "60000"),
    (with_pump(rated_swept_m3_per_h=float("nan")), "/plants/0/pumps/0/rated_swept_m3_per_h", "nan"),
    (with_pump(measured_swept_m3_per_h=130.0), "/plants/0/pumps/0/measured_swept_m3_per_h", "not free air"),
    (with_pump(measured_on=date(2027, 1, 1)), "/plants/0/pumps/0/measured_on", "without a figure"),
    (many(0), "/plants/0/stays", "has 0 pumps in positions: 1 to 8"),
    (many(9), "/plants/0/stays", "has 9 pumps in positions: 1 to 8"),
    (with_stay(pump="u9"), "/plants/0/stays/3/pump", "'u9', which is not in the plant (u1, u2, u3)"),
    (with_stay(position="vp9"), "/plants/0/stays/3/position", "'vp9'"),
    (with_stay(position="vp9", pump="u1"), "/plants/0/stays/3", '"u1" stands in two positions at once'),
    (with_stay(pump="u9"), "/plants/0/stays/3", '"vp1" holds two pumps at once'),
    (with_stay(from_at=NAIVE), "/plants/0/stays/3/from_at", "no offset from UTC"),
    (with_stay(from_at=datetime(1, 1, 1, tzinfo=UTC)), "/plants/0/stays/3/from_at", "a year from 1970"),
    (with_stay(to_at=AT - timedelta(1)), "/plants/0/stays/3/to_at", "after the beginning"),
    (with_stay(opening_running_hours=-1.0), "/plants/0/stays/3/opening_running_hours", "-1"),
    (
        vessel(plant(fittings=(*plant().fittings, Fitting(part="k1", pump="u2", from_at=AT)))),
        "/plants/0/fittings/3",
        '"k1" sits in two pumps',
    ),
    (vessel(plant(fittings=(Fitting(part="k9", pump="u2", from_at=AT),))), "/plants/0/fittings/0/part", "'k9'"),
    (with_counter(position="vp9"), "/plants/0/counters/0/position", "'vp9'"),
    (with_counter(seconds_per_count=0), "/plants/0/counters/0/seconds_per_count", "is 0"),
    (with_counter(modulus=-5), "/plants/0/counters/0/modulus", "is -5"),
    (with_counter(resolution=float("nan")), "/plants/0/counters/0/resolution", "is nan"),
    (with_counter(quiet_after_hours=0), "/plants/0/counters/0/quiet_after_hours", "is 0"),
    (vessel(plant(start_vacuum_kpa=50.0)), "/plants/0/start_vacuum_kpa", "start at 50 and stop at 50"),
    (vessel(plant(stop_vacuum_kpa=500.0)), "/plants/0/stop_vacuum_kpa", "0.5 bar is 50 kPa"),
    (vessel(plant(receiver_m3=0.0)), "/plants/0/receiver_m3", "is 0: above 0"),
    (vessel(plant(provisional_derate=-0.1)), "/plants/0/provisional_derate", "-0.1"),
    (
        vessel(plant(minimum_swept_m3_per_h=200.0)),
        "/plants/0/minimum_swept_m3_per_h",
        "200 swept m3/h and all its pumps in positions make 180",
    ),
    (vessel(plant(minimum_swept_m3_per_h=-1.0)), "/plants/0/minimum_swept_m3_per_h", "0 for lay-up"),
    (with_block(minimum_swept_m3_per_h=190.0), "/plants/0/minimum_blocks/0/minimum_swept_m3_per_h", "190"),
    (with_block(from_hour=25), "/plants/0/minimum_blocks/0/from_hour", "from 25 to 24"),
    (with_block(from_hour=7, to_hour=7), "/plants/0/minimum_blocks/0/from_hour", "from 7 to 7"),
    (with_block(from_on=date(2027, 2, 2), to_on=date(2027, 2, 1)), "/plants/0/minimum_blocks/0/from_on", "2027-02-02"),
    (with_kind(OVERHAUL, takes_hours=0), "/plants/0/job_kinds/0/takes_hours", "takes 0 h"),
    (with_kind(OVERHAUL, takes_hours=73), "/plants/0/job_kinds/0/takes_hours", "takes 73 h"),
    (with_kind(OVERHAUL, hands=3), "/plants/0/job_kinds/0/hands", "needs 3 hands and the crew has 2"),
    (with_kind(OVERHAUL, interval_running_hours=0), "/plants/0/job_kinds/0/interval_running_hours", "0: 1 to"),
    (with_kind(OVERHAUL, interval_months=-6), "/plants/0/job_kinds/0/interval_months", "-6"),
    (
        with_kind(ALARM, interval_months=None),
        "/plants/0/job_kinds/0",
        "has no interval: running hours, months or days was expected",
    ),
    (with_kind(ALARM, interval_running_hours=9), "/plants/0/job_kinds/0/interval_running_hours", "which has none"),
    (with_kind(ALARM, tolerance_days=-1), "/plants/0/job_kinds/0/tolerance_days", "0 or more"),
    (with_kind(ALARM, tolerance_running_hours=5), "/plants/0/job_kinds/0/tolerance_running_hours", "never count"),
    (with_kind(OVERHAUL, window_running_hours=8001), "/plants/0/job_kinds/0/window_running_hours", "8001, longer"),
    (with_kind(ALARM, window_days=32), "/plants/0/job_kinds/0/window_days", "longer than its interval"),
    (with_kind(KNIVES, part_kind=None), "/plants/0/job_kinds/0/part_kind", "does not say on which"),
    (with_kind(KNIVES, part_kind="impeller"), "/plants/0/job_kinds/0/part_kind", "would never fall due"),
    (with_kind(OVERHAUL, renews=("overhaul",)), "/plants/0/job_kinds/0/renews/0", "renews itself"),
    (with_kind(OVERHAUL, renews=("paint",)), "/plants/0/job_kinds/0/renews/0", "'paint'"),
    (with_kind(OVERHAUL, renews=("alarm",)), "/plants/0/job_kinds/0/renews/0", "a job of the whole plant"),
    (with_kind(OVERHAUL, code="Over haul"), "/plants/0/job_kinds/0/code", "'Over haul'"),
    (
        vessel(plant(OVERHAUL, replace(KNIVES, renews=("overhaul",)))),
        "/plants/0/job_kinds/1/renews",
        "renewed by a job that it renews itself",
    ),
    (vessel(plant(ALARM, ALARM)), "/plants/0/job_kinds/1/code", "used twice"),
    (with_last(kind="paint"), "/plants/0/last_done/0/kind", "'paint'"),
    (with_last(subject="k1"), "/plants/0/last_done/0/subject", "'k1'"),
    (with_last(kind="alarm", subject="u1"), "/plants/0/last_done/0/subject", "not in the plant (aft)"),
    (with_last(running_hours=-3.0), "/plants/0/last_done/0/running_hours", "-3"),
    (with_last(done_at=NAIVE), "/plants/0/last_done/0/done_at", "no offset"),
    (vessel(plant(last_done=plant().last_done * 2)), "/plants/0/last_done/1", "'overhaul of u1' is used twice"),
    (vessel(plant(crew=Crew(hands=0))), "/plants/0/crew/hands", "has 0 hands"),
    (vessel(plant(crew=Crew(work_to_hour=25))), "/plants/0/crew/work_from_hour", "from 8 to 25"),
    (vessel(plant(crew=Crew(start_hours=(8, 17)))), "/plants/0/crew/start_hours/1", "start at 17"),
    (vessel(plant(crew=Crew(start_hours=()))), "/plants/0/crew/start_hours", "at least one"),
    (
        vessel(plant(crew=Crew(no_work=(NoWork(from_at=AT, to_at=AT, label="pilot"),)))),
        "/plants/0/crew/no_work/0/to_at",
        "after the beginning",
    ),
    (vessel(plant(parts=(*plant().parts, Part(id="K 4", kind="seal", name="Seal")))), "/plants/0/parts/3/id", "'K 4'"),
]


@pytest.mark.parametrize(("broken", "pointer", "words"), CASES, ids=[f"{i}{p}" for i, (_, p, _) in enumerate(CASES)])
def test_a_fault_is_pointed_at_and_named(broken, pointer, words):
    """Each thing that makes no sense gives a sentence at its place, with the figure or name in it."""
    assert any(at == pointer and words in says for at, says in faults_of(broken)), faults_of(broken)


def test_all_faults_are_told_at_once():
    """Three slips, three sentences, in the document's order."""
    broken = vessel(plant(receiver_m3=-1.0, minimum_swept_m3_per_h=999.0), imo="1111111")
    assert [at for at, _ in faults_of(broken)] == [
        "/imo",
        "/plants/0/receiver_m3",
        "/plants/0/minimum_swept_m3_per_h",
    ]


def test_a_stay_may_begin_when_the_one_before_ends():
    """End and beginning at the same instant are no overlap."""
    stays = (replace(STAYS[0], to_at=AT), *STAYS[1:], Stay(pump="u1", position="vp1", from_at=AT))
    assert faults_of(vessel(plant(stays=stays))) == ()


def leaves(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every figure, name and date of the document with the way to it."""
    if is_dataclass(node):
        for member in fields(node):
            yield from leaves(getattr(node, member.name), (*path, member.name))
    elif isinstance(node, tuple):
        for i, item in enumerate(node):
            yield from leaves(item, (*path, i))
    else:
        yield path, node


def bent(node: Any, path: tuple[Any, ...], value: Any) -> Any:
    """The document with one leaf exchanged."""
    if not path:
        return value
    if isinstance(node, tuple):
        return tuple(bent(item, path[1:], value) if i == path[0] else item for i, item in enumerate(node))
    return replace(node, **{path[0]: bent(getattr(node, path[0]), path[1:], value)})


def found(node: Any, pointer: str) -> Any:
    for step in pointer.split("/")[1:]:
        node = node[int(step)] if isinstance(node, tuple) else getattr(node, step)
    return node


LEAVES = [(path, leaf) for path, leaf in leaves(vessel()) if leaf is not None and not isinstance(leaf, (bool, StrEnum))]
WILD: dict[type, st.SearchStrategy[Any]] = {
    str: st.text(max_size=4) | st.sampled_from(["u1", "vp1", "k2", "overhaul", "alarm", "x" * 300, "\ud800"]),
    int: st.integers(-3, 30) | st.integers() | st.just(10**400),
    float: st.floats() | st.floats(0, 100),
    datetime: st.datetimes(timezones=st.none() | st.just(UTC)),
}


@given(st.data())
def test_any_document_of_the_right_shape_gets_an_answer(data):
    """However many figures are wild, the check ends, points into the document, and writes whole plain sentences."""
    document = vessel()
    for _ in range(data.draw(st.integers(1, 6))):
        path, leaf = data.draw(st.sampled_from(LEAVES))
        document = bent(document, path, data.draw(WILD[type(leaf)]))
    for pointer, says in faults_of(document):
        found(document, pointer)
        assert says.endswith(".")
        assert says.isprintable()
