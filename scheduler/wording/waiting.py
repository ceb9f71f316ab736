"""What waits for a person: each matter as a name, a few words and one verb."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import NamedTuple

from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.vessel.document import Plant
from scheduler.wording.figures import (
    MONTHS,
    count_words,
    inner,
    margin_number,
    moment,
    number,
    short_date,
)
from scheduler.wording.names import job_words

_LONGEST = 70


class MatterWords(NamedTuple):
    """What it is, a few words on it, and the verb of what is to be done."""

    what: str
    words: str
    verb: str


def matter_words(matter: Matter, plant: Plant, now_at: datetime, offset_minutes: int) -> MatterWords:
    """The matter said, in ship time; with the year where it is not this one."""
    return _WORDS[matter.code](_Said(matter, plant, now_at, offset_minutes))


class _Said:
    def __init__(self, matter: Matter, plant: Plant, now_at: datetime, offset: int) -> None:
        self.matter, self.plant, self.now_at, self.offset = matter, plant, now_at, offset

    @property
    def job(self) -> str:
        at = self.matter.at
        return "" if at is None else job_words(self.plant, at, self.matter.job_key)

    @property
    def since(self) -> str:
        at = self.matter.at
        return "" if at is None else moment(at, self.offset, self.now_at)

    def day(self, to: bool = False) -> str:
        at = self.matter.to_at if to else self.matter.at
        return "" if at is None else short_date(at, self.offset, self.now_at)

    @property
    def text(self) -> str:
        words = " ".join(self.matter.text.split())
        return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 1]}…"


def _postponement(said: _Said) -> MatterWords:
    figures = said.matter.figures
    words = [f"limit {said.day()}"]
    if "hours_then" in figures:
        words.append(f"about {number(figures['hours_then'])} of {number(figures['interval_hours'])} h by then")
    if "margin_m3_per_h" in figures:
        words.append(f"margin {margin_number(figures['margin_m3_per_h'])} as planned now")
    return MatterWords(f"{said.job} to {said.day(to=True)}", f"{', '.join(words)}; asked by {said.matter.by}", "Decide")


def _lower(said: _Said) -> MatterWords:
    minimum = number(said.matter.figures["minimum_m3_per_h"])
    until = "" if said.matter.to_at is None else moment(said.matter.to_at, said.offset, said.now_at)
    return MatterWords(f"Lower minimum, {minimum} m³/h", f"{said.since} to {until}; asked by {said.matter.by}", "Sign")


def _nonconformity(said: _Said) -> MatterWords:
    many = count_words(said.matter.count, "non-conformity", "non-conformities")
    what = f"Non-conformity, {inner(said.job)}" if said.matter.count == 1 else many
    return MatterWords(what, f"{said.text}, since {said.day()}", "Answer")


def _answered(said: _Said) -> MatterWords:
    many = count_words(said.matter.count, "answered non-conformity", "answered non-conformities")
    return MatterWords(many, f"the oldest of {said.day()}", "Close")


def _month(said: _Said) -> MatterWords:
    year, _, month = said.matter.text.partition("-")
    return MatterWords(f"{MONTHS[int(month) - 1]} {year}", "the month is over; not signed", "Sign")


def _plan(said: _Said) -> MatterWords:
    moved = count_words(said.matter.count, "slot differs", "slots differ").lower()
    return MatterWords("Newer plan", f"made {said.since}; {moved} from the plan aboard", "See")


_WORDS: Mapping[MatterCode, Callable[[_Said], MatterWords]] = {
    MatterCode.POSTPONEMENT: _postponement,
    MatterCode.LOWER_MINIMUM: _lower,
    MatterCode.FIRST_DATE: lambda said: MatterWords(
        f"{said.job}, first date {said.day()}", f"set by {said.matter.by}: {said.text}", "Agree"
    ),
    MatterCode.HANDOVER: lambda said: MatterWords("Handover", f"{said.matter.by}, {said.since}: {said.text}", "Sign"),
    MatterCode.HELD_READING: lambda said: MatterWords(
        f"{said.matter.position} reading held", f"since {said.since}: nothing counts until somebody decides", "Decide"
    ),
    MatterCode.NEWER_PLAN: _plan,
    MatterCode.NON_CONFORMITY: _nonconformity,
    MatterCode.NON_CONFORMITY_ANSWERED: _answered,
    MatterCode.VERSION: lambda said: MatterWords(
        f"Document version {said.matter.number}",
        f"{said.matter.by}, {said.since}: {said.text or 'no reason given'}",
        "Approve",
    ),
    MatterCode.MONTH: _month,
}
