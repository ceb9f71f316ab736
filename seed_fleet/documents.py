"""The vessel document of a simulated ship, as plain JSON values for `PUT /api/v1/vessels/{id}`. Pure."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

from seed_fleet.running import Run
from seed_fleet.sheets import SHEETS
from seed_fleet.ships import PumpPlan, ShipPlan

Json = dict[str, Any]

_EXAMPLE = "The interval is an example (judgement, no source); the maker's manual and the ship's own system come first."
DAYS_KNOWN_BACK, DAYS_KNOWN_AHEAD = 14, 200
"""How far the voyage plan goes: full-ship days and port arrivals are listed from the one to the other."""
ARRIVAL_HOURS = (5, 9)

JOB_KINDS: tuple[Json, ...] = (
    {
        "code": "overhaul",
        "name": "Overhaul",
        "subject": "pump",
        "takes_hours": 10,
        "hands": 2,
        "interval_running_hours": 8000,
        "interval_months": 30,
        "window_running_hours": 400,
        "window_days": 45,
        "tolerance_running_hours": 400,
        "tolerance_days": 45,
        "renews": ["seal_inspection", "knife_inspection", "pull_down_test"],
        "note": _EXAMPLE,
    },
    {
        "code": "seal_inspection",
        "name": "Seal inspection",
        "subject": "part",
        "part_kind": "mechanical_seal",
        "takes_hours": 4,
        "interval_running_hours": 3000,
        "interval_months": 12,
        "window_running_hours": 200,
        "window_days": 21,
        "tolerance_running_hours": 150,
        "tolerance_days": 21,
        "note": f"Leak check without dismantling; faces once parted are renewed, not refitted. {_EXAMPLE}",
    },
    {
        "code": "knife_inspection",
        "name": "Knife inspection",
        "subject": "part",
        "part_kind": "knife_set",
        "takes_hours": 3,
        "interval_running_hours": 1500,
        "interval_months": 6,
        "window_running_hours": 120,
        "window_days": 14,
        "tolerance_running_hours": 100,
        "tolerance_days": 14,
        "note": _EXAMPLE,
    },
    {
        "code": "standby_start",
        "name": "Standby start",
        "subject": "plant",
        "takes_hours": 1,
        "takes_pump_out": False,
        "pumps_closed": True,
        "interval_days": 7,
        "window_days": 2,
        "critical": True,
        "note": _EXAMPLE,
    },
    {
        "code": "pull_down_test",
        "name": "Pull-down test",
        "subject": "pump",
        "takes_hours": 1,
        "takes_pump_out": False,
        "interval_months": 3,
        "window_days": 14,
        "tolerance_days": 14,
        "note": f"At a quiet hour, the other pumps stopped for minutes. {_EXAMPLE}",
    },
    {
        "code": "hold_test",
        "name": "Hold test",
        "subject": "plant",
        "takes_hours": 1,
        "takes_pump_out": False,
        "pumps_closed": True,
        "interval_months": 6,
        "window_days": 21,
        "tolerance_days": 21,
        "note": f"All pumps stopped for minutes at a quiet hour, to see what leaks in. {_EXAMPLE}",
    },
    {
        "code": "alarm_test",
        "name": "Alarm test",
        "subject": "plant",
        "takes_hours": 1,
        "takes_pump_out": False,
        "interval_months": 1,
        "window_days": 7,
        "critical": True,
        "note": _EXAMPLE,
    },
)


def utc_stamp(at: datetime) -> str:
    """RFC 3339 in UTC, to the second."""
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


def vessel_document(run: Run) -> Json:
    """The whole vessel document: one plant, set up at the start of the past and last changed never.

    Hours before the past are opening balances; `last_done` agrees with what the pumps truly ran.
    """
    ship = run.ship
    plant = {
        "id": f"{ship.key}-plant",
        "name": "Vacuum plant",
        "receiver_m3": ship.receiver_m3,
        "start_vacuum_kpa": 36.0,
        "stop_vacuum_kpa": 50.0,
        "minimum_swept_m3_per_h": ship.minimums.normal,
        "minimum_label": "normal",
        "minimum_blocks": _minimum_blocks(run),
        "job_kinds": [_kind(kind, ship) for kind in JOB_KINDS],
        "crew": {
            "hands": ship.hands,
            "work_from_hour": 8,
            "work_to_hour": 17,
            "start_hours": [8, 13],
            "no_work": list(_arrivals(run)),
        },
        "provisional_derate": 0.8,
        **_machinery(run),
        "last_done": list(_last_done(run)),
    }
    return {
        "id": ship.vessel,
        "name": ship.name,
        "imo": ship.imo,
        "utc_offset_minutes": ship.utc_offset_minutes,
        "plants": [plant],
    }


def _machinery(run: Run) -> Json:
    ship = run.ship
    answer: Json = {key: [] for key in ("positions", "pumps", "parts", "stays", "fittings", "counters")}
    for number, pump in enumerate(ship.pumps):
        name, position, register = ship.pump(number), f"{ship.key}-vp{number + 1}", pump.register
        answer["positions"].append({"id": position, "name": f"VP{number + 1}"})
        answer["pumps"].append(
            {
                "id": name,
                "serial": pump.serial,
                "rated_swept_m3_per_h": pump.rated_swept_m3_per_h,
                "derate": pump.derate,
                "measured_swept_m3_per_h": pump.measured_swept_m3_per_h,
                "measured_on": _tested_on(run, pump).isoformat() if pump.measured_swept_m3_per_h is not None else None,
            }
        )
        answer["stays"].append(
            {
                "pump": name,
                "position": position,
                "from_at": utc_stamp(run.start),
                "opening_running_hours": float(pump.opening_running_hours),
            }
        )
        answer["counters"].append(
            {
                "id": ship.counter(number),
                "position": position,
                "seconds_per_count": register.seconds_per_count,
                "modulus": register.modulus,
                "resolution": 1.0,
                "quiet_after_hours": 36,
            }
        )
        # Parts are renewed at the overhaul: fitted then, or before the past with the hours run since.
        fitted = run.start if run.worked else max(run.marks[number, "overhaul"].done_at, run.start)
        for kind, tail, words in (("knife_set", "knives", "Knife set"), ("mechanical_seal", "seal", "Mechanical seal")):
            part = f"{name}-{tail}"
            answer["parts"].append({"id": part, "kind": kind, "name": f"{words} of {pump.serial}"})
            opening = _hours(run.part_seconds(number, fitted))
            answer["fittings"].append(
                {"part": part, "pump": name, "from_at": utc_stamp(fitted), "opening_running_hours": opening}
            )
    return answer


def _last_done(run: Run) -> Iterator[Json]:
    ship = run.ship
    plant = f"{ship.key}-plant"
    for kind, days, hour in plant_turns(run):
        yield _done(kind, plant, run.at_ship_time(-days[-1], hour))
    for number, pump in enumerate(ship.pumps):
        name = ship.pump(number)
        yield _done("pull_down_test", name, run.at_ship_time(-pump.pull_down_days, 13))
        overhaul = run.done[number, "overhaul"][-1]
        yield _done("overhaul", name, overhaul.done_at, _hours(overhaul.pump_seconds))
        for kind, tail in (("seal_inspection", "seal"), ("knife_inspection", "knives")):
            mark = max(run.done[number, kind][-1], overhaul, key=lambda one: one.done_at)
            yield _done(kind, f"{name}-{tail}", mark.done_at, _hours(mark.pump_seconds - overhaul.pump_seconds))


def plant_turns(run: Run) -> Iterator[tuple[str, list[int], int]]:
    """Each job kind of the plant with the days before the end on which it was done, newest first, and the hour. Of a past that is told
    with its work they are the newest few, the last of them from before the ship's jobs were entered one by one."""
    ship = run.ship
    for kind, newest, every, entered, hour in (
        ("standby_start", ship.standby_days, 7, 2, 10),
        ("alarm_test", ship.alarm_days, 29, 3, 10),
        ("hold_test", ship.hold_days, 172, 1, 13),
    ):
        yield kind, [newest + every * turn for turn in range(entered + 1 if run.worked else 1)], hour


