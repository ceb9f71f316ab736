"""Answers about capacity: the margin over time, pumps down and back, pull-down tests, lower minima."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Annotated, Self

from pydantic import Field

from api.pages.shared.margin import MarginStretch
from api.routes.shared import shapes
from scheduler.domain.capacity.may_open import OpeningAnswer, OpeningCode, OpenStretch
from scheduler.domain.capacity.notices import Notified
from scheduler.wording.capacity import OpeningWords


class MarginShown(shapes.AnswerModel):
    """Available, minimum and margin from when to when."""

    from_at: Annotated[shapes.At, Field(alias="from")]
    to_at: Annotated[shapes.At, Field(alias="to")]
    available_swept_m3_per_h: shapes.SweptFlow
    minimum_swept_m3_per_h: shapes.SweptFlow
    minimum_label: str
    margin_swept_m3_per_h: shapes.SweptFlow
    open: Annotated[list[shapes.PositionName], Field(description="positions out for planned work")]
    down_or_not_proved: list[shapes.PositionName]

    @classmethod
    def of(cls, stretch: MarginStretch, from_at: datetime, to_at: datetime) -> Self:
        """The stretch cut to a period."""
        return cls.model_validate(
            {
                "from": shapes.z(max(stretch.from_at, from_at)),
                "to": shapes.z(min(stretch.to_at, to_at)),
                "available_swept_m3_per_h": stretch.available_m3_per_h,
                "minimum_swept_m3_per_h": stretch.minimum_m3_per_h,
                "minimum_label": stretch.minimum_label,
                "margin_swept_m3_per_h": round(stretch.margin_m3_per_h, 3),
                "open": list(stretch.open_positions),
                "down_or_not_proved": list(stretch.down_positions),
            }
        )


class CapacityAnswer(shapes.AnswerModel):
    """Available, minimum and margin over time, as planned."""

    plant: shapes.PlantId
    rests_on: Annotated[str, Field(description="taken plan, proposed plan or no plan")]
    runs: list[MarginShown]

    @classmethod
    def of(
        cls, plant: str, rests_on: str, stretches: Sequence[MarginStretch], from_at: datetime, to_at: datetime
    ) -> Self:
        """Cut to a period."""
        inside = [one for one in stretches if one.to_at > from_at and one.from_at < to_at]
        return cls(plant=plant, rests_on=rests_on, runs=[MarginShown.of(one, from_at, to_at) for one in inside])


class MarginLeft(shapes.AnswerModel):
    """A pump's state as recorded, and the margin that is left now."""

    pump: shapes.PumpId
    state: str
    available_swept_m3_per_h: shapes.SweptFlow
    minimum_swept_m3_per_h: shapes.SweptFlow
    margin_swept_m3_per_h: shapes.SweptFlow
    says: shapes.Sentence
    record: shapes.RecordNumber


class ExpectedReturnAnswer(MarginLeft):
    """When a pump that is out is expected back is recorded. plan: how planning again went."""

    plan: shapes.Sentence


class BreakdownAnswer(MarginLeft):
    """A pump is out and its repair is opened."""

    job: Annotated[shapes.JobKey, Field(description="key of the repair")]
    plan_has_it_back_at: Annotated[shapes.At | None, Field(description="from when plans count on the pump again")]
    assumed: Annotated[bool, Field(description="nobody said when it is back")]
    plan: Annotated[shapes.Sentence, Field(description="how planning again went")]


class RunsAfterAllAnswer(shapes.AnswerModel):
    """A pump that was put out runs after all; its repair is withdrawn."""

    job: Annotated[shapes.JobKey, Field(description="key of the repair")]
    pump: shapes.PumpId
    minutes: Annotated[shapes.Minutes, Field(description="minutes that it stood")]
    record: shapes.RecordNumber
    says: shapes.Sentence
    plan: Annotated[shapes.Sentence, Field(description="how planning again went")]


class StopNoticeShown(shapes.AnswerModel):
    """Somebody was told that a pump stopped."""

    whom: Notified
    at: shapes.At
    by: Annotated[shapes.PersonName, Field(description="who recorded it")]
    record: shapes.RecordNumber


class StopNoticesAnswer(shapes.AnswerModel):
    """Who was told that a pump stopped, in order of recording."""

    pump: shapes.PumpId
    stopped_at: Annotated[shapes.At | None, Field(description="since when the pump is out; null: it is not")]
    notices: list[StopNoticeShown]


class StopNoticeAnswer(StopNoticesAnswer):
    """That somebody was told of a stop is recorded."""

    record: shapes.RecordNumber


