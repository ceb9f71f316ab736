"""What people did in the past of a ship, as requests in the order of time: jobs, tests, findings, what went otherwise. Pure.

Everything is invented. Most jobs are told from their sheets; the newest on two pumps act by act, with photos.
"""

import random
from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import log

from seed_fleet.course import course_of
from seed_fleet.documents import Json, plant_turns, test_days, utc_stamp
from seed_fleet.photos import drawn_photo
from seed_fleet.running import HOUR, LATE_HOURS, PUT_OFF_HOURS, TAKES_HOURS, Run

SECOND, CHIEF, OFFICE = "second", "chief", "office"
"""Who sends a request: the ship's second engineer, her chief engineer, the office."""
_LATER = timedelta(minutes=20)
"""So long after it was done it is entered."""
TAILS = {"overhaul": "", "seal_inspection": "-seal", "knife_inspection": "-knives"}
_ATMOSPHERE_KPA, _START_KPA, _STOP_KPA = 101.325, 36.0, 50.0
_DOERS = ("Demo second", "Demo second", "Demo third", "Demo fitter")
_EARLY = {"overhaul": 0, "seal_inspection": 2750, "knife_inspection": 1350}
"""Under so many running hours a turn is done before its window."""
_WHY_EARLY = ("the pump stood open for a clog", "in the yard week", "a long stay in port", "parts and hands were there")
_FOUND = {
    "knife_inspection": (
        "",
        "",
        "Cleaning cloth around the knives, taken out; edges good.",
        "Gap 0.34 mm at the widest, set to 0.25 mm.",
        "Two edges chipped, knife set changed.",
        "Plastic fork in the housing, no damage.",
    ),
    "seal_inspection": ("", "Three drops a minute, dry after the run.", "Scale on the seal water line, flushed.", ""),
    "overhaul": (
        "Bearings, seal and knives renewed; liner within its limit.",
        "Rotor clearance 0.38 mm, rotor renewed.",
    ),
    "alarm_test": ("", "", "", "", "", "Lamp of the low vacuum alarm changed."),
    "hold_test": ("Fell 2.8 kPa in ten minutes.", "Fell 3.4 kPa in ten minutes; one valve seat on deck 4 changed."),
    "standby_start": ("",) * 14 + ("Stand-by started late, pressure switch cleaned.",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PastAct:
    """A request of the past. at: when it was made, aware. who: whose key it carries. photo: a picture that goes with it.

    counter: whose readings up to then are there before it; empty for none."""

    at: datetime
    who: str
    path: str
    body: Json = field(default_factory=dict)
    key: str
    photo: bytes = b""
    counter: str = ""


def past_acts(run: Run) -> list[PastAct]:
    """Every request of the ship's past, oldest first. Equal runs give equal requests; none where her past is told without its work."""
    return sorted(_PastWork(run).acts(), key=lambda act: act.at) if run.worked else []


class _PastWork:
    def __init__(self, run: Run) -> None:
        self._run, self._ship = run, run.ship
        self._draw = random.Random(f"{run.ship.key} {run.seed} past")  # noqa: S311 - a simulation, not a secret
        self._turns: Tally[str] = Tally()

    def acts(self) -> Iterator[PastAct]:
        """Jobs in the order of time, since each gets the number of its turn as it comes."""
        jobs = sorted((*self._pump_jobs(), *self._plant_jobs()), key=lambda one: one[0])
        for at, kind, subject, number, past_due in jobs:
            yield from self._job(at, kind, subject, number, past_due)
        yield from self._tests()
        yield from self._breakdown()
        yield from self._reviews()

    def _pump_jobs(self) -> Iterator[tuple[datetime, str, str, int, int]]:
        for (number, kind), marks in self._run.done.items():
            overhauls = {mark.done_at for mark in self._run.done[number, "overhaul"]}
            past_due = self._run.past_due_hours(number, kind)
            for place, mark in enumerate(marks):
                if mark.done_at > self._run.start and (kind == "overhaul" or mark.done_at not in overhauls):
                    subject = f"{self._ship.pump(number)}{TAILS[kind]}"
                    early = place + 1 < len(marks) and self._run.ran_before(number, kind, place) < _EARLY[kind]
                    meant = past_due if place == 0 else -1 if early else 0
                    yield mark.done_at, kind, subject, number, meant

    def _plant_jobs(self) -> Iterator[tuple[datetime, str, str, int, int]]:
        for kind, days, hour in plant_turns(self._run):
            for at in (self._run.at_ship_time(-day, hour) for day in days[:-1]):
                if at > self._run.start:
                    yield at, kind, f"{self._ship.key}-plant", -1, 0

    def _job(self, at: datetime, kind: str, subject: str, number: int, past_due: int) -> Iterator[PastAct]:
        turn = f"{kind}:{subject}"
        self._turns[turn] += 1
        key = f"{turn}:{self._turns[turn]}"
        if kind == "overhaul":  # it does these two with it
            self._turns.update(f"{code}:{subject}{TAILS[code]}" for code in ("seal_inspection", "knife_inspection"))
        if past_due == PUT_OFF_HOURS:
            yield from self._postponement(at, key)
        newest = (
            number == 0
            and self._ship.keeps_days
            and kind == "knife_inspection"
            and at == self._run.marks[number, kind].done_at
        )
        body: Json = {
            "done_at": utc_stamp(at),
            "done_by": self._draw.choice(_DOERS),
            "test": "passed",
            "findings": self._draw.choice(_FOUND.get(kind, ("",))),
        }
        if past_due < 0:
            body["findings"] = f"Done early, {self._draw.choice(_WHY_EARLY)}. {body['findings']}".strip()
        if number >= 0:
            opened_at = at - HOUR * TAKES_HOURS[kind]
            if newest:
                yield from self._act_by_act(key, opened_at, at)
                body |= {"done_by": "Demo second", "checked_by": "Demo chief"}
                yield self._close(at, key, body, number)
                yield self._act(at + 2 * HOUR, CHIEF, f"/api/v1/jobs/{key}/check", {}, key)
                return
            permit = f"CW-{self._draw.randint(200, 899)}"
            body |= {"from_paper": True, "opened_at": utc_stamp(opened_at), "permit_no": permit}
            body |= {"checked_by": "Demo chief"}
        yield self._close(at, key, body, number)
        if kind == "overhaul":
            yield self._photo(at + _LATER, key, "the rotor, before")
            yield self._photo(at + _LATER, key, "bearing seat, after")
        if past_due == LATE_HOURS:
            yield from self._non_conformity(at)

    def _act_by_act(self, key: str, opened_at: datetime, at: datetime) -> Iterator[PastAct]:
        for place, (when, step) in enumerate(course_of(opened_at, at, self._draw.randint(200, 899))):
            body: Json = {"step": {"at": utc_stamp(when), "by": "Demo second", **step}}
            yield self._act(when, SECOND, f"/api/v1/jobs/{key}/steps", body, f"{key} {place}")
        yield self._photo(at, key, "cloth found around the knives")
        yield self._photo(at, key, "the knife set, after")

    def _tests(self) -> Iterator[PastAct]:
        band = log((_ATMOSPHERE_KPA - _START_KPA) / (_ATMOSPHERE_KPA - _STOP_KPA))
        for number, pump in enumerate(self._ship.pumps):
            last = pump.measured_swept_m3_per_h or pump.rated_swept_m3_per_h * pump.derate
            overhauls = [mark.done_at for mark in self._run.done[number, "overhaul"]]
            for at in (self._run.at_ship_time(-day, 13) for day in test_days(self._run, pump)):
                if at <= self._run.start:
                    continue
                worn = (self._run.end - at).days - pump.pull_down_days  # days that the pump has worn less
                if any(at < overhaul for overhaul in overhauls):  # before the overhaul that made it good again
                    worn -= 760
                swept = last * (1 + 0.00011 * worn)
                swept += (
                    0.0 if at == self._run.at_ship_time(-pump.pull_down_days, 13) else self._draw.uniform(-0.5, 0.5)
                )
                seconds = round(self._ship.receiver_m3 * 3600 / min(swept, pump.rated_swept_m3_per_h) * band, 2)
                figures: Json = {"from_vacuum_kpa": _START_KPA, "to_vacuum_kpa": _STOP_KPA, "seconds": seconds}
                body: Json = {"at": utc_stamp(at), "result": "passed", "done_by": "Demo second", "figures": figures}
                path = f"/api/v1/pumps/{self._ship.pump(number)}/test"
                yield self._act(at + _LATER, SECOND, path, body, f"{number} {utc_stamp(at)}")

    def _postponement(self, at: datetime, key: str) -> Iterator[PastAct]:
        asked: Json = {
            "to_at": utc_stamp(at + timedelta(days=4)),
            "reason": "No seal aboard; two ordered, in the next port.",
            "risk": "The seal may leak more before it is looked at.",
            "mitigation": "Drops counted each watch; at ten a minute the pump is stopped.",
        }
        asked_at = at - timedelta(days=25)
        yield self._act(asked_at, CHIEF, f"/api/v1/jobs/{key}/postponements", asked, f"{key} asked")
        path = f"/api/v1/vessels/{self._ship.vessel}/postponements/1/decision"
        decided: Json = {"granted": True, "note": "Granted until the seals are fitted, not longer."}
        yield self._act(asked_at + 20 * HOUR, OFFICE, path, decided, f"{key} decided")

    def _non_conformity(self, at: datetime) -> Iterator[PastAct]:
        path = f"/api/v1/vessels/{self._ship.vessel}/non-conformities/1"
        said: Json = {
            "cause": "The due list was not looked at while the chief engineer was relieved.",
            "corrective_action": "Jobs that fall due within a month stand in the handover and are signed for.",
        }
        yield self._act(at + timedelta(days=2), CHIEF, f"{path}/answer", said, "cause")
        yield self._act(at + timedelta(days=9), OFFICE, f"{path}/close", {}, "closed")

    def _breakdown(self) -> Iterator[PastAct]:
        stop = self._run.stop
        if stop is None:
            return
        pump = self._ship.pump(stop.pump)
        broke_at = self._run.at_ship_time(-stop.days, stop.hour)
        back_at, key = broke_at + stop.hours * HOUR, f"breakdown:{pump}:1"
        told: Json = {
            "at": utc_stamp(broke_at),
            "reason": "Motor protection tripped, rotor held fast.",
            "expected_at": utc_stamp(back_at),
        }
        yield self._act(broke_at + _LATER, SECOND, f"/api/v1/pumps/{pump}/breakdowns", told, "broke down")
        body: Json = {
            "done_at": utc_stamp(back_at),
            "opened_at": utc_stamp(broke_at),
            "done_by": "Demo second",
            "checked_by": "Demo chief",
            "test": "passed",
            "from_paper": True,
            "findings": "Cloth wound around the rotor, cut out; turns free, current as before.",
        }
        yield self._close(back_at, key, body, stop.pump)
        yield self._photo(back_at + _LATER, key, "what held the rotor")

    def _reviews(self) -> Iterator[PastAct]:
        first = self._run.start.date().replace(day=1)
        month = (first + timedelta(days=32)).replace(day=1)
        while True:
            following = (month + timedelta(days=32)).replace(day=1)
            at = self._run.at_ship_time((following - self._run.today).days + 1, 9)
            if at >= self._run.end:
                return
            body: Json = {"month": f"{month:%Y-%m}", "text": "Looked through with the second engineer."}
            path = f"/api/v1/vessels/{self._ship.vessel}/reviews"
            yield self._act(at, CHIEF, path, body, f"review {month:%Y-%m}")
            month = following

    def _photo(self, at: datetime, key: str, text: str) -> PastAct:
        photo = drawn_photo(f"{self._ship.key} {self._run.seed} {key} {text}")
        return PastAct(
            at=at,
            who=SECOND,
            path=f"/api/v1/jobs/{key}/photos",
            body={"text": text},
            key=self._key(f"{key} {text}"),
            photo=photo,
        )

    def _close(self, at: datetime, key: str, body: Json, number: int) -> PastAct:
        """A job's close; the hours of its pump are what the counter shows then. number: of the pump, negative for none."""
        counter = self._ship.counter(number) if number >= 0 else ""
        path = f"/api/v1/jobs/{key}/close"
        return PastAct(at=at + _LATER, who=SECOND, path=path, body=body, key=self._key(f"close {key}"), counter=counter)

    def _act(self, at: datetime, who: str, path: str, body: Json, key: str) -> PastAct:
        return PastAct(at=at, who=who, path=path, body=body, key=self._key(f"{path.rpartition('/')[2]} {key}"))

    def _key(self, words: str) -> str:
        return f"seed {self._run.seed} {self._ship.key} {words}"[:200]