def test_days(run: Run, pump: PumpPlan) -> list[int]:
    """Days before the end on which a pump's pull-down was tested, newest first, the last of them before a past with its work."""
    if not run.worked:
        return [pump.pull_down_days]
    return list(range(pump.pull_down_days, (run.end - run.start).days + 122, 122))


def _tested_on(run: Run, pump: PumpPlan) -> date:
    return run.today - timedelta(days=test_days(run, pump)[-1])


def _kind(kind: Json, ship: ShipPlan) -> Json:
    """The kind as aboard this ship, with its sheet: a pull-down test takes all hands, since the other pumps are stopped."""
    hands = {"hands": ship.hands} if kind["code"] in ("pull_down_test", "hold_test") else {}
    return {**kind, **SHEETS[kind["code"]], **hands}


def _done(kind: str, subject: str, at: datetime, running_hours: float | None = None) -> Json:
    return {"kind": kind, "subject": subject, "done_at": utc_stamp(at), "running_hours": running_hours}


def _hours(seconds: int) -> float:
    return round(seconds / 3600, 1)


def _minimum_blocks(run: Run) -> list[Json]:
    """Later blocks overrule earlier ones: hours of any day, then full-ship days, then the days with few aboard."""
    ship, figures = run.ship, run.ship.minimums
    blocks = [
        {"minimum_swept_m3_per_h": figures.night, "label": "night", "from_hour": 23, "to_hour": 5},
        {"minimum_swept_m3_per_h": figures.busy, "label": "busy hours", "from_hour": 6, "to_hour": 8},
        {"minimum_swept_m3_per_h": figures.busy, "label": "busy hours", "from_hour": 17, "to_hour": 20},
    ]
    for first, last in _full_ship_days(ship):
        dates = {"from_on": _day(run, first), "to_on": _day(run, last)}
        blocks.append({"minimum_swept_m3_per_h": figures.full_ship, "label": "full ship", **dates})
        busy = {"minimum_swept_m3_per_h": figures.full_ship_busy, "label": "full ship, busy hours", **dates}
        blocks += [{**busy, "from_hour": 6, "to_hour": 8}, {**busy, "from_hour": 17, "to_hour": 20}]
    if ship.few_aboard is not None:
        dates = {"from_on": _day(run, ship.few_aboard[0]), "to_on": _day(run, ship.few_aboard[1])}
        blocks.append({"minimum_swept_m3_per_h": figures.few_aboard, "label": "few aboard", **dates})
    return blocks


