"""A plant's days as folded so far, of the plant and of each pump, and as text."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from scheduler.domain.hours.air import PlantDays, half_out, known_seconds, plant_values, pump_values
from scheduler.domain.hours.sign_values import Sign, SignAnswer, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, Track, fold_signs
from scheduler.domain.hours.usual import Ints
from scheduler.domain.voyage.days import Floats

MOST_DAYS = 3 * 366
_SPARE_DAYS = 60
_VERSION = 1


@dataclass(frozen=True, slots=True, eq=False)
class SignDays:
    """plant: of all its air. pumps: by position, empty where their hours can say nothing. kinds: what the codes of days mean.

    hours: the plant's pump-hours a day, NaN where not known; of the same days as `plant`.
    """

    plant: Track
    pumps: Mapping[str, Track]
    kinds: tuple[str, ...]
    hours: Floats = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def none(cls, first_day: int, positions: Sequence[str]) -> "SignDays":
        """Before the first day. positions: of the pumps that may speak."""
        return cls(Track(first_day), {position: Track(first_day) for position in positions}, ())

    def before(self, day: int) -> "SignDays":
        """As it was before a day was folded in."""
        n = max(0, day - self.plant.first_day)
        pumps = {position: track.before(day) for position, track in self.pumps.items()}
        return replace(self, plant=self.plant.before(day), pumps=pumps, hours=self.hours[:n])

    def coded(self, kinds: Sequence[str | None]) -> tuple["SignDays", Ints]:
        """Itself with all names of kinds in it, and the codes of these days; a day of no kind is of the kind ""."""
        names = [*self.kinds]
        for kind in kinds:
            if (kind or "") not in names:
                names.append(kind or "")
        codes = np.array([names.index(kind or "") for kind in kinds], dtype=np.int64)
        return replace(self, kinds=tuple(names)), codes

    def more(
        self,
        days: PlantDays,
        positions: Sequence[str],
        kinds: Sequence[str | None],
        *,
        answers: Mapping[str, Sequence[SignAnswer]],
        renewed: Mapping[str, Sequence[int]],
    ) -> "SignDays":
        """With more days folded in; the oldest are dropped beyond three years.

        Args:
            days: some days before the first new one, and the new ones. positions: of its rows. kinds: of the new days.
            answers, renewed: by position; "" is the plant.
        """
        new = self.plant.next_day - days.first_day
        coded, codes = self.coded(kinds)
        barred = half_out(days)
        plant = fold_signs(
            self.plant, PLANT_RULE, plant_values(days)[new:], codes, answers=answers.get("", ()), barred=barred
        )
        pumps = {}
        if self.pumps:
            values = pump_values(days)
            flat = np.zeros(len(codes), dtype=np.int64)
            for row, position in enumerate(positions):
                pumps[position] = fold_signs(
                    self.pumps[position],
                    PUMP_RULE,
                    values[row, new:],
                    flat,
                    answers=answers.get(position, ()),
                    renewed=renewed.get(position, ()),
                    barred=barred,
                )
        hours = np.concatenate([self.hours, np.round(known_seconds(days).sum(axis=0)[new:] / 3600, 3)])
        if len(hours) > MOST_DAYS + _SPARE_DAYS:
            first = plant.next_day - MOST_DAYS
            hours = hours[-MOST_DAYS:]
            plant, pumps = plant.after(first), {position: track.after(first) for position, track in pumps.items()}
        return SignDays(plant, pumps, coded.kinds, hours)

    def to_text(self) -> str:
        """As JSON."""
        return json.dumps(
            {
                "version": _VERSION,
                "kinds": self.kinds,
                "plant": _plain(self.plant),
                "pumps": {position: _plain(track) for position, track in self.pumps.items()},
                "hours": _numbers(self.hours),
            },
            separators=(",", ":"),
        )

    @classmethod
    def from_text(cls, text: str) -> "SignDays":
        """Raises ValueError: it is of another version."""
        state = json.loads(text)
        if state.get("version") != _VERSION:
            raise ValueError(f"days of signs are of version {state.get('version')}, {_VERSION} was expected")
        pumps = {position: _track(track) for position, track in state["pumps"].items()}
        return cls(_track(state["plant"]), pumps, tuple(state["kinds"]), _floats(state["hours"]))


def _plain(track: Track) -> dict[str, Any]:
    return {
        "first_day": track.first_day,
        "values": _numbers(track.values),
        "kinds": track.kinds.tolist(),
        "rises": _numbers(track.rises),
        "signs": [asdict(sign) for sign in track.signs],
        "renewed": track.renewed,
    }


def _track(state: Mapping[str, Any]) -> Track:
    signs = tuple(
        Sign(**{**sign, "end": None if sign["end"] is None else SignEnd(sign["end"])}) for sign in state["signs"]
    )
    kinds = np.array(state["kinds"], dtype=np.int64)
    values, rises = _floats(state["values"]), _floats(state["rises"])
    return Track(state["first_day"], values, kinds, rises, signs, tuple(state["renewed"]))


def _numbers(values: Floats) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]


def _floats(numbers: Sequence[float | None]) -> Floats:
    return np.array([math.nan if number is None else number for number in numbers], dtype=np.float64)
