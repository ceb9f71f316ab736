"""A record's text for who reads it in the workbook: ship time, hours and units, and the names that people use. The record as it was
hashed stands beside it, and in the JSON Lines."""

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from pydantic import ValidationError

from scheduler.actions.plant_state.work import STEP
from scheduler.actions.record.period import VesselPeriod
from scheduler.domain.record.chain import Record
from scheduler.domain.work.against import from_plain
from scheduler.shiptime import NBSP
from scheduler.wording import papers
from scheduler.wording.figures import capital, clock, margin_number, number, offset_words
from scheduler.wording.names import job_words, pump_words
from scheduler.wording.record import record_person
from scheduler.wording.steps import step_words
from scheduler.wording.work import against_words

MOST_THINGS = 12
"""Of a list; how many more there are is said."""
_ELSEWHERE = frozenset(
    {
        "kind", "number", "recorded_at", "vessel", "verdict", "event", "position", "pump", "plant", "counter", "by", "recorded_by",
        "key", "address", "media_type", "bytes", "utc_offset_minutes", "not_recorded", "differences",
    }
)  # fmt: skip
"""Said in columns of their own, or of use to machines alone."""
_FIRST = (
    "name",
    "text",
    "done_at",
    "at",
    "running_seconds",
    "due_running_seconds",
    "due_at",
    "seconds_from_due",
    "test",
    "findings",
)
_QUIET = frozenset(
    {
        "told_as_fact",
        "opened_as_shown",
        "from_log",
        "was_down",
        "postponed",
        "class_item",
        "critical",
        "alarms",
        "from_paper",
    }
)
"""Said only where they are so."""
_JOBS = frozenset({"job_no", "job", "jobs"})
_ON_A_DAY = frozenset({"due_at", "limit_at", "window_opens_at"})
"""Of these the ship's date is said, as everywhere on paper."""
_LABELS = {
    "seconds": "hours",
    "at": "when",
    "running_seconds": "done at",
    "due_running_seconds": "due at",
    "limit_running_seconds": "limit at",
    "window_opens_running_seconds": "window opens at",
    "done_at": "done",
    "due_at": "due on",
    "limit_at": "limit on",
    "window_opens_at": "window opens on",
    "changed": "days changed",
    "seconds_from_due": "from due",
    "days_from_due": "from due date",
    "seconds_per_count": "a count is",
    "modulus": "starts again at 0 after",
    "offset_minutes": "ship's clock",
}
_UNITS: tuple[tuple[str, float, int, str], ...] = (
    ("running_seconds", 3600, 0, "running h"),
    ("running_hours", 1, 0, "running h"),
    ("seconds_per_count", 1, 0, "s"),
    ("pull_down_seconds", 1, 0, "s"),
    ("seconds", 3600, 1, "h"),
    ("swept_litres_per_h", 1000, 1, "m³/h swept"),
    ("litres_per_h", 1000, 1, "m³/h"),
    ("swept_m3_per_h", 1, 1, "m³/h swept"),
    ("free_m3_per_h", 1, 2, "m³/h of free air"),
    ("pa_m3_per_s", 1, 3, "Pa m³/s"),
    ("m3_per_h", 1, 1, "m³/h"),
    ("kpa", 1, 1, "kPa below air"),
    ("milli", 1000, 1, ""),
    ("hours", 1, 1, "h"),
    ("days", 1, 0, "days"),
    ("minutes", 1, 0, "min"),
    ("percent", 1, 1, "%"),
    ("ppm", 1, 1, "ppm"),
    ("ampere", 1, 1, "A"),
)
"""(how a member's name ends, how many of it are one of the unit, decimals, the unit); the first that fits."""
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_MONTH = re.compile(r"\d{4}-\d\d")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?(\.\d+)?(Z|[+-]\d\d:\d\d)")
_HASH = re.compile(r"[0-9a-f]{12,}")
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


