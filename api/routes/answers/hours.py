"""Answers about running hours: daily hours, counters and their events, the intake log."""

from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import Field

from api.routes.shared import shapes
from scheduler.actions.base.context import instant, maybe
from scheduler.actions.hours.counter_events import CounterBook, EventShown
from scheduler.actions.hours.daily import DailyBook
from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.ledger import Flag
from scheduler.domain.hours.running import RunningHours
from scheduler.storage.hours.readings import IntakeLogRow
from scheduler.wording.hours import flag_words

EventId = Annotated[str, Field(description="id of the event")]


class HoursShown(shapes.AnswerModel):
    """Running hours as last read, and what they rest on."""

    running_hours: shapes.HoursRun
    projected_running_hours: Annotated[
        shapes.HoursRun | None, Field(description="running hours likely by now, while the counter is silent")
    ]
    as_of: Annotated[shapes.At | None, Field(description="the reading they are of")]
    estimated: Annotated[
        bool, Field(description="part of them is pro-rated, carried on, or rests on something missing")
    ]

    @classmethod
    def of(cls, hours: RunningHours | None, projected: int | None = None) -> Self | None:
        """projected: seconds likely by now, while the counter is silent."""
        if hours is None:
            return None
        return cls(
            running_hours=round(hours.hours, 2),
            projected_running_hours=shapes.hours_of(projected),
            as_of=shapes.z(hours.as_of),
            estimated=hours.estimated,
        )


class HoursOfDay(shapes.AnswerModel):
    """Running hours of one day."""

    on: Annotated[shapes.Day, Field(description="a UTC day")]
    running_hours: Annotated[shapes.HoursRun | None, Field(description="running hours; null: not known yet, or ashore")]
    interpolated: Annotated[bool, Field(description="laid over a gap of more than 48 h")]


class DailyHoursOfPosition(shapes.AnswerModel):
    """Hours of each day of a position."""

    position: shapes.PositionId
    name: str
    hours_as_of: shapes.At | None
    days: list[HoursOfDay]


class DailyHoursOfPump(shapes.AnswerModel):
    """Hours of each day of a pump. name: its serial number."""

    pump: shapes.PumpId
    name: str
    hours_as_of: shapes.At | None
    days: list[HoursOfDay]


class DailyHoursAnswer(shapes.AnswerModel):
    """Hours of each day of the positions and pumps of a plant."""

    plant: shapes.PlantId
    positions: list[DailyHoursOfPosition]
    pumps: list[DailyHoursOfPump]

    @classmethod
    def of(cls, book: DailyBook) -> Self:
        """From the days as counted."""

        def days(subject: Subject, subject_id: str) -> dict[str, object]:
            return {
                "hours_as_of": shapes.z(book.as_of[subject, subject_id]),
                "days": [
                    {
                        "on": day.on.isoformat(),
                        "running_hours": shapes.hours_of(day.seconds),
                        "interpolated": day.interpolated,
                    }
                    for day in book.days[subject, subject_id]
                ],
            }

        return cls.model_validate(  # at once: there may be some 20,000 days
            {
                "plant": book.plant.id,
                "positions": [
                    {"position": one.id, "name": one.name, **days(Subject.POSITION, one.id)}
                    for one in book.plant.positions
                ],
                "pumps": [
                    {"pump": one.id, "name": one.serial, **days(Subject.PUMP, one.id)} for one in book.plant.pumps
                ],
            }
        )


class ScaleShown(shapes.AnswerModel):
    """How a counter counted from when to when; from null: since it was set up."""

    from_at: Annotated[shapes.At | None, Field(alias="from")]
    to_at: Annotated[shapes.At | None, Field(alias="to")]
    seconds_per_count: int
    modulus: Annotated[int | None, Field(description="counts at which it is 0 again")]
    resolution: Annotated[shapes.Quantity, Field(description="smallest step, in counts")]


class LedgerEntryShown(shapes.AnswerModel):
    """What the ledger made of one reading."""

    at: shapes.At
    credit_hours: Annotated[shapes.Quantity, Field(description="running hours that it adds")]
    verdict: str
    reason: str | None


class FlagShown(shapes.AnswerModel):
    """Something odd about a counter."""

    code: str
    at: shapes.At
    says: shapes.Sentence

    @classmethod
    def of(cls, flag: Flag, position: str, offset_minutes: int) -> Self:
        """From the flag. position: its name. offset_minutes: the ship's clock."""
        return cls(code=flag.code, at=shapes.z(instant(flag.at_s)), says=flag_words(flag, position, offset_minutes))


