"""What the hours say of a plant: days folded in as they come to be known, signs numbered, answers on record.

The days as folded are a cache: what is touched is folded again from the earliest touched day on, so a day's new reading costs a
day's work. A sign moves nothing by itself.
"""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.actions.base.context import Context
from scheduler.actions.hours.daily import days_of_subjects
from scheduler.actions.hours.ledger import changes_of, derive_vessel, setups_of_vessel
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.voyage.days import voyage_days_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.air import LONG_GAP_DAYS, PlantDays
from scheduler.domain.hours.running import DAY_S
from scheduler.domain.hours.sign_days import MOST_DAYS, SignDays
from scheduler.domain.hours.sign_facts import PlantSigns, plant_signs
from scheduler.domain.hours.sign_values import Sign, SignAnswer, SignEnd
from scheduler.domain.vessel.document import BY_STARTS, Plant
from scheduler.errors import Busy, StorageFull
from scheduler.storage.capacity import OutageRow, outage_rows
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import CounterRow, counter_rows
from scheduler.storage.hours.ledger import first_entry_day
from scheduler.storage.hours.signs import (
    SignAnswerRow,
    SignRow,
    SignTrackRow,
    next_sign_number,
    sign_answer_rows,
    sign_rows,
    sign_track,
)
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.vessel import revision_of
from scheduler.storage.work import done_rows_of_kind

