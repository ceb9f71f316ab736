"""Answers about the operating calendar: what kind of day each ship's day was, or will be."""

from typing import Annotated, Self

from pydantic import Field

from api.routes.shared import shapes
from scheduler.actions.voyage.days import Preview, StoredDays, change_words, stored_words

DayKind = Annotated[str, Field(description="kind of day", examples=["port"])]


class KindOfDayShown(shapes.AnswerModel):
    """A kind of day."""

    code: DayKind
    weight: Annotated[shapes.Quantity, Field(description="running hours on such a day as a share of a day at sea")]


class DayStretchShown(shapes.AnswerModel):
    """Ship's days of one kind, both ends included."""

    from_on: shapes.Day
    to_on: shapes.Day
    kind: DayKind
    source: Annotated[str, Field(description="the log of days gone by, or the plan")]
    note: str


class CalendarVersionShown(shapes.AnswerModel):
    """A change of the operating calendar."""

    version: shapes.VersionNumber
    what: shapes.Sentence
    by: shapes.PersonName
    reason: str
    at: shapes.At
    record: shapes.RecordNumber | None


class VoyageDaysAnswer(shapes.AnswerModel):
    """An operating calendar: kinds with their weights, stretches by date, its newest changes."""

    vessel: shapes.VesselId
    version: shapes.VersionNumber
    today_aboard: shapes.Day
    kinds: list[KindOfDayShown]
    stretches: list[DayStretchShown]
    changes: list[CalendarVersionShown]

    @classmethod
    def of(cls, vessel_id: str, found: StoredDays) -> Self:
        """From the days as stored."""
        return cls(
            vessel=vessel_id,
            version=found.version,
            today_aboard=found.today.isoformat(),
            kinds=[KindOfDayShown(code=kind.code, weight=kind.weight) for kind in found.book.kinds],
            stretches=[
                DayStretchShown(
                    from_on=s.from_on.isoformat(),
                    to_on=s.to_on.isoformat(),
                    kind=s.kind,
                    source=s.source.value,
                    note=s.note,
                )
                for s in found.book.spells
            ],
            changes=[
                CalendarVersionShown(
                    version=row.version,
                    what=row.what,
                    by=row.actor,
                    reason=row.reason,
                    at=shapes.z(row.recorded_at),
                    record=row.record,
                )
                for row in found.versions
            ],
        )


class DayChangeShown(shapes.AnswerModel):
    """Ship's days that changed, both ends included. null: nothing entered."""

    from_on: shapes.Day
    to_on: shapes.Day
    was: DayKind | None
    now: DayKind | None


class DaysChangedAnswer(shapes.AnswerModel):
    """An operating calendar was changed. record: null where nothing changed."""

    vessel: shapes.VesselId
    version: shapes.VersionNumber
    changes: list[DayChangeShown]
    kept_as_logged: Annotated[
        list[DayChangeShown], Field(description="days that stay, since the log stands over the plan")
    ]
    record: shapes.RecordNumber | None


class CellFaultShown(shapes.AnswerModel):
    """A cell that cannot be taken."""

    row: int
    column: str
    found: str
    says: shapes.Sentence


class DaysPreviewAnswer(shapes.AnswerModel):
    """A CSV file as read, and what it would change."""

    version: shapes.VersionNumber
    rows: int
    good: bool
    faults: list[CellFaultShown]
    changes: list[shapes.Sentence]
    kept_as_logged: list[shapes.Sentence]

    @classmethod
    def of(cls, found: Preview) -> Self:
        """From the file as tried."""
        laid = found.laid
        return cls(
            version=found.version,
            rows=len(found.sheet.rows),
            good=laid is not None,
            faults=[CellFaultShown(row=f.row, column=f.column, found=f.found, says=f.says) for f in found.sheet.faults],
            changes=[] if laid is None else [change_words(c) for c in laid.changes],
            kept_as_logged=[] if laid is None else [stored_words(c) for c in laid.kept],
        )