class CounterEventShown(shapes.AnswerModel):
    """An event of a counter: what, when, by whom, whether it counts. Counts stand there for the kinds that have them."""

    id: EventId
    kind: str
    at: shapes.At
    state: str
    by: shapes.PersonName
    asked_by: Annotated[shapes.PersonName | None, Field(description="who asked for what `by` confirmed")]
    reason: str
    recorded_at: shapes.At
    hours: Annotated[shapes.HoursRun | None, Field(description="running hours given or taken away")]
    undoes: Annotated[EventId | None, Field(description="id of the event that this one undoes")]
    old_final: Annotated[shapes.Quantity | None, Field(description="counts of the old one at the end")] = None
    new_first: Annotated[shapes.Quantity | None, Field(description="counts that the new one starts at")] = None
    resolution: Annotated[shapes.Quantity | None, Field(description="smallest step, in counts")] = None
    seconds_per_count: int | None = None
    modulus: Annotated[int | None, Field(description="counts at which it is 0 again")] = None

    @classmethod
    def of(cls, event: EventShown) -> Self:
        """From the event as stored."""
        counts = {
            name.removesuffix("_milli"): None if event.detail[name] is None else event.detail[name] / 1000
            for name in ("old_final_milli", "new_first_milli", "resolution_milli")
            if name in event.detail
        }
        scale = {name: event.detail[name] for name in ("seconds_per_count", "modulus") if name in event.detail}
        return cls(
            id=event.id,
            kind=event.kind,
            at=shapes.z(event.at),
            state=event.state,
            by=event.by,
            asked_by=event.asked_by,
            reason=event.reason,
            recorded_at=shapes.z(event.recorded_at),
            hours=None if event.hours is None else round(event.hours, 4),
            undoes=event.undoes,
            **counts,
            **scale,
        )


class CounterAnswer(shapes.AnswerModel):
    """A counter: how it counts, newest reading, newest ledger entries, flags, what people recorded about it."""

    counter: shapes.CounterId
    position: shapes.PositionId
    seconds_per_count: int
    modulus: Annotated[int | None, Field(description="counts at which it is 0 again")]
    scales: list[ScaleShown]
    newest_at: shapes.At | None
    newest_value: Annotated[shapes.Quantity | None, Field(description="what it showed, in its own counts")]
    entries: list[LedgerEntryShown]
    flags: list[FlagShown]
    events: list[CounterEventShown]

    @classmethod
    def of(cls, book: CounterBook) -> Self:
        """From the counter's rows."""
        setup = book.setups[-1][1]
        ends = [*(from_s for from_s, _ in book.setups[1:]), None]
        scales: list[Mapping[str, object]] = [
            {
                "from": None if n == 0 else shapes.z(instant(from_s)),
                "to": shapes.z(maybe(to_s)),
                "seconds_per_count": one.seconds_per_count,
                "modulus": one.modulus,
                "resolution": one.resolution_milli / 1000,
            }
            for n, ((from_s, one), to_s) in enumerate(zip(book.setups, ends, strict=True))
        ]
        return cls(
            counter=book.row.id,
            position=book.row.position_id,
            seconds_per_count=setup.seconds_per_count,
            modulus=setup.modulus,
            scales=[ScaleShown.model_validate(one) for one in scales],
            newest_at=shapes.z(maybe(book.row.newest_s)),
            newest_value=None if book.newest is None else book.newest[1] / 1000,
            entries=[
                LedgerEntryShown(
                    at=shapes.z(instant(e.at_s)),
                    credit_hours=round(e.credit_s / 3600, 4),
                    verdict=e.verdict,
                    reason=e.reason or None,
                )
                for e in book.entries
            ],
            flags=[FlagShown.of(flag, book.position, book.offset_minutes) for flag in book.flags],
            events=[CounterEventShown.of(event) for event in book.events],
        )


class CounterEventAnswer(shapes.AnswerModel):
    """A counter event as recorded. says: only where another person has to confirm it first."""

    counter: shapes.CounterId
    event: Annotated[str, Field(description="its kind", examples=["replacement"])]
    id: EventId
    record: shapes.RecordNumber
    says: shapes.Sentence = ""


class IntakeItem(shapes.AnswerModel):
    """A reading that was posted and not stored, as it came, and why."""

    received_at: shapes.At
    status: str
    counter: str
    why: shapes.Sentence
    item: Annotated[str, Field(description="the item as posted, JSON as text")]

    @classmethod
    def of(cls, row: IntakeLogRow) -> Self:
        """From the intake log."""
        return cls(
            received_at=shapes.z(instant(row.received_s)),
            status=str(row.status),
            counter=row.counter_ref,
            why=row.why,
            item=row.item,
        )


class IntakeLogAnswer(shapes.AnswerModel):
    """Newest first."""

    items: list[IntakeItem]


class ReadingTaken(shapes.AnswerModel):
    """What became of one reading. verdict: of the ledger, provisional; null where only a full derivation can tell."""

    index: Annotated[int, Field(description="place in the batch, from 0")]
    status: Annotated[str, Field(description="stored, duplicate, conflict or refused")]
    verdict: str | None = None
    why: shapes.Sentence = ""


class ReadingsAnswer(shapes.AnswerModel):
    """What became of a batch. clock_skew_seconds, says: only while the sender's clock is off."""

    server_at: shapes.At
    items: list[ReadingTaken]
    newest: Annotated[
        dict[str, shapes.At], Field(description="id of each counter to its newest reading, by the sender's clock")
    ]
    clock_skew_seconds: Annotated[int, Field(description="s that the sender's clock is behind; ahead: below 0")] = 0
    says: shapes.Sentence = ""