OVERHAUL = "overhaul"
"""Code of the job kind after which a pump's usual starts anew."""
LOOK_BACK_DAYS = LONG_GAP_DAYS + 4
"""Days read before the first new one, since a gap is as long as all its days."""
SAME_SIGN_DAYS = 20
"""A sign of the same pump seen so near to one that has a number is that one, seen anew."""
_TIME = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class OneSign:
    """A sign with its number and what was answered, those taken back among them. position: none for the plant.

    number: none where it could not be stored yet.
    """

    number: int | None
    position: str | None
    sign: Sign
    answers: tuple[SignAnswerRow, ...] = ()

    @property
    def answer(self) -> SignAnswerRow | None:
        """The newest answer that nobody took back."""
        return next((one for one in reversed(self.answers) if one.undone_at is None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class FoldedPlant:
    """A plant's days with its signs. positions: of the pumps that may speak. half_out: more than half the pumps are out now.

    whole_hours: some counter is read to the whole hour, so that pumps say nothing.
    """

    plant: Plant
    days: SignDays
    signs: tuple[OneSign, ...]
    half_out: bool
    whole_hours: bool

    def facts(self) -> PlantSigns:
        """What is said of it."""
        return plant_signs(
            self.days,
            [(one.number, one.position, one.sign) for one in self.signs],
            half_out=self.half_out,
            by_starts=self.plant.control_turns == BY_STARTS,
            whole_hours=self.whole_hours,
        )


def folded_plant(context: Context, vessel_id: str, plant_id: str) -> FoldedPlant:
    """The plant's days up to yesterday, its ledger brought up to date first. Raises NotFound.

    Where nothing can be stored now, what was worked out is given all the same, new signs without a number.
    """
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        book = _Book(session, context, vessel_id, plant_id)
        row = sign_track(session, vessel_id, plant_id)
        revision = revision_of(session, vessel_id)
        days, more = book.folded(row)
        known = _numbered(days, sign_rows(session, vessel_id, plant_id))
        if not more and all(number is not None for number, _, _ in known):
            return book.with_signs(session, days, known)
    with (
        suppress(StorageFull, Busy),
        context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session,
    ):  # timers say so
        if revision_of(session, vessel_id) == revision:
            _store(session, book, days)
    with context.db.read() as session:
        return book.with_signs(session, days, _numbered(days, sign_rows(session, vessel_id, plant_id)))


def _store(session: Session, book: "_Book", days: SignDays) -> None:
    found = SignTrackRow(
        vessel_id=book.vessel_id,
        plant_id=book.plant.id,
        next_day=days.plant.next_day,
        based_on=book.based_on,
        state=days.to_text(),
    )
    session.merge(found)
    if heard_at(session, book.vessel_id) is not None:
        return  # her signs are numbered aboard
    for number, position, sign in _numbered(days, sign_rows(session, book.vessel_id, book.plant.id)):
        if number is None:
            session.add(
                SignRow(
                    vessel_id=book.vessel_id,
                    number=next_sign_number(session, book.vessel_id),
                    plant_id=book.plant.id,
                    position_id=position,
                    direction=sign.direction,
                    seen_day=sign.seen_day,
                )
            )
            session.flush()


def _numbered(days: SignDays, rows: Sequence[SignRow]) -> list[tuple[int | None, str, Sign]]:
    """Each sign with the number it has: the nearest of its pump and direction, each number once."""
    free = {row.number: row for row in rows}
    found: list[tuple[int | None, str, Sign]] = []
    for position, sign in _signs(days):
        near = [
            (abs(row.seen_day - sign.seen_day), number)
            for number, row in free.items()
            if (row.position_id, row.direction) == (position, sign.direction)
            and abs(row.seen_day - sign.seen_day) <= SAME_SIGN_DAYS
        ]
        number = min(near)[1] if near else None
        if number is not None:
            del free[number]
        found.append((number, position, sign))
    return found


def _signs(days: SignDays) -> list[tuple[str, Sign]]:
    tracks = {"": days.plant, **days.pumps}
    return sorted(
        ((position, sign) for position, track in tracks.items() for sign in track.signs),
        key=lambda one: (one[1].seen_day, one[0]),
    )


class _Book:
    """What is stored of a plant, as far as its signs rest on it."""

    def __init__(self, session: Session, context: Context, vessel_id: str, plant_id: str) -> None:
        self.vessel_id = vessel_id
        vessel, version = document_of(session, vessel_id)
        self.plant = plant_of(vessel, plant_id)
        self.today = context.now_s() // DAY_S
        self._session = session
        self._rows = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant_id]
        self.positions = [position.id for position in self.plant.positions]
        self.whole_hours = _whole_hours(session, vessel_id, self._rows)
        self.by_starts = self.plant.control_turns == BY_STARTS and not self.whole_hours
        book, _ = voyage_days_of(session, vessel_id)
        self.calendar = book.calendar()
        changes = changes_of(session, vessel_id, self._rows)
        self.renewed = self._renewed(session)
        self.based_on = json.dumps([version, self.by_starts, sorted(changes.items())], separators=(",", ":"))
        self._outages = outage_rows(session, vessel_id, plant_id, since_at=datetime.fromtimestamp(0, UTC))

    def folded(self, row: SignTrackRow | None) -> tuple[SignDays, bool]:
        """All days up to yesterday, from what is stored and what is new or touched since; whether there was any such day."""
        days = self._stored(row)
        if days is None:
            first = first_entry_day(self._session, [one.no for one in self._rows if one.no is not None])
            start = max(self.today - MOST_DAYS, self.today if first is None else first)
            days = SignDays.none(start, self.positions if self.by_starts else ())
        else:
            assert row is not None
            touched = [self._kinds_differ(days), *self._renewed_differ(days), row.touched_day]
            earliest = min((day for day in touched if day is not None), default=days.plant.next_day)
            days = days.before(min(earliest, self.today))
        first_day = days.plant.next_day
        start = max(days.plant.first_day, first_day - LOOK_BACK_DAYS) if first_day < self.today else first_day
        kinds = self._kinds(first_day, self.today - first_day)
        read = self.days_between(start, self.today)
        more = days.more(read, self.positions, kinds, answers=self._answers(), renewed=self.renewed)
        return more, first_day < self.today or row is None

    def with_signs(
        self, session: Session, days: SignDays, numbered: Sequence[tuple[int | None, str, Sign]]
    ) -> FoldedPlant:
        """What is asked for, with the answers."""
        numbers = [number for number, _, _ in numbered if number is not None]
        answers: dict[int, list[SignAnswerRow]] = {}
        for row in sign_answer_rows(session, self.vessel_id, numbers):
            answers.setdefault(row.sign, []).append(row)
        return FoldedPlant(
            plant=self.plant,
            days=days,
            signs=tuple(
                OneSign(
                    number=number,
                    position=position or None,
                    sign=sign,
                    answers=tuple(answers.get(number or 0, ())),
                )
                for number, position, sign in numbered
            ),
            half_out=bool(self._out(self.today - 1, 1).sum() * 2 > len(self.positions)),
            whole_hours=self.whole_hours,
        )

    def days_between(self, first_day: int, end_day: int) -> PlantDays:
        """Hours of each position on the days from one up to before another."""
        count = end_day - first_day
        subjects = [(Subject.POSITION, position) for position in self.positions]
        read = days_of_subjects(self._session, self.vessel_id, self.plant, self._rows, subjects, first_day, count)
        seconds = [
            [np.nan if day.seconds is None else float(day.seconds) for day in read[Subject.POSITION, position]]
            for position in self.positions
        ]
        interpolated = [[day.interpolated for day in read[Subject.POSITION, position]] for position in self.positions]
        return PlantDays(
            first_day=first_day,
            seconds=np.array(seconds, dtype=np.float64).reshape(len(self.positions), count),
            interpolated=np.array(interpolated, dtype=np.bool_).reshape(len(self.positions), count),
            swept_m3_per_h=np.array(
                [self._swept(position, first_day, count) for position in self.positions], dtype=np.float64
            ).reshape(len(self.positions), count),
            out=self._out(first_day, count),
        )

    def _swept(self, position: str, first_day: int, count: int) -> list[float]:
        rated = {pump.id: pump.rated_swept_m3_per_h for pump in self.plant.pumps}
        pumps = (self.plant.pump_in(position, noon_of(first_day + n)) for n in range(count))
        return [np.nan if pump is None else rated[pump] for pump in pumps]

    def _out(self, first_day: int, count: int) -> NDArray[np.bool_]:
        """Whether a position had no pump, or one out of service, at noon of each day."""
        found = np.zeros((len(self.positions), count), dtype=np.bool_)
        for row, position in enumerate(self.positions):
            for n in range(count):
                noon = noon_of(first_day + n)
                pump = self.plant.pump_in(position, noon)
                found[row, n] = pump is None or any(_covers(outage, pump, noon) for outage in self._outages)
        return found

    def _stored(self, row: SignTrackRow | None) -> SignDays | None:
        if row is None or row.based_on != self.based_on:
            return None
        try:
            return _parsed_days(row.state)
        except ValueError:
            return None  # of another version: folded anew

    def _kinds(self, first_day: int, count: int) -> list[str | None]:
        if self.calendar is None:
            return [None] * count
        return self.calendar.kinds(epoch_date(first_day), count)

    def _kinds_differ(self, days: SignDays) -> int | None:
        """The first folded day that is now of another kind."""
        track = days.plant
        now = self._kinds(track.first_day, len(track.kinds))
        was = [days.kinds[code] for code in track.kinds.tolist()]
        return next((track.first_day + n for n, kind in enumerate(now) if (kind or "") != was[n]), None)

    def _renewed_differ(self, days: SignDays) -> list[int | None]:
        return [
            min(set(track.renewed) ^ set(self.renewed.get(position, ())), default=None)
            for position, track in days.pumps.items()
        ]

    def _renewed(self, session: Session) -> dict[str, list[int]]:
        """By position, the days on which its pump was overhauled, or another was put there."""
        found: dict[str, set[int]] = {position: set() for position in self.positions}
        for stay in self.plant.stays:
            found[stay.position].add(day_of(stay.from_at))
        for done in done_rows_of_kind(session, self.vessel_id, OVERHAUL):
            position = self.plant.position_of(done.subject_id, done.at)
            if position is not None and done.job_key is not None:
                found[position].add(day_of(done.at))
        return {position: sorted(day for day in days if day < self.today) for position, days in found.items()}

    def _answers(self) -> Mapping[str, Sequence[SignAnswer]]:
        rows = {row.number: row for row in sign_rows(self._session, self.vessel_id, self.plant.id)}
        found: dict[str, list[SignAnswer]] = {}
        for answer in sign_answer_rows(self._session, self.vessel_id, list(rows)):
            if answer.undone_at is None:
                sign = rows[answer.sign]
                found.setdefault(sign.position_id, []).append(
                    SignAnswer(
                        seen_day=sign.seen_day,
                        day=day_of(answer.at),
                        end=SignEnd(answer.answer),
                        until_day=None if answer.until_on is None else day_of_date(answer.until_on),
                    )
                )
        return found


@lru_cache(maxsize=64)
def _parsed_days(text: str) -> SignDays:
    return SignDays.from_text(text)


def _whole_hours(session: Session, vessel_id: str, rows: Sequence[CounterRow]) -> bool:
    """Whether some counter is read to no less than the whole hour."""
    setups = setups_of_vessel(session, vessel_id, rows)
    newest = [found[-1][1] for found in setups.values()]
    return any(setup.seconds_per_count * setup.resolution_milli >= 3600 * 1000 for setup in newest)


def _covers(outage: OutageRow, pump: str, at: datetime) -> bool:
    return (
        outage.pump_id == pump
        and outage.counts_for_litres_per_h == 0
        and outage.from_at <= at
        and (outage.to_at is None or at < outage.to_at)
    )


def day_of(at: datetime) -> int:
    """The epoch day (UTC) of an instant."""
    return int(at.timestamp() // DAY_S)


def day_of_date(on: date) -> int:
    """The epoch day of a date."""
    return (on - date(1970, 1, 1)).days


def epoch_date(day: int) -> date:
    """The date of an epoch day."""
    return date(1970, 1, 1) + timedelta(days=day)


def noon_of(day: int) -> datetime:
    """Noon (UTC) of an epoch day."""
    return datetime.combine(epoch_date(day), time(), UTC) + _TIME