class PumpTestAnswer(shapes.AnswerModel):
    """A pull-down test: swept volume and leak."""

    pump: shapes.PumpId
    pump_state: str
    swept_m3_per_h: shapes.SweptFlow
    swept_spread_m3_per_h: Annotated[shapes.Quantity | None, Field(description="swept m³/h, half width of the spread")]
    leak_pa_m3_per_s: Annotated[shapes.Quantity | None, Field(description="Pa m³/s")]
    leak_spread_pa_m3_per_s: Annotated[shapes.Quantity | None, Field(description="Pa m³/s, half width of the spread")]
    leak_free_m3_per_h: Annotated[shapes.Quantity | None, Field(description="m³/h of free air")]
    leak_swept_m3_per_h: shapes.SweptFlow | None
    from_vacuum_kpa: shapes.Kilopascals
    to_vacuum_kpa: shapes.Kilopascals
    samples: Annotated[int, Field(description="samples of the log; 0 without one")]
    rated_swept_m3_per_h: shapes.SweptFlow
    counted_before_m3_per_h: shapes.SweptFlow
    says: shapes.Sentence
    record: shapes.RecordNumber
    stamp: shapes.RecordStamp


class OpenStretchShown(shapes.AnswerModel):
    """A stretch while the pump is open: the minimum, the margin, and the margin if one more pump trips."""

    from_at: Annotated[shapes.At, Field(alias="from")]
    to_at: Annotated[shapes.At, Field(alias="to")]
    minimum_swept_m3_per_h: shapes.SweptFlow
    minimum_label: str
    margin_swept_m3_per_h: shapes.SweptFlow
    margin_after_trip_swept_m3_per_h: shapes.SweptFlow
    out: Annotated[list[shapes.PositionName], Field(description="positions whose pumps count for nothing")]
    lacking_pumps: Annotated[
        int, Field(description="of the pumps that must be there whatever they give; 0: none lacks")
    ]

    @classmethod
    def of(cls, one: OpenStretch, name: Callable[[str], str]) -> Self:
        """The stretch, its pumps by the names of their positions."""
        return cls.model_validate(
            {
                "from": shapes.z(one.from_at),
                "to": shapes.z(one.to_at),
                "minimum_swept_m3_per_h": one.minimum_litres_per_h / 1000,
                "minimum_label": one.label,
                "margin_swept_m3_per_h": one.margin_litres_per_h / 1000,
                "margin_after_trip_swept_m3_per_h": one.after_trip_litres_per_h / 1000,
                "out": sorted(name(pump) for pump in one.out),
                "lacking_pumps": one.lacking_pumps,
            }
        )


class MayOpenAnswer(shapes.AnswerModel):
    """Whether capacity holds with the pump open. Calculated, and no permit."""

    pump: shapes.PumpId
    at: shapes.At
    hours: Annotated[int, Field(description="of work")]
    code: Annotated[OpeningCode, Field(description="`holds` alone is a plain yes")]
    until_at: Annotated[
        shapes.At | None, Field(description="when the margin first becomes less; null: not within two weeks")
    ]
    margin_swept_m3_per_h: shapes.SweptFlow
    margin_after_trip_swept_m3_per_h: Annotated[
        shapes.SweptFlow, Field(description="the least until then, if the largest pump left trips")
    ]
    next_hold: Annotated[
        OpenStretchShown | None, Field(description="where it does not hold: the first time at which it does")
    ]
    stretches: list[OpenStretchShown]
    says: list[shapes.Sentence]

    @classmethod
    def of(cls, one: OpeningAnswer, words: OpeningWords) -> Self:
        """The answer with its words."""
        return cls(
            pump=one.pump,
            at=shapes.z(one.at),
            hours=one.hours,
            code=one.code,
            until_at=None if one.until_at is None else shapes.z(one.until_at),
            margin_swept_m3_per_h=one.margin_litres_per_h / 1000,
            margin_after_trip_swept_m3_per_h=one.after_trip_litres_per_h / 1000,
            next_hold=None if one.next_hold is None else OpenStretchShown.of(one.next_hold, words.name),
            stretches=[OpenStretchShown.of(stretch, words.name) for stretch in one.stretches],
            says=[words.first(), *words.rest()],
        )


class ConcessionShown(shapes.AnswerModel):
    """A lower minimum asked for: for when, by whom, who signed and who withdrew it."""

    concession: Annotated[int, Field(description="number of the lower minimum")]
    from_at: shapes.At
    to_at: shapes.At
    minimum_swept_m3_per_h: shapes.SweptFlow
    reason: str
    state: str
    asked_by: shapes.PersonName
    asked_at: shapes.At
    chief: shapes.PersonName | None
    chief_at: shapes.At | None
    hotel: shapes.PersonName | None
    hotel_at: shapes.At | None
    chief_signed_as: str
    chief_entered_by: str
    second_signer: str
    withdrawn_by: shapes.PersonName | None
    withdrawn_at: shapes.At | None


class ConcessionAnswer(ConcessionShown):
    """A lower minimum as asked for, signed or withdrawn."""

    record: shapes.RecordNumber
    says: shapes.Sentence


class ConcessionsAnswer(shapes.AnswerModel):
    """Newest first."""

    plant: shapes.PlantId
    concessions: list[ConcessionShown]