def _full_ship_days(ship: ShipPlan) -> Iterator[tuple[int, int]]:
    every = ship.full_ship_every_days
    for round_starts in range(-every, DAYS_KNOWN_AHEAD, every):
        first, last = round_starts + ship.full_ship[0], round_starts + ship.full_ship[1]
        if last >= -DAYS_KNOWN_BACK and first <= DAYS_KNOWN_AHEAD:
            yield first, last


def _arrivals(run: Run) -> Iterator[Json]:
    for day in range(DAYS_KNOWN_AHEAD):
        if run.ship.in_port(day):
            from_at, to_at = (run.at_ship_time(day, hour) for hour in ARRIVAL_HOURS)
            yield {"from_at": utc_stamp(from_at), "to_at": utc_stamp(to_at), "label": "port arrival"}


def operating_calendar(run: Run) -> Json | None:
    """Days at sea and in port of a ship that keeps an operating calendar, for `PUT /api/v1/vessels/{id}/calendar`.

    What is past is as logged, what is to come as planned; none when the ship keeps none.
    """
    if not run.ship.keeps_days:
        return None
    first = (run.start.date() - run.today).days
    stretches: list[Json] = []
    for day in range(first, DAYS_KNOWN_AHEAD):
        kind, source = "port" if run.ship.in_port(day) else "sea", "log" if day < 0 else "plan"
        if stretches and (stretches[-1]["kind"], stretches[-1]["source"]) == (kind, source):
            stretches[-1]["to_on"] = _day(run, day)
        else:
            stretches.append({"from_on": _day(run, day), "to_on": _day(run, day), "kind": kind, "source": source})
    return {"stretches": stretches, "reason": "the ship's log and her voyage plan"}


def _day(run: Run, day: int) -> str:
    return (run.today + timedelta(days=day)).isoformat()
