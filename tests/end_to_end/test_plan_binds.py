"""What binds a plan, from the vessel document to the judge: small ships on which one thing changes, and where the job goes then.

Each ship is a document as a person writes it; its due jobs are reckoned, framed, planned and judged by the parts the server
uses. Without the thing in question the overhaul of VP1 begins on Sunday 6 December at 13:00, the start hour nearest to its ideal
time (22:06 on that day, 94 % of the interval); the next nearest is Monday at 8.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest

from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, pump_capacity
from scheduler.domain.checks.document import faults_of
from scheduler.domain.due.docking import Dock
from scheduler.domain.due.last_done import reckon_first
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.voyage.days import Stretch
from scheduler.planning.explain.dates import FactKind, plan_facts
from scheduler.planning.explain.reasons import explain_place
from scheduler.planning.explain.reliefs import ReliefKind, reliefs
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.frame import Circumstances, frame, slot_times
from scheduler.planning.problem.values import Plan, Problem
from scheduler.planning.search.stagger import stagger
from scheduler.wording.plan import shortfall_words
from tests.unit.domain.plants import due_jobs
from tests.unit.planning.cases import words_for

AT = datetime(2026, 12, 1, 6, 30, tzinfo=UTC)
"""A Tuesday."""

USUAL = "Sun 6 13:00"
KEY = "overhaul:p1:1"


def _kind(code: str, **changed: Any) -> dict[str, Any]:
    kind = {
        "code": code,
        "name": code.capitalize(),
        "subject": "pump",
        "takes_hours": 3,
        "interval_days": 60,
        "window_days": 6,
        "tolerance_days": 10,
    }
    return {**kind, **changed}


def _done(kind: str, subject: str, days_ago: float) -> dict[str, Any]:
    return {"kind": kind, "subject": subject, "done_at": (AT - timedelta(days=days_ago)).isoformat()}


def document(**plant: Any) -> dict[str, Any]:
    """Two pumps of 60 m3/h for a minimum of 50; VP1's overhaul is due on 10 December, VP2's not before February."""
    made = {
        "id": "aft",
        "name": "Aft plant",
        "receiver_m3": 2.0,
        "start_vacuum_kpa": 36.0,
        "stop_vacuum_kpa": 50.0,
        "minimum_swept_m3_per_h": 50.0,
        "positions": [{"id": f"vp{n}", "name": f"VP{n}"} for n in (1, 2)],
        "pumps": [{"id": f"p{n}", "serial": f"S-{n}", "rated_swept_m3_per_h": 60.0} for n in (1, 2)],
        "stays": [
            {"pump": f"p{n}", "position": f"vp{n}", "from_at": (AT - timedelta(days=900)).isoformat()} for n in (1, 2)
        ],
        "counters": [],
        "job_kinds": [_kind("overhaul")],
        "last_done": [_done("overhaul", "p1", 50.75), _done("overhaul", "p2", 1)],
        "crew": {"hands": 1, "start_hours": [8, 13]},
    }
    return {"id": "demo-gull", "name": "Demo Gull", "imo": "0000000", "plants": [{**made, **plant}]}


@dataclass(frozen=True, slots=True)
class Planned:
    """A ship planned: its problem, its plan, the ship's time minus UTC."""

    problem: Problem
    plan: Plan
    offset: timedelta

    def when(self, key: str = KEY) -> str | None:
        """The job's start in ship time; none without a place."""
        at = next((slot_times(self.problem.starts_at, s)[0] for s in self.plan.slots if s.key == key), None)
        return None if at is None else f"{at + self.offset:%a} {(at + self.offset).day} {at + self.offset:%H:%M}"

    def says(self, key: str = KEY) -> str:
        """Why the job has no place."""
        words = words_for(self.problem)
        return next(shortfall_words(short, words) for short in self.plan.shortfalls if short.key == key)