class RecordTexts:
    """Says records one after the other; names of people are those of the records gone through so far."""

    def __init__(self, period: VesselPeriod) -> None:
        self._period = period
        self._names: dict[str, str] = {}
        for one in period.plants:
            plant = one.plant
            self._names |= {plant.id: plant.name}
            self._names |= {it.id: it.name for it in plant.positions} | {it.id: it.name for it in plant.parts}
            self._names |= {it.id: f"counter of {self._names.get(it.position, 'a position')}" for it in plant.counters}
            self._names |= {it.code: it.name for it in plant.job_kinds}
        self._pumps = {it.id: one.plant for one in period.plants for it in one.plant.pumps}
        self._ids = self._pattern()

    def said(self, record: Record, members: Mapping[str, Any]) -> str:
        """The text; empty where other columns say it all."""
        self._learn(members)
        return papers_line(self._parts(record, members))

    def pump(self, record: Record, members: Mapping[str, Any]) -> str:
        """Which pump or position it is of, empty where of none."""
        if members.get("position"):
            return self._named(str(members["position"]), record.recorded_at)
        for name in ("pump", "counter"):
            if members.get(name):
                return self._named(str(members[name]), record.recorded_at).removeprefix("counter of ")
        return str(members.get("pump_serial") or members.get("serial") or "")

    def _parts(self, record: Record, members: Mapping[str, Any]) -> Iterator[str]:
        at, who = record.recorded_at, record_person(members)
        key = members.get("job_no") or members.get("job")
        if isinstance(key, str):
            yield self._job(key, at)
        step = members.get("step")
        if isinstance(step, Mapping):
            try:
                yield step_words(STEP.validate_python(dict(step)))
            except ValidationError:  # a record of an older version
                yield self._value("step", step, at)
        skipped = {*_ELSEWHERE, *_JOBS, "step", "job_kind"} if key else {*_ELSEWHERE, "step"}
        there = [name for name in members if name not in skipped]
        for name in sorted(there, key=lambda one: (_FIRST.index(one) if one in _FIRST else len(_FIRST), one)):
            value = members[name]
            if value in (None, "", [], {}) or (value is False and name in _QUIET):
                continue
            if isinstance(value, str) and _HASH.fullmatch(value):
                continue
            if value == who or (name == "person" and members.get("name")):
                continue
            if isinstance(step, Mapping) and value == step.get(name):
                continue
            yield self._member(name, value, at)
        told_by = str(members.get("recorded_by") or "")
        if told_by and not told_by.startswith(who):
            yield f"recorded by: {told_by}"

    def _member(self, name: str, value: Any, at: datetime) -> str:
        said = self._value(name, value, at)
        if value is True:
            return _label(name)
        return said if name == "text" else f"{_label(name)}: {said}"

    def _value(self, name: str, value: Any, at: datetime) -> str:
        if isinstance(value, list):
            shown = [self._value(name, one, at) for one in value[:MOST_THINGS]]
            more = len(value) - MOST_THINGS
            return ", ".join([*shown, *([f"and {number(more)} more"] if more > 0 else [])])
        if isinstance(value, dict):
            if name == "against" and "code" in value:
                return against_words(from_plain(value), self._period.offset)
            if "from_on" in value:
                return self._stretch(value, at)
            said = ((one, it) for one, it in sorted(value.items()) if it not in (None, "", [], {}))
            return " ".join(f"{_label(one)} {self._value(one, it, at)}" for one, it in said)
        if isinstance(value, bool):
            return "yes" if value else "no"
        text = str(value)
        if name in _JOBS:
            return self._job(text, at)
        if _NUMBER.fullmatch(text):
            return _figure(name, float(text), text)
        if name in _ON_A_DAY:
            return papers.day_at(datetime.fromisoformat(text), self._period.offset)
        if _DAY.fullmatch(text):
            return papers.day_on(date.fromisoformat(text))
        if _MONTH.fullmatch(text):
            return papers.month_words(text)
        text = _INSTANT.sub(lambda found: self._moment(found[0]), text)
        return self._ids.sub(lambda found: self._named(found[0], at), text)

    def _moment(self, text: str) -> str:
        instant = datetime.fromisoformat(text)
        return f"{papers.day_at(instant, self._period.offset)} {clock(instant, self._period.offset)}"

    def _stretch(self, told: Mapping[str, Any], at: datetime) -> str:
        """Days of the operating calendar: what they are and were."""
        first, last = (self._value(name, told.get(name), at) for name in ("from_on", "to_on"))
        days = first if first == last else f"{first} to {last}"
        was = f", was {told['was']}" if told.get("was") else ""
        return f"{days} {told.get('now') or 'not known'}{was}"

    def _job(self, key: str, at: datetime) -> str:
        words = (job_words(one.plant, at, key) for one in self._period.plants)
        said = next((one for one in words if one != key), "a job no longer set up")
        return capital(said)

    def _named(self, ident: str, at: datetime) -> str:
        plant = self._pumps.get(ident)
        return pump_words(plant, at, ident) if plant is not None else self._names.get(ident, ident)

    def _learn(self, members: Mapping[str, Any]) -> None:
        """Names that a record gives: of a person, of the vessel."""
        for name in ("person", "vessel"):
            ident, said = str(members.get(name) or ""), str(members.get("name") or "")
            if ident and said and self._names.get(ident) != said:
                self._names[ident] = said
                self._ids = self._pattern()

    def _pattern(self) -> re.Pattern[str]:
        """Any of the ids, as words of their own."""
        ids = sorted({*self._names, *self._pumps}, key=len, reverse=True)
        return re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, ids))})(?![\w-])" if ids else r"(?!)")


def papers_line(parts: Iterator[str]) -> str:
    """Parts in a row, the first with a capital."""
    text = "; ".join(part.rstrip(". ") if part.endswith(".") else part for part in parts if part)
    return capital(text)


def _label(name: str) -> str:
    if name in _LABELS:
        return _LABELS[name]
    for end, *_rest in _UNITS:
        if name.endswith(f"_{end}"):
            name = name.removesuffix(f"_{end}")
            break
    return name.removesuffix("_at").removesuffix("_on").replace("_", " ").replace("non conformity", "non-conformity")


def _figure(name: str, value: float, text: str) -> str:
    if name == "seconds_from_due":
        return papers.from_due_words(value / 3600, None)
    if name == "days_from_due":
        return papers.from_due_words(None, int(value))
    if name == "offset_minutes":
        return offset_words(int(value))
    for end, scale, decimals, unit in _UNITS:
        if name == end or name.endswith(f"_{end}"):
            figure = value / scale
            said = number(figure, 0 if figure == int(figure) else decimals)
            said = margin_number(figure) if name.startswith("least_margin") else said
            return f"{said}{NBSP}{unit}" if unit else said
    return text