def planned(ship: Mapping[str, Any], *, outages: tuple[Outage, ...] = (), taken: Mapping[str, Any] | None = None,
            beside: Circumstances | None = None, offset_minutes: int = 0, days: int = 20) -> Planned:  # fmt: skip
    """The document checked, its due jobs framed and planned; the judge finds no fault and each job has its answer."""
    vessel = VESSEL.validate_python(ship)
    assert faults_of(vessel) == ()
    (plant,) = vessel.plants

    def hours(*_: Any) -> RunningHours:
        return RunningHours(seconds=0, as_of=AT, estimated=False)

    jobs = due_jobs(plant=plant, done=reckon_first(plant, hours), hours=hours, daily={}, at=AT, horizon_days=days)
    problem = frame(
        plant=plant,
        jobs=jobs,
        capacities={pump.id: pump_capacity(pump) for pump in plant.pumps},
        outages=outages,
        offset_minutes=offset_minutes,
        at=AT,
        horizon_days=days,
        taken=taken or {},
        circumstances=beside or Circumstances(),
    )
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    answered = [slot.key for slot in plan.slots] + [short.key for short in plan.shortfalls if short.key is not None]
    assert sorted(answered) == sorted(job.key for job in problem.jobs)
    assert plan.proven
    return Planned(problem, plan, timedelta(minutes=offset_minutes))


def _at(day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(2026, 12, day, hour, minute, tzinfo=UTC)


def _block(minimum: float, label: str = "full ship", **where: Any) -> dict[str, Any]:
    return {"minimum_swept_m3_per_h": minimum, "label": label, **where}


def _down(until: datetime | None, counts_for: float = 0.0) -> tuple[Outage, ...]:
    """Without an end since so long ago that no return is assumed any more."""
    since = AT if until is not None else AT - timedelta(days=14)
    return (Outage(pump="p2", from_at=since, to_at=until, counts_for=Swept(counts_for), reason="down"),)


def _crew(**changed: Any) -> dict[str, Any]:
    return {"hands": 1, "start_hours": [8, 13], **changed}


def _pumps(**second: Any) -> list[dict[str, Any]]:
    own = {"id": "p2", "serial": "S-2", "rated_swept_m3_per_h": 60.0, **second}
    return [{"id": "p1", "serial": "S-1", "rated_swept_m3_per_h": 60.0}, own]


def _days(first: int, last: int, kind: str) -> Stretch:
    return Stretch(from_on=date(2026, 12, first), to_on=date(2026, 12, last), kind=kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bind:
    """One thing that binds: what the ship has then, and where the job goes (none: nowhere, for this reason)."""

    plant: Mapping[str, Any] = field(default_factory=dict)
    told: Mapping[str, Any] = field(default_factory=dict)
    goes: str | None
    because: str = ""


def _concession(hotel: str) -> Circumstances:
    agreed = Concession(from_at=_at(12), to_at=_at(13), minimum=Swept(50.0), chief="A. Chief", hotel=hotel)
    return Circumstances(concessions=(agreed,))


BINDS: dict[str, Bind] = {
    "nothing": Bind(goes=USUAL),
    "the other pump is down until the 9th": Bind(told={"outages": _down(_at(9, 7))}, goes="Wed 9 08:00"),
    "the other pump is down for good": Bind(told={"outages": _down(None)}, goes=None, because="would be broken"),
    "nobody said when the other pump is back: fourteen days are assumed": Bind(
        told={"outages": (Outage(pump="p2", from_at=AT, to_at=None, counts_for=Swept(0.0), reason="down"),)},
        goes="Tue 15 08:00",
    ),
    "the other pump is returned and not proved, which is too little": Bind(
        told={"outages": _down(_at(8, 10), 48.0)}, goes="Tue 8 13:00"
    ),
    "the other pump is returned and not proved, which is enough": Bind(
        told={"outages": _down(_at(8, 10), 50.0)}, goes=USUAL
    ),
    "the other pump is too small": Bind(
        plant={"pumps": _pumps(rated_swept_m3_per_h=49.0)}, goes=None, because="1 m³/h lacking"
    ),
    "the other pump is worn": Bind(plant={"pumps": _pumps(derate=0.8)}, goes=None, because="2 m³/h lacking"),
    "the other pump measured less than rated": Bind(
        plant={"pumps": _pumps(measured_swept_m3_per_h=49.5, measured_on="2026-11-01")}, goes=None, because="0.5 m³/h"
    ),
    "a higher minimum in the afternoon": Bind(
        plant={"minimum_blocks": [_block(70, "busy hours", from_hour=15, to_hour=20)]}, goes="Mon 7 08:00"
    ),
    "a full ship from the 4th to the 8th": Bind(
        plant={"minimum_blocks": [_block(70, from_on="2026-12-04", to_on="2026-12-08")]}, goes="Wed 9 08:00"
    ),
    "a turnaround day": Bind(
        plant={"minimum_blocks": [_block(70, "turnaround", from_on="2026-12-06", to_on="2026-12-06")]},
        goes="Mon 7 08:00",
    ),
    "of two blocks on one day the last counts": Bind(
        plant={
            "minimum_blocks": [
                _block(70, from_on="2026-12-06", to_on="2026-12-06"),
                _block(40, "few aboard", from_on="2026-12-05", to_on="2026-12-07"),
            ]
        },
        goes=USUAL,
    ),
    "a port arrival": Bind(
        plant={"crew": _crew(no_work=[{"from_at": "2026-12-06T13:00:00Z", "to_at": "2026-12-06T15:00:00Z", "label": "a"}])},
        goes="Mon 7 08:00",
    ),
    "a quiet period of four days": Bind(
        plant={"crew": _crew(no_work=[{"from_at": "2026-12-05T00:00:00Z", "to_at": "2026-12-09T00:00:00Z", "label": "q"}])},
        goes="Fri 4 13:00",
    ),
    "work may begin at eight only": Bind(plant={"crew": _crew(start_hours=[8])}, goes="Mon 7 08:00"),
    "by day all pumps are needed and there is a hand at night": Bind(
        plant={
            "minimum_blocks": [_block(70, "guests awake", from_hour=6, to_hour=22)],
            "crew": _crew(start_hours=[8, 23], blocks=[{"hands": 1, "label": "night", "from_hour": 22, "to_hour": 6}]),
        },
        goes="Sun 6 23:00",
    ),
    "a job for two, and a second hand on the 8th": Bind(
        plant={
            "job_kinds": [_kind("overhaul", hands=2)],
            "crew": _crew(
                blocks=[{"hands": 2, "label": "squad", "from_on": "2026-12-08", "to_on": "2026-12-08", "from_hour": 8, "to_hour": 17}]
            ),
        },
        goes="Tue 8 08:00",
    ),
    "nobody works on Sunday and Monday": Bind(
        plant={"crew": _crew(blocks=[{"hands": 0, "label": "holiday", "from_on": "2026-12-06", "to_on": "2026-12-07"}])},
        goes="Sat 5 13:00",
    ),
    "parts come on the 9th": Bind(
        told={"beside": Circumstances(parts_from={KEY: _at(9)})}, goes="Wed 9 08:00"
    ),
    "it needs port, and there is port on the 5th": Bind(
        plant={"job_kinds": [_kind("overhaul", needs=["port"])]},
        told={"beside": Circumstances(days=(_days(2, 4, "sea"), _days(5, 5, "port"), _days(6, 9, "sea")))},
        goes="Sat 5 13:00",
    ),
    "it needs port, and a ferry has four hours of it on the 5th": Bind(
        plant={
            "job_kinds": [_kind("overhaul", needs=["port"])],
            "port_stays": [
                {"from_at": "2026-12-05T06:30:00Z", "to_at": "2026-12-05T11:00:00Z", "port": "east"},
                {"from_at": "2026-12-06T13:00:00Z", "to_at": "2026-12-06T15:59:00Z", "port": "west"},
            ],
        },
        told={"beside": Circumstances(days=(_days(2, 20, "port"),))},
        goes="Sat 5 08:00",
    ),
    "it is chosen for the dock of the 11th": Bind(
        told={"beside": Circumstances(docks=(Dock(from_at=_at(11, 6), to_at=_at(16), keys=(KEY,)),))}, goes="Fri 11 08:00"
    ),
    "the dock it was chosen for is over": Bind(
        told={"beside": Circumstances(docks=(Dock(from_at=AT - timedelta(days=9), to_at=AT, keys=(KEY,)),))}, goes=USUAL
    ),
    "its limit, the 20th at 12:30, does not reach the dock any more": Bind(
        told={"beside": Circumstances(docks=(Dock(from_at=_at(20, 13), to_at=_at(26), keys=(KEY,)),))}, goes=USUAL
    ),
    "its limit just reaches the dock: it goes there, late": Bind(
        told={"beside": Circumstances(docks=(Dock(from_at=_at(20, 12), to_at=_at(26), keys=(KEY,)),))}, goes="Sun 20 13:00"
    ),
    "another job is chosen for the dock": Bind(
        told={"beside": Circumstances(docks=(Dock(from_at=_at(11, 6), to_at=_at(16), keys=("overhaul:p2:1",)),))}, goes=USUAL
    ),
    "one of two pumps must be there, whatever it gives": Bind(
        plant={"minimum_swept_m3_per_h": 0.0, "minimum_pumps": 1}, goes=USUAL
    ),
    "both pumps must be there until the 8th": Bind(
        plant={
            "minimum_blocks": [_block(50, "guests", minimum_pumps=2, from_on="2026-12-01", to_on="2026-12-08")],
        },
        goes="Wed 9 08:00",
    ),
    "both pumps must be there": Bind(plant={"minimum_pumps": 2}, goes=None, because="too few pumps would be left"),
    "it needs the sea, and she is in port until the 8th": Bind(
        plant={"job_kinds": [_kind("overhaul", needs=["sea"])]},
        told={"beside": Circumstances(days=(_days(2, 8, "port"), _days(9, 20, "sea")))},
        goes="Wed 9 08:00",
    ),
    "it needs the service engineer, who comes on the 8th": Bind(
        plant={
            "job_kinds": [_kind("overhaul", needs=["service engineer"])],
            "engineer_visits": [{"from_at": "2026-12-08T09:00:00Z", "to_at": "2026-12-08T18:00:00Z", "label": "maker"}],
        },
        goes="Tue 8 13:00",
    ),
    "it needs the service engineer, who never comes": Bind(
        plant={"job_kinds": [_kind("overhaul", needs=["service engineer"])]}, goes=None, because="it needs service engineer"
    ),
    "it is pinned to the 3rd": Bind(told={"taken": {KEY: (_at(3, 9), _at(3, 12))}}, goes="Thu 3 09:00"),
    "it was published for the 9th": Bind(told={"taken": {KEY: (_at(9, 8), _at(9, 11))}}, goes="Wed 9 08:00"),
    "one pump is not enough": Bind(plant={"minimum_swept_m3_per_h": 61.0}, goes=None, because="would be broken"),
    "one pump is not enough, and a lower minimum is agreed for the 12th": Bind(
        plant={"minimum_swept_m3_per_h": 61.0}, told={"beside": _concession("B. Hotel")}, goes="Sat 12 08:00"
    ),
    "one pump is not enough, and only one has signed": Bind(
        plant={"minimum_swept_m3_per_h": 61.0}, told={"beside": _concession("")}, goes=None, because="would be broken"
    ),
    "one pump is not enough but in lay-up": Bind(
        plant={
            "minimum_swept_m3_per_h": 61.0,
            "minimum_blocks": [_block(0, "lay-up", from_on="2026-12-14", to_on="2026-12-20")],
        },
        goes="Mon 14 08:00",
    ),
    "both pumps share a suction valve, and the other is open": Bind(
        plant={
            "minimum_swept_m3_per_h": 0.0,
            "branches": [{"positions": ["vp1", "vp2"], "most_open": 1, "label": "suction valve"}],
            "last_done": [_done("overhaul", "p1", 50.75), _done("overhaul", "p2", 50.75)],
            "crew": _crew(hands=2),
        },
        told={"taken": {"overhaul:p2:1": (_at(6, 13), _at(6, 16))}},
        goes="Mon 7 08:00",
    ),
    "ship time is half past: the first whole step after eight": Bind(told={"offset_minutes": 330}, goes="Mon 7 08:30"),
    "the clock goes on by an hour on the 4th, so eight is seven in UTC": Bind(
        told={"beside": Circumstances(clock_changes=((_at(4), 60),))}, goes="Mon 7 07:00"
    ),
}  # fmt: skip


@pytest.mark.parametrize("bind", BINDS.values(), ids=BINDS)
def test_a_job_goes_where_what_binds_lets_it(bind: Bind) -> None:
    """Its start in ship time, or no place and the reason in words."""
    ship = planned(document(**bind.plant), **bind.told)
    assert ship.when() == bind.goes
    if bind.goes is None:
        assert bind.because in ship.says()


def test_a_person_works_eight_hours_a_day_and_the_pump_stays_out_meanwhile() -> None:
    """Twelve hours with hands from 6 to 22: eight on the first day, four on the next, and both nights count as out."""
    kind = _kind("overhaul", takes_hours=12)
    ship = planned(document(job_kinds=[kind], crew=_crew(work_from_hour=6, work_to_hour=22, start_hours=[6])))
    (slot,) = ship.plan.slots
    assert (ship.when(), slot.end - slot.start) == ("Mon 7 06:00", 24 + 4)
    longer = planned(
        document(job_kinds=[kind], crew=_crew(work_from_hour=6, work_to_hour=22, start_hours=[6], hours_a_person=12))
    )
    (slot,) = longer.plan.slots
    assert slot.end - slot.start == 12
    busy = document(
        job_kinds=[kind],
        crew=_crew(work_from_hour=6, work_to_hour=22, start_hours=[6]),
        minimum_blocks=[_block(70, "night watch", from_hour=2, to_hour=4)],
    )
    assert "the minimum (night watch) would be broken" in planned(busy).says()


def test_a_short_test_goes_to_a_quiet_hour_that_somebody_agreed_to() -> None:
    """Twenty minutes at 13 o'clock with the hotel's word, on the day that has it; ten minutes agreed are too few."""
    kind = _kind("pull_down", takes_hours=1, takes_pump_out=False, stop_minutes=20)
    quiet = {"most_stop_minutes": 20, "consent": "hotel, 1 Dec", "from_hour": 13, "to_hour": 14}
    ship = {"job_kinds": [kind], "last_done": [_done("pull_down", "p1", 50.75), _done("pull_down", "p2", 1)]}
    one_day = {**quiet, "from_on": "2026-12-08", "to_on": "2026-12-08"}
    assert planned(document(**ship, quiet_hours=[one_day])).when("pull_down:p1:1") == "Tue 8 13:00"
    short = planned(document(**ship, quiet_hours=[{**quiet, "most_stop_minutes": 10}]))
    assert "no quiet hour is agreed for stopping pumps 20 min" in short.says("pull_down:p1:1")


def test_an_overhaul_takes_knife_and_seal_with_it_and_their_next_turns_count_from_it() -> None:
    """Both fall due some days after the overhaul: they are not planned beside it, and come 30 days after it instead."""
    small = {"takes_hours": 2, "interval_days": 30, "window_days": 4, "tolerance_days": 4}
    kinds = [_kind("overhaul", renews=["knife", "seal"]), _kind("knife", **small), _kind("seal", **small)]
    done = [_done(code, "p1", ago) for code, ago in (("overhaul", 50.75), ("knife", 18), ("seal", 19))]
    done += [_done(kind["code"], "p2", 1) for kind in kinds]
    own = planned(document(job_kinds=[{**kinds[0], "renews": []}, *kinds[1:]], last_done=done), days=45)
    assert own.when("knife:p1:1") is not None
    ship = planned(document(job_kinds=kinds, last_done=done), days=45)
    assert {slot.key for slot in ship.plan.slots if slot.pump == "p1"} == {"overhaul:p1:1", "knife:p1:2", "seal:p1:2"}
    by_key = {slot.key: slot for slot in ship.plan.slots}
    due = {job.key: job for job in ship.problem.jobs}
    for key in ("knife:p1:2", "seal:p1:2"):
        assert due[key].after == "overhaul:p1:1"
        assert by_key[key].start >= by_key["overhaul:p1:1"].end
        assert abs(due[key].due - due["overhaul:p1:1"].due - 30 * 24) <= 1
    sooner = [_done("overhaul", "p1", 54.75), *done[1:]]
    moved = {job.key: job for job in planned(document(job_kinds=kinds, last_done=sooner), days=45).problem.jobs}
    assert moved["knife:p1:2"].due - due["knife:p1:2"].due == -4 * 24


def test_two_jobs_of_a_pump_share_one_isolation_and_the_set_up_is_done_once() -> None:
    """Knife and seal fall due four days apart: one opening, the second shorter by the hour both would spend on isolation."""
    kinds = [_kind("knife", setup_hours=1), _kind("seal", setup_hours=1)]
    done = [_done("knife", "p1", 50.75), _done("seal", "p1", 46.75), _done("knife", "p2", 1), _done("seal", "p2", 1)]
    ship = planned(document(job_kinds=kinds, last_done=done))
    first, second = ship.plan.slots
    assert (second.isolation_of, second.start) == (first.key, first.end)
    assert (first.end - first.start, second.end - second.start) == (3, 2)


def test_turns_follow_each_other_and_a_late_one_moves_the_next() -> None:
    """A weekly job: each turn begins after the one before it; parts that keep the first one back set the next one's limit."""
    kind = _kind(
        "round", subject="plant", takes_hours=1, takes_pump_out=False, interval_days=7, window_days=2, tolerance_days=1
    )
    ship = document(job_kinds=[kind], last_done=[_done("round", "aft", 5)])
    usual = planned(ship)
    slots = sorted(usual.plan.slots, key=lambda slot: slot.start)
    assert [slot.key for slot in slots] == ["round:aft:1", "round:aft:2", "round:aft:3"]
    assert all(a.end <= b.start for a, b in pairwise(slots))
    late = planned(ship, beside=Circumstances(parts_from={"round:aft:1": _at(11)}))
    assert late.when("round:aft:1") == "Fri 11 08:00"
    first, second = sorted(late.plan.slots, key=lambda slot: slot.start)[:2]
    assert second.start >= first.end


def test_a_quiet_period_over_the_whole_window_is_said_and_a_part_of_it_may_be_opened() -> None:
    """Late behind it; three hours of work in it, that somebody aboard can decide, put the overhaul in time, and were tried."""
    quiet = {"from_at": "2026-12-01T00:00:00Z", "to_at": "2026-12-22T00:00:00Z", "label": "quiet period"}
    ship = planned(document(crew=_crew(no_work=[quiet])))
    assert ship.when() == "Tue 22 08:00"
    told = explain_place(ship.problem, ship.plan, KEY)
    assert told.days_late == 2
    assert {one.bar for one in told.forbidden} == {Bar(code=BarCode.NOBODY, label="quiet period")}
    helps = {one.kind: one for one in reliefs(ship.problem, ship.plan, KEY, solve=stagger)}
    relief = helps[ReliefKind.WORK]
    assert (relief.choice.label, relief.choice.hours) == ("quiet period", 3)
    assert judge(relief.problem, relief.plan).faults == ()
    (slot,) = relief.plan.slots
    assert slot_times(relief.problem.starts_at, slot)[1] <= _at(20, 12)
    assert sum(c.to_step - c.from_step for c in ship.problem.closed) - 3 == sum(
        c.to_step - c.from_step for c in relief.problem.closed
    )


def test_a_job_that_fits_no_stay_is_said_with_the_hours_it_takes_and_the_next_lay_over() -> None:
    """Stays of two hours for a job of three; nothing must hold from the 14th; without that, no lay-over is known."""
    ferry = {
        "job_kinds": [_kind("overhaul", needs=["port"])],
        "port_stays": [
            {"from_at": f"2026-12-{day:02}T08:00:00Z", "to_at": f"2026-12-{day:02}T{end}:00Z"}
            for day, end in ((5, "10:00"), (6, "10:59"), (7, "10:00"))
        ],
    }
    over = [_block(0, "lay-over", from_on="2026-12-14", to_on="2026-12-20")]
    ship = planned(document(**ferry, minimum_blocks=over))
    (fact,) = (one for one in plan_facts(ship.problem, ship.plan) if one.code is FactKind.FITS_NO_STAY)
    assert (fact.key, fact.hours) == (KEY, 3)
    assert fact.to_step is not None
    assert ship.problem.starts_at + timedelta(hours=fact.to_step) == _at(14)
    without = planned(document(**ferry))
    (fact,) = (one for one in plan_facts(without.problem, without.plan) if one.code is FactKind.FITS_NO_STAY)
    assert fact.to_step is None
    long_enough = {**ferry, "port_stays": [{"from_at": "2026-12-05T08:00:00Z", "to_at": "2026-12-05T11:00:00Z"}]}
    fits = planned(document(**long_enough))
    assert fits.when() == "Sat 5 08:00"
    assert FactKind.FITS_NO_STAY not in {one.code for one in plan_facts(fits.problem, fits.plan)}


def test_what_an_overhaul_renews_goes_with_it_when_it_is_done_early() -> None:
    """Six days early, the test's next turn is due six days early too: planned by then, not called late by its old window."""
    proof = _kind("pull_down", takes_hours=1, takes_pump_out=False, interval_days=10, window_days=1, tolerance_days=1)
    ship = planned(
        document(
            job_kinds=[_kind("overhaul", renews=["pull_down"], needs=["port"]), proof],
            last_done=[
                *(_done("overhaul", pump, ago) for pump, ago in (("p1", 50.75), ("p2", 1))),
                *(_done("pull_down", pump, ago) for pump, ago in (("p1", 0.5), ("p2", 1))),
            ],
        ),
        beside=Circumstances(days=(_days(4, 4, "port"),)),
    )
    assert ship.when() == "Fri 4 13:00"
    (turn,) = (slot for slot in ship.plan.slots if slot.key == "pull_down:p1:2")
    end = ship.problem.starts_at + timedelta(hours=turn.end)
    assert end <= _at(4, 16) + timedelta(days=11)
    assert next(tier.value for tier in ship.plan.tiers if tier.name == "days past the limit") == 0
